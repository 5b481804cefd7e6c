//! Regions that overlap in a layer and share the place: half and half, or turn and
//! turn about. By priority needs nothing: the order of laying does it.

use super::{CHORD_MM, Target, Task, hoops_between};
use crate::count::f64_of;
use crate::geom::{Area, combine, offset, smooth};
use crate::job::{Job, Map, Meets, Region};

/// The tasks whose regions weave and share ground, by index in the order that they are laid
/// in: a set for all that hang together.
pub(super) fn woven(job: &Job, map: &Map, tasks: &[Task]) -> Vec<Vec<usize>> {
    let weaves = (0..tasks.len()).filter(|&k| map.regions[tasks[k].region].meets == Meets::Weave);
    let mut sets: Vec<(Vec<usize>, Vec<Area>)> = Vec::new();
    for k in weaves {
        let own = ground(job, &map.regions[tasks[k].region], &tasks[k], false);
        let shares = |others: &[Area]| {
            let common = |other| combine::without_specks(&combine::intersection(&own, other), SPECK_MM2, 0.0);
            others.iter().any(|other| !common(other).is_empty())
        };
        let (touched, apart): (Vec<_>, Vec<_>) = sets.into_iter().partition(|(_, grounds)| shares(grounds));
        sets = apart;
        let (mut members, mut grounds) = (vec![k], vec![own]);
        for (others, theirs) in touched {
            members.extend(others);
            grounds.extend(theirs);
        }
        members.sort_unstable();
        sets.push((members, grounds));
    }
    sets.into_iter().map(|(members, _)| members).filter(|members| members.len() > 1).collect()
}

/// Some tasks in the opposite order.
pub(super) fn turn_round(tasks: &mut [Task], some: &[usize]) {
    for k in 0..some.len() / 2 {
        let (a, b) = (some[k], some[some.len() - 1 - k]);
        tasks.swap(a, b);
        let rank = tasks[a].rank;
        tasks[a].rank = tasks[b].rank;
        tasks[b].rank = rank;
    }
}

/// The same regions on the same ground: in two layers they part it alike.
pub(super) fn alike(a: &[Task], b: &[Task]) -> bool {
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| a.region == b.region && a.target == b.target)
}

/// Parts what two regions that butt have in common: each has the half that is
/// nearer to what it has alone. Of hoops, straps and contours with a number of
/// courses the ground is as deep as these go.
///
/// Nothing is parted where one has nothing alone: a region within another keeps to
/// the priority.
pub(super) fn butt(job: &Job, map: &Map, tasks: &mut [Task]) {
    let butts = |t: &Task| map.regions[t.region].meets == Meets::Butt;
    for i in 0..tasks.len() {
        for j in i + 1..tasks.len() {
            if !(butts(&tasks[i]) && butts(&tasks[j])) {
                continue;
            }
            let of = |t: &Task| ground(job, &map.regions[t.region], t, true);
            let (a, b) = (of(&tasks[i]), of(&tasks[j]));
            let common = combine::intersection(&a, &b);
            let alone = |a, b| combine::without_specks(&combine::difference(a, b), SPECK_MM2, 0.0);
            let (mut own_a, mut own_b) = (alone(&a, &b), alone(&b, &a));
            if own_a.is_empty() && own_b.is_empty() {
                (own_a, own_b) = (gone_round(&tasks[i].target, &b), gone_round(&tasks[j].target, &a));
            }
            if common.is_empty() || own_a.is_empty() || own_b.is_empty() {
                continue;
            }
            let plain =
                |t: &Task| matches!(t.target, Target::Area(_)) && map.regions[t.region].courses.is_none();
            let for_b = if plain(&tasks[i]) && plain(&tasks[j]) {
                beyond(&own_a, &own_b, &common)
            } else {
                nearer(&own_a, &own_b, &common, STEP_WIDTHS * job.tow.width_mm)
            };
            let for_a = combine::difference(&common, &for_b);
            give_up(&mut tasks[i].target, &a, &for_b);
            give_up(&mut tasks[j].target, &b, &for_a);
        }
    }
}

/// What of two areas' common ground lies beyond the line half way between the
/// middles of what each has alone: straight, as rows that end at it want it.
fn beyond(own_a: &Area, own_b: &Area, common: &Area) -> Area {
    let (Some(mid_a), Some(mid_b), Some(bounds)) = (own_a.centroid(), own_b.centroid(), common.bounds())
    else {
        return Area::empty();
    };
    let Some(across) = (mid_b - mid_a).normalised() else { return Area::empty() };
    let middle = common.centroid().unwrap_or_else(|| bounds.centre());
    let far = bounds.hi.dist(bounds.lo) + 1.0;
    let (side, deep) = (across.left() * far, across * far);
    let half =
        combine::ring_area(&[middle - side, middle - side + deep, middle + side + deep, middle + side]);
    combine::intersection(common, &half)
}

/// What of two areas' common ground is nearer to what the second has alone: both
/// grow into it step by step.
fn nearer(own_a: &Area, own_b: &Area, common: &Area, step: f64) -> Area {
    let Some(far) = combine::union(common, &combine::union(own_a, own_b)).bounds() else {
        return Area::empty();
    };
    let chord = 0.1 * step;
    let mut left = combine::simplified(common, chord);
    let mut for_b: Vec<Area> = Vec::new();
    // what either grew by last: what lies behind it is taken
    let (mut a, mut b) = (own_a.clone(), own_b.clone());
    let mut come = 0.0;
    while !left.is_empty() && come < far.hi.dist(far.lo) {
        let wide = |front: &Area| offset::grown(&combine::simplified(front, chord), step, chord);
        let (wide_a, wide_b) = (wide(&a), wide(&b));
        let reached = |wide: &Area| combine::intersection(wide, &left);
        let (to_a, to_b) = (reached(&wide_a), reached(&wide_b));
        if to_a.is_empty() && to_b.is_empty() {
            // perimeters lie between a hole and the ground round it
            (a, b) = (wide_a, wide_b);
        } else {
            let to_b = combine::difference(&to_b, &to_a);
            let rest = combine::difference_all(&left, [&to_a, &to_b]);
            left = combine::without_specks(&combine::simplified(&rest, 0.2 * chord), SPECK_MM2, 0.0);
            if !to_a.is_empty() {
                a = to_a;
            }
            if !to_b.is_empty() {
                for_b.push(to_b.clone());
                b = to_b;
            }
        }
        come += step;
    }
    combine::intersection(&combine::union_all(&for_b), common)
}

/// A quarter of a tow: nothing narrower is laid.
const STEP_WIDTHS: f64 = 0.25;

/// Ground too small to be parted, mm2.
const SPECK_MM2: f64 = 1e-3;

/// Where a region's courses come to lie if nothing is in their way; with what straps enclose or
/// without it, where a number of them is asked for.
pub(crate) fn ground(job: &Job, region: &Region, task: &Task, enclosed: bool) -> Area {
    let width = job.tow.width_mm;
    let deep = region.courses.map(|n| (f64_of(n) - 1.0).max(0.0) * region.spacing_mm + width);
    let clearance = job.beads.bead_width_mm * f64_of(job.beads.perimeters);
    let between = |h: &Area, by: f64| hoops_between(h, clearance, width, region.min_bend_radius_mm, by);
    let hull = |areas: &[Area]| {
        let corners: Vec<_> = areas.iter().flat_map(Area::rings).flatten().copied().collect();
        combine::ring_area(&smooth::hull(&corners))
    };
    match (&task.target, deep) {
        (Target::Area(a), Some(deep)) => combine::difference(a, &offset::shrunk(a, deep, CHORD_MM)),
        (Target::Area(a), None) => a.clone(),
        (Target::Holes { room, .. } | Target::Pins { room, .. }, None) => room.clone(),
        (Target::Holes { holes, room }, Some(deep)) => {
            let outer: Vec<Area> = holes.iter().map(|h| between(h, deep)).map(|[_, outer]| outer).collect();
            combine::intersection(&combine::union_all(&outer), room)
        }
        (Target::Pins { pins, room }, Some(deep)) => {
            let (inner, outer): (Vec<Area>, Vec<Area>) =
                pins.iter().map(|p| between(p, deep)).map(|[inner, outer]| (inner, outer)).unzip();
            let within = combine::intersection(&hull(&outer), room);
            if enclosed { within } else { combine::difference(&within, &hull(&inner)) }
        }
    }
}

/// What a region goes round, less what another has: all that tells two apart whose ground
/// is the same.
fn gone_round(target: &Target, other: &Area) -> Area {
    match target {
        Target::Holes { holes: round, .. } | Target::Pins { pins: round, .. } => {
            combine::difference(&combine::union_all(round), other)
        }
        Target::Area(_) => Area::empty(),
    }
}

/// Takes ground from a target.
fn give_up(target: &mut Target, ground: &Area, lost: &Area) {
    match target {
        Target::Area(a) => *a = combine::difference(ground, lost),
        Target::Holes { room, .. } | Target::Pins { room, .. } => *room = combine::difference(room, lost),
    }
}

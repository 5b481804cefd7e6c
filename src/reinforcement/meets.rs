//! Regions that overlap in a layer and share the place: half and half, or turn and
//! turn about. By priority needs nothing: the order of laying does it.

use super::parted::parted;
use super::{CHORD_MM, Target, Task, hoops_between};
use crate::count::f64_of;
use crate::geom::{Area, combine, offset, smooth};
use crate::job::{Job, Map, Meets, Region};

/// The tasks whose regions weave and share ground, by index in the order that they are laid
/// in: a set for all that hang together.
pub(super) fn woven(job: &Job, map: &Map, tasks: &[Task]) -> Vec<Vec<usize>> {
    sharing(job, map, tasks, Meets::Weave)
}

/// The tasks whose regions meet in this way and share ground, the same way.
fn sharing(job: &Job, map: &Map, tasks: &[Task], meets: Meets) -> Vec<Vec<usize>> {
    let asked = (0..tasks.len()).filter(|&k| map.regions[tasks[k].region].meets == meets);
    let mut sets: Vec<(Vec<usize>, Vec<Area>)> = Vec::new();
    for k in asked {
        let own = ground(job, &map.regions[tasks[k].region], &tasks[k], meets == Meets::Butt);
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

/// Some tasks so many turns further: what was first is last, and all others come one sooner.
pub(super) fn turn_round(tasks: &mut [Task], some: &[usize], turns: usize) {
    let mut order: Vec<Task> = some.iter().map(|&k| tasks[k].clone()).collect();
    order.rotate_left(turns % some.len().max(1));
    for (&k, task) in some.iter().zip(order) {
        tasks[k] = task;
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
/// the priority. Three and more, of which some go round something, part their ground
/// at once, lest the first two part what is nearest to the third.
pub(super) fn butt(job: &Job, map: &Map, tasks: &mut [Task]) {
    for set in sharing(job, map, tasks, Meets::Butt) {
        let round = set.iter().any(|&k| !matches!(tasks[k].target, Target::Area(_)));
        if set.len() > 2 && round {
            part_among(job, map, tasks, &set);
        } else {
            part_pairs(job, map, tasks, &set);
        }
    }
}

/// What several regions have in common goes to the nearest of them all, by what each has
/// alone or goes round.
fn part_among(job: &Job, map: &Map, tasks: &mut [Task], set: &[usize]) {
    let grounds: Vec<Area> =
        set.iter().map(|&k| ground(job, &map.regions[tasks[k].region], &tasks[k], true)).collect();
    let own = |i: usize| {
        let others = grounds.iter().enumerate().filter(|(j, _)| *j != i).map(|(_, ground)| ground);
        let others = combine::union_all(others);
        let alone = combine::without_specks(&combine::difference(&grounds[i], &others), SPECK_MM2, 0.0);
        if alone.is_empty() { gone_round(&tasks[set[i]].target, &others) } else { alone }
    };
    let parts: Vec<(usize, Area)> =
        (0..set.len()).map(|i| (i, own(i))).filter(|(_, own)| !own.is_empty()).collect();
    let (members, own): (Vec<usize>, Vec<Area>) = parts.into_iter().unzip();
    let pairs = members.iter().enumerate().flat_map(|(k, i)| members[..k].iter().map(move |j| (*i, *j)));
    let shared: Vec<Area> = pairs.map(|(i, j)| combine::intersection(&grounds[i], &grounds[j])).collect();
    let common = combine::union_all(&shared);
    if common.is_empty() {
        return;
    }
    let bounds: Vec<&Area> = members.iter().map(|&i| &grounds[i]).collect();
    let won = parted(&own, &bounds, &common, job.tow.width_mm);
    for (k, &i) in members.iter().enumerate() {
        let others: Vec<&Area> = won.iter().enumerate().filter(|(j, _)| *j != k).map(|(_, w)| w).collect();
        let lost = combine::intersection(&combine::union_all(others), &grounds[i]);
        give_up(&mut tasks[set[i]].target, &grounds[i], &lost);
    }
}

fn part_pairs(job: &Job, map: &Map, tasks: &mut [Task], set: &[usize]) {
    for (at, &i) in set.iter().enumerate() {
        for &j in &set[at + 1..] {
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
            let straight = plain(&tasks[i]) && plain(&tasks[j]);
            let for_b = straight.then(|| beyond(&own_a, &own_b, &common)).flatten().unwrap_or_else(|| {
                parted(&[own_a, own_b], &[&common, &common], &common, job.tow.width_mm)
                    .pop()
                    .unwrap_or_default()
            });
            let for_a = combine::difference(&common, &for_b);
            give_up(&mut tasks[i].target, &a, &for_b);
            give_up(&mut tasks[j].target, &b, &for_a);
        }
    }
}

/// What of two areas' common ground lies beyond the line half way between the
/// middles of what each has alone: straight, as rows that end at it want it. `None` where
/// both go on at either side, as two bars that cross: their middles tell no direction.
fn beyond(own_a: &Area, own_b: &Area, common: &Area) -> Option<Area> {
    if own_a.polygons().len() > 1 && own_b.polygons().len() > 1 {
        return None;
    }
    let (mid_a, mid_b, bounds) = (own_a.centroid()?, own_b.centroid()?, common.bounds()?);
    let across = (mid_b - mid_a).normalised()?;
    let middle = common.centroid().unwrap_or_else(|| bounds.centre());
    let far = bounds.hi.dist(bounds.lo) + 1.0;
    let (side, deep) = (across.left() * far, across * far);
    let half =
        combine::ring_area(&[middle - side, middle - side + deep, middle + side + deep, middle + side]);
    Some(combine::intersection(common, &half))
}

/// Ground too small to be parted, mm2.
const SPECK_MM2: f64 = 1e-3;

/// Where a region's courses come to lie if nothing is in their way; with what straps enclose or
/// without it, where a number of them is asked for.
pub(crate) fn ground(job: &Job, region: &Region, task: &Task, enclosed: bool) -> Area {
    let width = job.tow.width_mm;
    let deep = region.courses.map(|n| (f64_of(n) - 1.0).max(0.0) * region.spacing_mm + width);
    let clearance = job.beads.perimeters_mm();
    let between = |h: &Area, by: f64| hoops_between(h, clearance, width, region.min_bend_radius_mm, by);
    let hull = |areas: &[Area]| {
        let corners: Vec<_> = areas.iter().flat_map(Area::rings).flatten().copied().collect();
        combine::ring_area(&smooth::hull(&corners))
    };
    match (&task.target, deep) {
        (Target::Area(a), Some(deep)) => combine::difference(a, &offset::shrunk(a, deep, CHORD_MM)),
        (Target::Area(a), None) => a.clone(),
        (Target::Holes { room, .. } | Target::Pins { room, .. }, None) => room.clone(),
        (Target::Holes { holes, room, .. }, Some(deep)) => {
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

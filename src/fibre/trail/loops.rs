//! Closed courses whose tow trails: led once it is settled where they begin, then
//! measured as they come to lie.

use crate::fibre::ground::{self, Ground};
use crate::fibre::{Course, Kind, LayerCourses, TRAIL_MOST, stagger, trail, trails};
use crate::geom::Point;
use crate::job::Job;
use crate::reinforcement::{LeftOut, Reason};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// A loop: its kind of layers, and its place among their courses.
type Loop = (usize, usize);

/// A loop begun at a place.
type Begun = (Loop, [u64; 2]);

/// A loop as it is led, with its place among its layer's courses.
type Placed = (usize, Course);

/// Loops that lie astray wherever they are begun, as they are laid in pieces.
pub(super) type Parted = BTreeMap<Loop, Vec<Course>>;

/// Every so manyth of the places that ends are staggered among is tried for a loop that
/// would lie astray: sixteen to the round.
const EVERY: u32 = 3;

/// Of these one in so many is tried first, evenly spread; the others only where one of
/// the first is off by less than so many times what a course may be.
const FEW: u32 = 4;
const HOPELESS: f64 = 1.5;

/// Each layer's loops as they are led, with their places among its courses. `kind_of`
/// gives the kind of each layer. What begins alike in layers of a kind is led once.
///
/// A loop that would lie astray from where it begins is begun elsewhere, where it does not,
/// as clear of the ends in the layers below and above as can be: ends that lie close are
/// weaker than ends apart, and far stronger than no loop. One that lies astray wherever it is
/// begun is parted, alike in all layers of its kind. Gives the layers too whose ends
/// then lie nearer to those below than they are to, with how near.
pub(in crate::fibre) fn led(
    job: &Job,
    layers: &[LayerCourses],
    kind_of: &[usize],
    laid: &[Kind<'_>],
) -> (Vec<Vec<Placed>>, Parted, Vec<(usize, f64)>) {
    let own = |kind: usize| -> Vec<&Ground<'_>> {
        let grounds = laid.get(kind).map_or(&[][..], |(_, g)| g.as_slice());
        grounds.iter().flat_map(|g| std::iter::repeat_n(g, g.courses)).collect()
    };
    let mut todo: BTreeMap<Begun, (&Course, &Ground<'_>)> = BTreeMap::new();
    let mut wanted: Vec<Vec<Begun>> = Vec::with_capacity(layers.len());
    for (layer, &kind) in layers.iter().zip(kind_of) {
        let mut mine = Vec::new();
        for (at, (course, ground)) in layer.courses.iter().zip(own(kind)).enumerate() {
            if course.path().closed && trails(job.tow.trail_mm, ground.leads.radius) {
                let start = course.path().start().unwrap_or_default();
                let key = ((kind, at), [start.x.to_bits(), start.y.to_bits()]);
                todo.entry(key).or_insert((course, ground));
                mine.push(key);
            }
        }
        wanted.push(mine);
    }
    let todo: Vec<_> = todo.into_iter().collect();
    let done: BTreeMap<Begun, Course> =
        todo.par_iter().map(|(key, (c, g))| (*key, trail::led(c, &g.over, g.leads))).collect();
    let most_mm = TRAIL_MOST * job.tow.width_mm;
    let elsewhere = elsewhere(&done, laid, most_mm);
    let parted = parted_loops(&done, &elsewhere, laid);
    let mut out: Vec<Vec<(usize, Course)>> = Vec::with_capacity(layers.len());
    let mut ends: Vec<Vec<(String, Point)>> = layers.iter().map(ends).collect();
    let mut close: Vec<(usize, f64)> = Vec::new();
    for (i, keys) in wanted.into_iter().enumerate() {
        let mut mine: Vec<(usize, Course)> = Vec::with_capacity(keys.len());
        for key in keys {
            let Some(course) = done.get(&key) else { continue };
            let others = elsewhere.get(&key.0).filter(|_| astray(course, most_mm).is_some());
            let below = i.checked_sub(1).and_then(|below| ends.get(below)).map_or(&[][..], Vec::as_slice);
            let above = ends.get(i + 1).map_or(&[][..], Vec::as_slice);
            let anew = others.and_then(|others| begun_anew(job, others, [below, above]));
            if let (Some(from), Some(to)) = (course.wanted().start(), anew.and_then(|c| c.wanted().start())) {
                for (layer, beside) in [(i, below), (i + 1, above)] {
                    let [own, _] = stagger::clear(beside, &course.region, to, job.courses.end_stagger_mm);
                    if own < job.courses.end_stagger_mm {
                        close.push((layer, own));
                    }
                }
                let own = ends[i].iter_mut().find(|(r, p)| *r == course.region && p.dist(from) < 1e-9);
                if let Some(end) = own {
                    end.1 = to;
                }
            }
            mine.push((key.0.1, anew.unwrap_or(course).clone()));
        }
        out.push(mine);
    }
    (out, parted, close)
}

/// Where the closed courses of a layer begin and end, with their regions.
fn ends(layer: &LayerCourses) -> Vec<(String, Point)> {
    let loops = layer.courses.iter().filter(|c| c.path().closed);
    loops.filter_map(|c| Some((c.region.clone(), c.path().start()?))).collect()
}

/// Of each loop that would lie astray somewhere: how it is led from elsewhere, where it
/// does not.
fn elsewhere(done: &BTreeMap<Begun, Course>, laid: &[Kind<'_>], most_mm: f64) -> BTreeMap<Loop, Vec<Course>> {
    let mut bad: Vec<Loop> =
        done.iter().filter(|(_, c)| astray(c, most_mm).is_some()).map(|(k, _)| k.0).collect();
    bad.dedup();
    let led = |&(kind, at): &Loop| {
        let mut found = Vec::new();
        if let Some((layer, grounds)) = laid.get(kind)
            && let Some(course) = layer.courses.get(at)
            && let Some(ground) = grounds.iter().flat_map(|g| std::iter::repeat_n(g, g.courses)).nth(at)
        {
            let places = stagger::PLACES / EVERY;
            // every FEW-th place first: whether there is hope shows soon
            let in_turn = (0..FEW).flat_map(|first| (first..places).step_by(FEW as usize));
            let mut nearest = f64::INFINITY;
            for (tried, k) in in_turn.enumerate() {
                if tried * FEW as usize == places as usize && nearest > HOPELESS * most_mm {
                    break;
                }
                let share = f64::from(k * EVERY) / f64::from(stagger::PLACES);
                let begun = course.restarted(share * course.length_mm());
                let led = trail::led(&begun, &ground.over, ground.leads);
                nearest = nearest.min(trail::off(&led));
                found.push(led);
            }
            found.retain(|c| astray(c, most_mm).is_none());
        }
        ((kind, at), found)
    };
    bad.par_iter().map(led).collect()
}

/// Of each loop that lies astray from elsewhere too: what of it can be laid in pieces, begun
/// where it lies least astray.
fn parted_loops(
    done: &BTreeMap<Begun, Course>,
    elsewhere: &BTreeMap<Loop, Vec<Course>>,
    laid: &[Kind<'_>],
) -> Parted {
    let mut nearest: BTreeMap<Loop, &Course> = BTreeMap::new();
    for ((key, _), course) in done {
        if elsewhere.get(key).is_some_and(Vec::is_empty) {
            let best = nearest.entry(*key).or_insert(course);
            if trail::off(course) < trail::off(best) {
                *best = course;
            }
        }
    }
    let part = |(&(kind, at), course): (&Loop, &&Course)| {
        let grounds = laid.get(kind).map_or(&[][..], |(_, g)| g.as_slice());
        let ground = grounds.iter().flat_map(|g| std::iter::repeat_n(g, g.courses)).nth(at);
        let pieces = ground.map_or_else(Vec::new, |g| trail::parted(course, &g.over, g.leads));
        ((kind, at), pieces)
    };
    nearest.par_iter().map(part).collect()
}

/// Of the ways a loop is led from elsewhere the one clearest of the ends in the layers
/// beside; of those as clear the one nearest to its line.
fn begun_anew<'a>(job: &Job, others: &'a [Course], beside: [&[(String, Point)]; 2]) -> Option<&'a Course> {
    let clear = |c: &Course| {
        let start = c.wanted().start().unwrap_or_default();
        let from = |ends| stagger::clear(ends, &c.region, start, job.courses.end_stagger_mm);
        let ([own_a, all_a], [own_b, all_b]) = (from(beside[0]), from(beside[1]));
        [own_a.min(own_b), all_a.min(all_b)]
    };
    others.iter().max_by(|a, b| {
        let ([own_a, all_a], [own_b, all_b]) = (clear(a), clear(b));
        own_a.total_cmp(&own_b).then(all_a.total_cmp(&all_b)).then(trail::off(b).total_cmp(&trail::off(a)))
    })
}

/// Why a course is not laid, where its tow would lie further off than this.
fn astray(course: &Course, most_mm: f64) -> Option<Reason> {
    course.trail.as_ref()?.astray(most_mm)
}

/// Puts a layer's loops, of a kind, in their places as they are led, those that would lie astray
/// as they are parted, and measures the layer anew.
pub(in crate::fibre) fn land(
    job: &Job,
    layer: &mut LayerCourses,
    grounds: &[Ground<'_>],
    led: Vec<Placed>,
    (kind, parted): (usize, &Parted),
    number: usize,
) {
    if led.is_empty() {
        return;
    }
    for (at, course) in led {
        layer.courses[at] = course;
    }
    let mut courses = std::mem::take(&mut layer.courses).into_iter().enumerate();
    let mut measured = Vec::with_capacity(grounds.len());
    for ground in grounds {
        let first = layer.courses.len();
        let mut given_up_mm = ground.given_up_mm;
        for (at, course) in courses.by_ref().take(ground.courses) {
            let reason = astray(&course, TRAIL_MOST * job.tow.width_mm);
            let astray = reason.zip(course.trail.as_ref().map(|t| t.at_mm));
            let Some((reason, at_mm)) = astray else {
                layer.courses.push(course);
                continue;
            };
            let pieces = parted.get(&(kind, at)).cloned().unwrap_or_default();
            let laid: f64 = pieces.iter().map(|p| p.wanted().length()).sum();
            let length_mm = course.wanted().length() - laid;
            layer.courses.extend(pieces);
            given_up_mm += length_mm;
            layer.left_out.push(LeftOut {
                region: course.region.clone(),
                layer: number,
                reason,
                length_mm,
                at_mm: Some(at_mm),
            });
        }
        measured.push(match &ground.measured {
            Some(measured) => measured.clone(),
            None => ground.measure(&layer.courses[first..], given_up_mm),
        });
    }
    for (quality, _) in &mut measured {
        quality.layer = number;
    }
    ground::finish(layer, measured);
}

//! Closed courses whose tow trails: led once it is settled where they begin, then
//! measured as they come to lie.

use super::{Course, Ground, LayerCourses, LeftOut, TRAIL_MOST, finish, trail, trails};
use crate::job::Job;
use rayon::prelude::*;
use std::collections::BTreeMap;

/// A loop of a kind of layers, begun at a place.
type Begun = (usize, usize, [u64; 2]);

/// Each layer's loops as they are led, with their places among its courses. `kind_of`
/// gives the kind of each layer, `grounds` the regions of each. What begins alike in
/// layers of a kind is led once.
pub(super) fn led(
    job: &Job,
    layers: &[LayerCourses],
    kind_of: &[usize],
    grounds: &[&[Ground<'_>]],
) -> Vec<Vec<(usize, Course)>> {
    let mut todo: BTreeMap<Begun, (&Course, &Ground<'_>)> = BTreeMap::new();
    let mut wanted: Vec<Vec<Begun>> = Vec::with_capacity(layers.len());
    for ((layer, &kind), grounds) in layers.iter().zip(kind_of).zip(grounds) {
        let mut mine = Vec::new();
        let own = grounds.iter().flat_map(|g| std::iter::repeat_n(g, g.courses));
        for (at, (course, ground)) in layer.courses.iter().zip(own).enumerate() {
            if course.path().closed && trails(job.tow.trail_mm, ground.leads.radius) {
                let start = course.path().start().unwrap_or_default();
                let key = (kind, at, [start.x.to_bits(), start.y.to_bits()]);
                todo.entry(key).or_insert((course, ground));
                mine.push(key);
            }
        }
        wanted.push(mine);
    }
    let todo: Vec<_> = todo.into_iter().collect();
    let done: BTreeMap<Begun, Course> =
        todo.par_iter().map(|(key, (c, g))| (*key, trail::led(c, &g.walls, g.leads))).collect();
    let of_layer = |keys: Vec<Begun>| {
        keys.into_iter().filter_map(|k| Some((k.1, done.get(&k)?.clone()))).collect::<Vec<_>>()
    };
    wanted.into_iter().map(of_layer).collect()
}

/// Puts a layer's loops in their places as they are led, leaves out those that would lie
/// astray, and measures the layer anew.
pub(super) fn land(
    job: &Job,
    layer: &mut LayerCourses,
    grounds: &[Ground<'_>],
    led: Vec<(usize, Course)>,
    number: usize,
) {
    if led.is_empty() {
        return;
    }
    for (at, course) in led {
        layer.courses[at] = course;
    }
    let mut courses = std::mem::take(&mut layer.courses).into_iter();
    let mut measured = Vec::with_capacity(grounds.len());
    for ground in grounds {
        let first = layer.courses.len();
        let mut given_up_mm = ground.given_up_mm;
        for course in courses.by_ref().take(ground.courses) {
            let astray =
                course.trail.as_ref().and_then(|t| Some((t.astray(TRAIL_MOST * job.tow.width_mm)?, t.at_mm)));
            let Some((reason, at_mm)) = astray else {
                layer.courses.push(course);
                continue;
            };
            given_up_mm += course.length_mm();
            layer.left_out.push(LeftOut {
                region: course.region.clone(),
                layer: number,
                reason,
                length_mm: course.length_mm(),
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
    finish(layer, measured);
}

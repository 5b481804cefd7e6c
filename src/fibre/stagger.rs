//! Where closed courses begin and end.

use super::{LayerCourses, TRAIL_MM};
use crate::geom::{Path, Point};
use std::collections::VecDeque;

/// Places tried along a closed course.
pub(super) const PLACES: u32 = 48;

/// Layers below the next one whose ends are kept away from too, where there is room:
/// ends that only take turns between two places are two weak places.
const REMEMBERED: usize = 5;

/// Moves the ends of closed courses so that none lies within `distance` mm of an
/// end in the layer below, nor of one in the few layers before where it can be had.
/// Tow that trails by `trail` mm begins and ends where its line is calm, if it may.
/// Gives the layers, counted from 0, where the part is too small for that, with the
/// distance that was reached.
pub(super) fn stagger(layers: &mut [LayerCourses], distance: f64, trail: Option<f64>) -> Vec<(usize, f64)> {
    let mut short = Vec::new();
    let mut below: Vec<(String, Point)> = Vec::new();
    let mut older: VecDeque<Vec<(String, Point)>> = VecDeque::new();
    for (i, layer) in layers.iter_mut().enumerate() {
        let mut here: Vec<(String, Point)> = Vec::new();
        let mut worst = f64::INFINITY;
        for course in &mut layer.courses {
            if !course.path().closed {
                continue;
            }
            let length = course.length_mm();
            // ends of one region stay together: the layer above then finds room
            let own = |ends: &[(String, Point)]| -> Vec<Point> {
                ends.iter().filter(|(r, _)| *r == course.region).map(|(_, q)| *q).collect()
            };
            let (own_here, own_below) = (own(&here), own(&below));
            let own_older: Vec<Vec<Point>> = older.iter().map(|ends| own(ends)).collect();
            let nearest = |ends: &[Point], p: Point, most: f64| {
                ends.iter().map(|q| (*q - p).norm2()).fold(f64::INFINITY, f64::min).sqrt().min(most)
            };
            let beside = |p: Point| nearest(&own_here, p, f64::INFINITY);
            // the nearer a layer is, the more its ends count
            let long_before = |p: Point| -> f64 {
                let weighed = |(sum, weight): (f64, f64), ends: &Vec<Point>| {
                    (sum + weight * nearest(ends, p, distance), 0.5 * weight)
                };
                own_older.iter().fold((0.0, 1.0), weighed).0
            };
            let first = own_here.is_empty();
            let all_below: Vec<Point> = below.iter().map(|(_, q)| *q).collect();
            let off = Ends::of(course.path(), trail);
            let mut best: Option<([f64; 4], f64, Point)> = None;
            for k in 0..PLACES {
                let s = length * f64::from(k) / f64::from(PLACES);
                let Some(p) = course.path().point_at(s) else { continue };
                let third = if first { long_before(p) } else { -beside(p) };
                let [own, all] = [&own_below, &all_below].map(|ends| nearest(ends, p, distance));
                let score = [own, all, -off.told(s), third];
                let better = |old: &[f64; 4]| {
                    let unequal = score.iter().zip(old).find(|(a, b)| (**a - **b).abs() > 1e-9);
                    unequal.is_some_and(|(a, b)| a > b)
                };
                if best.as_ref().is_none_or(|(old, ..)| better(old)) {
                    best = Some((score, s, p));
                }
            }
            if let Some((score, s, p)) = best {
                if s > 0.0 {
                    *course = course.restarted(s);
                }
                worst = worst.min(score[0]);
                here.push((course.region.clone(), p));
            }
        }
        if worst < distance {
            short.push((i, worst));
        }
        older.push_front(std::mem::replace(&mut below, here));
        older.truncate(REMEMBERED);
    }
    short
}

/// How far a place keeps from ends: from those of its own region, then from all; beyond
/// `distance` mm it does not matter.
pub(super) fn clear(ends: &[(String, Point)], region: &str, p: Point, distance: f64) -> [f64; 2] {
    let nearest = |own: bool| {
        let ends = ends.iter().filter(|(r, _)| !own || r == region);
        ends.map(|(_, q)| q.dist(p)).fold(distance, f64::min)
    };
    [nearest(true), nearest(false)]
}

/// How far off its line the tow of a closed course lies where it begins and ends.
struct Ends {
    /// Of each segment: length along the course where it begins and ends, and curvature.
    bends: Vec<([f64; 2], f64)>,
    total: f64,
    trail: Option<f64>,
}

/// Share of distance^2 / radius by which tow lies off its line where it begins and ends in
/// a bend: a straight that meets the circle at its end, led to its beginning from outside,
/// is off by 0.086 of it at least; ways that bend no tighter than they may leave half as
/// much again and more.
const SHARE: f64 = 0.13;

/// How far from the ends bends matter, in distances: what the last straight is led in by
/// and what makes up for the start.
const ROUND: f64 = 2.0;

impl Ends {
    fn of(path: &Path, trail: Option<f64>) -> Self {
        let mut total = 0.0;
        let bends = path
            .segments
            .iter()
            .map(|s| {
                let from = total;
                total += s.length();
                ([from, total], 1.0 / s.radius())
            })
            .collect();
        Self { bends, total, trail }
    }

    /// Beyond what is told, mm, for a course begun at this length along it.
    fn told(&self, at: f64) -> f64 {
        let Some(distance) = self.trail else { return 0.0 };
        let near = |&&([from, to], _): &&([f64; 2], f64)| {
            [-self.total, 0.0, self.total]
                .iter()
                .any(|lap| from < at + lap + ROUND * distance && at + lap - ROUND * distance < to)
        };
        let bend = self.bends.iter().filter(near).map(|b| b.1).fold(0.0, f64::max);
        (SHARE * distance * distance * bend - TRAIL_MM).max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::super::Course;
    use super::*;
    use crate::geom::{Arc, Segment, pt};
    use crate::job::Rule;

    /// A hoop of two half circles, its length 2 pi radius.
    fn hoop(radius: f64) -> LayerCourses {
        let (right, left) = (pt(radius, 0.0), pt(-radius, 0.0));
        let arc = |from, to| Segment::Arc(Arc { from, to, centre: pt(0.0, 0.0), ccw: true });
        let path = Path::new(vec![arc(right, left), arc(left, right)], true);
        let course = Course::new("pin".into(), Rule::Hoop, 0, path, 1.0, 1.0).expect("a legal hoop");
        LayerCourses { courses: vec![course], ..LayerCourses::default() }
    }

    #[test]
    fn ends_keep_apart_and_do_not_take_turns_between_two_places() {
        // 94 mm round: room for nine ends 10 mm apart
        let mut layers: Vec<LayerCourses> = (0..12).map(|_| hoop(15.0)).collect();
        assert!(stagger(&mut layers, 10.0, None).is_empty(), "room enough in every layer");
        let ends: Vec<Point> = layers.iter().map(|l| l.courses[0].path().start().expect("a start")).collect();
        for w in ends.windows(REMEMBERED + 2) {
            for (i, p) in w.iter().enumerate() {
                for q in &w[i + 1..] {
                    assert!(p.dist(*q) > 9.9, "{p:?} and {q:?} among {w:?}");
                }
            }
        }
    }

    #[test]
    fn a_hoop_without_room_is_told_with_what_it_reached() {
        let mut layers: Vec<LayerCourses> = (0..3).map(|_| hoop(4.0)).collect();
        let short = stagger(&mut layers, 10.0, None);
        assert_eq!(short.iter().map(|s| s.0).collect::<Vec<_>>(), [1, 2]);
        assert!(short.iter().all(|s| s.1 > 7.9 && s.1 <= 8.0), "its diameter is all there is: {short:?}");
    }
}

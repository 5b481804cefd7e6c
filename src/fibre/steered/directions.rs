//! Directions between the points of a field.
//!
//! Each point says how directions turn about it, by a plane through those of its
//! neighbours, and a place takes what the points near it say there, by inverse squared
//! distance: the modified quadratic Shepard method (Franke & Nielson, Int. J. Numer.
//! Meth. Engng 15 (1980) 1691-1704; Renka, ACM TOMS 14 (1988) 139-148; from memory) with
//! planes for its quadratics. Without them directions would hardly turn near a point and
//! hurry between two: circles would be told as polygons.

use crate::count::f64_of;
use crate::geom::{Point, trig};
use crate::job::Field;
use crate::job::field::Sample;
use rstar::RTree;
use rstar::primitives::GeomWithData;
use std::collections::BTreeMap;
use std::f64::consts::{FRAC_PI_2, PI};

/// Points that a direction is averaged over.
const NEAREST: usize = 8;

/// Points that tell how directions turn about one.
const NEIGHBOURS: usize = 6;

/// Points nearer than this are one place, mm.
const SAME_MM: f64 = 1e-6;

/// Share of a plane's slope that is given up where its points hardly tell it: across the
/// line that they lie along it is none.
const HARDLY_TOLD: f64 = 1e-3;

/// A field that can be asked anywhere.
#[derive(Debug)]
pub(crate) struct Directions {
    tree: RTree<GeomWithData<[f64; 2], Node>>,
}

/// A point of a field.
#[derive(Clone, Copy, Debug)]
struct Node {
    /// Its direction, radians.
    angle: f64,
    weight: f64,
    /// How much further the direction is a mm further along x and y, radians.
    slope: Point,
    /// Among its neighbours it turns back by no more than the first and on by no more than
    /// the second, radians: nothing is told beyond them.
    turns: (f64, f64),
}

impl Node {
    /// The direction that it tells of a place, radians.
    fn at(&self, from: Point) -> f64 {
        self.angle + self.slope.dot(from).clamp(self.turns.0, self.turns.1)
    }
}

impl Directions {
    pub(crate) fn new(field: &Field) -> Self {
        let samples = merged(&field.samples);
        let places = samples.iter().enumerate().map(|(i, s)| GeomWithData::new(s.at_mm, i));
        let places = RTree::bulk_load(places.collect());
        let node = |s: &Sample| {
            let own = Point::new(s.at_mm[0], s.at_mm[1]);
            let near = places.nearest_neighbor_iter(s.at_mm).map(|g| (g, &samples[g.data]));
            let away = near.map(|(g, other)| {
                let [x, y] = *g.geom();
                (Point::new(x, y) - own, turn(s, other))
            });
            let others: Vec<(Point, f64)> =
                away.filter(|(from, _)| from.norm() > SAME_MM).take(NEIGHBOURS).collect();
            let turns = others.iter().fold((0.0_f64, 0.0_f64), |t, (_, by)| (t.0.min(*by), t.1.max(*by)));
            let node =
                Node { angle: s.angle_deg.to_radians(), weight: s.weight, slope: slope(&others), turns };
            GeomWithData::new(s.at_mm, node)
        };
        Self { tree: RTree::bulk_load(samples.iter().map(node).collect()) }
    }

    /// The direction at a point, radians.
    pub(crate) fn at(&self, p: Point) -> f64 {
        let mut near = self.tree.nearest_neighbor_iter([p.x, p.y]);
        let from = |g: &GeomWithData<[f64; 2], Node>| {
            let [x, y] = *g.geom();
            p - Point::new(x, y)
        };
        let nearest: Vec<(Point, Node)> = near.by_ref().take(NEAREST).map(|g| (from(g), g.data)).collect();
        // the one beyond counts nothing: as one comes in and another goes out nothing jumps
        let reach = near.next().map(|g| from(g).norm());
        let mut sum = Point::default();
        for (from, node) in nearest {
            let d = from.norm();
            let share = reach.map_or(1.0, |reach| (1.0 - d / reach.max(SAME_MM)).max(0.0));
            // twice the angle: directions have no sense
            let (sin, cos) = trig::sin_cos(2.0 * node.at(from));
            sum = sum + Point::new(cos, sin) * (node.weight * share * share / (d * d + SAME_MM));
        }
        0.5 * trig::atan2(sum.y, sum.x)
    }
}

/// One sample for each place: as many as count towards a direction may lie at one, as where a
/// solid's points are told without their height, and none about it would.
fn merged(samples: &[Sample]) -> Vec<Sample> {
    #[expect(clippy::cast_possible_truncation, reason = "a place in mm, in steps of a nanometre")]
    let step = |v: f64| (v / SAME_MM).round() as i64;
    let mut seen: BTreeMap<[i64; 2], usize> = BTreeMap::new();
    let mut places: Vec<Vec<&Sample>> = Vec::new();
    for s in samples {
        let place = *seen.entry(s.at_mm.map(step)).or_insert(places.len());
        match places.get_mut(place) {
            Some(here) => here.push(s),
            None => places.push(vec![s]),
        }
    }
    let one = |here: &Vec<&Sample>| {
        let first = *here[0];
        if here.len() == 1 {
            return first;
        }
        let sum = here.iter().fold(Point::default(), |sum, s| {
            let (sin, cos) = trig::sin_cos(2.0 * s.angle_deg.to_radians());
            sum + Point::new(cos, sin) * s.weight
        });
        let weight = sum.norm() / f64_of(here.len());
        Sample { angle_deg: (0.5 * trig::atan2(sum.y, sum.x)).to_degrees(), weight, ..first }
    };
    places.iter().map(one).collect()
}

/// The turn from the direction of one point to that of another, radians, at most a right
/// angle.
fn turn(from: &Sample, to: &Sample) -> f64 {
    let by = (to.angle_deg - from.angle_deg).to_radians();
    (by + FRAC_PI_2).rem_euclid(PI) - FRAC_PI_2
}

/// The slope of the plane through a point and, as nearly as can be, its neighbours: near ones
/// count more, and turns by nearly a right angle little, which might as well be the other way.
fn slope(others: &[(Point, f64)]) -> Point {
    let (mut xx, mut xy, mut yy, mut x, mut y, mut all) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for (from, by) in others {
        let d2 = from.norm2();
        let (_, cos) = trig::sin_cos(*by);
        let w = cos * cos / (d2 * d2);
        xx += w * from.x * from.x;
        xy += w * from.x * from.y;
        yy += w * from.y * from.y;
        x += w * from.x * by;
        y += w * from.y * by;
        all += w * by * by;
    }
    let hardly = HARDLY_TOLD * (xx + yy);
    let (xx, yy) = (xx + hardly, yy + hardly);
    let whole = xx * yy - xy * xy;
    if whole <= 0.0 || all <= 0.0 {
        return Point::default();
    }
    let slope = Point::new(x * yy - y * xy, y * xx - x * xy) * (1.0 / whole);
    // round a singular point, and where neighbours scatter, no plane tells how they turn: one
    // that explains three quarters of it counts a third
    let explained = ((slope.x * x + slope.y * y) / all).clamp(0.0, 1.0);
    slope * (explained * explained * explained * explained)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::pt;

    fn field(points: &[(f64, f64, f64)]) -> Directions {
        let sample = |&(x, y, angle_deg): &(f64, f64, f64)| Sample { at_mm: [x, y], angle_deg, weight: 1.0 };
        Directions::new(&Field { samples: points.iter().map(sample).collect() })
    }

    /// How far a direction is off, degrees.
    fn off(is: f64, asked_deg: f64) -> f64 {
        let by = (is.to_degrees() - asked_deg).rem_euclid(180.0);
        by.min(180.0 - by)
    }

    #[test]
    fn as_many_samples_as_may_be_at_one_place_say_what_one_says() {
        let many = |x: f64, angle: f64, n: usize| std::iter::repeat_n((x, 0.0, angle), n);
        for n in [1, 2, 8, 9, 30] {
            let points: Vec<_> = many(0.0, 45.0, n).chain(many(60.0, 45.0, n)).collect();
            let asked = field(&points);
            for p in [pt(0.0, 0.0), pt(20.0, 5.0), pt(30.0, 0.0), pt(70.0, -40.0)] {
                assert!(off(asked.at(p), 45.0) < 1e-6, "{n} samples: {} at {p:?}", asked.at(p).to_degrees());
            }
        }
        // 170 and 10 degrees are the same 10 degrees from 0 on either side
        let across: Vec<_> = (0..10).map(|k| (0.0, 0.0, if k < 5 { 170.0 } else { 10.0 })).collect();
        assert!(off(field(&across).at(pt(3.0, 4.0)), 0.0) < 1e-6);
    }

    #[test]
    fn between_two_points_directions_turn_evenly_and_beyond_them_no_more() {
        let two = field(&[(0.0, 0.0, 0.0), (60.0, 0.0, 60.0)]);
        for (x, asked) in
            [(-20.0, 0.0), (0.0, 0.0), (6.0, 6.0), (15.0, 15.0), (30.0, 30.0), (50.0, 50.0), (90.0, 60.0)]
        {
            for y in [-5.0, 0.0, 5.0] {
                let is = two.at(pt(x, y));
                assert!(off(is, asked) < 1.0, "x {x} y {y}: {:.2} for {asked}", is.to_degrees());
            }
        }
        // the shorter way round, through 0
        let across = field(&[(0.0, 0.0, 170.0), (10.0, 0.0, 10.0)]);
        assert!(off(across.at(pt(5.0, 0.0)), 0.0) < 0.1);
        assert!(off(field(&[(3.0, 4.0, 25.0)]).at(pt(90.0, -7.0)), 25.0) < 1e-6, "one point");
    }

    #[test]
    fn a_dozen_points_on_a_circle_are_a_circle() {
        let points: Vec<(f64, f64, f64)> = (0..12)
            .map(|k| {
                let deg = 30.0 * f64::from(k);
                let p = Point::unit(deg.to_radians()) * 24.5;
                (p.x, p.y, deg + 90.0)
            })
            .collect();
        let ring = field(&points);
        let mut worst = 0.0_f64;
        for k in 0..360 {
            for r in [21.0, 24.5, 28.0] {
                let deg = f64::from(k);
                let is = ring.at(Point::unit(deg.to_radians()) * r);
                worst = worst.max(off(is, deg + 90.0));
            }
        }
        // by inverse squared distance alone 5.9
        assert!(worst < 2.0, "{worst:.2} degrees off");
    }

    #[test]
    fn what_the_points_say_is_met_and_nothing_jumps() {
        // directions of all sorts, in a scatter, a second point upon one of them
        let mut points: Vec<(f64, f64, f64)> = Vec::new();
        for k in 0..60 {
            let at = f64::from(k);
            points.push(((at * 37.0) % 50.0, (at * 23.7) % 40.0, 40.0 * trig::sin_cos(at).0));
        }
        points.push((points[7].0, points[7].1, points[7].2));
        let scatter = field(&points);
        for (x, y, asked) in &points {
            assert!(off(scatter.at(pt(*x, *y)), *asked) < 0.1, "at x {x} y {y}");
        }
        let mut before = scatter.at(pt(0.0, 20.0));
        for k in 1..50_000 {
            let here = scatter.at(pt(f64::from(k) * 1e-3, 20.0 + trig::sin_cos(f64::from(k) * 1e-3).0));
            assert!(off(here, before.to_degrees()) < 0.5, "at x {}", f64::from(k) * 1e-3);
            before = here;
        }
    }
}

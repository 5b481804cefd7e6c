//! The part of an area along whose boundary tow can be led as it is: without teeth too narrow
//! to turn in, round notches and corners too tight to follow.

use super::nearest::Lines;
use super::smooth::{disc, rounded_up, smallest_circle, working_radius};
use super::{Area, Point, bend, combine, offset, polyline, pt};

/// Corners of the solid that turn by less are chords of an arc or passed by fitting, radians.
const KINK_RAD: f64 = 0.12;

/// Points of one corner bend no wider than this share of the radius.
const TIGHT: f64 = 0.9;

/// Between two of them may lie points at which rounding turns a line the other way.
const BETWEEN: usize = 3;

/// So far from what a disc can roll on, in mm, a corner of the solid has to be gone round.
const PROUD_MM: f64 = 0.02;

/// Of a notch what lies at least this share of its depth out has to be gone round; the rest is
/// its flanks.
const OUTMOST: f64 = 0.7;

/// Two corners that a circle of this share of the radius holds are passed in one swing.
const JOINED: f64 = 0.9;

/// The part of `area` whose boundary bends no tighter than `radius` to either side, but for
/// crossings of what was taken away; all of it lies in the area.
///
/// Places that no disc of the radius reaches are left out, and the mouths of teeth crossed
/// straight. Corners of the solid that are too tight get a disc that touches them from inside,
/// and a disc is rolled once more round what that leaves.
pub fn followable(area: &Area, radius: f64) -> Area {
    let chord = bend::PROPOSAL_CHORD_MM;
    let radius = working_radius(radius);
    let within = bridged(&offset::opened(area, radius, chord), radius);
    let Some(b) = within.bounds() else { return within };
    let far = 4.0 * radius;
    let (lo, hi) = (b.lo - pt(far, far), b.hi + pt(far, far));
    let frame = combine::ring_area(&[lo, pt(hi.x, lo.y), hi, pt(lo.x, hi.y)]);
    let solid = combine::difference(&frame, &within);
    let smooth = offset::opened(&solid, radius, chord);
    let rolled = Lines::boundary(&smooth);
    let proud = |p: &Point| if rolled.enclose(*p) { 0.0 } else { rolled.distance(*p) };
    let tight = combine::difference(&solid, &offset::grown(&smooth, 0.5 * PROUD_MM, chord));
    let solid = Lines::boundary(&solid);
    let mut knobs: Vec<Knob> = Vec::new();
    for notch in tight.polygons() {
        let ring = notch.outer();
        let deepest = ring.iter().map(proud).fold(0.0, f64::max);
        // the frame's own corners are no part of the solid
        let beside = ring.iter().any(|p| within_box(*p, lo + pt(radius, radius), hi - pt(radius, radius)));
        if !beside || deepest < PROUD_MM {
            continue;
        }
        let outmost: Vec<Point> = ring.iter().copied().filter(|p| proud(p) >= OUTMOST * deepest).collect();
        // straight to what is not proud: a knob hardly so is too slender to have a middle
        let Some((centre, _)) = smallest_circle(&outmost) else { continue };
        let Some((into, _)) = rolled.nearest(centre) else { continue };
        let knob = Knob { outmost, into };
        // two corners of one knob are passed in one swing
        match knobs.iter_mut().find_map(|k| k.joined(&knob, radius, &solid).map(|j| (k, j))) {
            Some((k, joined)) => *k = joined,
            None => knobs.push(knob),
        }
    }
    let rounds: Vec<Area> = knobs.iter().map(|k| k.round(radius)).collect();
    if rounds.is_empty() {
        return within;
    }
    let clear = combine::difference_all(&within, &rounds);
    bridged(&offset::opened(&clear, radius, chord), radius)
}

fn within_box(p: Point, lo: Point, hi: Point) -> bool {
    p.x > lo.x && p.y > lo.y && p.x < hi.x && p.y < hi.y
}

/// A place where the solid stands out too sharply.
struct Knob {
    /// What has to be gone round.
    outmost: Vec<Point>,
    /// A place deeper in it.
    into: Point,
}

impl Knob {
    /// Both as one, where one disc holds them with nothing but solid between.
    fn joined(&self, other: &Self, radius: f64, solid: &Lines) -> Option<Self> {
        if self.into.dist(other.into) > 4.0 * radius {
            return None;
        }
        let outmost: Vec<Point> = self.outmost.iter().chain(&other.outmost).copied().collect();
        let into = self.into.lerp(other.into, 0.5);
        let (centre, r) = smallest_circle(&outmost)?;
        let between = [0.25, 0.5, 0.75].map(|t| self.into.lerp(other.into, t));
        let one =
            r < JOINED * radius && centre.dist(into) < radius && between.iter().all(|p| solid.enclose(*p));
        one.then_some(Self { outmost, into })
    }

    /// A disc that the place touches from inside, as deep in it as it goes, or what encloses
    /// it where it is too broad.
    fn round(&self, radius: f64) -> Area {
        let chord = bend::PROPOSAL_CHORD_MM;
        let Some((centre, _)) = smallest_circle(&self.outmost).filter(|(_, r)| *r <= radius) else {
            return rounded_up(&self.outmost, radius);
        };
        let Some(deeper) = (self.into - centre).normalised() else { return disc(centre, radius, chord) };
        let holds = |c: Point| self.outmost.iter().all(|p| p.dist(c) <= radius);
        let (mut least, mut most) = (0.0, 2.0 * radius);
        for _ in 0..30 {
            let middle = 0.5 * (least + most);
            if holds(centre + deeper * middle) { least = middle } else { most = middle }
        }
        disc(centre + deeper * least, radius, chord)
    }
}

/// An area that discs of the radius were rolled in, with the mouths of what they could not
/// enter crossed straight and not in an arc that bulges into them.
fn bridged(area: &Area, radius: f64) -> Area {
    let mut bulges: Vec<Area> = Vec::new();
    for ring in area.rings() {
        let n = ring.len();
        let turn_in = |ring: &[Point], i: usize| {
            let (a, b, c) = (ring[(i + n - 1) % n], ring[i], ring[(i + 1) % n]);
            (b - a).turn_to(c - b)
        };
        // begun where it turns most to the left: in no corner of the solid
        let first = (0..n).max_by(|&i, &j| turn_in(ring, i).total_cmp(&turn_in(ring, j))).unwrap_or(0);
        let ring: Vec<Point> = ring[first..].iter().chain(&ring[..first]).copied().collect();
        let turn = |i: usize| turn_in(&ring, i);
        // a corner is several points where it is round: first, last, and what they turn by
        let mut kinks: Vec<(usize, usize, f64)> = Vec::new();
        for i in (0..n).filter(|&i| turn(i) < 0.0) {
            let tight = |from: usize| ring[from].dist(ring[i]) < TIGHT * radius * turn(i).abs();
            match kinks.last_mut() {
                Some(k) if i <= k.1 + BETWEEN && tight(k.1) => *k = (k.0, i, k.2 + turn(i)),
                _ => kinks.push((i, i, turn(i))),
            }
        }
        kinks.retain(|k| k.2 < -KINK_RAD);
        for (k, &(begin, from, _)) in kinks.iter().enumerate() {
            let (to, end, _) = kinks[(k + 1) % kinks.len()];
            let between = |a: usize, b: usize| {
                let steps = (b + n - a) % n;
                (0..=steps).map(|s| ring[(a + s) % n]).collect::<Vec<Point>>()
            };
            let mouth = between(from, to);
            let (a, b) = (ring[from], ring[to]);
            let bulges_out = mouth.iter().all(|p| (b - a).cross(*p - a) <= 1e-9);
            if mouth.len() > 2
                && a.dist(b) <= 2.0 * radius
                && polyline::length(&mouth) <= 3.2 * radius
                && bulges_out
            {
                let mut bulge = between(begin, end);
                let across = taut(&bulge);
                bulge.extend(across.into_iter().rev());
                bulges.push(combine::ring_area(&bulge));
            }
        }
    }
    if bulges.is_empty() { area.clone() } else { combine::difference_all(area, &bulges) }
}

/// The shortest way along a line that keeps to its left.
fn taut(line: &[Point]) -> Vec<Point> {
    let mut way: Vec<Point> = Vec::new();
    for p in line {
        while let [.., a, b] = way.as_slice()
            && (*b - *a).cross(*p - *b) >= 0.0
        {
            way.pop();
        }
        way.push(*p);
    }
    way
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{Path, swing};
    use std::f64::consts::TAU;

    const RADIUS: f64 = 4.0;

    fn rect(x: [f64; 2], y: [f64; 2]) -> Area {
        combine::ring_area(&[pt(x[0], y[0]), pt(x[1], y[0]), pt(x[1], y[1]), pt(x[0], y[1])])
    }

    /// One closed line within the area along the outside of its followable part; how much of it
    /// is left, and how far the part reaches.
    fn led(area: &Area) -> (f64, Area) {
        let part = followable(area, RADIUS);
        assert!(combine::difference(&part, &offset::grown(area, 0.012, 1e-3)).is_empty(), "leaves the area");
        // what is left of corners is passed by easing
        let edge = Lines::boundary(area);
        let free =
            |path: &Path| path.flatten(0.01).iter().all(|p| edge.enclose(*p) || edge.distance(*p) < 0.03);
        let corners = swing::Corners { radius: RADIUS, lean: false, free: &free };
        let fit = swing::eased(part.polygons()[0].outer(), true, 0.02, corners);
        assert!(fit.kinks.is_empty() && fit.pieces.len() == 1, "{:?}", fit.kinks);
        assert!(fit.pieces[0].closed && fit.pieces[0].min_radius() >= RADIUS);
        (part.area() / area.area(), part)
    }

    #[test]
    fn teeth_are_passed_at_their_roots() {
        for teeth in [8_u32, 24, 60] {
            let ring: Vec<Point> = (0..4 * teeth)
                .map(|k| {
                    let r = if k % 4 < 2 { 39.0 } else { 39.8 };
                    Point::unit(TAU * f64::from(k) / f64::from(4 * teeth)) * r
                })
                .collect();
            let gear = combine::ring_area(&ring);
            // where middle lines may lie the corners of the solid are round
            let (inside, _) = led(&offset::shrunk(&gear, 1.3, 1e-3));
            assert!(inside > 0.95, "{teeth}, inside: {inside}");
            let (share, part) = led(&gear);
            assert!(share > 0.95, "{teeth}: {share}");
            let least = part.polygons()[0].outer().iter().map(|p| p.norm()).fold(f64::INFINITY, f64::min);
            // chords over the mouths of teeth, arcs over those of their gaps
            assert!(least > 37.9, "{teeth}: down to {least} mm from the middle");
        }
    }

    #[test]
    fn all_teeth_are_passed_alike() {
        // teeth of straight flanks, roots of 6 mm, turned so that no two lie alike on the grid
        let teeth = 12_u32;
        let corners = [(0.0, 26.0), (0.22, 26.0), (0.3, 31.0), (0.92, 31.0)];
        let ring: Vec<Point> = (0..4 * teeth)
            .map(|k| {
                let (share, r) = corners[(k % 4) as usize];
                Point::unit(0.1 + TAU * (f64::from(k / 4) + share) / f64::from(teeth)) * r
            })
            .collect();
        let (_, part) = led(&offset::shrunk(&combine::ring_area(&ring), 1.3, 1e-3));
        let outer = part.polygons()[0].outer();
        let far: Vec<f64> = (0..teeth)
            .map(|k| {
                let within = |p: &&Point| {
                    let share = (p.angle() - 0.1).rem_euclid(TAU) / TAU * f64::from(teeth);
                    share >= f64::from(k) && share < f64::from(k + 1)
                };
                outer.iter().filter(within).map(|p| p.norm()).fold(f64::INFINITY, f64::min)
            })
            .collect();
        let [lo, hi] = [f64::min, f64::max].map(|of| far.iter().copied().reduce(of).unwrap_or(0.0));
        assert!(hi - lo < 0.05, "{far:?}");
    }

    #[test]
    fn teeth_of_any_number_leave_most() {
        for teeth in [8_u32, 16, 40] {
            let ring: Vec<Point> = (0..4 * teeth)
                .map(|k| {
                    Point::unit(TAU * f64::from(k) / f64::from(4 * teeth))
                        * if k % 4 < 2 { 39.0 } else { 39.8 }
                })
                .collect();
            let (share, _) = led(&offset::shrunk(&combine::ring_area(&ring), 1.3, 1e-3));
            assert!(share > 0.95, "{teeth}: {share}");
        }
    }

    #[test]
    fn a_tooth_is_crossed_straight() {
        let (_, part) =
            led(&combine::union(&rect([0.0, 60.0], [0.0, 30.0]), &rect([27.0, 33.0], [30.0, 34.0])));
        let top = part.polygons()[0].outer().iter().filter(|p| (p.x - 30.0).abs() < 20.0 && p.y > 15.0);
        for p in top {
            assert!((p.y - 30.0).abs() < 0.02, "{p:?}");
        }
    }

    #[test]
    fn a_notch_is_gone_round_close_to_its_corners() {
        let (share, part) =
            led(&combine::difference(&rect([0.0, 60.0], [0.0, 30.0]), &rect([27.0, 33.0], [27.0, 31.0])));
        assert!(share > 0.95, "{share}");
        let lowest = part.polygons()[0]
            .outer()
            .iter()
            .filter(|p| (p.x - 30.0).abs() < 3.0 && p.y > 15.0)
            .map(|p| p.y)
            .fold(f64::INFINITY, f64::min);
        // closed form: a circle of r through two corners 6 mm apart stands r - sqrt(r^2 - 9)
        // proud of the chord between them
        let r = working_radius(RADIUS);
        let form = 27.0 - (r - (r * r - 9.0).sqrt());
        assert!((lowest - form).abs() < 0.4, "{lowest}, not {form}");
    }

    #[test]
    fn a_solid_corner_is_touched_by_a_swing_on_both_sides() {
        let corner = combine::difference(&rect([0.0, 60.0], [0.0, 60.0]), &rect([30.0, 61.0], [30.0, 61.0]));
        let (_, part) = led(&corner);
        let near =
            part.polygons()[0].outer().iter().map(|p| p.dist(pt(30.0, 30.0))).fold(f64::INFINITY, f64::min);
        assert!(near < 0.1, "{near} mm from the corner");
    }

    #[test]
    fn a_noisy_edge_is_evened() {
        let n = 5_000;
        let ring: Vec<Point> = (0..n)
            .map(|k| {
                let r = 60.0 + 0.01 * f64::from(k * k % 977) / 977.0;
                Point::unit(TAU * f64::from(k) / f64::from(n)) * r
            })
            .collect();
        let (share, _) = led(&combine::ring_area(&ring));
        assert!(share > 0.999, "{share}");
    }
}

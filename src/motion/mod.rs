//! Speeds along the moves, and so the time that they take.
//!
//! Trapezoids with look-ahead: a run of legs starts and ends at rest, and is
//! nowhere faster than its legs, its corners and its bends allow. Corners by
//! deviation: a machine that may round a corner by `dev` passes it at
//! v = sqrt(a R), R = dev s / (1 - s), s = sin(phi / 2), phi the angle between
//! the legs. Bends at v = sqrt(a R), on arcs and on chorded arcs alike: the
//! corner rule alone grows weaker as chords grow finer.
//!
//! Trapezoid: Biagiotti & Melchiorri, *Trajectory Planning for Automatic Machines
//! and Robots*, Springer 2008, chapter 3 (from memory).

use crate::geom::{Point, Segment, trig};

/// A piece of motion that runs into the next one without a stop being asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Leg {
    /// Where it runs in the plane, mm. A leg in z alone has coinciding ends.
    pub path: Segment,
    /// Change of height, mm.
    pub dz: f64,
    /// Speed asked for, mm/s.
    pub speed_mm_s: f64,
    /// Acceleration, mm/s2.
    pub acceleration_mm_s2: f64,
}

impl Leg {
    /// Length, mm.
    pub fn length(&self) -> f64 {
        trig::hypot(self.path.length(), self.dz)
    }
}

/// Seconds for a distance between two speeds, at most `v` and `a` (mm, mm/s,
/// mm/s2). The speeds must be reachable: |v1^2 - v0^2| <= 2 a d.
pub fn trapezoid(d: f64, v: f64, a: f64, v0: f64, v1: f64) -> f64 {
    if d <= 0.0 {
        return 0.0;
    }
    let peak = v.min((a * d + 0.5 * (v0 * v0 + v1 * v1)).sqrt()).max(v0).max(v1);
    let ramps = (2.0 * peak * peak - v0 * v0 - v1 * v1) / (2.0 * a);
    (peak - v0) / a + (peak - v1) / a + (d - ramps).max(0.0) / peak
}

/// Fastest passage of a corner that may be rounded by `deviation`, mm/s. `phi` is
/// the angle between the legs, radians: pi is straight on.
pub fn corner_speed(phi: f64, acceleration: f64, deviation: f64) -> f64 {
    let s = trig::sin(0.5 * phi);
    if s >= 1.0 - 1e-12 {
        return f64::INFINITY;
    }
    (acceleration * deviation * s / (1.0 - s)).sqrt()
}

/// Longest straight that can be the chord of a bend, mm. Longer ones meet at a
/// corner and follow the corner rule alone.
const CHORD_MM: f64 = 3.0;

/// Largest turn between two chords of one bend, radians.
const CHORD_TURN: f64 = 0.6;

/// Seconds of each leg of one run that starts and ends at rest.
///
/// `corner_deviation_mm` and the axis speeds (x, y, z in mm/s) are the machine's.
pub fn seconds(legs: &[Leg], corner_deviation_mm: f64, axis_speed_mm_s: [f64; 3]) -> Vec<f64> {
    // what has no length has no direction either: its neighbours meet
    let real: Vec<usize> = (0..legs.len()).filter(|&i| legs[i].length() > 0.0).collect();
    let run: Vec<Leg> = real.iter().map(|&i| legs[i]).collect();
    let mut out = vec![0.0; legs.len()];
    for (i, s) in real.into_iter().zip(seconds_of_run(&run, corner_deviation_mm, axis_speed_mm_s)) {
        out[i] = s;
    }
    out
}

fn seconds_of_run(legs: &[Leg], corner_deviation_mm: f64, axis_speed_mm_s: [f64; 3]) -> Vec<f64> {
    let n = legs.len();
    let lengths: Vec<f64> = legs.iter().map(Leg::length).collect();
    let cruise: Vec<f64> = (0..n).map(|i| cruise(legs, i, axis_speed_mm_s)).collect();
    // speeds at the joints: at rest at both ends
    let mut joint = vec![0.0; n + 1];
    for i in 1..n {
        let (a, b) = (&legs[i - 1], &legs[i]);
        let acceleration = a.acceleration_mm_s2.min(b.acceleration_mm_s2);
        let limit = match (direction(a, true), direction(b, false)) {
            (Some(t), Some(u)) => {
                let turn = trig::acos((t[0] * u[0] + t[1] * u[1] + t[2] * u[2]).clamp(-1.0, 1.0));
                corner_speed(std::f64::consts::PI - turn, acceleration, corner_deviation_mm)
            }
            _ => f64::INFINITY,
        };
        joint[i] = cruise[i - 1].min(cruise[i]).min(limit);
    }
    let reach = |v: f64, i: usize| (v * v + 2.0 * legs[i].acceleration_mm_s2 * lengths[i]).sqrt();
    for i in (0..n).rev() {
        joint[i] = joint[i].min(reach(joint[i + 1], i));
    }
    for i in 0..n {
        joint[i + 1] = joint[i + 1].min(reach(joint[i], i));
    }
    (0..n)
        .map(|i| trapezoid(lengths[i], cruise[i], legs[i].acceleration_mm_s2, joint[i], joint[i + 1]))
        .collect()
}

/// Speed that a leg may reach: asked for, bends and axes considered.
fn cruise(legs: &[Leg], i: usize, axis: [f64; 3]) -> f64 {
    let leg = &legs[i];
    let mut v = leg.speed_mm_s;
    match leg.path {
        Segment::Arc(a) => v = v.min((leg.acceleration_mm_s2 * a.radius()).sqrt()),
        Segment::Line { from, to } => {
            if let Some(before) = i.checked_sub(1).and_then(|k| chord(&legs[k])) {
                v = v.min(bend_speed(before.0, from, to, leg.acceleration_mm_s2));
            }
            if let Some(after) = legs.get(i + 1).and_then(chord) {
                v = v.min(bend_speed(from, to, after.1, leg.acceleration_mm_s2));
            }
        }
    }
    if let Some(d) = direction(leg, false) {
        for k in 0..3 {
            // an arc points everywhere: its slowest axis holds
            let share = if matches!(leg.path, Segment::Arc(_)) && k < 2 { 1.0 } else { d[k].abs() };
            if share > 1e-9 {
                v = v.min(axis[k] / share);
            }
        }
    }
    v
}

fn chord(leg: &Leg) -> Option<(Point, Point)> {
    match leg.path {
        Segment::Line { from, to } if leg.dz == 0.0 && from.dist(to) <= CHORD_MM => Some((from, to)),
        _ => None,
    }
}

/// Speed limit of the circle through three points that are chords of one bend.
fn bend_speed(a: Point, b: Point, c: Point, acceleration: f64) -> f64 {
    let (u, v) = (b - a, c - b);
    let (lu, lv) = (u.norm(), v.norm());
    if lu < 1e-9 || lv < 1e-9 || lu > CHORD_MM || lv > CHORD_MM {
        return f64::INFINITY;
    }
    let turn = trig::atan2(u.cross(v), u.dot(v)).abs();
    if !(1e-9..=CHORD_TURN).contains(&turn) {
        return f64::INFINITY;
    }
    let radius = a.dist(c) / (2.0 * trig::sin(turn));
    (acceleration * radius).sqrt()
}

/// Unit direction of a leg at its end or its start; `None` where it has none.
fn direction(leg: &Leg, end: bool) -> Option<[f64; 3]> {
    let flat = leg.path.length();
    let total = leg.length();
    if total <= 0.0 {
        return None;
    }
    let t = if flat > 0.0 { leg.path.tangent_at(if end { flat } else { 0.0 }) } else { Point::default() };
    Some([t.x * flat / total, t.y * flat / total, leg.dz / total])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::pt;

    fn line(from: Point, to: Point, dz: f64) -> Leg {
        Leg { path: Segment::Line { from, to }, dz, speed_mm_s: 40.0, acceleration_mm_s2: 900.0 }
    }

    fn total(legs: &[Leg]) -> f64 {
        seconds(legs, 0.05, [200.0, 200.0, 10.0]).iter().sum()
    }

    #[test]
    fn a_run_takes_as_long_backwards() {
        let p = [pt(0.0, 0.0), pt(10.0, 0.0), pt(12.0, 3.0), pt(12.0, 3.2), pt(0.0, 7.0)];
        let there: Vec<Leg> = p.windows(2).map(|w| line(w[0], w[1], 0.0)).collect();
        let back: Vec<Leg> = p.windows(2).rev().map(|w| line(w[1], w[0], 0.0)).collect();
        assert!((total(&there) - total(&back)).abs() < 1e-12, "time has no direction");
    }

    #[test]
    fn a_leg_of_no_length_is_as_if_it_were_not_there() {
        let (up, down) = (line(pt(1.0, 1.0), pt(1.0, 1.0), 1.0), line(pt(1.0, 1.0), pt(1.0, 1.0), -1.0));
        let still = line(pt(1.0, 1.0), pt(1.0, 1.0), 0.0);
        let apart = total(&[up]) + total(&[down]);
        assert!((total(&[up, down]) - apart).abs() < 1e-12, "a reversal is a full stop");
        assert!((total(&[up, still, down]) - apart).abs() < 1e-12, "with nothing in between too");
        assert!(total(&[still]).abs() < 1e-12 && total(&[]).abs() < 1e-12, "nothing takes no time");
    }

    #[test]
    fn axes_limit_what_points_along_them() {
        let up = line(pt(0.0, 0.0), pt(0.0, 0.0), 10.0);
        // 10 mm at the 10 mm/s of the z axis, not at the 40 mm/s asked for
        let want = trapezoid(10.0, 10.0, 900.0, 0.0, 0.0);
        assert!((total(&[up]) - want).abs() < 1e-12, "{} against {want} s", total(&[up]));
    }
}

//! Speeds along the moves, and so the time that they take.
//!
//! Trapezoids with look-ahead: a run of legs starts and ends at rest, and is
//! nowhere faster than its legs, its corners and its bends allow. Corners by
//! deviation: a machine that may round a corner by `dev` passes it at
//! v = sqrt(a R), R = dev s / (1 - s), s = sin(phi / 2), phi the angle between
//! the legs. Bends at v = sqrt(a R), on arcs and on chorded arcs alike: the
//! corner rule alone grows weaker as chords grow finer.
//!
//! Where the acceleration may change only so fast, speeds change in double-S
//! profiles, see [`jerk`].
//!
//! A controller that needs a least time for a line of the program moves no faster
//! than it reads: each leg is held to its length over that time. What a buffer of
//! read lines could make up for is not counted.
//!
//! Trapezoid: Biagiotti & Melchiorri, *Trajectory Planning for Automatic Machines
//! and Robots*, Springer 2008, chapter 3 (from memory).

pub mod jerk;

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
    /// The controller cannot read the leg's lines faster, s; 0 where that is no limit.
    pub least_s: f64,
}

/// What limits the motion of a machine as a whole.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dynamics {
    /// How far the tool may round a corner, mm.
    pub corner_deviation_mm: f64,
    /// Fastest x, y, z, mm/s.
    pub axis_speed_mm_s: [f64; 3],
    /// Fastest change of an acceleration, mm/s3; infinite: speeds change in trapezoids.
    pub jerk_mm_s3: f64,
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

/// Seconds for a distance from rest to rest, whatever moves: a feed without a
/// path too (mm, mm/s, mm/s2, mm/s3).
pub fn alone(d: f64, v: f64, a: f64, jerk: f64) -> f64 {
    if jerk.is_finite() { jerk::double_s(d, v, a, jerk, 0.0, 0.0) } else { trapezoid(d, v, a, 0.0, 0.0) }
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

/// A bend goes on turning: at least this share of a joint's turn, in the same
/// sense, at the joint before or after it. Chords of one arc turn half as much
/// where the arc begins and ends; a lone corner stands between straights.
const CHORD_TURN_SHARE: f64 = 0.2;

/// Seconds of each leg of one run that starts and ends at rest.
pub fn seconds(legs: &[Leg], dynamics: &Dynamics) -> Vec<f64> {
    // what has no length has no direction either: its neighbours meet
    let real: Vec<usize> = (0..legs.len()).filter(|&i| legs[i].length() > 0.0).collect();
    let run: Vec<Leg> = real.iter().map(|&i| legs[i]).collect();
    let mut out = vec![0.0; legs.len()];
    for (i, s) in real.into_iter().zip(seconds_of_run(&run, dynamics)) {
        out[i] = s;
    }
    out
}

fn seconds_of_run(legs: &[Leg], dynamics: &Dynamics) -> Vec<f64> {
    let lengths: Vec<f64> = legs.iter().map(Leg::length).collect();
    let bends = bend_radii(legs);
    let cruise: Vec<f64> = (0..legs.len())
        .map(|i| cruise(&legs[i], bends[i].min(bends[i + 1]), dynamics.axis_speed_mm_s))
        .collect();
    let joint = joint_limits(legs, &cruise, dynamics.corner_deviation_mm);
    if dynamics.jerk_mm_s3.is_finite() {
        return jerk::seconds(legs, &lengths, &cruise, &joint, dynamics.jerk_mm_s3);
    }
    let reach = |v: f64, i: usize| (v * v + 2.0 * legs[i].acceleration_mm_s2 * lengths[i]).sqrt();
    let joint = feasible(joint, reach);
    (0..legs.len())
        .map(|i| trapezoid(lengths[i], cruise[i], legs[i].acceleration_mm_s2, joint[i], joint[i + 1]))
        .collect()
}

/// Fastest passage of each joint that its corner and its legs allow: at rest at
/// both ends.
fn joint_limits(legs: &[Leg], cruise: &[f64], corner_deviation_mm: f64) -> Vec<f64> {
    let mut joint = vec![0.0; legs.len() + 1];
    for i in 1..legs.len() {
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
    joint
}

/// Speeds at the joints, lowered until each can be reached from its neighbours.
/// `reach(v, i)` is the fastest at one end of piece `i` from `v` at the other.
fn feasible(mut joint: Vec<f64>, reach: impl Fn(f64, usize) -> f64) -> Vec<f64> {
    let n = joint.len() - 1;
    for i in (0..n).rev() {
        joint[i] = joint[i].min(reach(joint[i + 1], i));
    }
    for i in 0..n {
        joint[i + 1] = joint[i + 1].min(reach(joint[i], i));
    }
    joint
}

/// Speed that a leg may reach: asked for, bends and axes considered. `radius` is
/// that of the chorded bend that it is part of, mm.
fn cruise(leg: &Leg, radius: f64, axis: [f64; 3]) -> f64 {
    let radius = radius.min(leg.path.radius());
    let mut v = leg.speed_mm_s.min((leg.acceleration_mm_s2 * radius).sqrt());
    if leg.least_s > 0.0 {
        v = v.min(leg.length() / leg.least_s);
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

/// At each joint, the radius of the bend whose chords meet there, mm; infinite
/// where there is none.
fn bend_radii(legs: &[Leg]) -> Vec<f64> {
    let mut turn = vec![0.0; legs.len() + 1];
    for (i, pair) in legs.windows(2).enumerate() {
        turn[i + 1] = turn_between(&pair[0], &pair[1]);
    }
    let mut radii = vec![f64::INFINITY; legs.len() + 1];
    for (i, pair) in legs.windows(2).enumerate() {
        let k = i + 1;
        let goes_on =
            |other: f64| (CHORD_TURN_SHARE..=CHORD_TURN / turn[k].abs()).contains(&(other / turn[k]));
        if (1e-9..=CHORD_TURN).contains(&turn[k].abs()) && (goes_on(turn[k - 1]) || goes_on(turn[k + 1])) {
            radii[k] = circle_radius(&pair[0], &pair[1], turn[k]);
        }
    }
    radii
}

/// Signed turn from one leg to the next, radians; 0 where the height changes.
fn turn_between(a: &Leg, b: &Leg) -> f64 {
    if a.dz.abs() + b.dz.abs() > 0.0 {
        return 0.0;
    }
    let (t, u) = (a.path.tangent_at(a.path.length()), b.path.tangent_at(0.0));
    t.turn_to(u)
}

/// Radius of the circle through the ends of two chords that turn by `turn`, mm;
/// infinite where one of them is no chord.
fn circle_radius(a: &Leg, b: &Leg, turn: f64) -> f64 {
    let is_chord = |leg: &Leg| matches!(leg.path, Segment::Line { .. }) && leg.path.length() <= CHORD_MM;
    if is_chord(a) && is_chord(b) {
        a.path.from().dist(b.path.to()) / (2.0 * trig::sin(turn.abs()))
    } else {
        f64::INFINITY
    }
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
        Leg {
            path: Segment::Line { from, to },
            dz,
            speed_mm_s: 40.0,
            acceleration_mm_s2: 900.0,
            least_s: 0.0,
        }
    }

    const MACHINE: Dynamics = Dynamics {
        corner_deviation_mm: 0.05,
        axis_speed_mm_s: [200.0, 200.0, 10.0],
        jerk_mm_s3: f64::INFINITY,
    };

    fn total(legs: &[Leg]) -> f64 {
        seconds(legs, &MACHINE).iter().sum()
    }

    #[test]
    fn short_lines_are_no_faster_than_they_are_read() {
        // 100 chords of 0.2 mm at 10 ms each: 20 mm/s instead of 40
        let at = |k: i32| pt(0.2 * f64::from(k), 0.0);
        let chords: Vec<Leg> =
            (0..100).map(|k| Leg { least_s: 0.01, ..line(at(k), at(k + 1), 0.0) }).collect();
        let want = trapezoid(20.0, 20.0, 900.0, 0.0, 0.0);
        assert!((total(&chords) - want).abs() < 1e-9, "{} against {want} s", total(&chords));
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

    #[test]
    fn straights_in_short_pieces_take_as_long_as_whole_ones() {
        // corners of 2 to 25 degrees: gentle enough to be mistaken for a bend
        for degrees in [2.0, 5.0, 12.0, 25.0] {
            for piece in [0.1, 0.7, 2.5] {
                let corner = pt(20.0, 0.0);
                let end = corner + Point::unit(f64::to_radians(degrees)) * 20.0;
                let whole = [line(pt(0.0, 0.0), corner, 0.0), line(corner, end, 0.0)];
                let mut pieces = Vec::new();
                for leg in whole {
                    let points = crate::geom::polyline::densified(&[leg.path.from(), leg.path.to()], piece);
                    pieces.extend(points.windows(2).map(|w| line(w[0], w[1], 0.0)));
                }
                let (many, one) = (total(&pieces), total(&whole));
                assert!((many - one).abs() < 1e-6, "{degrees} degrees, {piece} mm: {many} against {one} s");
            }
        }
    }

    #[test]
    fn a_wavering_line_is_no_bend() {
        // 0.05 mm steps, 1 um to either side: corners of 4.6 degrees, back and forth
        let at = |k: i32| pt(0.05 * f64::from(k), if k % 2 == 0 { 0.001 } else { -0.001 });
        let wavering: Vec<Leg> = (0..400).map(|k| line(at(k), at(k + 1), 0.0)).collect();
        let straight = total(&[line(at(0), at(400), 0.0)]);
        let t = total(&wavering);
        assert!((t / straight - 1.0).abs() < 2e-3, "{t} s against {straight} s");
    }

    #[test]
    fn a_bend_of_few_chords_between_straights_is_a_bend() {
        // a quarter of radius 0.5 in ten chords: v = sqrt(900 x 0.5) = 21.2 mm/s
        let at = |k: i32| pt(20.0, 0.5) + Point::unit(f64::to_radians(f64::from(k) * 9.0 - 90.0)) * 0.5;
        let mut legs = vec![line(pt(0.0, 0.0), at(0), 0.0)];
        legs.extend((0..10).map(|k| line(at(k), at(k + 1), 0.0)));
        legs.push(line(at(10), pt(20.5, 20.0), 0.0));
        let t = seconds(&legs, &Dynamics { axis_speed_mm_s: [200.0; 3], ..MACHINE });
        let bend: f64 = t[1..11].iter().sum();
        let chords: f64 = legs[1..11].iter().map(Leg::length).sum();
        assert!((bend - chords / 450_f64.sqrt()).abs() < 2e-4, "{bend} s for {chords} mm");
    }
}

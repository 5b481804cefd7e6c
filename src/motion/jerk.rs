//! Speeds whose acceleration changes only so fast: double-S profiles.
//!
//! From v0 to v1 the acceleration rises by the jerk j to at most a, and falls to
//! zero again. With dv = |v1 - v0|: where dv >= a^2 / j it takes dv / a + a / j,
//! else 2 sqrt(dv / j); the way is (v0 + v1) / 2 times that, because the profile
//! is symmetric. Biagiotti & Melchiorri, *Trajectory Planning for Automatic
//! Machines and Robots*, Springer 2008, section 3.4 (from memory); differs in
//! that the peak speed is found by halving, which serves all four cases of the
//! book alike.
//!
//! The acceleration is zero wherever one limit gives way to another. Legs that
//! run into each other at nearly the same speed are one piece at the slowest of
//! them, so that a line in pieces takes as long as a whole one, and a bend whose
//! chords were rounded to a micrometre as long as the bend; where rounding alone
//! tells them apart, at the mean of them.

use super::{Leg, feasible};

/// Halvings of a range of speeds: as fine as the numbers themselves.
const HALVINGS: usize = 60;

/// Speeds that differ by less than this share are nearly the same: what rounding
/// to three decimals makes of the radius of a bend in chords of a few tenths of a
/// millimetre.
const SAME: f64 = 0.05;

/// Speeds that differ by less than this share differ by rounding alone.
const ROUNDED: f64 = 0.025;

/// Seconds and way of a change of speed (mm/s), with acceleration `a` (mm/s2) and
/// jerk `j` (mm/s3).
pub fn ramp(v0: f64, v1: f64, a: f64, j: f64) -> (f64, f64) {
    let dv = (v1 - v0).abs();
    let s = if dv * j >= a * a { dv / a + a / j } else { 2.0 * (dv / j).sqrt() };
    (s, 0.5 * (v0 + v1) * s)
}

/// Fastest that can be reached over a way `d` (mm) from `v`, mm/s.
fn reach(v: f64, d: f64, a: f64, j: f64) -> f64 {
    // without a limit of jerk it would be this
    let most = (v * v + 2.0 * a * d).sqrt();
    largest(v, most, |top| ramp(v, top, a, j).1 <= d)
}

/// Highest speed on a way `d` between two speeds, at most `v`.
fn peak(d: f64, v: f64, a: f64, j: f64, v0: f64, v1: f64) -> f64 {
    largest(v0.max(v1), v, |top| ramp(v0, top, a, j).1 + ramp(top, v1, a, j).1 <= d)
}

/// The largest value that fits, by halving. `low` is taken to fit.
fn largest(mut low: f64, mut high: f64, fits: impl Fn(f64) -> bool) -> f64 {
    if high <= low || fits(high) {
        return high.max(low);
    }
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if fits(middle) { low = middle } else { high = middle }
    }
    low
}

/// Seconds for a way `d` between two speeds, at most `v`, acceleration `a`, jerk
/// `j` (mm, mm/s, mm/s2, mm/s3). The speeds must be reachable.
pub fn double_s(d: f64, v: f64, a: f64, j: f64, v0: f64, v1: f64) -> f64 {
    if d <= 0.0 { 0.0 } else { Profile::new(d, v, a, j, v0, v1).seconds }
}

/// Speed over time on one piece.
struct Profile {
    /// Length, acceleration at the start and jerk of each stretch of time.
    phases: Vec<[f64; 3]>,
    v0: f64,
    seconds: f64,
}

impl Profile {
    fn new(d: f64, v: f64, a: f64, j: f64, v0: f64, v1: f64) -> Self {
        let top = peak(d, v, a, j, v0, v1);
        let (up, down) = (ramp(v0, top, a, j), ramp(top, v1, a, j));
        let cruise = if top > 0.0 { (d - up.1 - down.1).max(0.0) / top } else { 0.0 };
        let mut phases = Vec::with_capacity(7);
        change(&mut phases, v0, top, a, j);
        phases.push([cruise, 0.0, 0.0]);
        change(&mut phases, top, v1, a, j);
        Self { phases, v0, seconds: up.0 + cruise + down.0 }
    }

    /// Seconds until some ways are behind, which must rise.
    fn times(&self, ways: &[f64]) -> Vec<f64> {
        let mut out = Vec::with_capacity(ways.len());
        let (mut phases, mut s, mut x, mut v) = (self.phases.iter(), 0.0, 0.0, self.v0);
        let mut phase = phases.next();
        for &way in ways {
            while let Some(&[length, a, j]) = phase {
                let at = |t: f64| x + t * (v + t * (0.5 * a + t * j / 6.0));
                if at(length) >= way {
                    break;
                }
                x = at(length);
                v += length * (a + 0.5 * length * j);
                s += length;
                phase = phases.next();
            }
            let within = phase.map_or(0.0, |&[length, a, j]| {
                let at = |t: f64| x + t * (v + t * (0.5 * a + t * j / 6.0));
                largest(0.0, length, |t| at(t) <= way)
            });
            out.push((s + within).min(self.seconds));
        }
        out
    }
}

/// The stretches of time of a change of speed.
fn change(phases: &mut Vec<[f64; 3]>, from: f64, to: f64, a: f64, j: f64) {
    let dv = (to - from).abs();
    let sign = (to - from).signum();
    if dv * j >= a * a {
        let rise = a / j;
        phases.extend([[rise, 0.0, sign * j], [dv / a - rise, sign * a, 0.0], [rise, sign * a, -sign * j]]);
    } else {
        let rise = (dv / j).sqrt();
        phases.extend([[rise, 0.0, sign * j], [rise, sign * j * rise, -sign * j]]);
    }
}

/// Seconds of each leg of a run. `joint` holds the fastest passage of each joint.
pub(super) fn seconds(legs: &[Leg], lengths: &[f64], cruise: &[f64], joint: &[f64], j: f64) -> Vec<f64> {
    // pieces: legs from one joint that limits something to the next
    let mut ends = Vec::new();
    let mut first = 0;
    for i in 1..legs.len() {
        let near = |v: f64| (v - cruise[first]).abs() <= SAME * cruise[first];
        let alike = legs[i].acceleration_mm_s2.total_cmp(&legs[first].acceleration_mm_s2).is_eq();
        if !(alike && near(cruise[i]) && near(joint[i])) {
            ends.push(i);
            first = i;
        }
    }
    if !legs.is_empty() {
        ends.push(legs.len());
    }
    let starts: Vec<usize> = std::iter::once(0).chain(ends.iter().copied()).collect();
    let ways: Vec<f64> = (0..ends.len()).map(|k| lengths[starts[k]..ends[k]].iter().sum()).collect();
    let acceleration = |k: usize| legs[starts[k]].acceleration_mm_s2;
    // both pieces at a joint have to be able to run at its speed
    let top = |k: usize| {
        let (first, end) = (starts[k], ends[k]);
        let joints = joint[first + 1..end].iter().copied().fold(f64::INFINITY, f64::min);
        let seconds: f64 = (first..end).map(|i| lengths[i] / cruise[i]).sum();
        let of = |f: fn(f64, f64) -> f64, v: f64| cruise[first..end].iter().copied().fold(v, f);
        let (slowest, fastest) = (of(f64::min, f64::INFINITY), of(f64::max, 0.0));
        let top = if fastest <= (1.0 + ROUNDED) * slowest { ways[k] / seconds } else { slowest };
        // joints are slower than the legs beside them where something else limits them
        if joints < slowest { top.min(joints) } else { top }
    };
    let tops: Vec<f64> = (0..ends.len()).map(top).collect();
    let limits: Vec<f64> = starts
        .iter()
        .enumerate()
        .map(|(k, &i)| {
            let (before, after) = (k.checked_sub(1).map(|k| tops[k]), tops.get(k).copied());
            joint[i].min(before.unwrap_or(0.0)).min(after.unwrap_or(0.0))
        })
        .collect();
    let speeds = feasible(limits, |v, k| reach(v, ways[k], acceleration(k), j));
    let mut out = Vec::with_capacity(legs.len());
    for k in 0..ends.len() {
        let profile = Profile::new(ways[k], tops[k], acceleration(k), j, speeds[k], speeds[k + 1]);
        let mut way = 0.0;
        let inner: Vec<f64> = lengths[starts[k]..ends[k]]
            .iter()
            .map(|d| {
                way += d;
                way
            })
            .collect();
        let mut times = profile.times(&inner[..inner.len() - 1]);
        times.push(profile.seconds);
        let mut before = 0.0;
        for t in times {
            out.push(t - before);
            before = t;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{Point, Segment, pt};
    use crate::motion::{Dynamics, trapezoid};

    const MACHINE: Dynamics =
        Dynamics { corner_deviation_mm: 0.05, axis_speed_mm_s: [1e9; 3], jerk_mm_s3: 20_000.0 };

    fn legs(points: &[Point]) -> Vec<Leg> {
        points
            .windows(2)
            .map(|w| Leg {
                path: Segment::Line { from: w[0], to: w[1] },
                dz: 0.0,
                speed_mm_s: 50.0,
                acceleration_mm_s2: 1000.0,
                least_s: 0.0,
            })
            .collect()
    }

    #[test]
    fn a_line_in_pieces_takes_as_long_and_its_pieces_add_up() {
        let at = |k: u32| pt(f64::from(k) * 0.4, 0.0);
        let points: Vec<Point> = (0..=25).map(at).collect();
        let many = crate::motion::seconds(&legs(&points), &MACHINE);
        let whole = double_s(10.0, 50.0, 1000.0, 20_000.0, 0.0, 0.0);
        assert!((many.iter().sum::<f64>() - whole).abs() < 1e-9, "ten millimetres in {whole} s");
        let (first, middle, last) = (many[0], many[12], many[24]);
        assert!((first - last).abs() < 1e-9, "as it starts so it ends: {first} and {last} s");
        assert!(middle < 0.5 * first, "the middle is fast: {middle} s");
    }

    #[test]
    fn lines_of_the_controllers_own_time_take_it_whatever_their_last_digit() {
        let of = |off: f64| -> f64 {
            let at = |k: u32| pt(f64::from(k) * 0.2 + if k.is_multiple_of(2) { off } else { 0.0 }, 0.0);
            let mut legs = legs(&(0..=1000).map(at).collect::<Vec<Point>>());
            legs.iter_mut().for_each(|l| l.least_s = 0.02);
            crate::motion::seconds(&legs, &MACHINE).iter().sum()
        };
        // 0.2 mm in 20 ms are 10 mm/s, up to it and down again
        let want = 1000.0 * 0.02 + 2.0 * (10.0_f64 / 20_000.0).sqrt();
        assert!((of(0.0) - want).abs() < 1e-6, "{} s, closed form {want} s", of(0.0));
        assert!((of(0.001) / want - 1.0).abs() < 2e-4, "{} s, closed form {want} s", of(0.001));
    }

    #[test]
    fn without_a_limit_to_speak_of_it_is_a_trapezoid() {
        for (d, v0, v1) in [(100.0, 0.0, 0.0), (1.0, 0.0, 0.0), (10.0, 10.0, 0.0), (3.0, 20.0, 30.0)] {
            let (s, t) = (double_s(d, 50.0, 1000.0, 1e12, v0, v1), trapezoid(d, 50.0, 1000.0, v0, v1));
            assert!((s - t).abs() < 1e-6, "{d} mm: {s} against {t} s");
        }
    }

    #[test]
    fn a_corner_slows_it_more_than_without_a_limit() {
        let l = legs(&[pt(0.0, 0.0), pt(30.0, 0.0), pt(30.0, 30.0)]);
        let with: f64 = crate::motion::seconds(&l, &MACHINE).iter().sum();
        let without: f64 =
            crate::motion::seconds(&l, &Dynamics { jerk_mm_s3: f64::INFINITY, ..MACHINE }).iter().sum();
        assert!(with > without && with < 1.2 * without, "{with} against {without} s");
    }
}

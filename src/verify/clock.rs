//! How long a program takes, from its text alone.
//!
//! Legs run into each other until something happens at rest. Each has the speed
//! that the program asks for, within axes, bends (v = sqrt(a R)) and the rate at
//! which the controller reads; a corner is passed at v = sqrt(a d s / (1 - s)),
//! s = sin(phi / 2), d the machine's corner deviation, phi the angle between the
//! legs; between joints speeds change as in [`super::ramp`]. With a limit of jerk the
//! acceleration is nothing wherever one limit gives way to another; legs whose speeds
//! differ by no more than rounding makes them are one piece at the slowest of them, or at
//! their mean where they differ by the last digit of their lengths alone.

use super::geometry::{Curve, distance};
use super::heat;
use super::ramp::Ramp;
use crate::job::printer::{HeadChange, Heater, ROOM_C};
use crate::job::{Head, Printer};
use libm::{acos, hypot, sin};
use std::ops::Range;

/// Legs that are kept before they are timed: bounds memory. More stop in between.
const MOST_LEGS: usize = 100_000;

/// Longest straight that can be a bend's chord, mm; sharper joints than
/// [`BEND_TURN`] are corners.
const CHORD_MM: f64 = 3.0;
const BEND_TURN: f64 = 0.6;

/// Speeds that differ by less than this share are what three decimals make of one
/// speed: radii of chorded bends.
const ALIKE: f64 = 0.05;

/// The same, of what the last digit of a line's length makes.
const LAST_DIGIT: f64 = 0.025;

/// What time goes into; the order of the plan's `time_s`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Spent {
    /// Laying tow.
    Fibre,
    /// Laying matrix.
    Matrix,
    /// Moving without laying.
    Travel,
    /// Changing heads.
    HeadChange,
    /// Waiting for heat.
    Heating,
    /// Cutting.
    Cutting,
    /// Purging, starting, ending.
    Other,
}

/// Names of [`Spent`].
pub(super) const SPENT: [&str; 7] =
    ["fibre", "matrix", "travel", "head_change", "heating", "cutting", "other"];

struct Leg {
    length: f64,
    first: [f64; 3],
    last: [f64; 3],
    speed: f64,
    acceleration: f64,
    straight: bool,
    ends: [[f64; 2]; 2],
    what: Spent,
}

#[derive(Clone, Copy)]
struct Heat {
    now: f64,
    target: f64,
    since: f64,
}

/// The clock.
pub(super) struct Clock<'a> {
    printer: &'a Printer,
    run: Vec<Leg>,
    /// Seconds by [`Spent`].
    pub(super) seconds: [f64; 7],
    now: f64,
    heads: [Heat; 2],
    started: bool,
    start_wait: f64,
    at: [f64; 2],
}

impl<'a> Clock<'a> {
    /// Before the start block.
    pub(super) fn new(printer: &'a Printer) -> Self {
        Self {
            printer,
            run: Vec::new(),
            seconds: [0.0; 7],
            now: 0.0,
            heads: [Heat { now: ROOM_C, target: ROOM_C, since: 0.0 }; 2],
            started: false,
            start_wait: 0.0,
            at: [f64::NAN; 2],
        }
    }

    /// Seconds so far.
    pub(super) fn now(&mut self) -> f64 {
        self.flush();
        self.now
    }

    /// Bed or chamber is set before the first head is selected; the start block waits.
    pub(super) fn start_heater(&mut self, heater: Option<Heater>, target: f64) {
        if let (false, Some(h)) = (self.started, heater)
            && target > ROOM_C
        {
            self.start_wait = self.start_wait.max(heat::seconds(&h, ROOM_C, target));
        }
    }

    fn spend(&mut self, what: Spent, s: f64) {
        if s.is_finite() {
            self.seconds[what as usize] += s;
            self.now += s;
        }
    }

    /// Something at rest.
    pub(super) fn wait(&mut self, what: Spent, s: f64) {
        self.flush();
        self.spend(what, s);
    }

    /// A feed without a move, mm and mm/s.
    pub(super) fn feed(&mut self, mm: f64, speed: f64, what: Spent) {
        let ramp = self.ramp(self.printer.limits.work_mm_s2);
        self.wait(what, ramp.seconds(mm.abs(), speed.max(1e-3), 0.0, 0.0));
    }

    fn ramp(&self, a: f64) -> Ramp {
        Ramp { a, j: self.printer.limits.jerk_mm_s3 }
    }

    /// A head takes over.
    pub(super) fn select(&mut self, head: Head, old: Option<Head>) {
        self.flush();
        let p = self.printer;
        if !self.started {
            self.started = true;
            self.spend(Spent::Other, p.times.start_s);
            self.spend(Spent::Heating, (self.start_wait - p.times.start_s).max(0.0));
        }
        let mut s = p.times.head_change_s;
        let way = |a: [f64; 2], b: [f64; 2]| {
            let d = distance(a, b);
            let ramp = self.ramp(p.limits.travel_mm_s2);
            if d.is_finite() { ramp.seconds(d, p.limits.travel_mm_s, 0.0, 0.0) } else { 0.0 }
        };
        match (&p.head_change, old) {
            (HeadChange::Park(places), Some(old)) => s += way(self.at, places[old.index()]),
            (HeadChange::Dock(places), Some(old)) => {
                let bare = |h: Head| {
                    let (place, o) = (places[h.index()], p.head(h).offset_mm);
                    [place[0] - o[0], place[1] - o[1]]
                };
                s += way(self.at, places[old.index()]) + way(bare(old), bare(head));
            }
            _ => {}
        }
        self.spend(if old.is_some() { Spent::HeadChange } else { Spent::Other }, s);
    }

    /// A head is set to a temperature; waiting for it or not.
    pub(super) fn heat(&mut self, head: Head, target: f64, waits: bool) {
        self.flush();
        let heater = self.printer.head(head).heater;
        let now = self.now;
        let h = &mut self.heads[head.index()];
        h.now = heat::after(&heater, h.now, h.target, now - h.since);
        (h.since, h.target) = (now, target);
        if waits && self.started {
            let s = heat::seconds(&heater, h.now, target);
            self.spend(Spent::Heating, s);
            self.heads[head.index()] = Heat { now: target, target, since: self.now };
        }
    }

    /// A head is waited for, as it was set.
    pub(super) fn heat_wait(&mut self, head: Head) {
        self.heat(head, self.heads[head.index()].target, true);
    }

    /// A move of the nozzle, machine coordinates, at a speed asked for.
    pub(super) fn leg(&mut self, path: &Curve, dz: f64, speed: f64, rapid: bool, what: Spent) {
        let limits = &self.printer.limits;
        let flat = path.length();
        let length = hypot(flat, dz);
        self.at = path.to;
        if !(length > 0.0 && length.is_finite()) {
            return;
        }
        let up = if flat > 0.0 { 0.0 } else { dz / length };
        let way = |d: Option<[f64; 2]>| match d {
            Some(d) if flat > 0.0 => [d[0] * flat / length, d[1] * flat / length, dz / length],
            _ => [0.0, 0.0, up],
        };
        let (first, last) = (way(path.direction(0.0)), way(path.direction(1.0)));
        let mut acceleration = if rapid { limits.travel_mm_s2 } else { limits.work_mm_s2 };
        if dz.abs() > 0.0 {
            acceleration = if flat > 0.0 { acceleration.min(limits.z_mm_s2) } else { limits.z_mm_s2 };
        }
        let mut v = if speed > 0.0 { speed } else { limits.travel_mm_s };
        for (k, (d, most)) in first.iter().zip(limits.axis_speed_mm_s).enumerate() {
            // an arc points everywhere: its slower axis holds
            let share = if path.arc.is_some() && k < 2 { 1.0 } else { d.abs() };
            if share > 1e-9 {
                v = v.min(most / share);
            }
        }
        v = v.min((acceleration * path.radius()).sqrt());
        let least = self.printer.controller.block_time_s;
        if least > 0.0 {
            v = v.min(length / least);
        }
        let straight = path.arc.is_none();
        let ends = [path.from, path.to];
        self.run.push(Leg { length, first, last, speed: v, acceleration, straight, ends, what });
        if self.run.len() >= MOST_LEGS {
            self.flush();
        }
    }

    /// The end block.
    pub(super) fn finish(&mut self) -> f64 {
        self.flush();
        self.spend(Spent::Other, self.printer.times.end_s);
        self.seconds.iter().sum()
    }

    /// Times the legs so far: the last one ends at rest.
    fn flush(&mut self) {
        let legs = std::mem::take(&mut self.run);
        let n = legs.len();
        let turns: Vec<f64> =
            (0..=n).map(|i| if i == 0 || i == n { 0.0 } else { turn(&legs[i - 1], &legs[i]) }).collect();
        let bend = |i: usize| -> f64 {
            if i == 0 || i == n || turns[i].abs() < 1e-9 || turns[i].abs() > BEND_TURN {
                return f64::INFINITY;
            }
            let (a, b) = (&legs[i - 1], &legs[i]);
            let chord = |l: &Leg| l.straight && l.length <= CHORD_MM;
            // a bend goes on turning in the same sense, a corner stands alone
            let on = |t: f64| (0.2..=BEND_TURN / turns[i].abs()).contains(&(t / turns[i]));
            if chord(a) && chord(b) && (on(turns[i - 1]) || on(turns[i + 1])) {
                distance(a.ends[0], b.ends[1]) / (2.0 * sin(turns[i].abs()))
            } else {
                f64::INFINITY
            }
        };
        let bends: Vec<f64> = (0..=n).map(bend).collect();
        let cruise: Vec<f64> = legs
            .iter()
            .enumerate()
            .map(|(i, l)| l.speed.min((l.acceleration * bends[i].min(bends[i + 1])).sqrt()))
            .collect();
        let mut joint = vec![0.0_f64; n + 1];
        for i in 1..n {
            let (a, b) = (&legs[i - 1], &legs[i]);
            let acceleration = a.acceleration.min(b.acceleration);
            let cos = (0..3).map(|k| a.last[k] * b.first[k]).sum::<f64>().clamp(-1.0, 1.0);
            let s = sin(0.5 * (std::f64::consts::PI - acos(cos)));
            let corner = if s >= 1.0 - 1e-12 {
                f64::INFINITY
            } else {
                (acceleration * self.printer.limits.corner_deviation_mm * s / (1.0 - s)).sqrt()
            };
            joint[i] = cruise[i - 1].min(cruise[i]).min(corner);
        }
        for piece in self.pieces(&legs, &cruise, &joint) {
            for l in &legs[piece.legs.clone()] {
                self.spend(l.what, piece.seconds * l.length / piece.way);
            }
        }
        self.run = legs;
        self.run.clear();
    }
}

/// Legs that are run in one go, from one limit to the next.
struct Piece {
    legs: Range<usize>,
    way: f64,
    /// Seconds of its legs, each at its own speed.
    alone: f64,
    /// The slowest and the fastest of these speeds, and the slowest of the joints between them.
    slowest: f64,
    fastest: f64,
    joint: f64,
    top: f64,
    ramp: Ramp,
    seconds: f64,
}

impl Clock<'_> {
    /// Legs in pieces, and the time of each. Without a limit of jerk each leg is one.
    fn pieces(&self, legs: &[Leg], cruise: &[f64], joint: &[f64]) -> Vec<Piece> {
        let soft = self.printer.limits.jerk_mm_s3.is_finite();
        let mut pieces: Vec<Piece> = Vec::new();
        // the speed that the present piece began with
        let mut asked = 0.0;
        for (i, l) in legs.iter().enumerate() {
            let alike = |v: f64| (v - asked).abs() <= ALIKE * asked;
            match pieces.last_mut() {
                Some(p)
                    if soft
                        && p.ramp.a.total_cmp(&l.acceleration).is_eq()
                        && alike(cruise[i])
                        && alike(joint[i]) =>
                {
                    p.legs.end = i + 1;
                    p.way += l.length;
                    p.alone += l.length / cruise[i];
                    p.slowest = p.slowest.min(cruise[i]);
                    p.fastest = p.fastest.max(cruise[i]);
                    p.joint = p.joint.min(joint[i]);
                }
                _ => {
                    let ramp = self.ramp(l.acceleration);
                    asked = cruise[i];
                    pieces.push(Piece {
                        legs: i..i + 1,
                        way: l.length,
                        alone: l.length / cruise[i],
                        slowest: cruise[i],
                        fastest: cruise[i],
                        joint: f64::INFINITY,
                        top: 0.0,
                        ramp,
                        seconds: 0.0,
                    });
                }
            }
        }
        for p in &mut pieces {
            let top = if p.fastest <= (1.0 + LAST_DIGIT) * p.slowest { p.way / p.alone } else { p.slowest };
            p.top = if p.joint < p.slowest { top.min(p.joint) } else { top };
        }
        let n = pieces.len();
        let mut speeds = vec![0.0_f64; n + 1];
        for k in 1..n {
            speeds[k] = joint[pieces[k].legs.start].min(pieces[k - 1].top).min(pieces[k].top);
        }
        for k in (0..n).rev() {
            speeds[k] = speeds[k].min(pieces[k].ramp.reach(speeds[k + 1], pieces[k].way));
        }
        for (k, p) in pieces.iter_mut().enumerate() {
            speeds[k + 1] = speeds[k + 1].min(p.ramp.reach(speeds[k], p.way));
            p.seconds = p.ramp.seconds(p.way, p.top, speeds[k], speeds[k + 1]);
        }
        pieces
    }
}

/// Signed turn between two legs that stay at one height.
fn turn(a: &Leg, b: &Leg) -> f64 {
    if a.last[2].abs() + b.first[2].abs() > 0.0 {
        return 0.0;
    }
    let (t, u) = (a.last, b.first);
    libm::atan2(t[0] * u[1] - t[1] * u[0], t[0] * u[0] + t[1] * u[1])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::printer_named;

    /// A built-in printer with a limit of jerk that does nothing but move.
    fn soft() -> Printer {
        let mut p = printer_named("weir-20").expect("it is built in").1;
        (p.times.start_s, p.times.end_s, p.controller.block_time_s) = (0.0, 0.0, 0.0);
        (p.limits.work_mm_s2, p.limits.jerk_mm_s3, p.limits.corner_deviation_mm) = (1000.0, 20_000.0, 0.05);
        p
    }

    fn seconds(p: &Printer, points: &[[f64; 2]]) -> f64 {
        let mut clock = Clock::new(p);
        for w in points.windows(2) {
            clock.leg(&Curve::line(w[0], w[1]), 0.0, 50.0, false, Spent::Matrix);
        }
        clock.finish()
    }

    /// v and a are reached: d / v + v / a + a / j, in one line and in pieces.
    #[test]
    fn a_line_with_a_limit_of_jerk_takes_the_closed_form() {
        let p = soft();
        let want = 100.0 / 50.0 + 50.0 / 1000.0 + 1000.0 / 20_000.0;
        let pieces: Vec<[f64; 2]> = (0..=250).map(|k| [0.4 * f64::from(k), 0.0]).collect();
        for points in [vec![[0.0, 0.0], [100.0, 0.0]], pieces] {
            let s = seconds(&p, &points);
            assert!((s - want).abs() < 1e-9, "{} points: {s} s, {want} s", points.len());
        }
    }

    /// Lines that the controller's own time for each slows down take that time, whatever their
    /// last digit.
    #[test]
    fn rounded_lines_with_a_limit_of_jerk_take_as_long_as_exact_ones() {
        let mut p = soft();
        p.controller.block_time_s = 0.02;
        let points = |off: f64| -> Vec<[f64; 2]> {
            (0..=1000).map(|k| [0.2 * f64::from(k) + if k % 2 == 0 { off } else { 0.0 }, 0.0]).collect()
        };
        let (exact, rounded) = (seconds(&p, &points(0.0)), seconds(&p, &points(0.001)));
        // 0.2 mm in 20 ms are 10 mm/s
        let change = 2.0 * (10.0_f64 / 20_000.0).sqrt();
        let want = 1000.0 * 0.02 + change;
        assert!((exact - want).abs() < 1e-6, "{exact} s, closed form {want} s");
        assert!((rounded / exact - 1.0).abs() < 2e-4, "{rounded} s, {exact} s");
    }

    /// A right angle is passed at v = sqrt(a d s / (1 - s)), s = sin 45 degrees, with
    /// the acceleration back at nothing: two changes of speed on each side.
    #[test]
    fn a_corner_with_a_limit_of_jerk_takes_the_closed_form() {
        let p = soft();
        let s45 = std::f64::consts::FRAC_1_SQRT_2;
        let v = (1000.0 * 0.05 * s45 / (1.0 - s45)).sqrt();
        let change = |w: f64| if w >= 50.0 { w / 1000.0 + 0.05 } else { 2.0 * (w / 20_000.0).sqrt() };
        let (up, down) = (change(50.0), change(50.0 - v));
        let on = 30.0 - 25.0 * up - 0.5 * (50.0 + v) * down;
        let want = 2.0 * (up + down + on / 50.0);
        let found = seconds(&p, &[[0.0, 0.0], [30.0, 0.0], [30.0, 30.0]]);
        assert!((found - want).abs() < 1e-9, "{found} s, {want} s");
    }
}

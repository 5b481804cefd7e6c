//! How long a program takes, from its text alone.
//!
//! Legs run into each other until something happens at rest. Each has the speed
//! that the program asks for, within axes, bends (v = sqrt(a R)) and the rate at
//! which the controller reads; a corner is passed at v = sqrt(a d s / (1 - s)),
//! s = sin(phi / 2), d the machine's corner deviation, phi the angle between the
//! legs; speeds rise and fall at a constant acceleration. A limit of jerk is not
//! followed: it makes a program slower than told here.

use super::geometry::{Curve, distance};
use crate::job::printer::{HeadChange, Heater, ROOM_C};
use crate::job::{Head, Printer};
use libm::{acos, hypot, sin};

/// Legs that are kept before they are timed: bounds memory. More stop in between.
const MOST_LEGS: usize = 100_000;

/// Longest straight that can be a bend's chord, mm; sharper joints than
/// [`BEND_TURN`] are corners.
const CHORD_MM: f64 = 3.0;
const BEND_TURN: f64 = 0.6;

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
            self.start_wait = self.start_wait.max(h.seconds(ROOM_C, target));
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
        let a = self.printer.limits.work_mm_s2;
        self.wait(what, ramped(mm.abs(), speed.max(1e-3), a, 0.0, 0.0));
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
            if d.is_finite() { ramped(d, p.limits.travel_mm_s, p.limits.travel_mm_s2, 0.0, 0.0) } else { 0.0 }
        };
        match (&p.head_change, old) {
            (HeadChange::Park(places), Some(old)) => s += way(self.at, places[index(old)]),
            (HeadChange::Dock(places), Some(old)) => {
                let bare = |h: Head| {
                    let (place, o) = (places[index(h)], p.head(h).offset_mm);
                    [place[0] - o[0], place[1] - o[1]]
                };
                s += way(self.at, places[index(old)]) + way(bare(old), bare(head));
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
        let h = &mut self.heads[index(head)];
        h.now = heater.after(h.now, h.target, now - h.since);
        (h.since, h.target) = (now, target);
        if waits && self.started {
            let s = heater.seconds(h.now, target);
            self.spend(Spent::Heating, s);
            self.heads[index(head)] = Heat { now: target, target, since: self.now };
        }
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
        let reach = |v: f64, l: &Leg| (v * v + 2.0 * l.acceleration * l.length).sqrt();
        for i in (0..n).rev() {
            joint[i] = joint[i].min(reach(joint[i + 1], &legs[i]));
        }
        for i in 0..n {
            joint[i + 1] = joint[i + 1].min(reach(joint[i], &legs[i]));
        }
        for (i, l) in legs.iter().enumerate() {
            let s = ramped(l.length, cruise[i], l.acceleration, joint[i], joint[i + 1]);
            self.spend(l.what, s);
        }
        self.run = legs;
        self.run.clear();
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

/// Seconds for a way between two speeds, at most `v`, at a constant acceleration:
/// up, on, down.
pub(super) fn ramped(d: f64, v: f64, a: f64, v0: f64, v1: f64) -> f64 {
    if d <= 0.0 {
        return 0.0;
    }
    let top = v.min((a * d + 0.5 * (v0 * v0 + v1 * v1)).sqrt()).max(v0).max(v1);
    let (up, down) = ((top * top - v0 * v0) / (2.0 * a), (top * top - v1 * v1) / (2.0 * a));
    (top - v0) / a + (top - v1) / a + (d - up - down).max(0.0) / top
}

/// 0 for the matrix head, 1 for the fibre head.
pub(super) fn index(head: Head) -> usize {
    usize::from(head == Head::Fibre)
}

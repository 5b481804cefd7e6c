//! What the machine can: reach, speeds, accelerations, feeds; nothing struck.

use super::{Frame, Replay, name};
use crate::job::Head;
use crate::job::printer::HeadChange;
use crate::verify::clock::Spent;
use crate::verify::course::Stage;
use crate::verify::findings::Check;
use crate::verify::geometry::Curve;
use crate::verify::machine::Move;
use crate::verify::words::Line;

/// Last digit of a height, mm.
pub(super) const HEIGHT_MM: f64 = 0.0015;

/// Last digit of a coordinate at the edge of a reach, mm.
const REACH_MM: f64 = 1e-3;

/// A limit is met by what is written with its last digit.
const SHARE: f64 = 1.001;

impl Replay<'_> {
    /// Looks whether a head reaches its way. Gives how far it does not, mm: 0 where it does.
    pub(super) fn reach(&mut self, head: Head, curve: &Curve, z: f64) -> f64 {
        let mut most = 0.0_f64;
        let reach = self.printer.head(head).reach_mm;
        let (lo, hi) = if curve.arc.is_some() { curve.bounds() } else { (curve.to, curve.to) };
        for (k, [from, to]) in reach.into_iter().enumerate() {
            let (a, b) = if k < 2 { (lo[k], hi[k]) } else { (z, z) };
            let beyond = (from - a).max(b - to);
            if beyond.is_finite() {
                most = most.max(beyond);
                let place = self.at(curve.to);
                self.ledger.most(Check::Reach, beyond, REACH_MM, place, || {
                    format!(
                        "{} goes to {} {:.3} mm, it reaches {from} to {to} mm",
                        name(head),
                        ["x", "y", "z"][k],
                        if from - a > b - to { a } else { b }
                    )
                });
            }
        }
        most
    }

    /// A head rests with its nozzle down on the part: no longer than a change of heads takes, all
    /// dwells at one place together.
    pub(super) fn dwells(&mut self, head: Head, seconds: f64) {
        let times = &self.printer.times;
        let (most, place) = (times.head_change_s.max(times.cut_s), self.place());
        if self.on_the_part(head) {
            self.rested_s += seconds;
            let rested = self.rested_s;
            self.ledger.most(Check::Standstill, rested, most, place, || "a dwell on the part".to_owned());
        }
        self.clock.wait(Spent::Other, seconds);
    }

    /// A nozzle stands on what is laid, at the height of its layer.
    fn on_the_part(&self, head: Head) -> bool {
        let o = if self.printer.controller.program_applies_offsets {
            self.printer.head(head).offset_mm
        } else {
            [0.0; 3]
        };
        let [x, y, z] = [0, 1, 2].map(|k| self.machine.at[k] + o[k]);
        let here = Curve::line([x, y], [x, y]);
        (x + y + z).is_finite() && self.heights.any() && self.heights.depth(&here, z, z).0 > -HEIGHT_MM
    }

    /// A head that is put aside, or stands at the end, is lifted off what is laid: the carriage
    /// may go to another place with it, and the other nozzle comes down where it stood.
    pub(super) fn lifted(&mut self, head: Head) {
        if self.on_the_part(head) {
            let text = format!("{} stands on what is laid, and is not lifted off it", name(head));
            self.say(Check::Strike, text);
        }
    }

    pub(super) fn speeds(&mut self, head: Head, m: &Move, curve: &Curve, dz: f64, feed: f64) {
        if m.speed <= 0.0 {
            return;
        }
        let l = &self.printer.limits;
        let profile = self.printer.head(head);
        let flat = curve.length();
        let length = libm::hypot(flat, dz);
        let place = self.at(curve.to);
        let mut look = |what: &str, v: f64, most: f64| {
            self.ledger.most(Check::Speed, v / most, SHARE, place, || {
                format!("{what} at {v:.2} mm/s, at most {most} mm/s")
            });
        };
        if length > 1e-6 {
            let d = if flat > 0.0 { curve.direction(0.0).unwrap_or_default() } else { [0.0; 2] };
            let share = |k: usize| if curve.arc.is_some() { 1.0 } else { d[k].abs() * flat / length };
            for (k, axis) in ["axis x", "axis y"].into_iter().enumerate() {
                look(axis, m.speed * share(k), l.axis_speed_mm_s[k]);
            }
            look("axis z", m.speed * (dz / length).abs(), l.axis_speed_mm_s[2]);
            let laying = matches!(&self.frame, Frame::Course(c) if c.stage != Stage::Before && (feed > 1e-9 || c.tail(self.printer.cutter_to_nozzle_mm) > 0.05));
            if flat > 1e-6 && (feed > 1e-9 || laying) {
                look("laying", m.speed, profile.speed_mm_s);
            } else if flat > 1e-6 {
                look("travel", m.speed, l.travel_mm_s);
            }
        }
        if feed > 1e-9 {
            let rate = if length > 1e-6 { feed / length * m.speed } else { m.speed };
            // short lines carry the last digit of their ends
            let within = if flat > 1e-6 { 1.0 + 0.003 / length } else { SHARE };
            let molten = match (head, self.facts.max_flow_mm3_s) {
                (Head::Matrix, Some(flow)) => flow / self.section(),
                _ => f64::INFINITY,
            };
            let most = profile.max_feed_mm_s.min(molten);
            self.ledger.most(Check::MeltRate, rate / within.max(SHARE), most, place, || {
                format!("{} feeds {rate:.3} mm/s", name(head))
            });
        }
    }

    pub(super) fn acceleration(&mut self, line: &Line) {
        let l = &self.printer.limits;
        let most = l.work_mm_s2.max(l.travel_mm_s2);
        for w in line.words.iter().filter(|w| matches!(w.letter, b'S' | b'P' | b'T' | b'R' | b'X' | b'Y')) {
            let place = self.place();
            self.ledger.most(Check::Acceleration, w.value / most, SHARE, place, || {
                format!("{}{} mm/s2", char::from(w.letter), w.value)
            });
        }
    }

    /// Nothing goes through what lies, neither the head at work nor the idle one.
    pub(super) fn strikes(&mut self, head: Head, curve: &Curve, z0: f64, z1: f64) {
        let (depth, p) = self.heights.depth(curve, z0, z1);
        let place = self.at(p);
        self.ledger.most(Check::Strike, depth, HEIGHT_MM, place, || {
            format!("{} at z {:.3}", name(head), z0.min(z1))
        });
        if self.printer.head_change != HeadChange::Lift {
            return;
        }
        let idle = if head == Head::Matrix { Head::Fibre } else { Head::Matrix };
        let (a, b) = (self.printer.head(head).offset_mm, self.printer.head(idle).offset_mm);
        let up = b[2] - a[2] + self.printer.clearance.idle_lift_mm;
        let (depth, p) = self.heights.depth(&curve.moved([b[0] - a[0], b[1] - a[1]]), z0 + up, z1 + up);
        let place = self.at(p);
        self.ledger.most(Check::IdleStrike, depth, HEIGHT_MM, place, || format!("{} hangs idle", name(idle)));
    }
}

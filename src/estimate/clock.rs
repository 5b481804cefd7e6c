//! What a machine does, one thing after the other, and how long it takes.
//!
//! It runs for moves that were just planned ([`super::time`]). Motion runs on until
//! something happens at rest: a wait, a cut, a head change.

use super::TimeSplit;
use crate::gcode;
use crate::geom::{Point, Segment};
use crate::job::printer::{HeadChange, ROOM_C};
use crate::job::{Head, Printer};
use crate::motion::{Dynamics, Leg, seconds};

/// What a stretch of time is spent on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Spent {
    Fibre,
    Matrix,
    Travel,
    HeadChange,
    Heating,
    Cutting,
    Other,
}

/// How fast a leg may be run.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pace {
    pub(super) speed_mm_s: f64,
    pub(super) acceleration_mm_s2: f64,
}

/// A head's temperature on its way to a target, degC and s.
#[derive(Clone, Copy, Debug)]
struct Heat {
    now: f64,
    target: f64,
    since: f64,
}

/// What the start block sets before the first head is selected, degC.
#[derive(Clone, Copy, Debug)]
pub(super) struct Start {
    pub(super) bed_c: f64,
    pub(super) chamber_c: f64,
    /// Matrix head, fibre head.
    pub(super) heads_c: [f64; 2],
}

pub(super) struct Clock<'a> {
    printer: &'a Printer,
    dynamics: Dynamics,
    spent: Vec<(Spent, f64)>,
    /// The run of legs that is not timed yet, and which entries they are.
    run: Vec<Leg>,
    members: Vec<usize>,
    /// Nozzle, machine coordinates.
    pub(super) at: Point,
    pub(super) z: f64,
    now: f64,
    heads: [Heat; 2],
    pub(super) head: Option<Head>,
    /// Waiting for bed and chamber before the first move.
    start_heating_s: f64,
}

impl<'a> Clock<'a> {
    /// The start block: bed, chamber and heads are set at once, the machine homes
    /// meanwhile, and the program waits for bed and chamber.
    pub(super) fn start(printer: &'a Printer, start: &Start) -> Self {
        let limits = &printer.limits;
        let start_heating_s = printer.start_wait_s(start.bed_c, start.chamber_c);
        Self {
            printer,
            dynamics: Dynamics {
                corner_deviation_mm: limits.corner_deviation_mm,
                axis_speed_mm_s: limits.axis_speed_mm_s,
                jerk_mm_s3: limits.jerk_mm_s3,
            },
            spent: Vec::new(),
            run: Vec::new(),
            members: Vec::new(),
            at: Point::default(),
            z: 0.0,
            now: printer.times.start_s + start_heating_s,
            heads: start.heads_c.map(|target| Heat { now: ROOM_C, target, since: 0.0 }),
            head: None,
            start_heating_s,
        }
    }

    /// A piece of motion that one line of the program says.
    pub(super) fn leg(&mut self, path: Segment, dz: f64, pace: Pace, what: Spent) {
        self.line(path, dz, pace);
        self.spent.push((what, 0.0));
    }

    /// A piece of motion in the plane that so many lines say, one after the other.
    pub(super) fn legs(&mut self, paths: &[Segment], pace: Pace, what: Spent) {
        paths.iter().for_each(|path| self.line(*path, 0.0, pace));
        self.spent.push((what, 0.0));
    }

    /// A line of the program whose entry comes next.
    fn line(&mut self, path: Segment, dz: f64, pace: Pace) {
        self.members.push(self.spent.len());
        self.run.push(Leg {
            path,
            dz,
            // as it is written, in whole mm/min
            speed_mm_s: gcode::written_speed_mm_s(pace.speed_mm_s),
            acceleration_mm_s2: pace.acceleration_mm_s2,
            least_s: self.printer.controller.block_time_s,
        });
        self.at = path.to();
        self.z += dz;
    }

    /// A line of the program that takes no time and does not stop the motion.
    pub(super) fn mark(&mut self) {
        self.spent.push((Spent::Other, 0.0));
    }

    /// Something that happens at rest.
    pub(super) fn wait(&mut self, what: Spent, seconds: f64) {
        self.flush();
        self.spent.push((what, seconds));
        self.now += seconds;
    }

    /// The other head takes over.
    pub(super) fn select(&mut self, head: Head) {
        let p = self.printer;
        let what = if self.head.is_some() { Spent::HeadChange } else { Spent::Other };
        let offset = |h: Head| p.head(h).offset_mm;
        let place = |places: &[[f64; 2]; 2], h: Head| Point::new(places[h.index()][0], places[h.index()][1]);
        let mut seconds = p.times.head_change_s;
        match &p.head_change {
            HeadChange::Lift => {
                // the carriage stays, another nozzle is where it works
                let old = self.head.map_or([0.0; 3], offset);
                let new = offset(head);
                self.at = self.at + Point::new(new[0] - old[0], new[1] - old[1]);
                self.z += new[2] - old[2];
            }
            HeadChange::Park(places) => {
                if let Some(old) = self.head {
                    seconds += self.straight(self.at, place(places, old));
                }
                self.at = place(places, head);
            }
            HeadChange::Dock(places) => {
                if let Some(old) = self.head {
                    // from one dock to the other the carriage goes without a head
                    let carriage = |h: Head| place(places, h) - Point::new(offset(h)[0], offset(h)[1]);
                    seconds += self.straight(self.at, place(places, old));
                    seconds += self.straight(carriage(old), carriage(head));
                }
                self.at = place(places, head);
            }
        }
        self.head = Some(head);
        self.wait(what, seconds);
    }

    /// Seconds of a straight travel that the controller makes by itself.
    fn straight(&self, from: Point, to: Point) -> f64 {
        let leg = Leg {
            path: Segment::Line { from, to },
            dz: 0.0,
            speed_mm_s: self.printer.limits.travel_mm_s,
            acceleration_mm_s2: self.printer.limits.travel_mm_s2,
            least_s: 0.0,
        };
        seconds(&[leg], &self.dynamics).iter().sum()
    }

    /// A head is set to a temperature and the program goes on.
    pub(super) fn heat(&mut self, head: Head, temperature_c: f64) {
        self.flush();
        self.aim(head, temperature_c);
        self.wait(Spent::Heating, 0.0);
    }

    /// A head is set to a temperature and the program waits for it.
    pub(super) fn heat_wait(&mut self, head: Head, temperature_c: f64) {
        self.flush();
        self.aim(head, temperature_c);
        let heater = self.printer.head(head).heater;
        let seconds = heater.seconds(self.heads[head.index()].now, temperature_c);
        // a machine that never gets there is refused with its profile
        self.wait(Spent::Heating, if seconds.is_finite() { seconds } else { 0.0 });
        self.heads[head.index()] = Heat { now: temperature_c, target: temperature_c, since: self.now };
    }

    /// Times the run so far: it ends at rest.
    fn flush(&mut self) {
        let times = seconds(&self.run, &self.dynamics);
        for (i, s) in self.members.drain(..).zip(times) {
            self.spent[i].1 += s;
            self.now += s;
        }
        self.run.clear();
    }

    /// Brings a head's temperature up to the present and sets its target.
    fn aim(&mut self, head: Head, target: f64) {
        let heater = self.printer.head(head).heater;
        let heat = &mut self.heads[head.index()];
        heat.now = heater.after(heat.now, heat.target, self.now - heat.since);
        heat.since = self.now;
        heat.target = target;
    }

    /// The end block; the time split, and the seconds of each thing that was done.
    pub(super) fn finish(mut self) -> (TimeSplit, Vec<f64>) {
        self.flush();
        let times = &self.printer.times;
        let mut split = TimeSplit {
            other: times.start_s + times.end_s,
            heating: self.start_heating_s,
            ..TimeSplit::default()
        };
        for (what, s) in &self.spent {
            *match what {
                Spent::Fibre => &mut split.fibre,
                Spent::Matrix => &mut split.matrix,
                Spent::Travel => &mut split.travel,
                Spent::HeadChange => &mut split.head_change,
                Spent::Heating => &mut split.heating,
                Spent::Cutting => &mut split.cutting,
                Spent::Other => &mut split.other,
            } += s;
        }
        split.total = split.fibre
            + split.matrix
            + split.travel
            + split.head_change
            + split.heating
            + split.cutting
            + split.other;
        (split, self.spent.into_iter().map(|(_, s)| s).collect())
    }
}

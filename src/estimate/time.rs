//! The clock of a program.

use super::TimeSplit;
use crate::geom::{Point, Segment};
use crate::job::{Head, Job};
use crate::motion::{Leg, seconds, trapezoid};
use crate::sequence::{Move, Program};

/// What a stretch of time is spent on.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Spent {
    Fibre,
    Matrix,
    Travel,
    HeadChange,
    Heating,
    Cutting,
    Other,
}

/// Room temperature, degC, from which heads start.
const ROOM_C: f64 = 20.0;

/// The time split of a program, and the seconds of each of its moves.
pub fn time(job: &Job, program: &Program) -> (TimeSplit, Vec<f64>) {
    let mut c = Clock {
        job,
        spent: Vec::with_capacity(program.moves.len()),
        run: Vec::new(),
        members: Vec::new(),
        at: Point::default(),
        z: 0.0,
        now: 0.0,
        matrix: Heat { now: ROOM_C, target: ROOM_C, since: 0.0 },
        fibre: Heat { now: ROOM_C, target: ROOM_C, since: 0.0 },
        selected: 0,
        head: None,
        purging: false,
    };
    // the start block sets both heads to standby while the machine homes
    c.aim(Head::Matrix, job.printer.matrix.standby_temperature_c);
    c.aim(Head::Fibre, job.printer.fibre.standby_temperature_c);
    c.now = job.printer.times.start_s;
    for m in &program.moves {
        c.step(m);
    }
    c.flush();
    let mut split =
        TimeSplit { other: job.printer.times.start_s + job.printer.times.end_s, ..TimeSplit::default() };
    for (what, s) in &c.spent {
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
    (split, c.spent.into_iter().map(|(_, s)| s).collect())
}

/// A head's temperature, changing at a constant rate towards its target.
struct Heat {
    now: f64,
    target: f64,
    since: f64,
}

struct Clock<'a> {
    job: &'a Job,
    spent: Vec<(Spent, f64)>,
    /// The run of moves that is not timed yet, and which moves they are.
    run: Vec<Leg>,
    members: Vec<usize>,
    at: Point,
    z: f64,
    now: f64,
    matrix: Heat,
    fibre: Heat,
    selected: usize,
    head: Option<Head>,
    purging: bool,
}

impl Clock<'_> {
    fn step(&mut self, m: &Move) {
        let p = &self.job.printer;
        match m {
            Move::Travel(to) => {
                let (speed, acceleration) = (p.limits.travel_mm_s, p.limits.travel_mm_s2);
                self.leg(Segment::Line { from: self.at, to: *to }, 0.0, speed, acceleration, Spent::Travel);
            }
            Move::Z(z) => {
                let dz = z - self.z;
                let (speed, acceleration) = (p.limits.axis_speed_mm_s[2], p.limits.z_mm_s2);
                let path = Segment::Line { from: self.at, to: self.at };
                self.leg(path, dz, speed, acceleration, Spent::Travel);
                self.z = *z;
            }
            Move::Extrude { to, volume_mm3 } => {
                let path = Segment::Line { from: self.at, to: *to };
                let length = path.length();
                let area = if length > 0.0 { volume_mm3 / length } else { 0.0 };
                let what = if self.purging { Spent::Other } else { Spent::Matrix };
                self.leg(path, 0.0, self.job.bead_speed_mm_s(area), p.limits.work_mm_s2, what);
            }
            Move::Lay { segment, .. } => {
                self.leg(*segment, 0.0, self.job.course_speed_mm_s(), p.limits.work_mm_s2, Spent::Fibre);
            }
            Move::Thread(mm) => {
                let seconds = trapezoid(*mm, self.job.course_speed_mm_s(), p.limits.work_mm_s2, 0.0, 0.0);
                self.wait(Spent::Fibre, seconds);
            }
            Move::Cut => self.wait(Spent::Cutting, p.times.cut_s),
            Move::Dwell(s) => self.wait(Spent::Other, *s),
            Move::Select(head) => {
                self.selected += 1;
                let what = if self.selected == 1 { Spent::Other } else { Spent::HeadChange };
                self.wait(what, p.times.head_change_s);
                // the carriage stays, another nozzle is where it works
                let old = self.head.map_or([0.0; 3], |h| p.head(h).offset_mm);
                let new = p.head(*head).offset_mm;
                self.at = self.at + Point::new(new[0] - old[0], new[1] - old[1]);
                self.z += new[2] - old[2];
                self.head = Some(*head);
            }
            Move::Heat { head, temperature_c } => {
                self.flush();
                self.aim(*head, *temperature_c);
                self.wait(Spent::Heating, 0.0);
            }
            Move::HeatWait { head, temperature_c } => {
                self.flush();
                self.aim(*head, *temperature_c);
                let profile = p.head(*head);
                let lack = temperature_c - self.heat(*head).now;
                let seconds =
                    if lack > 0.0 { lack / profile.heating_k_s } else { -lack / profile.cooling_k_s };
                self.wait(Spent::Heating, seconds);
                self.aim(*head, *temperature_c);
            }
            Move::PurgeStart | Move::PurgeEnd => {
                self.purging = matches!(m, Move::PurgeStart);
                self.mark();
            }
            Move::Layer { .. } | Move::Bead { .. } | Move::CourseStart(_) | Move::CourseEnd(_) => self.mark(),
        }
    }

    /// A line of the program that takes no time and does not stop the motion.
    fn mark(&mut self) {
        self.spent.push((Spent::Other, 0.0));
    }

    /// Something that happens at rest.
    fn wait(&mut self, what: Spent, seconds: f64) {
        self.flush();
        self.spent.push((what, seconds));
        self.now += seconds;
    }

    fn leg(&mut self, path: Segment, dz: f64, speed_mm_s: f64, acceleration_mm_s2: f64, what: Spent) {
        self.members.push(self.spent.len());
        self.spent.push((what, 0.0));
        self.run.push(Leg { path, dz, speed_mm_s, acceleration_mm_s2 });
        self.at = path.to();
    }

    /// Times the run so far: it ends at rest.
    fn flush(&mut self) {
        let limits = &self.job.printer.limits;
        let times = seconds(&self.run, limits.corner_deviation_mm, limits.axis_speed_mm_s);
        for (i, s) in self.members.drain(..).zip(times) {
            self.spent[i].1 = s;
            self.now += s;
        }
        self.run.clear();
    }

    fn heat(&mut self, head: Head) -> &mut Heat {
        match head {
            Head::Matrix => &mut self.matrix,
            Head::Fibre => &mut self.fibre,
        }
    }

    /// Brings a head's temperature up to the present and sets its target.
    fn aim(&mut self, head: Head, target: f64) {
        let (up, down) = (self.job.printer.head(head).heating_k_s, self.job.printer.head(head).cooling_k_s);
        let now = self.now;
        let heat = self.heat(head);
        let passed = now - heat.since;
        heat.now = if heat.target > heat.now {
            (heat.now + up * passed).min(heat.target)
        } else {
            (heat.now - down * passed).max(heat.target)
        };
        heat.since = now;
        heat.target = target;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnostic::Notes;
    use crate::geom::pt;

    #[test]
    fn seconds_fall_where_they_are_spent() {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link/job.toml");
        let mut job = crate::job::read(&mut Notes::default(), &path).expect("the example's job");
        for head in [&mut job.printer.matrix, &mut job.printer.fibre] {
            (head.offset_mm, head.heating_k_s, head.standby_temperature_c) = ([0.0; 3], 2.0, 120.0);
            head.speed_mm_s = 10.0;
        }
        (job.matrix.process_temperature_c, job.tow.process_temperature_c) = (220.0, 200.0);
        job.printer.limits.work_mm_s2 = 1e9;
        job.printer.limits.travel_mm_s2 = 1e9;
        (job.printer.limits.travel_mm_s, job.printer.limits.axis_speed_mm_s) = (100.0, [100.0; 3]);
        let times = &mut job.printer.times;
        (times.start_s, times.end_s, times.head_change_s, times.cut_s) = (100.0, 6.0, 4.0, 0.5);
        let line = |x: f64, y: f64| Segment::Line { from: pt(0.0, 0.0), to: pt(x, y) };
        let moves = vec![
            Move::Select(Head::Matrix),
            Move::HeatWait { head: Head::Matrix, temperature_c: 220.0 },
            Move::PurgeStart,
            Move::Extrude { to: pt(50.0, 0.0), volume_mm3: 1.0 },
            Move::PurgeEnd,
            Move::Travel(pt(0.0, 0.0)),
            Move::Extrude { to: pt(30.0, 0.0), volume_mm3: 1.0 },
            Move::Heat { head: Head::Fibre, temperature_c: 200.0 },
            Move::Extrude { to: pt(0.0, 0.0), volume_mm3: 1.0 },
            Move::Select(Head::Fibre),
            Move::HeatWait { head: Head::Fibre, temperature_c: 200.0 },
            Move::Thread(15.0),
            Move::Lay { segment: line(40.0, 0.0), fed: true },
            Move::Cut,
            Move::Lay { segment: line(0.0, 15.0), fed: false },
        ];
        let (t, seconds) = time(&job, &Program { moves, ..Program::default() });
        assert_eq!(seconds.len(), 15, "one for each move");
        let near =
            |what: &str, is: f64, want: f64| assert!((is - want).abs() < 1e-3, "{what}: {is} s, {want} s");
        near("matrix", t.matrix, 6.0);
        near("fibre", t.fibre, 1.5 + 4.0 + 1.5);
        near("travel", t.travel, 0.5);
        near("head change", t.head_change, 4.0);
        near("cutting", t.cutting, 0.5);
        near("other", t.other, 100.0 + 6.0 + 4.0 + 5.0);
        // 100 K from standby for the matrix head; the fibre head's 80 K take 40 s,
        // of which the last bead and the change cover 7
        near("heating", t.heating, 50.0 + 33.0);
        near("total", t.total, t.matrix + t.fibre + t.travel + 4.0 + 0.5 + t.other + t.heating);
    }
}

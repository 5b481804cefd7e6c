//! What a program does that takes time, ready to be timed on machines that differ in
//! their speeds of changing, reading and accelerating.

use super::clock::{Clock, Spent};
use super::controller::{CutBlock, Cutting, Heated, ToldBlock, from_reference, head_of, heated, taken_up};
use super::dialect::Dialect;
use super::geometry::Curve;
use super::machine::{Machine, Move, Step};
use super::stream::Lines;
use super::words::{self, Line};
use crate::diagnostic::{Diagnostic, Outcome};
use crate::job::{Head, Printer};
use std::io::Read;

/// A program's doings in their order. Checks nothing: lines that cannot be read and
/// moves from unknown places take no time.
#[derive(Clone, Debug, Default)]
pub struct Timeline {
    events: Vec<Event>,
}

#[derive(Clone, Copy, Debug)]
enum Event {
    Leg { path: Curve, dz: f64, speed: f64, rapid: bool },
    Feed { mm: f64, speed: f64 },
    Cut,
    Dwell(f64),
    Select(Head, Option<Head>),
    Heat(Head, bool, f64),
    Wait(Head),
    Bed(f64),
    Chamber(f64),
}

impl Timeline {
    /// Reads a program as a printer would run it.
    ///
    /// Errors: `program-unread` where no head is selected, so that nothing that it
    /// does could be timed; `file-unreadable`; faults of the profile's blocks.
    pub fn of(printer: &Printer, name: &str, program: impl Read) -> Outcome<Self> {
        let mut reader = Reader::new(printer)?;
        let mut line = Line::default();
        Lines::new(program).all(name, |bytes| reader.line(bytes, &mut line))?;
        if reader.head.is_none() {
            let d = Diagnostic::error(
                "program-unread",
                format!(
                    "`{name}` selects neither T{} nor T{}: nothing in it can be timed",
                    printer.matrix.tool, printer.fibre.tool
                ),
            );
            let d =
                d.in_file(name).help("is it a program for this printer? the T numbers are in its `[tools]`");
            return Err(d.into());
        }
        Ok(Self { events: reader.events })
    }

    /// The time on a printer, s.
    pub fn seconds(&self, printer: &Printer) -> f64 {
        let mut clock = Clock::new(printer);
        // what the time is spent on plays no part in its sum
        let what = Spent::Other;
        for event in &self.events {
            match *event {
                Event::Leg { path, dz, speed, rapid } => clock.leg(&path, dz, speed, rapid, what),
                Event::Feed { mm, speed } => clock.feed(mm, speed, what),
                Event::Cut => clock.wait(what, printer.times.cut_s),
                Event::Dwell(s) => clock.wait(what, s),
                Event::Select(head, old) => clock.select(head, old),
                Event::Heat(head, waits, c) => clock.heat(head, c, waits),
                Event::Wait(head) => clock.heat_wait(head),
                Event::Bed(c) => clock.start_heater(printer.bed_heating, c),
                Event::Chamber(c) => clock.start_heater(printer.chamber_heating, c),
            }
        }
        clock.finish()
    }
}

struct Reader<'a> {
    printer: &'a Printer,
    machine: Machine,
    cut: CutBlock,
    told: ToldBlock,
    head: Option<Head>,
    /// Where the present cut block began.
    began: usize,
    events: Vec<Event>,
}

impl<'a> Reader<'a> {
    fn new(printer: &'a Printer) -> Outcome<Self> {
        Ok(Self {
            printer,
            machine: Machine::new(Dialect::of(printer)?),
            cut: CutBlock::default(),
            told: ToldBlock::default(),
            head: None,
            began: 0,
            events: Vec::new(),
        })
    }

    fn line(&mut self, bytes: &[u8], line: &mut Line) {
        if words::read(bytes, line).is_err() || line.words.is_empty() {
            return;
        }
        self.machine.line(line);
        let before = self.events.len();
        match heated(self.printer, self.machine.dialect(), self.head, line) {
            Some(Heated::Head(head, waits, c)) => self.events.push(Event::Heat(head, waits, c)),
            Some(Heated::Waited(head)) => self.events.push(Event::Wait(head)),
            Some(Heated::Bed(c)) => self.events.push(Event::Bed(c)),
            Some(Heated::Chamber(c)) => self.events.push(Event::Chamber(c)),
            Some(Heated::Unknown(_)) | None => {}
        }
        let told = self.told.see(self.machine.dialect(), line);
        for step in std::mem::take(&mut self.machine.steps) {
            match step {
                Step::Select(t) => self.select(t),
                // what the start block does takes the profile's own time
                Step::Dwell(s) if self.head.is_some() && !told => self.events.push(Event::Dwell(s)),
                Step::Dwell(_) | Step::Home | Step::End => {}
                Step::Move(m) if !told => self.moves(&m),
                Step::Move(_) => {}
            }
        }
        let begun = self.cut.begun();
        match self.cut.see(self.machine.dialect(), line) {
            Cutting::No | Cutting::Broken => {}
            cutting => {
                if !begun {
                    self.began = before;
                }
                if cutting == Cutting::Done {
                    // its dwells are in the time of a cut
                    self.events.truncate(self.began);
                    self.events.push(Event::Cut);
                }
            }
        }
    }

    fn select(&mut self, t: f64) {
        let Some(head) = head_of(self.printer, t) else { return };
        if self.head != Some(head) {
            self.events.push(Event::Select(head, self.head));
            if self.head.is_none() {
                // what the start block moves takes the profile's own time
                self.machine.at = [f64::NAN; 3];
            }
            taken_up(self.printer, head, self.head, &mut self.machine.at);
            self.head = Some(head);
            self.told.taken(head);
        }
    }

    fn moves(&mut self, m: &Move) {
        let Some(head) = self.head else { return };
        let profile = self.printer.head(head);
        let o = if self.printer.controller.program_applies_offsets { profile.offset_mm } else { [0.0; 3] };
        let path = m.curve().moved([o[0], o[1]]);
        if !(path.length() + m.to[2]).is_finite() {
            let way = from_reference(self.printer, head, m);
            let dz = way.to[2] - way.from[2];
            return self.events.push(Event::Leg { path: way.curve(), dz, speed: m.speed, rapid: m.rapid });
        }
        let dz = m.to[2] - m.from[2];
        let dz = if dz.is_finite() { dz } else { 0.0 };
        if path.length() > 1e-9 || dz.abs() > 0.0 {
            self.events.push(Event::Leg { path, dz, speed: m.speed, rapid: m.rapid });
        } else if m.feed.abs() > 1e-9 {
            self.events.push(Event::Feed { mm: m.feed / profile.feed_scale, speed: m.speed });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnostic::Notes;
    use std::path::Path;

    /// The examples' programs are read again: they take as long as planned.
    #[test]
    fn a_program_takes_as_long_as_its_plan_says() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples");
        for name in ["link", "guide"] {
            let path = root.join(name).join("job.toml");
            let planned = crate::plan::plan(&mut Notes::default(), &path).expect("the example's plan");
            let printer = &planned.job.printer;
            let read = Timeline::of(printer, name, planned.program.as_bytes()).expect("a program");
            let (is, want) = (read.seconds(printer), planned.estimate.time_s.total);
            assert!((is / want - 1.0).abs() < 5e-4, "{name}: {is} s, planned {want} s");
        }
    }

    fn printer() -> Printer {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link/job.toml");
        crate::job::read(&mut Notes::default(), &path).expect("the example's job").printer
    }

    #[test]
    fn what_is_no_program_of_the_printer_is_said_so() {
        for text in ["", "%", "G21\nG1 X5 F600\n", "T9 M6\nG0 X5\n", "\u{e9}\u{0}(", "((((\n;;;"] {
            let faults = Timeline::of(&printer(), "a.gcode", text.as_bytes()).expect_err("no program");
            assert_eq!(faults.0[0].code, "program-unread", "{text}");
        }
    }

    #[test]
    fn words_are_timed_by_hand() {
        let mut p = printer();
        (p.bed_heating, p.chamber_heating, p.limits.jerk_mm_s3) = (None, None, f64::INFINITY);
        (p.limits.travel_mm_s2, p.limits.work_mm_s2, p.limits.z_mm_s2) = (1e9, 1e9, 1e9);
        (p.times.start_s, p.times.end_s, p.times.head_change_s, p.times.cut_s) = (0.0, 0.0, 0.0, 7.0);
        let end = p.blocks.end.render(&crate::job::BlockValues::samples()).expect("it can be filled in");
        let cut = p.blocks.cut.render(&crate::job::BlockValues::samples()).expect("it can be filled in");
        let near = |text: &str, want: f64| {
            let is = Timeline::of(&p, "a", text.as_bytes()).expect("a program").seconds(&p);
            assert!((is - want).abs() < 1e-2, "{is} s, by hand {want} s:\n{text}");
        };
        let go = "T1 M6\nG0 X0 Y0 Z0 F6000\n";
        near(&format!("{go}G1 X30 Y40 F600 E1\nG4 P0.5\n"), 5.5);
        // a full circle of radius 5 and a half one by its radius, at 10 mm/s
        near(&format!("{go}G3 X0 Y0 I5 J0 E1 F600\nG2 X10 Y0 R5 E2\n"), 1.5 * std::f64::consts::PI);
        // inches, relative
        near(&format!("{go}G20 G91 G1 X1 E1 F60\nG1 X1 E2\n"), 2.0);
        // a cut takes the profile's time, whatever its block dwells; the end block too
        near(&format!("{go}{cut}\nG1 X10 F600\nG4 P30\n"), 7.0 + 1.0 + 30.0);
        near(&format!("{go}G1 X10 F600\n{end}\n"), 1.0);
    }
}

//! The time of a program that is read from its text.
//!
//! Enough of a program to run the clock: moves, feeds, dwells, heads, heaters,
//! cuts. It checks nothing. What the profile's blocks write is known by their
//! words; of codes that are in no block, M140, M190, M141 and M191 heat bed and
//! chamber (common practice), and the others take no time. What the start and
//! end block do besides heating takes the profile's own seconds.

#![expect(clippy::float_cmp, reason = "codes are compared as they are read: 104 is 104")]

use super::TimeSplit;
use super::clock::{Clock, Pace, Spent, Start};
use crate::diagnostic::{Diagnostic, Outcome};
use crate::geom::{Arc, Point, Segment, pt};
use crate::job::block::{BlockValues, words_of};
use crate::job::printer::ROOM_C;
use crate::job::{Head, Printer};
use crate::motion;

/// What a program does, ready to be timed on machines that differ in their
/// speeds of changing, reading and accelerating.
#[derive(Clone, Debug)]
pub struct Recording {
    start: Start,
    events: Vec<Event>,
}

#[derive(Clone, Debug)]
enum Event {
    /// To a place; what is not said stays. Nozzle, machine coordinates.
    Line {
        to: [Option<f64>; 3],
        speed_mm_s: Option<f64>,
        rapid: bool,
        what: Spent,
    },
    Arc {
        arc: Arc,
        z: Option<f64>,
        speed_mm_s: Option<f64>,
        what: Spent,
    },
    /// A feed without a path.
    Feed {
        mm: f64,
        speed_mm_s: Option<f64>,
        what: Spent,
    },
    Cut,
    Dwell(f64),
    Select(Head),
    Heat(Head, f64),
    HeatWait(Head, f64),
    /// A frame begins or ends: takes no time, stops nothing.
    Mark,
}

impl Recording {
    /// Reads a program as a printer would run it.
    ///
    /// Errors: `program-unread` where no head is selected, so that nothing that
    /// it does could be timed; faults of the profile's blocks.
    pub fn of(printer: &Printer, name: &str, text: &str) -> Outcome<Self> {
        let mut reader = Reader::new(printer)?;
        let lines: Vec<&str> = text.lines().collect();
        let end = lines.len() - reader.end_block(&lines);
        for line in &lines[..end] {
            reader.line(line);
        }
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
        Ok(Self { start: reader.start, events: reader.events })
    }

    /// The time on a printer.
    pub fn time(&self, printer: &Printer) -> TimeSplit {
        let mut clock = Clock::start(printer, &self.start);
        for event in &self.events {
            run(&mut clock, printer, event);
        }
        clock.finish().0
    }
}

fn run(clock: &mut Clock<'_>, printer: &Printer, event: &Event) {
    let limits = &printer.limits;
    match event {
        Event::Line { to, speed_mm_s, rapid, what } => {
            let path = Segment::Line {
                from: clock.at,
                to: pt(to[0].unwrap_or(clock.at.x), to[1].unwrap_or(clock.at.y)),
            };
            let dz = to[2].map_or(0.0, |z| z - clock.z);
            let (mut speed, mut acceleration_mm_s2) = if *rapid {
                (limits.travel_mm_s, limits.travel_mm_s2)
            } else {
                (limits.travel_mm_s, limits.work_mm_s2)
            };
            if dz != 0.0 {
                acceleration_mm_s2 = acceleration_mm_s2.min(limits.z_mm_s2);
                if path.length() <= 0.0 {
                    (speed, acceleration_mm_s2) = (limits.axis_speed_mm_s[2], limits.z_mm_s2);
                }
            }
            let pace = Pace { speed_mm_s: speed_mm_s.unwrap_or(speed), acceleration_mm_s2, lines: 1 };
            clock.leg(path, dz, pace, *what);
        }
        Event::Arc { arc, z, speed_mm_s, what } => {
            let pace = Pace {
                speed_mm_s: speed_mm_s.unwrap_or(limits.travel_mm_s),
                acceleration_mm_s2: limits.work_mm_s2,
                lines: 1,
            };
            clock.leg(Segment::Arc(*arc), z.map_or(0.0, |z| z - clock.z), pace, *what);
        }
        Event::Feed { mm, speed_mm_s, what } => {
            let speed = speed_mm_s.unwrap_or(limits.travel_mm_s);
            clock.wait(*what, motion::alone(*mm, speed, limits.work_mm_s2, limits.jerk_mm_s3));
        }
        Event::Cut => clock.wait(Spent::Cutting, printer.times.cut_s),
        Event::Dwell(s) => clock.wait(Spent::Other, *s),
        Event::Select(head) => clock.select(*head),
        Event::Heat(head, c) => clock.heat(*head, *c),
        Event::HeatWait(head, c) => clock.heat_wait(*head, *c),
        Event::Mark => clock.mark(),
    }
}

/// The words of a heating block: those that hold the temperature it sets.
struct Heating {
    head: Head,
    waits: bool,
    words: Vec<(char, f64)>,
}

/// A temperature that no profile writes by itself, degC: where it turns up in a
/// rendered block, the block's temperature stands.
const SENTINEL_C: f64 = 137.25;

impl Heating {
    /// The temperature that a line of the program sets.
    fn of(&self, line: &[(char, f64)]) -> Option<f64> {
        if line.len() != self.words.len() {
            return None;
        }
        let mut found = None;
        for ((letter, number), (l, n)) in self.words.iter().zip(line) {
            if letter != l {
                return None;
            }
            if *number == SENTINEL_C {
                found = Some(*n);
            } else if number != n {
                return None;
            }
        }
        found
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Frame {
    None,
    Course,
    Purge,
}

struct Reader<'a> {
    printer: &'a Printer,
    heating: Vec<Heating>,
    /// Lines of the cut block.
    cut_lines: usize,
    start: Start,
    events: Vec<Event>,
    head: Option<Head>,
    frame: Frame,
    /// Lines of a cut block that are still to come.
    in_cut: usize,
    /// G0 to G3.
    motion: f64,
    absolute: bool,
    absolute_feed: bool,
    /// mm in one unit of the program.
    unit_mm: f64,
    speed_mm_s: Option<f64>,
    e: f64,
    /// Nozzle, where it is known.
    at: [Option<f64>; 3],
}

impl<'a> Reader<'a> {
    fn new(printer: &'a Printer) -> Outcome<Self> {
        let mut heating = Vec::new();
        for head in [Head::Matrix, Head::Fibre] {
            for (block, waits) in [(&printer.blocks.heat, false), (&printer.blocks.heat_wait, true)] {
                let values = BlockValues::samples()
                    .number("tool", f64::from(printer.head(head).tool))
                    .number("temperature_c", SENTINEL_C);
                let text = block.render(&values)?;
                let words = text.lines().filter_map(|l| words(printer, l));
                for words in words.filter(|w| w.iter().any(|(_, n)| *n == SENTINEL_C)) {
                    heating.push(Heating { head, waits, words });
                }
            }
        }
        let cut = printer.blocks.cut.render(&BlockValues::samples())?;
        Ok(Self {
            printer,
            heating,
            cut_lines: cut.lines().count(),
            start: Start { bed_c: ROOM_C, chamber_c: ROOM_C, heads_c: [ROOM_C; 2] },
            events: Vec::new(),
            head: None,
            frame: Frame::None,
            in_cut: 0,
            motion: 1.0,
            absolute: true,
            absolute_feed: printer.controller.absolute_extrusion,
            unit_mm: 1.0,
            speed_mm_s: None,
            e: 0.0,
            at: [None; 3],
        })
    }

    /// How many lines at the end of a program are the end block. With and without
    /// a heated chamber it may be longer or shorter.
    fn end_block(&self, lines: &[&str]) -> usize {
        let letters = |line: &str| -> Option<Vec<char>> {
            Some(words(self.printer, line)?.into_iter().map(|(l, _)| l).collect())
        };
        for chamber_c in [60.0, 0.0] {
            let values = BlockValues::samples().number("chamber_temperature_c", chamber_c);
            let Ok(text) = self.printer.blocks.end.render(&values) else { continue };
            let block: Vec<&str> = text.lines().filter(|l| !l.trim().is_empty()).collect();
            let Some(from) = lines.len().checked_sub(block.len()) else { continue };
            if block.iter().zip(&lines[from..]).all(|(a, b)| letters(a) == letters(b)) {
                return block.len();
            }
        }
        0
    }

    fn line(&mut self, line: &str) {
        if self.in_cut > 0 {
            self.in_cut -= 1;
            return;
        }
        if let Some(comment) = comment(self.printer, line) {
            self.comment(comment);
        }
        let Some(words) = words(self.printer, line) else { return };
        if words.is_empty() {
            return;
        }
        let word = |letter: char| words.iter().find(|(l, _)| *l == letter).map(|(_, n)| *n);
        let codes = |letter: char| words.iter().filter(move |(l, _)| *l == letter).map(|(_, n)| *n);
        if let Some((h, c)) = self.heating.iter().find_map(|h| Some((h, h.of(&words)?))) {
            if self.head.is_none() {
                self.start.heads_c[usize::from(h.head == Head::Fibre)] = c;
            } else {
                self.events.push(if h.waits { Event::HeatWait(h.head, c) } else { Event::Heat(h.head, c) });
            }
            return;
        }
        if let (Some(m), Some(s)) = (word('M'), word('S').or(word('R')))
            && self.head.is_none()
        {
            if m == 140.0 || m == 190.0 {
                self.start.bed_c = s;
            } else if m == 141.0 || m == 191.0 {
                self.start.chamber_c = s;
            }
        }
        if let Some(t) = word('T')
            && !codes('M').any(|m| m > 6.0)
        {
            self.select(t);
        }
        for m in codes('M') {
            if m == 82.0 || m == 83.0 {
                self.absolute_feed = m == 82.0;
            }
        }
        let mut still = false;
        for g in codes('G') {
            match g {
                0.0..=3.0 if g.fract() == 0.0 => self.motion = g,
                4.0 => {
                    let unit = if self.printer.controller.dwell_milliseconds { 1e-3 } else { 1.0 };
                    // S counts seconds where a controller knows it
                    let s = word('S').or(word('P').map(|p| p * unit)).unwrap_or(0.0);
                    if self.head.is_some() {
                        self.events.push(Event::Dwell(s));
                    }
                    still = true;
                }
                20.0 => self.unit_mm = 25.4,
                21.0 => self.unit_mm = 1.0,
                90.0 | 91.0 => self.absolute = g == 90.0,
                92.0 => {
                    self.e = word('E').map_or(self.e, |e| e * self.unit_mm);
                    still = true;
                }
                // a reference run: where it ends only the machine knows
                28.0 => {
                    self.at = [None; 3];
                    still = true;
                }
                _ => {}
            }
        }
        if let Some(f) = word('F') {
            self.speed_mm_s = Some(f * self.unit_mm / 60.0);
        }
        if !still && self.head.is_some() {
            self.moves(&word);
        }
    }

    fn comment(&mut self, comment: &str) {
        let word = comment.trim();
        let (frame, begins) = match word {
            "purge" => (Frame::Purge, true),
            "end purge" => (Frame::Purge, false),
            _ if word.starts_with("course ") => (Frame::Course, true),
            _ if word.starts_with("end course") => (Frame::Course, false),
            "cut" if self.frame == Frame::Course => {
                self.events.push(Event::Cut);
                self.in_cut = self.cut_lines;
                return;
            }
            _ => return,
        };
        self.frame = if begins { frame } else { Frame::None };
        self.events.push(Event::Mark);
    }

    fn select(&mut self, t: f64) {
        let head = if t == f64::from(self.printer.matrix.tool) {
            Head::Matrix
        } else if t == f64::from(self.printer.fibre.tool) {
            Head::Fibre
        } else {
            return;
        };
        if self.head != Some(head) {
            self.events.push(Event::Select(head));
            self.head = Some(head);
            self.at = [None; 3];
        }
    }

    fn moves(&mut self, word: &impl Fn(char) -> Option<f64>) {
        let offset = match self.head {
            Some(h) if self.printer.controller.program_applies_offsets => self.printer.head(h).offset_mm,
            _ => [0.0; 3],
        };
        let fed = word('E').map_or(0.0, |e| {
            let e = e * self.unit_mm;
            let step = if self.absolute_feed { e - self.e } else { e };
            self.e += step;
            step.abs()
        });
        let mut to = [None; 3];
        for (axis, letter) in ['X', 'Y', 'Z'].into_iter().enumerate() {
            let Some(value) = word(letter) else { continue };
            let value = value * self.unit_mm;
            to[axis] =
                if self.absolute { Some(value + offset[axis]) } else { self.at[axis].map(|at| at + value) };
        }
        let what = match (self.frame, self.head) {
            (Frame::Course, _) if self.motion > 0.0 => Spent::Fibre,
            (Frame::Purge, _) if self.motion > 0.0 => Spent::Other,
            (_, Some(Head::Matrix)) if self.motion > 0.0 && fed > 0.0 => Spent::Matrix,
            _ => Spent::Travel,
        };
        let speed_mm_s = self.speed_mm_s;
        if to == [None; 3] && word('I').is_none() && word('J').is_none() {
            if fed > 0.0 {
                // the head feeds more or less than is written, where the profile says so
                let scale = self.head.map_or(1.0, |h| self.printer.head(h).feed_scale);
                self.events.push(Event::Feed { mm: fed / scale, speed_mm_s, what });
            }
            return;
        }
        if self.motion >= 2.0
            && let (Some(x), Some(y)) = (self.at[0], self.at[1])
        {
            let end = pt(to[0].unwrap_or(x), to[1].unwrap_or(y));
            self.arc(pt(x, y), end, to[2], word, what);
        } else {
            self.events.push(Event::Line { to, speed_mm_s, rapid: self.motion == 0.0, what });
        }
        for (at, to) in self.at.iter_mut().zip(to) {
            *at = to.or(*at);
        }
    }

    fn arc(
        &mut self,
        from: Point,
        to: Point,
        z: Option<f64>,
        word: &impl Fn(char) -> Option<f64>,
        what: Spent,
    ) {
        let ccw = self.motion == 3.0;
        let centre = if let Some(r) = word('R') {
            // NISTIR 6556, 3.5.3.1: a positive radius is at most half a turn
            let (r, chord) = (r * self.unit_mm, to - from);
            let rise = (r * r - 0.25 * chord.norm2()).max(0.0).sqrt();
            let left = ccw == (r > 0.0);
            let side = chord.normalised().unwrap_or_default().left();
            from + chord * 0.5 + side * if left { rise } else { -rise }
        } else {
            let offset = |letter| word(letter).unwrap_or(0.0) * self.unit_mm;
            from + pt(offset('I'), offset('J'))
        };
        let speed_mm_s = self.speed_mm_s;
        let mut push = |from, to, z| {
            let arc = Arc { from, to, centre, ccw };
            self.events.push(Event::Arc { arc, z, speed_mm_s, what });
        };
        if from.dist(to) < 1e-9 {
            // a full circle
            let opposite = centre + (centre - from);
            push(from, opposite, None);
            push(opposite, to, z);
        } else {
            push(from, to, z);
        }
    }
}

/// A line's words, without comments; `None` where it cannot be read.
fn words(printer: &Printer, line: &str) -> Option<Vec<(char, f64)>> {
    words_of(line, printer.controller.parenthesis_comments).ok()
}

/// The comment of a line.
fn comment<'l>(printer: &Printer, line: &'l str) -> Option<&'l str> {
    if printer.controller.parenthesis_comments {
        let inside = &line[line.find('(')? + 1..];
        Some(&inside[..inside.find(')')?])
    } else {
        Some(&line[line.find(';')? + 1..])
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
            let read = Recording::of(printer, name, &planned.program).expect("a program").time(printer);
            let plan = planned.estimate.time_s;
            let near = |what: &str, is: f64, want: f64, within: f64| {
                assert!(
                    (is - want).abs() <= within * want + 0.02,
                    "{name}, {what}: {is} s, planned {want} s"
                );
            };
            near("all", read.total, plan.total, 5e-4);
            near("fibre", read.fibre, plan.fibre, 1e-3);
            near("matrix", read.matrix, plan.matrix, 1e-3);
            near("travel", read.travel, plan.travel, 1e-3);
            near("head changes", read.head_change, plan.head_change, 1e-9);
            near("heating", read.heating, plan.heating, 1e-2);
            near("cutting", read.cutting, plan.cutting, 1e-9);
            near("other", read.other, plan.other, 1e-3);
        }
    }

    #[test]
    fn what_is_no_program_of_the_printer_is_said_so() {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link/job.toml");
        let job = crate::job::read(&mut Notes::default(), &path).expect("the example's job");
        for text in ["", "%", "G21\nG1 X5 F600\n", "T9 M6\nG0 X5\n", "\u{e9}\u{0}(", "((((\n;;;"] {
            let faults = Recording::of(&job.printer, "a.gcode", text).expect_err("no program");
            assert_eq!(faults.0[0].code, "program-unread", "{text}");
        }
    }

    #[test]
    fn words_are_timed_by_hand() {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link/job.toml");
        let mut job = crate::job::read(&mut Notes::default(), &path).expect("the example's job");
        let p = &mut job.printer;
        (p.bed_heating, p.chamber_heating, p.limits.jerk_mm_s3) = (None, None, f64::INFINITY);
        (p.limits.travel_mm_s2, p.limits.work_mm_s2, p.limits.z_mm_s2) = (1e9, 1e9, 1e9);
        (p.times.start_s, p.times.end_s, p.times.head_change_s) = (0.0, 0.0, 0.0);
        let time = |text: &str| Recording::of(p, "a", text).expect("a program").time(p);
        let t = time("T1 M6\nG0 X0 Y0 Z1 F6000\nG0 X0 Y0\nG1 X30 Y40 F600 E1\nG4 P0.5\n");
        assert!((t.matrix - 5.0).abs() < 1e-3 && (t.other - 0.5).abs() < 1e-9, "{t:?}");
        // a full circle of radius 5 and a half one by its radius, at 10 mm/s
        let t = time("T1 M6\nG0 X0 Y0 Z0 F6000\nG3 X0 Y0 I5 J0 E1 F600\nG2 X10 Y0 R5 E2\n");
        assert!((t.matrix - 1.5 * std::f64::consts::TAU * 0.5).abs() < 1e-2, "{t:?}");
        // inches, relative
        let t = time("T1 M6\nG0 X0 Y0 Z0 F6000\nG20 G91 G1 X1 E1 F60\nG1 X1 E2\n");
        assert!((t.matrix - 2.0).abs() < 1e-3, "{t:?}");
    }
}

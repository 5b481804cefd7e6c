//! A program runs on a machine that only watches: where each nozzle is, what it
//! has fed, how hot it is, what lies on the bed.

use super::against::Against;
use super::clock::{Clock, Spent, index};
use super::controller::{CutBlock, Cutting, Heated, ToldBlock, alike, head_of, heated, taken_up};
use super::course::{Course, Limits, Stage};
use super::dialect::{Dialect, tenths};
use super::findings::{Check, Ledger, Place};
use super::geometry::{Curve, steps, to_stretch};
use super::ground::{Heights, Near, Stretch};
use super::header::Header;
use super::machine::{Machine, Move, Step};
use super::words::{self, Line, Word};
use super::{Facts, Figures};
use crate::job::printer::HeadChange;
use crate::job::{Head, Printer};
use std::f64::consts::PI;

/// Last digit of a height, mm.
const HEIGHT_MM: f64 = 0.0015;

/// Last digit of a coordinate at the edge of a reach, mm.
const REACH_MM: f64 = 1e-3;

/// A limit is met by what is written with its last digit.
const SHARE: f64 = 1.001;

/// Two courses may come this much closer than the tow's width, mm.
const APART_MM: f64 = 0.05;

/// A head is at its temperature within this, K.
const WARM_K: f64 = 0.5;

/// Time beside cooling and heating that a parked head may stay hot, s: it is not
/// set within a course.
const PARKED_S: f64 = 60.0;

/// Share of a layer's tow that beads may lie on: told from the first on, a fault from the second.
const OVER_TOW: [f64; 2] = [0.01, 0.05];

/// Steps along beads and courses at which they are looked at, mm.
const STEP_MM: f64 = 0.25;

#[derive(Clone, Copy, Debug, Default)]
struct Warmth {
    target: f64,
    waited: bool,
    parked: Option<Parked>,
}

/// A head that was put aside.
#[derive(Clone, Copy, Debug)]
struct Parked {
    /// Target at work, degC.
    work_c: f64,
    /// Seconds that it was set to more than standby, and since when it is.
    hot_s: f64,
    hot_since: Option<f64>,
}

impl Parked {
    fn hot(&self, now: f64) -> f64 {
        self.hot_s + self.hot_since.map_or(0.0, |since| now - since)
    }
}

enum Frame {
    None,
    Course(Box<Course>),
    Purge,
}

pub(super) struct Replay<'a> {
    printer: &'a Printer,
    pub(super) ledger: Ledger,
    machine: Machine,
    clock: Clock<'a>,
    against: Option<Against<'a>>,
    facts: Facts,
    header: Header,
    pub(super) figures: Figures,
    line: u64,
    layer: u64,
    /// Top of the present layer and of that below, mm.
    top: f64,
    below: f64,
    head: Option<Head>,
    frame: Frame,
    warmth: [Warmth; 2],
    heights: Heights,
    tows: Near,
    beads: Near,
    courses: u32,
    layer_tow_mm: f64,
    layer_matrix_mm3: f64,
    /// Blocks that take the profile's own time, and whether the present line is in one.
    told_block: ToldBlock,
    in_told: bool,
    /// How far the cut block has come, and the line of its comment.
    cut: CutBlock,
    cut_said: Option<u64>,
    last: Vec<Word>,
    opened: std::collections::BTreeSet<String>,
}

impl<'a> Replay<'a> {
    pub(super) fn new(
        printer: &'a Printer,
        dialect: Dialect,
        against: Option<Against<'a>>,
        facts: Facts,
    ) -> Self {
        let (a, b) = (&printer.matrix.reach_mm, &printer.fibre.reach_mm);
        let lo = [a[0][0].min(b[0][0]), a[1][0].min(b[1][0])];
        let hi = [a[0][1].max(b[0][1]), a[1][1].max(b[1][1])];
        Self {
            printer,
            ledger: Ledger::default(),
            machine: Machine::new(dialect),
            clock: Clock::new(printer),
            against,
            facts,
            header: Header::default(),
            figures: Figures::default(),
            line: 0,
            layer: 0,
            top: 0.0,
            below: 0.0,
            head: None,
            frame: Frame::None,
            warmth: [Warmth::default(); 2],
            heights: Heights::new(lo, hi),
            tows: Near::new(lo, hi),
            beads: Near::new(lo, hi),
            courses: 0,
            layer_tow_mm: 0.0,
            layer_matrix_mm3: 0.0,
            told_block: ToldBlock::default(),
            in_told: false,
            cut: CutBlock::default(),
            cut_said: None,
            last: Vec::new(),
            opened: std::collections::BTreeSet::new(),
        }
    }

    fn place(&self) -> Place {
        Place { line: self.line, layer: self.layer, at_mm: None }
    }

    fn at(&self, p: [f64; 2]) -> Place {
        Place { at_mm: Some(p), ..self.place() }
    }

    fn say(&mut self, check: Check, text: impl Into<String>) {
        let place = self.place();
        self.ledger.say(check, place, text);
    }

    /// One line of the program.
    pub(super) fn line(&mut self, bytes: &[u8], line: &mut Line) {
        self.line += 1;
        self.figures.lines += 1;
        if let Err(e) = words::read(bytes, line) {
            self.say(Check::Text, e.to_string());
            return;
        }
        for range in line.comments.clone() {
            match std::str::from_utf8(&bytes[range]) {
                Ok(comment) => self.comment(comment.trim(), line.words.is_empty()),
                Err(_) => self.say(Check::Text, "a comment is not UTF-8 text"),
            }
        }
        self.machine.line(line);
        for (check, figure, text) in std::mem::take(&mut self.machine.faults) {
            let place = self.place();
            match figure {
                Some((value, limit)) => self.ledger.most(check, value, limit, place, || text),
                None => self.ledger.say(check, place, text),
            }
        }
        if line.words.is_empty() {
            return;
        }
        self.last.clone_from(&line.words);
        let cutting = self.cutting(line);
        self.in_told = self.told_block.see(self.machine.dialect(), line);
        self.heaters(line);
        let accelerates =
            line.words.iter().any(|w| w.letter == b'M' && matches!(tenths(w.value), 2010 | 2040));
        if accelerates {
            self.acceleration(line);
        }
        let steps = std::mem::take(&mut self.machine.steps);
        for step in &steps {
            match *step {
                Step::Select(t) => self.select(t),
                Step::Dwell(s) if !cutting && !self.in_told && self.head.is_some() => {
                    self.clock.wait(Spent::Other, s)
                }
                Step::Dwell(_) | Step::Home | Step::End => {}
                Step::Move(m) => self.moves(&m),
            }
        }
        self.machine.steps = steps;
    }

    /// Follows the cut block; true within it.
    fn cutting(&mut self, line: &Line) -> bool {
        match self.cut.see(self.machine.dialect(), line) {
            Cutting::Within => return true,
            Cutting::Done => {
                self.cut_now();
                return true;
            }
            Cutting::No if self.cut_said.is_none() || self.machine.dialect().cut.is_empty() => {}
            Cutting::No | Cutting::Broken => {
                self.cut_said = None;
                self.say(Check::CutBlock, "the cut block is not as the profile has it");
            }
        }
        false
    }

    fn cut_now(&mut self) {
        let said = self.cut_said.take();
        self.figures.cuts += 1;
        self.clock.wait(Spent::Cutting, self.printer.times.cut_s);
        self.ledger.look(Check::CutBlock);
        if said.is_none() {
            self.say(Check::CutBlock, "no comment `cut` stands before a cut");
        }
        let place = self.place();
        match &mut self.frame {
            Frame::Course(c) if c.stage == Stage::Fed => {
                c.stage = Stage::Cut;
                c.cut_at = Some(c.laid);
            }
            Frame::Course(c) => {
                let text = format!(
                    "course {} is cut {}",
                    c.id,
                    if c.stage == Stage::Cut { "twice" } else { "without tow at the nozzle" }
                );
                self.ledger.say(Check::CutBlock, place, text);
            }
            _ => self.ledger.say(Check::CutBlock, place, "a cut outside every course"),
        }
    }

    fn heaters(&mut self, line: &Line) {
        let p = self.printer;
        let (heater, most, what, c) = match heated(p, self.machine.dialect(), self.head, line) {
            None => return,
            Some(Heated::Unknown(why)) => return self.say(Check::Temperature, why),
            Some(Heated::Head(head, waits, c)) => return self.heat(head, waits, c),
            Some(Heated::Bed(c)) => (p.bed_heating, p.max_bed_temperature_c, "bed", c),
            Some(Heated::Chamber(c)) => (p.chamber_heating, p.max_chamber_temperature_c, "chamber", c),
        };
        self.clock.start_heater(heater, c);
        let place = self.place();
        self.ledger.most(Check::Hottest, c - most, 0.0, place, || format!("the {what} is set to {c} degC"));
    }

    fn heat(&mut self, head: Head, waits: bool, c: f64) {
        let most = self.printer.head(head).max_temperature_c;
        let place = self.place();
        self.ledger
            .most(Check::Hottest, c - most, 0.0, place, || format!("{} is set to {c} degC", name(head)));
        self.clock.heat(head, c, waits);
        let w = &mut self.warmth[index(head)];
        // a lower target leaves a hot head hot enough
        w.waited = waits || (w.waited && c <= w.target);
        w.target = c;
        if let Some(parked) = &mut w.parked {
            let now = self.clock.now();
            let down = parked.work_c - self.printer.head(head).standby_drop_k;
            parked.hot_s = parked.hot(now);
            // set to a degree above it, it stands by
            parked.hot_since = (c > down + 1.0).then_some(now);
        }
    }

    fn acceleration(&mut self, line: &Line) {
        let l = &self.printer.limits;
        let most = l.work_mm_s2.max(l.travel_mm_s2);
        for w in line.words.iter().filter(|w| matches!(w.letter, b'S' | b'P' | b'T' | b'R' | b'X' | b'Y')) {
            let place = self.place();
            self.ledger.most(Check::Acceleration, w.value / most, SHARE, place, || {
                format!("{}{} mm/s2", char::from(w.letter), w.value)
            });
        }
    }

    fn comment(&mut self, text: &str, alone: bool) {
        let mut words = text.split_whitespace();
        match (words.next(), words.next()) {
            (Some("layer"), Some(_)) => self.open_layer(text),
            (Some("course"), Some(id)) => self.open_course(id),
            (Some("end"), Some("course")) => self.end_course(text["end course".len()..].trim()),
            (Some("purge"), None) => {
                if !matches!(self.frame, Frame::None) {
                    self.say(Check::Frames, "a purge opens inside another frame");
                }
                self.frame = Frame::Purge;
            }
            (Some("end"), Some("purge")) => {
                if !matches!(self.frame, Frame::Purge) {
                    self.say(Check::Frames, "a purge ends and is not open");
                }
                self.frame = Frame::None;
            }
            (Some("cut"), None) => {
                if !alone {
                    self.say(Check::CutBlock, "`cut` does not stand on a line of its own");
                }
                if self.cut_said.is_some() {
                    self.say(Check::CutBlock, "no cut block follows `cut`");
                }
                self.cut_said = Some(self.line);
            }
            _ if self.layer == 0 => self.tell(text),
            _ => {}
        }
    }

    /// A comment of the header. Names of built-in materials tell limits.
    fn tell(&mut self, text: &str) {
        self.header.comment(text, self.line);
        if self.against.is_none() {
            self.facts.of_materials(self.header.matrix.as_deref(), self.header.tow.as_deref());
        }
    }

    fn open_layer(&mut self, text: &str) {
        let words: Vec<&str> = text.split_whitespace().collect();
        let number = words.get(1).and_then(|w| w.parse::<u64>().ok());
        let z = words.get(3).and_then(|w| w.parse::<f64>().ok()).filter(|z| z.is_finite());
        let (Some(number), Some(z), Some(&"z")) = (number, z, words.get(2)) else {
            self.say(Check::Frames, format!("`{text}` where `layer N z Z` is due"));
            return;
        };
        self.ledger.look(Check::Frames);
        if !matches!(self.frame, Frame::None) {
            self.say(Check::Frames, format!("layer {number} opens inside another frame"));
        }
        self.close_layer();
        if number != self.layer + 1 {
            self.say(Check::Frames, format!("layer {number} follows layer {}", self.layer));
        }
        if z <= self.top {
            self.say(
                Check::Frames,
                format!("layer {number} has its top at {z} mm, that below at {} mm", self.top),
            );
        }
        (self.layer, self.below, self.top) = (number, self.top, z);
        self.figures.layers += 1;
        let place = self.place();
        if let Some(a) = &mut self.against {
            a.open_layer(&mut self.ledger, number, z, place);
        }
    }

    fn close_layer(&mut self) {
        if self.layer == 0 {
            return;
        }
        self.over_tow();
        let place = Place { layer: self.layer, ..Place::default() };
        if let Some(a) = &mut self.against {
            a.close_layer(&mut self.ledger, &self.tows, &self.beads, self.layer_matrix_mm3, place);
        }
        self.tows.clear();
        self.beads.clear();
        (self.layer_tow_mm, self.layer_matrix_mm3) = (0.0, 0.0);
    }

    /// How much of the layer's tow has beads on it.
    fn over_tow(&mut self) {
        let Some(width) = self.facts.tow_width_mm else { return };
        let tow_mm2 = self.layer_tow_mm * width;
        if tow_mm2 <= 0.0 {
            return;
        }
        let across = [-0.4, -0.2, 0.0, 0.2, 0.4];
        let (mut area, mut worst) = (0.0, (0.0, self.place()));
        for b in &self.beads.stretches {
            let reach = 0.5 * (width + b.width);
            let piece = Curve::line(b.a, b.b);
            let Some(d) = piece.direction(0.5) else { continue };
            let length = piece.length();
            let n = steps(length, STEP_MM);
            let mut here = 0.0;
            for k in 0..n {
                let p = piece.at((f64::from(k) + 0.5) / f64::from(n));
                if self.tows.nearest(p, reach, |_, _| true).is_none() {
                    continue;
                }
                for s in across {
                    let q = [p[0] - d[1] * s * b.width, p[1] + d[0] * s * b.width];
                    if self.tows.nearest(q, 0.5 * width, |t, _| beside(q, t)).is_some() {
                        here += length / f64::from(n) * b.width / 5.0;
                    }
                }
            }
            area += here;
            if here > worst.0 {
                worst = (here, Place { line: b.line, layer: self.layer, at_mm: Some(piece.at(0.5)) });
            }
        }
        let share = area / tow_mm2;
        self.ledger.most(Check::OverTow, 100.0 * share, 100.0 * OVER_TOW[1], worst.1, || {
            "matrix laid on the layer's tow".to_owned()
        });
        if share > OVER_TOW[0] && share <= OVER_TOW[1] {
            let text = format!(
                "beads lie on {:.2} % of the layer's tow, more than {:.0} %",
                100.0 * share,
                100.0 * OVER_TOW[0]
            );
            self.ledger.warn(Check::OverTow, worst.1, text);
        }
    }

    fn open_course(&mut self, id: &str) {
        if !matches!(self.frame, Frame::None) {
            self.say(Check::Frames, format!("course {id} opens inside another frame"));
            self.leave();
        }
        if self.head != Some(Head::Fibre) {
            self.say(Check::Head, format!("course {id} without the fibre head"));
        }
        if self.layer == 0 {
            self.say(Check::Frames, format!("course {id} before the first layer"));
        }
        if !self.opened.insert(id.to_owned()) {
            self.say(Check::Frames, format!("course {id} is laid twice"));
        }
        let place = self.place();
        self.frame = Frame::Course(Box::new(Course::new(id, place)));
        if let Some(a) = &mut self.against {
            a.open_course(&mut self.ledger, id, place);
        }
    }

    fn end_course(&mut self, id: &str) {
        match &self.frame {
            Frame::Course(c) if c.id == id => self.leave(),
            _ => self.say(Check::Frames, format!("course {id} ends and is not open")),
        }
    }

    /// Leaves whatever frame is open; a course is judged as a whole.
    fn leave(&mut self) {
        let Frame::Course(c) = std::mem::replace(&mut self.frame, Frame::None) else { return };
        let place = self.place();
        let limits = Limits {
            cutter_mm: self.printer.cutter_to_nozzle_mm,
            shortest_mm: self.printer.shortest_course_mm(),
            bend_mm: self.facts.bend_mm,
            chord_mm: self.printer.controller.chord_mm,
            arcs: self.printer.controller.arcs,
        };
        c.finish(&mut self.ledger, &limits, place);
        self.figures.courses += 1;
        self.figures.fibre_mm += c.laid;
        self.layer_tow_mm += c.laid;
        self.apart(&c);
        if let Some(a) = &mut self.against {
            a.end_course(&mut self.ledger, &c, place);
        }
    }

    /// Puts a course among those of its layer and looks how near it comes.
    fn apart(&mut self, c: &Course) {
        let owner = self.courses;
        self.courses = self.courses.wrapping_add(1);
        let width = self.facts.tow_width_mm.unwrap_or(0.0);
        let mut s = 0.0;
        for p in &c.pieces {
            s = self.tows.add_curve(&p.curve, owner, s, width, p.line);
        }
        if width <= 0.0 {
            return;
        }
        let (length, closed) = (s, c.closed());
        // a bend that the tow can make comes back to itself only after more than this
        let own = 1.6 * width;
        let mut worst: Option<(f64, [f64; 2], u64)> = None;
        let mut from = 0.0;
        for p in &c.pieces {
            let l = p.curve.length();
            let n = steps(l, STEP_MM);
            for k in 0..=n {
                let share = f64::from(k) / f64::from(n);
                let (q, here) = (p.curve.at(share), from + share * l);
                let found = self.tows.nearest(q, 1.5 * width, |t, along| {
                    if t.owner != owner {
                        return true;
                    }
                    let gap = (along - here).abs();
                    gap > own && (!closed || length - gap > own)
                });
                if let Some((d, ..)) = found
                    && worst.is_none_or(|w| d < w.0)
                {
                    worst = Some((d, q, p.line));
                }
            }
            from += l;
        }
        if let Some((d, q, line)) = worst {
            let place = Place { line, layer: self.layer, at_mm: Some(q) };
            self.ledger.least(Check::Apart, d, width - APART_MM, place, || {
                format!("course {} and its neighbour", c.id)
            });
        }
    }

    fn select(&mut self, t: f64) {
        let Some(head) = head_of(self.printer, t) else {
            self.say(Check::Head, format!("T{t} is no head of `{}`", self.printer.name));
            return;
        };
        self.ledger.look(Check::Head);
        if let Frame::Course(c) = &self.frame {
            let text = format!("a head is selected within course {}", c.id);
            self.say(Check::Head, text);
            self.leave();
        }
        let old = self.head;
        if old == Some(head) {
            return;
        }
        self.clock.select(head, old);
        let now = self.clock.now();
        if let Some(old) = old {
            self.figures.head_changes += 1;
            let w = &mut self.warmth[index(old)];
            w.parked = Some(Parked { work_c: w.target, hot_s: 0.0, hot_since: Some(now) });
        }
        self.back(head, now);
        taken_up(self.printer, head, old, &mut self.machine.at);
        self.told_block.taken(head);
        self.head = Some(head);
    }

    /// A head's turn comes, or the end: had it been left hot?
    fn back(&mut self, head: Head, now: f64) {
        let Some(parked) = self.warmth[index(head)].parked.take() else { return };
        let p = self.printer.head(head);
        let down = parked.work_c - p.standby_drop_k;
        // a turn that is too short to cool and be heated again may leave it hot
        let allowed =
            p.heater.seconds(parked.work_c, down) + p.heater.seconds(down, parked.work_c) + PARKED_S;
        if !allowed.is_finite() {
            return;
        }
        let place = self.place();
        self.ledger.most(Check::Standby, parked.hot(now), allowed, place, || {
            format!("{} parked above its standby of {down:.0} degC", name(head))
        });
    }

    fn moves(&mut self, m: &Move) {
        let Some(head) = self.head else {
            self.say(Check::Head, "a move before a head is selected");
            return;
        };
        self.ledger.look(Check::Head);
        if self.cut.broken() {
            self.say(Check::CutBlock, "an axis moves within the cut block");
        }
        let profile = self.printer.head(head);
        let o = if self.printer.controller.program_applies_offsets { profile.offset_mm } else { [0.0; 3] };
        let curve = m.curve().moved([o[0], o[1]]);
        let (z0, z1) = (m.from[2] + o[2], m.to[2] + o[2]);
        let feed = m.feed / profile.feed_scale;
        let feeds = feed.abs() > 1e-9;
        let length = curve.length();
        let known = length.is_finite() && z1.is_finite();
        self.figures.moves += 1;
        self.reach(head, &curve, z1);
        if feeds && !(known && z0.is_finite()) {
            self.say(Check::Head, "a head feeds at an unknown place");
            return;
        }
        if feeds && self.machine.absolute_feed() != self.printer.controller.absolute_extrusion {
            self.say(Check::Controller, "E does not count as the profile says");
        }
        if feed > 1e-9 {
            self.warm(head);
        }
        if !known {
            return;
        }
        let z0 = if z0.is_finite() { z0 } else { z1 };
        let flat = length > 1e-9;
        self.speeds(head, m, &curve, z1 - z0, feed);
        self.strikes(head, &curve, z0, z1);
        let what = self.room(head, m, curve, [z0, z1], feed);
        if self.in_told {
            // the profile tells how long its blocks take
        } else if flat || (z1 - z0).abs() > 0.0 {
            self.clock.leg(&curve, z1 - z0, m.speed, m.rapid, what);
        } else if feeds {
            self.clock.feed(feed, m.speed, what);
        }
    }

    fn reach(&mut self, head: Head, curve: &Curve, z: f64) {
        let reach = self.printer.head(head).reach_mm;
        let (lo, hi) = if curve.arc.is_some() { curve.bounds() } else { (curve.to, curve.to) };
        for (k, [from, to]) in reach.into_iter().enumerate() {
            let (a, b) = if k < 2 { (lo[k], hi[k]) } else { (z, z) };
            let beyond = (from - a).max(b - to);
            if beyond.is_finite() {
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
    }

    fn warm(&mut self, head: Head) {
        let w = self.warmth[index(head)];
        let place = self.place();
        if !w.waited {
            self.ledger.say(
                Check::Temperature,
                place,
                format!("{} feeds, and nothing waited for its {} degC", name(head), w.target),
            );
            // once is enough
            self.warmth[index(head)].waited = true;
            return;
        }
        let work = self.facts.work_c[index(head)].unwrap_or(w.target);
        self.ledger.most(Check::Temperature, (w.target - work).abs(), WARM_K, place, || {
            format!("{} feeds at {} degC, its material wants {work} degC", name(head), w.target)
        });
    }

    fn speeds(&mut self, head: Head, m: &Move, curve: &Curve, dz: f64, feed: f64) {
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
            self.ledger.most(Check::MeltRate, rate / within.max(SHARE), profile.max_feed_mm_s, place, || {
                format!("{} feeds {rate:.3} mm/s", name(head))
            });
        }
    }

    /// Nothing goes through what lies, neither the head at work nor the idle one.
    fn strikes(&mut self, head: Head, curve: &Curve, z0: f64, z1: f64) {
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

    /// What a move does in its frame.
    fn room(&mut self, head: Head, m: &Move, curve: Curve, z: [f64; 2], feed: f64) -> Spent {
        let flat = curve.length() > 1e-9;
        let feeds = feed.abs() > 1e-9;
        match (&self.frame, head) {
            (Frame::Purge, _) => self.purge(head, &curve, z[1], feed),
            (_, Head::Fibre) if matches!(self.frame, Frame::Course(_)) || feeds => {
                self.fibre(m, curve, z, feed)
            }
            (_, Head::Matrix) if feeds => {
                self.bead(&curve, z, feed, flat);
                Spent::Matrix
            }
            _ => {
                self.drag(&curve, z[0].min(z[1]));
                Spent::Travel
            }
        }
    }

    fn purge(&mut self, head: Head, curve: &Curve, z: f64, feed: f64) -> Spent {
        if feed.abs() <= 1e-9 {
            return Spent::Travel;
        }
        if head == Head::Matrix {
            self.figures.purge_mm3 += feed * self.section();
        }
        if let Some(a) = &self.against {
            let place = self.at(curve.to);
            a.purge(&mut self.ledger, curve, place);
        }
        self.heights.lay(curve, z);
        Spent::Other
    }

    fn section(&self) -> f64 {
        let d = self.printer.feedstock_diameter_mm;
        0.25 * PI * d * d
    }

    fn lies_at(&mut self, curve: &Curve, z: [f64; 2]) {
        let off = (z[0] - self.top).abs().max((z[1] - self.top).abs());
        let place = self.at(curve.to);
        self.ledger.most(Check::LayerHeight, off, HEIGHT_MM, place, || format!("laid at z {:.3}", z[1]));
    }

    fn bead(&mut self, curve: &Curve, z: [f64; 2], feed: f64, flat: bool) {
        let volume = feed * self.section();
        self.figures.matrix_mm3 += volume;
        self.layer_matrix_mm3 += volume;
        if self.layer == 0 {
            self.say(Check::Frames, "matrix is laid before the first layer and outside a purge");
        }
        if !flat {
            return;
        }
        self.lies_at(curve, z);
        if feed < 0.0 {
            self.say(Check::MeltRate, "the matrix head draws back while it lays");
        }
        let flow = volume / curve.length();
        let place = self.at(curve.at(0.5));
        let section = self.section();
        let height = (self.top - self.below).max(1e-3);
        let width = match &mut self.against {
            Some(a) => a.bead(&mut self.ledger, curve, flow, section, place),
            None => None,
        };
        let width = width.unwrap_or(flow / height);
        self.heights.lay(curve, z[1]);
        let owner = u32::MAX;
        let mut from = curve.from;
        let (beads, line) = (&mut self.beads, self.line);
        curve.chords(0.005, |to| {
            beads.add(Stretch { a: from, b: to, owner, from: 0.0, width, line });
            from = to;
        });
    }

    fn fibre(&mut self, m: &Move, curve: Curve, z: [f64; 2], feed: f64) -> Spent {
        let flat = curve.length() > 1e-9;
        let feeds = feed.abs() > 1e-9;
        if !matches!(self.frame, Frame::Course(_)) {
            self.say(Check::Frames, "the fibre head feeds outside every course");
            let place = self.place();
            let id = format!("at line {}", self.line);
            self.frame = Frame::Course(Box::new(Course::new(&id, place)));
        }
        let place = self.at(curve.to);
        let cutter = self.printer.cutter_to_nozzle_mm;
        let Frame::Course(c) = &mut self.frame else { return Spent::Fibre };
        match (c.stage, feeds, flat) {
            (Stage::Before, false, _) => {
                self.drag(&curve, z[0].min(z[1]));
                if m.rapid { Spent::Travel } else { Spent::Fibre }
            }
            (Stage::Before | Stage::Fed, true, false) => {
                if c.stage == Stage::Fed {
                    let text = format!("course {}: tow is fed on the spot once more", c.id);
                    self.ledger.say(Check::Threading, place, text);
                }
                c.threaded += feed;
                c.stage = Stage::Fed;
                Spent::Fibre
            }
            (Stage::Before, true, true) => {
                let text = format!("course {}: laid before its tow is fed to the nozzle", c.id);
                self.ledger.say(Check::Threading, place, text);
                c.stage = Stage::Fed;
                self.lay(curve, z, feed);
                Spent::Fibre
            }
            (Stage::Fed, false, _) => {
                let way = curve.length() + (z[1] - z[0]).abs();
                let text = format!("course {}: the head moves without feeding before the cut", c.id);
                // shorter lines than the last digit of E have none
                self.ledger.most(Check::UncutTravel, way, 0.01, place, || text);
                if flat {
                    self.lay(curve, z, feed);
                }
                Spent::Fibre
            }
            (Stage::Cut, false, true) if c.is_tail(cutter, &curve, m.rapid) => {
                self.lay(curve, z, feed);
                Spent::Fibre
            }
            (Stage::Cut, false, _) => {
                let left = c.tail(cutter);
                if left > 0.05 && (z[1] - z[0]).abs() > 0.0 {
                    let text = format!("course {}: the head lifts with its tail not laid", c.id);
                    self.ledger.most(Check::UncutTravel, left, 0.05, place, || text);
                }
                self.drag(&curve, z[0].min(z[1]));
                if m.rapid { Spent::Travel } else { Spent::Fibre }
            }
            (_, true, true) => {
                self.lay(curve, z, feed);
                Spent::Fibre
            }
            (Stage::Cut, true, false) => {
                let text = format!("course {}: tow is fed after the cut", c.id);
                self.ledger.most(Check::Feed, feed.abs(), 0.0, place, || text);
                c.fed += feed;
                Spent::Fibre
            }
        }
    }

    fn lay(&mut self, curve: Curve, z: [f64; 2], feed: f64) {
        let place = self.at(curve.to);
        self.lies_at(&curve, z);
        if let Some(a) = &mut self.against {
            a.lay(&mut self.ledger, &curve, self.facts.tow_width_mm.unwrap_or(0.0), place);
        }
        if let Frame::Course(c) = &mut self.frame {
            c.lay(&mut self.ledger, curve, feed, place);
        }
        self.heights.lay(&curve, z[1]);
    }

    /// A travel does not pass over tow of its layer without a lift.
    fn drag(&mut self, curve: &Curve, z: f64) {
        if self.layer == 0 || z >= self.top + 0.02 || curve.length() <= 1e-9 {
            return;
        }
        self.ledger.look(Check::Drag);
        let half = (0.5 * self.facts.tow_width_mm.unwrap_or(0.0) - 0.1).max(0.05);
        let n = steps(curve.length(), STEP_MM);
        for k in 0..=n {
            let p = curve.at(f64::from(k) / f64::from(n));
            if self.tows.nearest(p, half, |_, _| true).is_some() {
                let place = self.at(p);
                self.ledger.say(Check::Drag, place, format!("a travel at z {z:.3} passes over tow"));
                return;
            }
        }
    }

    /// The end of the text.
    pub(super) fn finish(mut self, whole: bool) -> (Ledger, Figures) {
        if !whole {
            self.say(Check::Ending, "the last line has no line end: the program may be cut off");
        }
        if !matches!(self.frame, Frame::None) {
            self.say(Check::Frames, "the program ends inside a frame");
            self.leave();
        }
        self.close_layer();
        let alike = self.machine.dialect().end.last().is_none_or(|end| alike(end, &self.last));
        if self.line > 0 && !alike {
            self.say(
                Check::Ending,
                "the last words are not those of the profile's end block: the program may be cut off",
            );
        }
        self.ledger.look(Check::Ending);
        let now = self.clock.now();
        for head in [Head::Matrix, Head::Fibre] {
            self.back(head, now);
            let target = self.warmth[index(head)].target;
            if target > 0.0 {
                self.say(Check::Ending, format!("{} is left heated to {target} degC", name(head)));
            }
        }
        if self.head.is_none() {
            self.say(
                Check::Head,
                format!(
                    "no head of `{}` is ever selected, T{} or T{}: is it a program for this printer?",
                    self.printer.name, self.printer.matrix.tool, self.printer.fibre.tool
                ),
            );
        }
        self.figures.seconds = self.clock.finish();
        self.told();
        if let Some(a) = self.against.take() {
            let header = &self.header.text;
            a.finish(&mut self.ledger, &self.figures, &self.clock.seconds, header, self.printer);
        }
        (self.ledger, self.figures)
    }

    /// The header's figures against the program's.
    fn told(&mut self) {
        let f = &self.figures;
        if let Some((mm, line)) = self.header.fibre_mm {
            let place = Place { line, ..Place::default() };
            let within = 1.0 + 1e-3 * f.fibre_mm;
            self.ledger.most(Check::HeaderFibre, (mm - f.fibre_mm).abs(), within, place, || {
                format!("{mm} mm of fibre told, {:.1} mm laid", f.fibre_mm)
            });
        }
        if let Some((s, line)) = self.header.seconds {
            let place = Place { line, ..Place::default() };
            let off = super::time_off(s, f.seconds) * 100.0;
            self.ledger.most(Check::HeaderTime, off, super::TIME_PERCENT, place, || {
                format!("{s:.0} s told, the program takes {:.0} s", f.seconds)
            });
        }
        if let Some((n, line)) = self.header.layers {
            self.ledger.look(Check::Header);
            if n != f.layers {
                let place = Place { line, ..Place::default() };
                self.ledger.say(Check::Header, place, format!("{n} layers told, {} opened", f.layers));
            }
        }
    }
}

/// A place within the square ends of a stretch.
fn beside(p: [f64; 2], s: &Stretch) -> bool {
    let t = to_stretch(p, s.a, s.b).1;
    // inner joints are covered by the next stretch; ends of a course are square
    t > 0.0 && t < 1.0
}

fn name(head: Head) -> &'static str {
    match head {
        Head::Matrix => "the matrix head",
        Head::Fibre => "the fibre head",
    }
}

//! A program runs on a machine that only watches: where each nozzle is, what it
//! has fed, how hot it is, what lies on the bed.

mod ending;
mod frames;
mod laying;
mod limits;
mod neighbours;
mod warmth;

use crate::job::{Head, Printer};
use crate::verify::against::Against;
use crate::verify::clock::{Clock, Spent};
use crate::verify::controller::{CutBlock, Cutting, ToldBlock, from_reference, head_of, taken_up};
use crate::verify::course::{Course, Stage};
use crate::verify::dialect::{Dialect, Stands, alike, shown, tenths};
use crate::verify::findings::{Check, Ledger, Place};
use crate::verify::ground::{Heights, Near};
use crate::verify::header::Header;
use crate::verify::machine::{Machine, Move, Step};
use crate::verify::words::{self, Line, Word};
use crate::verify::{Facts, Figures};
use std::collections::VecDeque;
use warmth::Warmth;

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
    /// What bed and chamber are set to, degC, and whether that was looked at.
    rest: [f64; 2],
    rest_seen: bool,
    /// Lines of the start block that have come.
    start_lines: usize,
    /// The line is one of it.
    in_start: bool,
    heights: Heights,
    tows: Near,
    beads: Near,
    courses: u32,
    /// How far courses of the layer are told to lie off their lines, mm, where they do.
    off_mm: std::collections::BTreeMap<u32, f64>,
    /// Highest number of a copy that a course belongs to.
    copies: u64,
    layer_tow_mm: f64,
    layer_matrix_mm3: f64,
    /// Blocks that take the profile's own time, and whether the present line is in one.
    told_block: ToldBlock,
    in_told: bool,
    /// How far the cut block has come, and the line of its comment.
    cut: CutBlock,
    cut_said: Option<u64>,
    /// The last lines that have words.
    last: VecDeque<Vec<Word>>,
    /// Words behind the end have been told.
    past_end: bool,
    /// A word of a block that stands elsewhere, the block, and the line.
    stray: Option<(f64, Stands, u64)>,
    /// Seconds that the nozzle has rested where it is.
    rested_s: f64,
    /// Filament that the matrix head has drawn back at rest, mm.
    drawn_mm: f64,
    opened: std::collections::BTreeSet<String>,
}

/// Lines beside those of the end block that are looked at for it: of a block that a template
/// fills in otherwise, and what people write between.
const LAST_LINES: usize = 16;

/// A move that leaves its head's reach by more than this is not followed any further, mm:
/// the program is at fault there, and what it does beyond cannot be a machine's.
const FAR_MM: f64 = 100.0;

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
            rest: [0.0; 2],
            rest_seen: true,
            start_lines: 0,
            in_start: false,
            heights: Heights::new(lo, hi),
            tows: Near::new(lo, hi),
            beads: Near::new(lo, hi),
            courses: 0,
            off_mm: std::collections::BTreeMap::new(),
            copies: 1,
            layer_tow_mm: 0.0,
            layer_matrix_mm3: 0.0,
            told_block: ToldBlock::default(),
            in_told: false,
            cut: CutBlock::default(),
            cut_said: None,
            last: VecDeque::new(),
            past_end: false,
            stray: None,
            rested_s: 0.0,
            drawn_mm: 0.0,
            opened: std::collections::BTreeSet::new(),
        }
    }

    fn place(&self) -> Place {
        Place { line: self.line, layer: self.layer, at_mm: None }
    }

    fn at(&self, p: [f64; 2]) -> Place {
        let known = p.iter().all(|v| v.is_finite());
        Place { at_mm: known.then_some(p), ..self.place() }
    }

    fn say(&mut self, check: Check, text: impl Into<String>) {
        let place = self.place();
        self.ledger.say(check, place, text);
    }

    /// One line of the program.
    pub(super) fn line(&mut self, bytes: &[u8], line: &mut Line) {
        self.line += 1;
        self.figures.lines += 1;
        let bytes = match bytes.strip_prefix(b"\xef\xbb\xbf") {
            Some(rest) if self.line == 1 => {
                self.say(Check::Text, "a byte order mark stands before the first line: export without it");
                rest
            }
            _ => bytes,
        };
        if let Err(e) = words::read(bytes, line) {
            if !self.machine.ended() {
                self.say(Check::Text, e.to_string());
            }
            return;
        }
        if self.machine.ended() {
            // no machine runs it: it is told once, and what it would do is not followed
            if !line.words.is_empty() && !std::mem::replace(&mut self.past_end, true) {
                self.machine.line(line);
                self.tell_faults();
            }
            return;
        }
        for range in line.comments.clone() {
            match std::str::from_utf8(&bytes[range]) {
                Ok(comment) => self.comment(comment.trim(), line.words.is_empty()),
                Err(_) => self.say(Check::Text, "a comment is not UTF-8 text"),
            }
        }
        self.machine.line(line);
        self.tell_faults();
        if line.words.is_empty() {
            return;
        }
        let most = self.machine.dialect().end.len() + LAST_LINES;
        if self.last.len() >= most {
            self.last.pop_front();
        }
        self.last.push_back(line.words.clone());
        let cutting = self.cutting(line);
        self.in_told = self.told_block.see(self.machine.dialect(), line);
        self.blocks(line);
        self.heaters(line);
        if self.stray.is_none()
            && let Some((code, stands)) = self.machine.dialect().of_block(line)
            && (stands == Stands::AtTheEnd || (self.layer > 0 && !self.told_block.of_change()))
            && !self.head.is_some_and(|h| {
                self.machine.dialect().taken[h.index()].iter().any(|l| alike(l, &line.words))
            })
        {
            self.stray = Some((code, stands, self.line));
        }
        let accelerates =
            line.words.iter().any(|w| w.letter == b'M' && matches!(tenths(w.value), 2010 | 2040));
        if accelerates {
            self.acceleration(line);
        }
        let steps = std::mem::take(&mut self.machine.steps);
        for step in &steps {
            match *step {
                Step::Select(t) => self.select(t),
                Step::Dwell(s) if !cutting && !self.in_told => {
                    if let Some(head) = self.head {
                        self.dwells(head, s);
                    }
                }
                Step::Home => self.home(),
                Step::Dwell(_) | Step::End => {}
                Step::Move(m) => self.moves(&m),
            }
        }
        self.machine.steps = steps;
    }

    /// What was wrong with the line as the controller reads it.
    fn tell_faults(&mut self) {
        for (check, figure, text) in std::mem::take(&mut self.machine.faults) {
            let place = self.place();
            match figure {
                Some((value, limit)) => self.ledger.most(check, value, limit, place, || text),
                None => self.ledger.say(check, place, text),
            }
        }
    }

    /// Follows the start block and looks back at that of a head that was taken up.
    fn blocks(&mut self, line: &Line) {
        let dialect = self.machine.dialect();
        self.in_start =
            self.layer == 0 && dialect.start.get(self.start_lines).is_some_and(|l| alike(l, &line.words));
        self.start_lines += usize::from(self.in_start);
        if let Some(head) = self.told_block.missing()
            && dialect.taken_whole[head.index()]
        {
            let text = format!("behind the selection of {} its block is not whole", name(head));
            self.lacks(text);
        }
    }

    /// The first layer opens: has the start block come?
    fn started(&mut self) {
        let Some(line) = self.machine.dialect().start.get(self.start_lines) else {
            self.ledger.look(Check::Blocks);
            return;
        };
        let text = format!("the start block is not whole: a line like `{}` is missing", shown(line));
        self.lacks(text);
    }

    /// A block is missing: a fault of a program that was written for a profile; one
    /// written by hand may have its own.
    fn lacks(&mut self, text: String) {
        let place = self.place();
        if self.header.inputs {
            self.ledger.say(Check::Blocks, place, text);
        } else {
            self.ledger.warn(Check::Blocks, place, text);
        }
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
        if old.is_none() {
            // what the start block moves and the controller heats is their business: it takes
            // the profile's own time
            self.machine.at = [f64::NAN; 3];
            self.heated_by_controller();
        }
        self.clock.select(head, old);
        let now = self.clock.now();
        if let Some(old) = old {
            self.lifted(old);
            self.figures.head_changes += 1;
            self.put_aside(old, now, false);
        } else {
            let other = if head == Head::Matrix { Head::Fibre } else { Head::Matrix };
            self.put_aside(other, now, true);
        }
        self.back(head, now);
        // the block that follows says anew what holds
        self.stray = self.stray.filter(|s| s.1 == Stands::AtTheEnd);
        taken_up(self.printer, head, old, &mut self.machine.at);
        self.told_block.taken(head);
        self.head = Some(head);
    }

    /// The axes look for their reference: which way, only the controller knows. What the
    /// profile's own blocks do is its author's business.
    fn home(&mut self) {
        if self.heights.any() && !self.in_told {
            self.say(
                Check::Strike,
                "the axes are homed with something on the bed, by ways that nobody tells",
            );
        }
    }

    fn moves(&mut self, m: &Move) {
        let Some(head) = self.head else {
            // what the profile's start block moves, by nobody's offset, is its author's business
            if !self.in_start || m.feed.abs() > 1e-9 {
                self.say(Check::Head, "a move before a head is selected");
            }
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
        let beyond = self.reach(head, &curve, z1);
        if feeds && !(known && z0.is_finite()) {
            self.say(Check::Head, "a head feeds at an unknown place");
            return;
        }
        if feed > 1e-9 {
            self.warm(head);
            if let Some((code, stands, line)) = self.stray.take() {
                let of = match stands {
                    Stands::AtTheEnd => "the end block",
                    Stands::BehindAChange => "the blocks behind a change of heads",
                };
                let place = Place { line, layer: self.layer, at_mm: None };
                let text = format!("M{code} of {of} stands elsewhere, and the program lays on behind it");
                self.ledger.say(Check::Blocks, place, text);
            }
        }
        if !known {
            let way = from_reference(self.printer, head, m);
            if z1.is_finite() && self.heights.any() {
                let z0 = if z0.is_finite() { z0 } else { z1 };
                self.strikes(head, &way.curve(), z0, z1);
            }
            if !self.in_told {
                self.clock.leg(&way.curve(), way.to[2] - way.from[2], m.speed, m.rapid, Spent::Travel);
            }
            return;
        }
        let z0 = if z0.is_finite() { z0 } else { z1 };
        if beyond > FAR_MM {
            // told as out of reach; there is no bed there to look at
            self.clock.leg(&curve, z1 - z0, m.speed, m.rapid, Spent::Travel);
            return;
        }
        let flat = length > 1e-9;
        if flat || (z1 - z0).abs() > 0.0 {
            self.rested_s = 0.0;
        }
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
}

fn name(head: Head) -> &'static str {
    match head {
        Head::Matrix => "the matrix head",
        Head::Fibre => "the fibre head",
    }
}

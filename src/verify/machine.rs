//! The modal state of a controller: words become moves.
//!
//! NISTIR 6556: modal groups (Table 4), arcs (3.5.3), units (3.5.7), distance
//! mode (3.5.17), G92 (3.5.18), order of execution (Table 8). Differs in: `E` is
//! read; G92 moves the coordinates and nothing else; coordinate systems other
//! than the first, planes other than xy, canned cycles, probing and inverse-time
//! feed are refused; beside an M code of printers' own a move needs its G0 to G3.

use super::dialect::{Dialect, tenths};
use super::findings::Check;
use super::geometry::{Curve, distance};
use super::words::Line;
use crate::job::block::other_meaning;

/// An arc's radius at its end against its start, mm (NISTIR 6556, 3.5.3.2).
pub const ARC_MM: f64 = 0.002;

/// The same for inches as written: 0.0002 in.
const ARC_IN_MM: f64 = 0.0002 * 25.4;

/// Coordinates beyond this are no machine's, mm.
const FARTHEST_MM: f64 = 1e5;

/// One move in the program's coordinates, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Move {
    /// Where it starts; not a number where that is unknown.
    pub from: [f64; 3],
    /// Where it ends.
    pub to: [f64; 3],
    /// Centre and sense (counter-clockwise) of an arc.
    pub arc: Option<([f64; 2], bool)>,
    /// What the E word feeds, mm as written.
    pub feed: f64,
    /// mm/s; 0 where the program has not said.
    pub speed: f64,
    /// G0.
    pub rapid: bool,
}

impl Move {
    /// Its way in the plane.
    pub fn curve(&self) -> Curve {
        let (from, to) = ([self.from[0], self.from[1]], [self.to[0], self.to[1]]);
        Curve { from, to, arc: self.arc }
    }
}

/// What a line makes the machine do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Step {
    /// A head, by its T number.
    Select(f64),
    /// Seconds at rest.
    Dwell(f64),
    /// To the machine's reference: after it the place is unknown.
    Home,
    /// A move, or a feed without one.
    Move(Move),
    /// M2 or M30.
    End,
}

/// What is wrong with a line: which check, a figure and its limit if there are, words.
pub type Fault = (Check, Option<(f64, f64)>, String);

/// The state.
#[derive(Clone, Debug)]
pub struct Machine {
    dialect: Dialect,
    /// Where the nozzle is, program's coordinates.
    pub at: [f64; 3],
    motion: Option<u8>,
    absolute: bool,
    absolute_feed: bool,
    unit_mm: f64,
    e: f64,
    speed: f64,
    tool: Option<f64>,
    /// A T word that waits for its M6.
    named: Option<f64>,
    /// Some words have come.
    begun: bool,
    ended: bool,
    /// What the present line did.
    pub steps: Vec<Step>,
    /// What was wrong with it.
    pub faults: Vec<Fault>,
}

impl Machine {
    /// Before the first line.
    pub fn new(dialect: Dialect) -> Self {
        Self {
            absolute_feed: dialect.absolute_feed,
            dialect,
            at: [f64::NAN; 3],
            motion: None,
            absolute: true,
            unit_mm: 1.0,
            e: 0.0,
            speed: 0.0,
            tool: None,
            named: None,
            begun: false,
            ended: false,
            steps: Vec::new(),
            faults: Vec::new(),
        }
    }

    /// What the controller reads.
    pub fn dialect(&self) -> &Dialect {
        &self.dialect
    }

    /// The program has ended: what comes behind is not run.
    pub fn ended(&self) -> bool {
        self.ended
    }

    fn say(&mut self, check: Check, text: impl Into<String>) {
        self.faults.push((check, None, text.into()));
    }

    /// Runs a line; `steps` and `faults` hold what came of it.
    pub fn line(&mut self, line: &Line) {
        self.steps.clear();
        self.faults.clear();
        if line.parentheses && !self.dialect.parentheses {
            self.say(Check::Controller, "comments in parentheses are not this printer's");
        }
        if line.semicolon && !self.dialect.semicolons {
            self.say(Check::Controller, "comments after a semicolon are not this printer's");
        }
        // a percent sign opens a tape, and the next one closes it (NISTIR 6556, 3.1)
        self.ended |= line.percent && self.begun;
        if line.words.is_empty() {
            return;
        }
        if self.ended {
            self.say(Check::Ending, "words after the end of the program, which no machine runs");
            return;
        }
        self.begun = true;
        if line.deletable {
            self.say(Check::Controller, "`/`: a switch on the panel decides whether this line is run");
        }
        self.form(line);
        self.modes(line);
        let axes = line.words.iter().any(|w| matches!(w.letter, b'X' | b'Y' | b'Z'));
        let feeds = line.has(b'E');
        let mut still = false;
        for w in line.words.iter().filter(|w| w.letter == b'G') {
            match tenths(w.value) {
                40 => {
                    still = true;
                    self.dwell(line);
                }
                280 => {
                    still = true;
                    self.home(line);
                }
                920 => {
                    still = true;
                    self.restart(line);
                }
                _ => {}
            }
        }
        let centre = line.has(b'I') || line.has(b'J') || line.has(b'R');
        let moving = line.words.iter().any(|w| w.letter == b'G' && MOTIONS.contains(&tenths(w.value)));
        match line.words.iter().find(|w| w.letter == b'M' && !runs_beside_moves(tenths(w.value))) {
            // words beside other M codes are parameters: R of a temperature, axes of a limit
            Some(m) if !moving => {
                if (axes || feeds) && !still && !self.dialect.sets_axes(tenths(m.value)) {
                    let text = format!("axes beside M{}, which has none, and no G0 to G3", m.value);
                    self.say(Check::Controller, text);
                }
            }
            other => {
                if (axes || feeds || (centre && other.is_none())) && !still {
                    self.moves(line);
                }
            }
        }
        if line.words.iter().any(|w| w.letter == b'M' && matches!(tenths(w.value), 20 | 300)) {
            self.ended = true;
            self.steps.push(Step::End);
        }
    }

    /// Repeated words, unknown codes, codes of one modal group.
    fn form(&mut self, line: &Line) {
        let mut seen = 0_u32;
        let mut groups = 0_u32;
        let odd = |n: f64| !(0.0..=99_999.0).contains(&n) || n.fract() != 0.0;
        if line.number.is_some_and(odd) || line.has(b'N') {
            self.say(Check::Controller, "a line number is a whole number up to 99999 at the start");
        }
        for w in &line.words {
            if !matches!(w.letter, b'G' | b'M') {
                if !self.dialect.knows_letter(w.letter) {
                    let text = format!("{}{} is not known to this printer", char::from(w.letter), w.value);
                    self.say(Check::Controller, text);
                }
                let bit = 1 << (w.letter - b'A');
                if seen & bit != 0 {
                    self.say(Check::Controller, format!("the letter {} stands twice", char::from(w.letter)));
                }
                seen |= bit;
                continue;
            }
            if !self.dialect.knows(w) {
                self.say(
                    Check::Controller,
                    format!("{}{} is not known to this printer", char::from(w.letter), w.value),
                );
            }
            if let Some(group) = group(w.letter, tenths(w.value)) {
                if groups & (1 << group) != 0 {
                    self.say(
                        Check::Controller,
                        format!("{}{}: a second code of its group", char::from(w.letter), w.value),
                    );
                }
                groups |= 1 << group;
            }
        }
    }

    /// Everything that acts before a move, in the order of Table 8.
    fn modes(&mut self, line: &Line) {
        for w in line.words.iter().filter(|w| w.letter == b'G') {
            match tenths(w.value) {
                200 => self.unit_mm = 25.4,
                210 => self.unit_mm = 1.0,
                _ => {}
            }
        }
        if let Some(f) = line.word(b'F') {
            if f > 0.0 {
                self.speed = f * self.unit_mm / 60.0;
            } else {
                self.say(Check::Speed, format!("a feed of {f}"));
            }
        }
        let heater = line.words.iter().any(|w| w.letter == b'M' && tenths(w.value) > 60);
        let change = line.words.iter().any(|w| w.letter == b'M' && tenths(w.value) == 60);
        if let Some(t) = line.word(b'T')
            && !heater
        {
            self.tool = Some(t);
            self.named = Some(t).filter(|_| self.dialect.change_m6 && self.dialect.is_a_profiles());
            if !self.dialect.change_m6 {
                self.steps.push(Step::Select(t));
            }
        }
        if change {
            self.named = None;
        }
        if change && self.dialect.change_m6 {
            match self.tool {
                Some(t) => self.steps.push(Step::Select(t)),
                None => self.say(Check::Head, "M6 before any T word"),
            }
        }
        for w in &line.words {
            match (w.letter, tenths(w.value)) {
                (b'G', 0) => self.motion = Some(0),
                (b'G', 10) => self.motion = Some(1),
                (b'G', 20 | 30) if !self.dialect.arcs => {
                    self.motion = Some(1);
                }
                (b'G', 20) => self.motion = Some(2),
                (b'G', 30) => self.motion = Some(3),
                (b'G', 900) => self.absolute = true,
                (b'G', 910) => self.absolute = false,
                (b'G', _) => {
                    // where G92 has axes these are told with the coordinates that they move
                    let axes = line.words.iter().any(|w| matches!(w.letter, b'X' | b'Y' | b'Z'));
                    if tenths(w.value) != 920
                        && let Some(why) = other_meaning(w.value, axes)
                    {
                        self.say(Check::Controller, format!("G{}: {why}", w.value));
                    }
                }
                (b'M', 820 | 830) => {
                    self.absolute_feed = tenths(w.value) == 820;
                    if self.dialect.is_a_profiles() && self.absolute_feed != self.dialect.absolute_feed {
                        let text = format!("M{}: by the profile E counts the other way", w.value);
                        self.say(Check::Controller, text);
                    }
                }
                _ => {}
            }
        }
    }

    fn dwell(&mut self, line: &Line) {
        let unit = if self.dialect.dwell_milliseconds { 1e-3 } else { 1.0 };
        match line.word(b'P') {
            Some(p) if p >= 0.0 => self.steps.push(Step::Dwell(p * unit)),
            _ => self.say(Check::Controller, "a dwell without a time of at least 0"),
        }
    }

    fn home(&mut self, line: &Line) {
        let some = [b'X', b'Y', b'Z'].map(|l| line.has(l));
        let all = !some.contains(&true);
        for (at, named) in self.at.iter_mut().zip(some) {
            if all || named {
                *at = f64::NAN;
            }
        }
        self.steps.push(Step::Home);
    }

    fn restart(&mut self, line: &Line) {
        if !line.words.iter().any(|w| matches!(w.letter, b'X' | b'Y' | b'Z' | b'E')) {
            let text = "G92 without an axis: some controllers set them all to 0, others stop";
            self.say(Check::Controller, text);
        }
        if let Some(e) = line.word(b'E') {
            self.e = e * self.unit_mm;
        }
        for (k, letter) in [b'X', b'Y', b'Z'].into_iter().enumerate() {
            if let Some(v) = line.word(letter) {
                // what the part's coordinates then are, nobody can know from the program
                self.say(
                    Check::Controller,
                    format!("G92 moves the coordinates of axis {}", char::from(letter)),
                );
                self.at[k] = v * self.unit_mm;
            }
        }
    }

    fn moves(&mut self, line: &Line) {
        let Some(motion) = self.motion else {
            self.say(Check::Controller, "a move before any of G0 to G3");
            return;
        };
        let from = self.at;
        let mut to = from;
        for (k, letter) in [b'X', b'Y', b'Z'].into_iter().enumerate() {
            if let Some(v) = line.word(letter) {
                let v = v * self.unit_mm;
                to[k] = if self.absolute { v } else { from[k] + v };
                if v.abs() > FARTHEST_MM {
                    self.say(
                        Check::Reach,
                        format!("{}{v} is out of every machine's range", char::from(letter)),
                    );
                }
            }
        }
        let mut feed = 0.0;
        if let Some(e) = line.word(b'E') {
            let e = e * self.unit_mm;
            feed = if self.absolute_feed { e - self.e } else { e };
            self.e = if self.absolute_feed { e } else { self.e + e };
        }
        self.at = to;
        if feed.abs() > 1e-9
            && let Some(t) = self.named.take()
        {
            let text = format!("T{t} stands before this feed and no M6: on this printer it selects nothing");
            self.say(Check::Head, text);
        }
        if motion == 0 && feed.abs() > 1e-9 {
            self.say(Check::Speed, "a feed in a rapid move (G0), which a controller runs as fast as it can");
        }
        let arc = if motion >= 2 { self.arc(line, from, to, motion == 3) } else { None };
        if motion > 0 && self.speed <= 0.0 {
            self.say(Check::Speed, "a move at feed before any F word");
        }
        self.steps.push(Step::Move(Move { from, to, arc, feed, speed: self.speed, rapid: motion == 0 }));
    }

    /// The centre of an arc, by its offsets or its radius; `None` where it has none.
    fn arc(&mut self, line: &Line, from: [f64; 3], to: [f64; 3], ccw: bool) -> Option<([f64; 2], bool)> {
        let (a, b) = ([from[0], from[1]], [to[0], to[1]]);
        if !(a[0] + a[1]).is_finite() {
            self.say(Check::Arc, "an arc from an unknown place");
            return None;
        }
        if line.word(b'P').is_some_and(|p| p > 1.0 + 1e-9) || line.word(b'K').is_some_and(|k| k.abs() > 1e-9)
        {
            self.say(Check::Arc, "an arc of more turns than one (P), or in another plane (K)");
        }
        let offsets = (line.word(b'I'), line.word(b'J'));
        match (line.word(b'R'), offsets) {
            (Some(_), (Some(_), _) | (_, Some(_))) => {
                self.say(Check::Arc, "an arc with a radius and with offsets");
                None
            }
            (None, (None, None)) => {
                self.say(Check::Arc, "an arc without a centre");
                None
            }
            (Some(r), _) => {
                let r = r * self.unit_mm;
                let chord = distance(a, b);
                if chord < 1e-9 {
                    self.say(Check::Arc, "an arc given by its radius that ends where it starts");
                    return None;
                }
                let over = 0.5 * chord - r.abs();
                if over > ARC_MM {
                    self.faults.push((
                        Check::Arc,
                        Some((over, ARC_MM)),
                        format!("an arc of radius {r:.4} mm between places {chord:.4} mm apart"),
                    ));
                    return None;
                }
                let rise = (r * r - 0.25 * chord * chord).max(0.0).sqrt();
                // the centre lies to the left for a turn to the left of at most half a turn
                let side = if ccw == (r > 0.0) { rise } else { -rise };
                let (dx, dy) = ((b[0] - a[0]) / chord, (b[1] - a[1]) / chord);
                Some(([0.5 * (a[0] + b[0]) - dy * side, 0.5 * (a[1] + b[1]) + dx * side], ccw))
            }
            (None, (i, j)) => {
                let centre = [a[0] + i.unwrap_or(0.0) * self.unit_mm, a[1] + j.unwrap_or(0.0) * self.unit_mm];
                let off = (distance(a, centre) - distance(b, centre)).abs();
                let limit = if self.unit_mm > 1.0 { ARC_IN_MM } else { ARC_MM };
                // sums of decimals are exact to about 1e-12
                self.faults.push((Check::Arc, Some((off, limit + 1e-9)), "an arc's radii".to_owned()));
                Some((centre, ccw))
            }
        }
    }
}

/// Tenths of the codes that move: G0 to G3.
const MOTIONS: [i64; 4] = [0, 10, 20, 30];

/// M codes of the standard, which a line has beside a move (NISTIR 6556, Table 7).
fn runs_beside_moves(tenths: i64) -> bool {
    matches!(tenths, 0..=90 | 300 | 480 | 490 | 600)
}

/// The modal group of a code, as a bit number (NISTIR 6556, Table 4).
fn group(letter: u8, tenths: i64) -> Option<u32> {
    Some(match (letter, tenths) {
        (b'G', 0 | 10 | 20 | 30 | 380..=389 | 800..=890) => 1,
        (b'G', 170 | 180 | 190) => 2,
        (b'G', 900 | 910) => 3,
        (b'G', 930 | 940) => 5,
        (b'G', 200 | 210) => 6,
        (b'G', 400 | 410 | 420) => 7,
        (b'G', 430 | 490) => 8,
        (b'G', 980 | 990) => 10,
        (b'G', 540..=599) => 12,
        (b'G', 610..=640) => 13,
        (b'G', 40 | 100 | 280 | 300 | 920..=923) => 14,
        (b'M', 0 | 10 | 20 | 300 | 600) => 20,
        (b'M', 60) => 21,
        (b'M', 30 | 40 | 50) => 22,
        (b'M', 480 | 490) => 23,
        (b'M', 820 | 830) => 24,
        _ => return None,
    })
}

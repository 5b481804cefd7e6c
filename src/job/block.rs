//! Blocks: the program texts of a printer profile, as templates with a fixed set
//! of names.

mod words;

pub(crate) use words::{other_meaning, words_of};

use super::document::Values as Checked;
use super::printer::{Head, Printer};
use crate::diagnostic::nearest::{listed, nearest};
use crate::diagnostic::{Diagnostic, Faults, Outcome, Source};
use minijinja::value::Value;
use minijinja::{Environment, UndefinedBehavior};
use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

/// One template with its place in the profile.
#[derive(Clone, Debug)]
pub struct Block {
    /// Its key in the profile.
    pub kind: BlockKind,
    /// The template.
    pub text: String,
    /// The profile's text.
    pub source: Arc<Source>,
    /// Where the template's text starts and ends in it.
    pub span: Range<usize>,
}

/// Which block.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum BlockKind {
    /// Opens the program.
    Start,
    /// Closes it.
    End,
    /// After the `T` line that selects the matrix head.
    ToMatrix,
    /// After the `T` line that selects the fibre head.
    ToFibre,
    /// Cuts the tow.
    Cut,
    /// Sets a head's temperature without waiting.
    Heat,
    /// Sets a head's temperature and waits.
    HeatWait,
}

impl BlockKind {
    /// Every block, in a profile's order.
    pub const ALL: [Self; 7] =
        [Self::Start, Self::End, Self::ToMatrix, Self::ToFibre, Self::Cut, Self::Heat, Self::HeatWait];

    /// Its key under `[blocks]`.
    pub fn key(self) -> &'static str {
        match self {
            Self::Start => "start",
            Self::End => "end",
            Self::ToMatrix => "to_matrix",
            Self::ToFibre => "to_fibre",
            Self::Cut => "cut",
            Self::Heat => "heat",
            Self::HeatWait => "heat_wait",
        }
    }

    /// Whether the block is about one head and its temperature.
    fn of_a_head(self) -> bool {
        matches!(self, Self::Heat | Self::HeatWait)
    }
}

/// Shortest time in which a blade is driven through a tow, s: solenoids and pneumatic
/// valves take some 10 ms to move at all (from memory).
const LEAST_DWELL_S: f64 = 0.01;

/// Dwells make up at least this share of a cut: less, and P was written in another unit,
/// of which the ones in use differ by a thousand.
const LEAST_DWELL_SHARE: f64 = 0.01;

/// A name that blocks may use.
#[derive(Debug)]
pub struct Name {
    /// As written between `{{` and `}}`.
    pub name: &'static str,
    /// What it stands for.
    pub text: &'static str,
    /// Only in the blocks `heat` and `heat_wait`.
    pub of_a_head: bool,
    /// What a check renders.
    sample: Sample,
}

#[derive(Debug)]
enum Sample {
    Text(&'static str),
    Number(f64),
}

/// Every name, in one place: writing and checking follow from it.
pub static NAMES: &[Name] = &[
    Name {
        name: "part",
        text: "name of the part, as in the output's file name",
        of_a_head: false,
        sample: Sample::Text("sample"),
    },
    Name { name: "layers", text: "number of layers", of_a_head: false, sample: Sample::Number(20.0) },
    Name {
        name: "fibre_length_mm",
        text: "length of all tow laid, mm",
        of_a_head: false,
        sample: Sample::Number(12345.6),
    },
    Name {
        name: "build_time",
        text: "planned time, h:mm:ss",
        of_a_head: false,
        sample: Sample::Text("1:23:45"),
    },
    Name {
        name: "matrix_tool",
        text: "T number of the matrix head",
        of_a_head: false,
        sample: Sample::Number(0.0),
    },
    Name {
        name: "fibre_tool",
        text: "T number of the fibre head",
        of_a_head: false,
        sample: Sample::Number(1.0),
    },
    Name {
        name: "bed_temperature_c",
        text: "temperature of the bed, degC",
        of_a_head: false,
        sample: Sample::Number(90.0),
    },
    Name {
        name: "chamber_temperature_c",
        text: "temperature of the chamber, degC; 0 unheated",
        of_a_head: false,
        sample: Sample::Number(60.0),
    },
    Name {
        name: "matrix_temperature_c",
        text: "matrix head at work, degC",
        of_a_head: false,
        sample: Sample::Number(240.0),
    },
    Name {
        name: "fibre_temperature_c",
        text: "fibre head at work, degC",
        of_a_head: false,
        sample: Sample::Number(245.0),
    },
    Name {
        name: "matrix_standby_c",
        text: "matrix head while the other works, degC",
        of_a_head: false,
        sample: Sample::Number(170.0),
    },
    Name {
        name: "fibre_standby_c",
        text: "fibre head while the other works, degC",
        of_a_head: false,
        sample: Sample::Number(170.0),
    },
    Name { name: "tool", text: "T number of the head to heat", of_a_head: true, sample: Sample::Number(1.0) },
    Name {
        name: "temperature_c",
        text: "temperature to reach, degC",
        of_a_head: true,
        sample: Sample::Number(245.0),
    },
];

/// Names that a block may use.
pub fn names(kind: BlockKind) -> Vec<&'static str> {
    NAMES.iter().filter(|n| !n.of_a_head || kind.of_a_head()).map(|n| n.name).collect()
}

/// What the words of a block are held against.
#[derive(Clone, Copy, Debug)]
pub(super) struct Limits {
    /// `( … )` rather than `; …`.
    pub(super) parenthesis_comments: bool,
    /// G2 and G3 are understood.
    pub(super) arcs: bool,
    /// E counts from the last `G92 E0`; `None` where the profile is at fault there.
    pub(super) absolute_extrusion: Option<bool>,
    /// P of G4 counts milliseconds.
    pub(super) dwell_milliseconds: bool,
    /// Times of a cut, of a change of heads, of the start block and of the end block, s.
    pub(super) times_s: [Option<f64>; 4],
    /// Matrix head and fibre head: T number and highest temperature, degC; `None`
    /// where the profile is at fault there.
    pub(super) heads: [(Option<i64>, Option<f64>); 2],
    /// Hottest that the bed gets, degC.
    pub(super) bed_c: Option<f64>,
    /// Hottest that the chamber gets, degC.
    pub(super) chamber_c: Option<f64>,
}

impl Limits {
    /// Those of a profile that was read.
    fn of(printer: &Printer) -> Self {
        let (c, times) = (&printer.controller, &printer.times);
        let head = |h: Head| {
            let head = printer.head(h);
            (Some(i64::from(head.tool)), Some(head.max_temperature_c))
        };
        Self {
            parenthesis_comments: c.parenthesis_comments,
            arcs: c.arcs,
            absolute_extrusion: Some(c.absolute_extrusion),
            dwell_milliseconds: c.dwell_milliseconds,
            times_s: [times.cut_s, times.head_change_s, times.start_s, times.end_s].map(Some),
            heads: [head(Head::Matrix), head(Head::Fibre)],
            bed_c: Some(printer.max_bed_temperature_c),
            chamber_c: Some(printer.max_chamber_temperature_c),
        }
    }

    /// A sample value, brought within what the machine has.
    fn within(&self, name: &str, sample: f64) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "T numbers are below 100")]
        let tool = |head: usize| self.heads[head].0.map_or(sample, |t| t as f64);
        let most = |head: usize| self.heads[head].1.map_or(sample, |c| sample.min(c));
        match name {
            "matrix_tool" | "tool" => tool(0),
            "fibre_tool" => tool(1),
            "matrix_temperature_c" | "matrix_standby_c" | "temperature_c" => most(0),
            "fibre_temperature_c" | "fibre_standby_c" => most(1),
            "bed_temperature_c" => self.bed_c.map_or(sample, |c| sample.min(c)),
            "chamber_temperature_c" => self.chamber_c.map_or(sample, |c| sample.min(c)),
            _ => sample,
        }
    }

    /// What is wrong with a line that heats: M104 and M109 heat a head, M140 and
    /// M190 the bed, M141 and M191 the chamber (common practice on printers).
    fn too_hot(&self, words: &[(char, f64)]) -> Option<String> {
        let word = |letter: char| words.iter().find(|(l, _)| *l == letter).map(|(_, n)| *n);
        let wanted = word('S').or(word('R'))?;
        let code = |codes: [f64; 2]| words.iter().any(|(l, n)| *l == 'M' && codes.contains(n));
        let (what, most) = if code([104.0, 109.0]) {
            #[expect(clippy::cast_precision_loss, reason = "T numbers are below 100")]
            let of = |t: f64| {
                self.heads.iter().position(|(tool, _)| tool.is_some_and(|n| (n as f64 - t).abs() < 1e-9))
            };
            match word('T') {
                // without a T word the head at work is meant: either
                None => {
                    let hottest = self
                        .heads
                        .iter()
                        .filter_map(|(_, c)| *c)
                        .fold(None, |m: Option<f64>, c| Some(m.map_or(c, |m| m.max(c))));
                    ("hotter head", hottest?)
                }
                Some(t) => match of(t) {
                    Some(head) => (["matrix head", "fibre head"][head], self.heads[head].1?),
                    None if self.heads.iter().all(|(tool, _)| tool.is_some()) => {
                        return Some(format!("no head has the number T{t}"));
                    }
                    None => return None,
                },
            }
        } else if code([140.0, 190.0]) {
            ("bed", self.bed_c?)
        } else if code([141.0, 191.0]) {
            ("chamber", self.chamber_c?)
        } else {
            return None;
        };
        (wanted > most).then(|| format!("{wanted} degC, the {what} gets at most {most} degC hot"))
    }
}

/// What the names stand for in one rendering.
#[derive(Clone, Debug, Default)]
pub struct BlockValues(BTreeMap<&'static str, Value>);

impl BlockValues {
    /// No names yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a text.
    #[must_use]
    pub fn text(mut self, name: &'static str, text: &str) -> Self {
        debug_assert!(NAMES.iter().any(|n| n.name == name), "the block name {name} is not in the table");
        self.0.insert(name, Value::from(text));
        self
    }

    /// Adds a number: whole ones are written whole, others to 3 decimals.
    #[must_use]
    pub fn number(mut self, name: &'static str, number: f64) -> Self {
        debug_assert!(NAMES.iter().any(|n| n.name == name), "the block name {name} is not in the table");
        let thousandths = (number * 1000.0).round();
        let value = if thousandths % 1000.0 == 0.0 && thousandths.abs() < 1e15 {
            #[expect(clippy::cast_possible_truncation, reason = "bounded by the line before")]
            let whole = (thousandths / 1000.0) as i64;
            Value::from(whole)
        } else {
            Value::from(thousandths / 1000.0)
        };
        self.0.insert(name, value);
        self
    }

    /// Every name with some value: for whoever wants to know a block's words, not
    /// their numbers.
    pub(crate) fn samples() -> Self {
        NAMES.iter().fold(Self::new(), |v, n| match n.sample {
            Sample::Text(t) => v.text(n.name, t),
            Sample::Number(x) => v.number(n.name, x),
        })
    }

    /// The values that a check renders with: temperatures as hot as the machine
    /// gets at most, its own T numbers.
    fn sample(kind: BlockKind, limits: &Limits) -> Self {
        NAMES.iter().filter(|n| !n.of_a_head || kind.of_a_head()).fold(Self::new(), |v, n| match n.sample {
            Sample::Text(t) => v.text(n.name, t),
            Sample::Number(x) => v.number(n.name, limits.within(n.name, x)),
        })
    }
}

impl Block {
    /// A block as it stands in a profile's `[blocks]` table.
    pub(super) fn of(kind: BlockKind, blocks: &Checked, source: &Arc<Source>) -> Option<Self> {
        let text = blocks.text(kind.key())?.to_owned();
        let value = blocks.place(kind.key());
        let typed = source.text.get(value.clone()).unwrap_or("");
        // where nothing is escaped the template stands in the file as it is
        let span = match typed.find(text.as_str()) {
            Some(at) if !text.is_empty() => value.start + at..value.start + at + text.len(),
            _ => value,
        };
        Some(Self { kind, text, source: Arc::clone(source), span })
    }

    /// The lines of the program, without empty ones at its end.
    ///
    /// Errors: `block-template` at the line in the profile: a name that is not
    /// known or not given, or a template that cannot be worked out.
    pub fn render(&self, values: &BlockValues) -> Outcome<String> {
        let environment = environment();
        let template =
            environment.template_from_named_str(self.kind.key(), &self.text).map_err(|e| self.failed(&e))?;
        let text = template.render(Value::from_pairs(values.0.clone())).map_err(|e| self.failed(&e))?;
        Ok(text.trim_end().to_owned())
    }

    /// Everything that is wrong with it: its template, its names, its words.
    pub(super) fn check(&self, limits: &Limits) -> Vec<Diagnostic> {
        let environment = environment();
        let template = match environment.template_from_named_str(self.kind.key(), &self.text) {
            Ok(template) => template,
            Err(e) => return vec![self.failed(&e)],
        };
        let known = names(self.kind);
        let mut unknown: Vec<String> = template
            .undeclared_variables(false)
            .into_iter()
            .filter(|name| !known.contains(&name.as_str()) && !environment.globals().any(|(g, _)| g == name))
            .collect();
        unknown.sort();
        if !unknown.is_empty() {
            return unknown.iter().map(|name| self.unknown(name, &known)).collect();
        }
        match self.render(&BlockValues::sample(self.kind, limits)) {
            Ok(text) => self.faults_in(&text, limits),
            Err(faults) => faults.0,
        }
    }

    /// What is wrong with its words as they were filled in: a template may write other
    /// words for one job than for another.
    fn faults_in(&self, text: &str, limits: &Limits) -> Vec<Diagnostic> {
        let mut faults = self.words(text, limits);
        faults.extend(self.cuts_nothing(text, limits));
        faults.extend(self.dwells(text, limits));
        faults.extend(self.feed_mode(text, limits));
        faults
    }

    /// The lines of the program, as [`Self::render`], if a printer may run them.
    ///
    /// Errors: `block-template`, and `block-words` at the line in the profile.
    pub(crate) fn written(&self, values: &BlockValues, printer: &Printer) -> Outcome<String> {
        let text = self.render(values)?;
        let faults = self.faults_in(&text, &Limits::of(printer));
        if faults.is_empty() { Ok(text) } else { Err(Faults(faults)) }
    }

    fn unknown(&self, name: &str, known: &[&'static str]) -> Diagnostic {
        let d = Diagnostic::error(
            "block-template",
            format!("the block `{}` uses `{name}`, which is no name that it knows", self.kind.key()),
        );
        let d = match nearest(name, known.iter().copied()) {
            Some(near) => d.help(format!("did you mean `{near}`?")),
            None => d.help(format!("names here: {}", listed(known))),
        };
        let at = word_in(&self.text, name).unwrap_or(0..0);
        d.at(&self.source, self.in_profile(at), "not known")
    }

    fn failed(&self, e: &minijinja::Error) -> Diagnostic {
        let mut message = e.kind().to_string();
        if e.kind() == minijinja::ErrorKind::OutOfFuel {
            message = format!("it takes more than {MOST_STEPS} steps: does a loop run too often?");
        } else if let Some(detail) = e.detail() {
            message.push_str(": ");
            message.push_str(detail);
        }
        let d = Diagnostic::error("block-template", format!("the block `{}`: {message}", self.kind.key()));
        let range = e.range().filter(|r| r.start < r.end && r.end <= self.text.len());
        let at = range.or_else(|| e.line().map(|line| line_of(&self.text, line))).unwrap_or(0..0);
        d.at(&self.source, self.in_profile(at), "")
    }

    /// A range of the template as a range of the profile's text.
    fn in_profile(&self, at: Range<usize>) -> Range<usize> {
        if self.source.text.get(self.span.clone()) == Some(self.text.as_str()) {
            self.span.start + at.start..self.span.start + at.end
        } else {
            self.span.clone()
        }
    }

    /// The words of the rendered lines: letters of RS-274 and `E`, numbers, no
    /// `T` that would select a head, no moves where the planner counts on none.
    ///
    /// Kramer, Proctor & Messina, "The NIST RS274/NGC Interpreter - Version 3",
    /// NISTIR 6556, 2000, 3.3; the `E` word is common practice on printers.
    fn words(&self, text: &str, limits: &Limits) -> Vec<Diagnostic> {
        let mut faults = Vec::new();
        for line in text.lines() {
            if let Err((message, help)) = self.line(line, limits) {
                let d = Diagnostic::error(
                    "block-words",
                    format!("the block `{}` writes `{}`: {message}", self.kind.key(), line.trim()),
                )
                .help(help);
                let at = self.line_like(line);
                faults.push(d.at(&self.source, self.in_profile(at), ""));
            }
        }
        faults
    }

    /// The block `cut` does something.
    fn cuts_nothing(&self, text: &str, limits: &Limits) -> Option<Diagnostic> {
        let nothing = |l: &str| words_of(l, limits.parenthesis_comments).is_ok_and(|words| words.is_empty());
        (self.kind == BlockKind::Cut && text.lines().all(nothing)).then(|| {
            Diagnostic::error("block-words", "the block `cut` is empty: nothing cuts the tow")
                .help("write the words that work the blade, and the dwells that it needs")
                .at(&self.source, self.in_profile(0..self.text.len()), "")
        })
    }

    /// A block that has a time of its own dwells for no longer than that, nor for so much
    /// shorter that P must count something else.
    fn dwells(&self, text: &str, limits: &Limits) -> Option<Diagnostic> {
        let [cut, change, start, end] = limits.times_s;
        let told = match self.kind {
            BlockKind::Cut => Some(("cut_s", cut?, "a cut")),
            BlockKind::ToMatrix | BlockKind::ToFibre => Some(("head_change_s", change?, "a change of heads")),
            BlockKind::Start => Some(("start_s", start?, "the start block, heating left out")),
            BlockKind::End => Some(("end_s", end?, "the end block")),
            BlockKind::Heat | BlockKind::HeatWait => None,
        };
        let unit = if limits.dwell_milliseconds { 1e-3 } else { 1.0 };
        let words = |l: &str| words_of(l, limits.parenthesis_comments).ok();
        let dwell = |l: &str| {
            let words = words(l).filter(|w| w.iter().any(|(l, n)| *l == 'G' && (*n - 4.0).abs() < 1e-9))?;
            words.iter().find(|(l, _)| *l == 'P').map(|(_, p)| p * unit)
        };
        let dwells: Vec<f64> = text.lines().filter_map(dwell).collect();
        let first = text.lines().find(|l| dwell(l).is_some()).unwrap_or_default();
        let sum: f64 = dwells.iter().sum();
        let dwells_for = format!("the block `{}` dwells for {} s in all", self.kind.key(), plain(sum));
        let fault = |message: String| {
            let d = Diagnostic::error("block-words", message);
            d.at(&self.source, self.in_profile(self.line_like(first)), "")
        };
        let Some((key, most, what)) = told else {
            let help =
                "leave the dwell out: how long a head takes to heat is reckoned from its rates in `heads`";
            return (sum > 0.0)
                .then(|| fault(format!("{dwells_for}, which no time of the profile holds")).help(help));
        };
        let message = format!("{dwells_for}, `times.{key}` is {most} s");
        if sum > most + 1e-9 {
            return Some(fault(message).help(format!(
                "give the whole time of {what}; `controller.dwell_unit` says whether P counts s or ms"
            )));
        }
        let too_short = sum < LEAST_DWELL_S.min(most) || sum < LEAST_DWELL_SHARE * most;
        if self.kind == BlockKind::Cut && !dwells.is_empty() && too_short {
            let typed = if limits.dwell_milliseconds { "ms" } else { "s" };
            return Some(fault(format!("{message}: no blade moves in so short a time")).help(format!(
                "`controller.dwell_unit` is \"{typed}\": write P in {typed}, or the unit that the controller counts"
            )));
        }
        None
    }

    /// The block `heat_wait` waits: it writes more than `heat` does, or other words, and none
    /// that only sets (M104, common practice on printers).
    pub(super) fn waits(&self, heat: &Self, limits: &Limits) -> Option<Diagnostic> {
        let words = |block: &Self| -> Option<Vec<Vec<(char, f64)>>> {
            let text = block.render(&BlockValues::sample(block.kind, limits)).ok()?;
            let lines = text.lines().filter_map(|l| words_of(l, limits.parenthesis_comments).ok());
            Some(lines.filter(|words| !words.is_empty()).collect())
        };
        let (sets, waits) = (words(heat)?, words(self)?);
        let only_sets = |l: &Vec<(char, f64)>| l.contains(&('M', 104.0));
        let both = sets.iter().any(|l| l.contains(&('M', 109.0)));
        if waits == sets && both {
            let d = Diagnostic::error(
                "block-words",
                "the block `heat` waits as `heat_wait` does: the program counts on going on",
            );
            return Some(
                d.help("write the controller's word that sets a temperature and goes on (M104 on many)").at(
                    &heat.source,
                    heat.in_profile(0..heat.text.len()),
                    "",
                ),
            );
        }
        let why = if waits == sets {
            "the block `heat_wait` writes what `heat` writes"
        } else if waits.last().is_some_and(only_sets) {
            "the block `heat_wait` ends with M104, which sets a temperature and goes on"
        } else {
            return None;
        };
        let d = Diagnostic::error("block-words", format!("{why}: a cold head would feed"));
        Some(
            d.help("write the controller's word that sets and waits (M109 on many), or one that waits behind the one that sets")
                .at(&self.source, self.in_profile(0..self.text.len()), ""),
        )
    }

    /// What E counts from is not set to the contrary of the profile's `extrusion`.
    fn feed_mode(&self, text: &str, limits: &Limits) -> Option<Diagnostic> {
        let absolute = limits.absolute_extrusion?;
        let set = |line: &str| {
            let words = words_of(line, limits.parenthesis_comments).ok()?;
            let mode = words.iter().rev().find(|(l, n)| *l == 'M' && [82.0, 83.0].contains(n))?;
            Some(mode.1 < 82.5)
        };
        // the last one holds
        let (line, mode) = text.lines().rev().find_map(|l| set(l).map(|m| (l, m)))?;
        let (extrusion, right) = if absolute { ("absolute", "M82") } else { ("relative", "M83") };
        (mode != absolute).then(|| {
            let message = format!(
                "the block `{}` writes `{}`, `controller.extrusion` is \"{extrusion}\": every feed would be wrong",
                self.kind.key(),
                line.trim()
            );
            Diagnostic::error("block-words", message)
                .at(&self.source, self.in_profile(self.line_like(line)), "")
                .help(format!("write {right}, or change `controller.extrusion`"))
        })
    }

    /// The template's line that a rendered line most likely came from.
    fn line_like(&self, rendered: &str) -> Range<usize> {
        let mut best = (0..self.text.len(), 0);
        let mut start = 0;
        for line in self.text.split('\n') {
            let literal = line.split("{{").next().unwrap_or("").trim();
            let shared = literal.len();
            if shared > best.1 && rendered.trim().starts_with(literal) {
                best = (start..start + line.trim_end().len(), shared);
            }
            start += line.len() + 1;
        }
        best.0
    }

    fn line(&self, line: &str, limits: &Limits) -> Result<(), (String, &'static str)> {
        let words = words_of(line, limits.parenthesis_comments)?;
        let has = |letter: char| words.iter().any(|(l, _)| *l == letter);
        let axes = words.iter().any(|(l, _)| "XYZABCUVWE".contains(*l));
        let moves = words.iter().any(|(l, n)| *l == 'G' && [0.0, 1.0, 2.0, 3.0].contains(n));
        if has('T') && !words.iter().any(|(l, n)| *l == 'M' && *n > 6.0) {
            return Err((
                "a block selects no head".to_owned(),
                "the program writes the `T` line itself; here `T` may only name a head for a heater code",
            ));
        }
        if let Some(means) = words
            .iter()
            .filter(|w| w.0 == 'G')
            .find_map(|w| other_meaning(w.1, has('X') || has('Y') || has('Z')))
        {
            return Err((
                means.to_owned(),
                "the program counts on plain coordinates in mm from the bed: set offsets at the controller, before the program",
            ));
        }
        let homes = words.iter().any(|(l, n)| *l == 'G' && (*n - HOME).abs() < 1e-9);
        if (axes || moves || homes) && !matches!(self.kind, BlockKind::Start | BlockKind::End) {
            return Err((
                "this block must not move an axis or feed".to_owned(),
                "the planner moves the heads; only `start` and `end` may",
            ));
        }
        let modal = |l: &char, n: &f64| *l == 'G' && [20.0, 91.0].contains(n);
        if words.iter().any(|(l, n)| modal(l, n)) && !matches!(self.kind, BlockKind::Start | BlockKind::End) {
            return Err((
                "what comes behind it is written in mm, in absolute coordinates".to_owned(),
                "leave G20 and G91 out; behind the block `start` the program writes G21 and G90 itself",
            ));
        }
        if !limits.arcs && words.iter().any(|(l, n)| *l == 'G' && [2.0, 3.0].contains(n)) {
            return Err((
                "it asks for an arc, `controller.arcs` is false".to_owned(),
                "write the arc as straight moves, or say that the controller understands G2 and G3",
            ));
        }
        if let Some(why) = limits.too_hot(&words) {
            return Err((
                why,
                "heat within the limits of `heads`, `max_bed_temperature_c` and `max_chamber_temperature_c`",
            ));
        }
        Ok(())
    }
}

/// The code that drives to the machine's reference, by ways that the program does not tell.
const HOME: f64 = 28.0;

/// A number without the last digits that adding leaves.
fn plain(v: f64) -> f64 {
    (v * 1e6).round() / 1e6
}

/// Templates with the rules of all blocks.
fn environment() -> Environment<'static> {
    let mut environment = Environment::new();
    environment.set_undefined_behavior(UndefinedBehavior::Strict);
    environment.set_debug(true);
    environment.set_fuel(Some(MOST_STEPS));
    environment
}

/// Steps that a template may take, far above any that a block of a program needs: loops in it
/// that go on for ever are a mistake in a profile, not something to wait for.
const MOST_STEPS: u64 = 1_000_000;

/// Where a whole word first stands in a text.
fn word_in(text: &str, word: &str) -> Option<Range<usize>> {
    let part_of_a_word = |c: char| c.is_alphanumeric() || c == '_';
    text.match_indices(word).map(|(at, _)| at..at + word.len()).find(|r| {
        !text[..r.start].chars().next_back().is_some_and(part_of_a_word)
            && !text[r.end..].chars().next().is_some_and(part_of_a_word)
    })
}

/// The bytes of a line, counted from 1.
fn line_of(text: &str, line: usize) -> Range<usize> {
    let mut start = 0;
    for (i, l) in text.split('\n').enumerate() {
        if i + 1 == line {
            return start..start + l.trim_end().len();
        }
        start += l.len() + 1;
    }
    0..text.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn block(kind: BlockKind, text: &str) -> Block {
        let source = Arc::new(Source { name: "p.toml".to_owned(), text: format!("'''\n{text}'''") });
        Block { kind, text: text.to_owned(), span: 4..4 + text.len(), source }
    }

    fn codes(kind: BlockKind, text: &str) -> Vec<(&'static str, usize)> {
        let limits = Limits {
            absolute_extrusion: Some(true),
            dwell_milliseconds: false,
            times_s: [0.5, 4.0, 40.0, 5.0].map(Some),
            parenthesis_comments: true,
            arcs: false,
            heads: [(Some(0), Some(300.0)), (Some(1), Some(260.0))],
            bed_c: Some(120.0),
            chamber_c: Some(0.0),
        };
        let found = block(kind, text).check(&limits);
        found.iter().map(|d| (d.code, d.place.as_ref().map_or(0, |p| p.line_column().0))).collect()
    }

    #[test]
    fn numbers_are_written_plainly() {
        let values = BlockValues::new().number("tool", 1.0).number("temperature_c", 245.25);
        let text = block(BlockKind::Heat, "M104 T{{ tool }} S{{ temperature_c }}\n").render(&values);
        assert_eq!(text.expect("renders"), "M104 T1 S245.25");
    }

    #[test]
    fn right_blocks_have_no_faults() {
        assert_eq!(codes(BlockKind::Start, "(go) G21 G90\nG28\nM140 S{{ bed_temperature_c }}\n"), []);
        assert_eq!(codes(BlockKind::HeatWait, "M109 T{{ tool }} S{{ temperature_c }}\n"), []);
        assert_eq!(codes(BlockKind::Start, "{% if chamber_temperature_c > 0 %}\nM141 S1\n{% endif %}"), []);
        assert_eq!(codes(BlockKind::Start, "M104 T1 S260\nM109 S300\nM140 S120\nG1 X0 Y0 F600\n"), []);
    }

    #[test]
    fn unknown_names_are_told_at_their_line_even_where_not_taken() {
        assert_eq!(codes(BlockKind::Start, "G21\nM140 S{{ bed_temp }}\n"), [("block-template", 3)]);
        assert_eq!(
            codes(BlockKind::Start, "{% if layers > 900 %}\n{{ never }}\n{% endif %}"),
            [("block-template", 3)]
        );
        // a head's own names mean nothing elsewhere
        assert_eq!(codes(BlockKind::Cut, "M10\nS{{ temperature_c }}\n"), [("block-template", 3)]);
    }

    #[test]
    fn broken_templates_are_told_at_their_line() {
        assert_eq!(codes(BlockKind::Start, "G21\n{% if layers %}\n"), [("block-template", 3)]);
        assert_eq!(codes(BlockKind::Start, "G21\n{{ part | nofilter }}\n"), [("block-template", 3)]);
        assert_eq!(codes(BlockKind::Start, "G21\n{{ 1 / 0 }}\n").len(), 1);
    }

    #[test]
    fn words_that_a_block_must_not_write() {
        assert_eq!(codes(BlockKind::Cut, "M10\nG1 X10 F600\n"), [("block-words", 3)]);
        assert_eq!(codes(BlockKind::Cut, "M10\nG92 E0\n"), [("block-words", 3)]);
        // half a second for a cut, s for P
        assert_eq!(codes(BlockKind::Cut, "M10\nG4 P0.25\nM11\nG4 P0.25\n"), []);
        assert_eq!(codes(BlockKind::Cut, "M10\nG4 P350\nM11\n").len(), 1);
        assert_eq!(codes(BlockKind::Cut, "M10\nG4 P0.004\nM11\n").len(), 1);
        assert_eq!(codes(BlockKind::Cut, "M10\n"), [], "a controller that waits by itself");
        assert_eq!(codes(BlockKind::Cut, "\n(snip)\n").len(), 1);
        for (line, name) in [("CUT_TOW", Some("CUT_TOW")), ("blade on=1", Some("blade")), ("G 4 P1", None)] {
            let told = words_of(line, true).err().map(|(message, _)| message);
            let named = name.map(|n| format!("`{n}` is the name of a controller's own command, not a word"));
            assert_eq!(told, named, "{line}");
        }
        assert_eq!(codes(BlockKind::Start, "M83\nM82\n"), []);
        assert_eq!(codes(BlockKind::Start, "M82\nM83\n"), [("block-words", 3)]);
        assert_eq!(codes(BlockKind::ToFibre, "T1\n"), [("block-words", 2)]);
        assert_eq!(codes(BlockKind::Start, "; hello\n"), [("block-words", 2)]);
        assert_eq!(codes(BlockKind::Start, "SET_PIN 3\n"), [("block-words", 2)]);
        assert_eq!(codes(BlockKind::Start, "(a (b) c)\n"), [("block-words", 2)]);
        // what the machine has not got
        for line in
            ["G2 X5 Y0 I2.5 J0 F600", "M104 T1 S261", "M109 S301", "M190 S121", "M141 S40", "M104 T7 S10"]
        {
            assert_eq!(codes(BlockKind::Start, &format!("G21\n{line}\n")), [("block-words", 3)], "{line}");
        }
    }
}

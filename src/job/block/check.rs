//! What a block's words must not say, held against what the machine has.

use super::{Block, BlockKind, BlockValues, environment, names, other_meaning, words_of};
use crate::diagnostic::Diagnostic;
use crate::job::printer::{Head, Printer};
use std::ops::Range;

/// What the words of a block are held against.
#[derive(Clone, Copy, Debug)]
pub(in crate::job) struct Limits {
    /// `( … )` rather than `; …`.
    pub(in crate::job) parenthesis_comments: bool,
    /// G2 and G3 are understood.
    pub(in crate::job) arcs: bool,
    /// E counts from the last `G92 E0`; `None` where the profile is at fault there.
    pub(in crate::job) absolute_extrusion: Option<bool>,
    /// P of G4 counts milliseconds.
    pub(in crate::job) dwell_milliseconds: bool,
    /// Times of a cut, of a change of heads, of the start block and of the end block, s.
    pub(in crate::job) times_s: [Option<f64>; 4],
    /// Matrix head and fibre head: T number and highest temperature, degC; `None`
    /// where the profile is at fault there.
    pub(in crate::job) heads: [(Option<i64>, Option<f64>); 2],
    /// Hottest that the bed gets, degC.
    pub(in crate::job) bed_c: Option<f64>,
    /// Hottest that the chamber gets, degC.
    pub(in crate::job) chamber_c: Option<f64>,
}

impl Limits {
    /// Those of a profile that was read.
    pub(super) fn of(printer: &Printer) -> Self {
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
    pub(super) fn within(&self, name: &str, sample: f64) -> f64 {
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

/// Shortest time in which a blade is driven through a tow, s: solenoids and pneumatic
/// valves take some 10 ms to move at all (from memory).
const LEAST_DWELL_S: f64 = 0.01;

/// Dwells make up at least this share of a cut: less, and P was written in another unit,
/// of which the ones in use differ by a thousand.
const LEAST_DWELL_SHARE: f64 = 0.01;

impl Block {
    /// Everything that is wrong with it: its template, its names, its words.
    pub(in crate::job) fn check(&self, limits: &Limits) -> Vec<Diagnostic> {
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
    pub(super) fn faults_in(&self, text: &str, limits: &Limits) -> Vec<Diagnostic> {
        let mut faults = self.words(text, limits);
        faults.extend(self.cuts_nothing(text, limits));
        faults.extend(self.dwells(text, limits));
        faults.extend(self.feed_mode(text, limits));
        faults
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
    pub(in crate::job) fn waits(&self, heat: &Self, limits: &Limits) -> Option<Diagnostic> {
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

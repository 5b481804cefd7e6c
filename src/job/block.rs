//! Blocks: the program texts of a printer profile, as templates with a fixed set
//! of names.

mod check;
mod words;

pub(super) use check::Limits;
pub(crate) use words::{other_meaning, words_of};

use super::document::Values as Checked;
use super::printer::Printer;
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
mod tests;

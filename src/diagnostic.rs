//! One kind of message for everything that towpath has to tell a person.
//!
//! Number, limit, unit, place, next step; lower case, no full stop, the user's
//! own word in backticks.

use std::fmt;
use std::ops::Range;
use std::sync::Arc;

/// How much it matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Work goes on; the result deserves a look.
    Warning,
    /// Nothing is written.
    Error,
}

/// A text that diagnostics point into.
#[derive(Debug, PartialEq, Eq)]
pub struct Source {
    /// The name to show: a path as the user gave it, or a built-in's name.
    pub name: String,
    /// The whole text.
    pub text: String,
}

/// A place in a text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// The text.
    pub source: Arc<Source>,
    /// Byte range in it.
    pub span: Range<usize>,
    /// A few words shown under the marked text; may be empty.
    pub label: String,
}

impl Place {
    /// Line and column of the start, both from 1, the column in characters.
    pub fn line_column(&self) -> (usize, usize) {
        let mut at = self.span.start.min(self.source.text.len());
        while !self.source.text.is_char_boundary(at) {
            at -= 1;
        }
        let before = &self.source.text[..at];
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
        (line, column)
    }
}

/// A place in the part.
#[derive(Clone, Debug, PartialEq)]
pub struct InPart {
    /// Layer number, from 1.
    pub layer: usize,
    /// Top of the layer, mm.
    pub z_mm: f64,
    /// Where in the layer, mm.
    pub at_mm: Option<[f64; 2]>,
}

/// One message.
#[derive(Clone, Debug, PartialEq)]
pub struct Diagnostic {
    /// How much it matters.
    pub severity: Severity,
    /// Stable name; `towpath explain CODE` tells more. Listed in [`crate::diagnostic::codes`].
    pub code: &'static str,
    /// What is wrong, in one line.
    pub message: String,
    /// The file at fault when there is no place in a text to show.
    pub file: Option<String>,
    /// Where in the user's text.
    pub place: Option<Place>,
    /// Where in the part.
    pub in_part: Option<InPart>,
    /// What to do next, one line each.
    pub help: Vec<String>,
}

impl Diagnostic {
    /// An error with its code.
    pub fn error(code: &'static str, message: impl Into<String>) -> Self {
        Self::new(Severity::Error, code, message.into())
    }

    /// A warning with its code.
    pub fn warning(code: &'static str, message: impl Into<String>) -> Self {
        Self::new(Severity::Warning, code, message.into())
    }

    fn new(severity: Severity, code: &'static str, message: String) -> Self {
        debug_assert!(codes::find(code).is_some(), "the code {code} is missing from the table");
        Self { severity, code, message, file: None, place: None, in_part: None, help: Vec::new() }
    }

    /// Names the file at fault.
    #[must_use]
    pub fn in_file(mut self, file: impl Into<String>) -> Self {
        self.file = Some(file.into());
        self
    }

    /// Points at a place in the user's text.
    #[must_use]
    pub fn at(mut self, source: &Arc<Source>, span: Range<usize>, label: impl Into<String>) -> Self {
        self.place = Some(Place { source: Arc::clone(source), span, label: label.into() });
        self
    }

    /// Points at a place in the part.
    #[must_use]
    pub fn in_part(mut self, layer: usize, z_mm: f64, at_mm: Option<[f64; 2]>) -> Self {
        self.in_part = Some(InPart { layer, z_mm, at_mm });
        self
    }

    /// Adds a next step.
    #[must_use]
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.help.push(help.into());
        self
    }
}

impl fmt::Display for Diagnostic {
    /// One line, for logs; the command line renders the full form.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let severity = match self.severity {
            Severity::Warning => "warning",
            Severity::Error => "error",
        };
        write!(f, "{severity}[{}]: {}", self.code, self.message)
    }
}

/// Collects what a stage has to tell. Stages push warnings here and go on;
/// errors end a stage through [`Faults`].
#[derive(Debug, Default)]
pub struct Notes {
    /// The warnings so far, in order.
    pub warnings: Vec<Diagnostic>,
    /// How far the work has come.
    pub progress: Arc<Progress>,
}

impl Notes {
    /// Adds a warning.
    pub fn push(&mut self, d: Diagnostic) {
        self.warnings.push(d);
    }
}

/// What ended a stage: at least one error, all that were found.
#[derive(Debug, Clone, PartialEq)]
pub struct Faults(pub Vec<Diagnostic>);

impl From<Diagnostic> for Faults {
    fn from(d: Diagnostic) -> Self {
        Self(vec![d])
    }
}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, d) in self.0.iter().enumerate() {
            if i > 0 {
                writeln!(f)?;
            }
            write!(f, "{d}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Faults {}

/// What a stage gives: its value, or every error that it found.
pub type Outcome<T> = Result<T, Faults>;

/// A number and what it counts, for messages: 1 place, 2 places.
pub(crate) fn counted<N: fmt::Display + PartialEq + From<u8>>(n: N, what: &str) -> String {
    format!("{n} {what}{}", if n == N::from(1) { "" } else { "s" })
}

pub mod codes;
pub mod nearest;
mod progress;

pub use progress::Progress;

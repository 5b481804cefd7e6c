//! The file as pairs of a group code and a value, each on a line of its own.

use crate::diagnostic::{Diagnostic, Outcome, Source};
use std::sync::Arc;

/// One pair.
#[derive(Clone, Debug)]
pub(super) struct Pair {
    /// What the value is.
    pub(super) code: i32,
    /// Without blanks around it.
    pub(super) value: String,
    /// Line of the value, from 1.
    pub(super) line: usize,
}

/// All pairs of a file.
pub(super) struct Pairs {
    pub(super) all: Vec<Pair>,
    source: Arc<Source>,
    /// Where each line begins.
    lines: Vec<usize>,
}

/// Splits a text into pairs.
///
/// Errors: `dxf-unreadable`.
pub(super) fn read(name: &str, bytes: &[u8]) -> Outcome<Pairs> {
    let unreadable = |message: String| {
        Diagnostic::error("dxf-unreadable", message)
            .in_file(name)
            .help("export the drawing as an ASCII DXF file")
    };
    if bytes.iter().take(64).any(|b| *b == 0) {
        return Err(unreadable("the file is binary: only the ASCII form is read".to_owned()).into());
    }
    // old files have names in other alphabets; numbers and keywords are ASCII
    let text = String::from_utf8_lossy(bytes).into_owned();
    let mut lines = vec![0];
    lines.extend(text.match_indices('\n').map(|m| m.0 + 1));
    let source = Arc::new(Source { name: name.to_owned(), text });
    let mut pairs = Pairs { all: Vec::new(), source, lines };
    let mut at = 0;
    let text = Arc::clone(&pairs.source);
    let mut rest = text.text.lines();
    while let Some(code) = rest.next() {
        let typed = code.trim_start_matches('\u{feff}').trim();
        at += 2;
        // blank lines at the end
        if typed.is_empty() && rest.clone().all(|l| l.trim().is_empty()) {
            break;
        }
        let Ok(code) = typed.parse::<i32>() else {
            let d = Diagnostic::error("dxf-unreadable", format!("`{}` is no group code", shortened(typed)));
            return Err(pairs.at(d.help("export the drawing as an ASCII DXF file"), at - 1).into());
        };
        let Some(value) = rest.next() else {
            let d =
                Diagnostic::error("dxf-unreadable", format!("the file is cut off behind group code {code}"));
            return Err(pairs.at(d, at - 1).into());
        };
        pairs.all.push(Pair { code, value: value.trim().to_owned(), line: at });
        if code == 0 && value.trim() == "EOF" {
            break;
        }
    }
    if pairs.all.is_empty() {
        return Err(unreadable("the file is empty".to_owned()).into());
    }
    Ok(pairs)
}

/// The start of a text that may be anything.
fn shortened(text: &str) -> String {
    text.chars().take(24).collect()
}

impl Pairs {
    /// A message at a line.
    pub(super) fn at(&self, d: Diagnostic, line: usize) -> Diagnostic {
        let start = self.lines.get(line.saturating_sub(1)).copied().unwrap_or(0);
        let end = self.lines.get(line).map_or(self.source.text.len(), |n| n.saturating_sub(1));
        let end = start + self.source.text[start..end.max(start)].trim_end().len();
        d.at(&self.source, start..end, "")
    }

    /// The value of a pair as a number.
    ///
    /// Errors: `dxf-unreadable`.
    pub(super) fn number(&self, pair: &Pair) -> Outcome<f64> {
        match pair.value.parse::<f64>() {
            Ok(n) if n.is_finite() => Ok(n),
            _ => {
                let message = format!(
                    "`{}` is no number, which group code {} needs",
                    shortened(&pair.value),
                    pair.code
                );
                Err(self.at(Diagnostic::error("dxf-unreadable", message), pair.line).into())
            }
        }
    }
}

//! `explain CODE`.

use super::Report;
use crate::diagnostic::nearest::help;
use crate::diagnostic::{Diagnostic, Outcome, codes};
use serde_json::json;

/// A diagnostic in full.
///
/// Errors: `unknown-code`.
pub(super) fn report(typed: &str) -> Outcome<Report> {
    // as copied from a message: `error[unknown-key]`
    let name = typed.trim().rsplit('[').next().unwrap_or(typed).trim_end_matches(']');
    if let Some(code) = codes::find(name) {
        let json = json!({"code": code.name, "text": code.text});
        return Ok(Report::of(format!("{}\n\n{}\n", code.name, wrapped(code.text)), json));
    }
    let names: Vec<&str> = codes::ALL.iter().map(|c| c.name).collect();
    let d = Diagnostic::error("unknown-code", format!("there is no diagnostic `{typed}`")).help(help(
        name,
        &names,
        "there are",
    ));
    Err(d.into())
}

/// Broken into lines that are easy to read.
fn wrapped(text: &str) -> String {
    /// Characters in a line.
    const WIDTH: usize = 80;
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let mut line = lines.pop().unwrap_or_default();
        if !line.is_empty() && line.chars().count() + 1 + word.chars().count() > WIDTH {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
        lines.push(line);
    }
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_keep_every_word() {
        let text = "one two ".repeat(60);
        let wrapped = wrapped(&text);
        assert!(wrapped.lines().all(|l| l.len() <= 80), "{wrapped}");
        assert_eq!(wrapped.split_whitespace().count(), 120);
    }

    #[test]
    fn every_code_explains_itself() {
        for code in codes::ALL {
            assert!(report(code.name).is_ok_and(|r| r.text.contains(code.name)), "{}", code.name);
        }
        assert!(report("error[unknown-key]").is_ok(), "as copied from a message");
    }
}

//! `explain CODE`: a diagnostic, or a check of `verify`.

use super::Report;
use crate::diagnostic::nearest::help;
use crate::diagnostic::{Diagnostic, Outcome, codes};
use crate::verify::findings::Check;
use serde_json::json;

/// Every diagnostic and every check, with the first sentence of each.
pub(super) fn all() -> Report {
    let codes = codes::ALL.iter().map(|c| (c.name, first_sentence(c.text)));
    // what all of them have in common stands above them
    let own = |text: String| text.split_once(": ").map_or(text.clone(), |(_, own)| own.to_owned());
    let checks = Check::all().map(|c| (c.name(), own(first_sentence(c.explained()))));
    let shown =
        |(name, text): &(&str, String)| format!("{name}\n    {}\n", wrapped(text).replace('\n', "\n    "));
    let (codes, checks): (Vec<_>, Vec<_>) = (codes.collect(), checks.collect());
    let text = format!(
        "messages, in full: towpath explain CODE\n\n{}\nchecks that towpath verify makes of a program, and towpath plan of what it has just written\n\n{}",
        codes.iter().map(shown).collect::<String>(),
        checks.iter().map(shown).collect::<String>()
    );
    let json = codes.iter().chain(&checks).map(|(name, text)| json!({"code": name, "text": text}));
    Report::of(text, json.collect::<Vec<_>>().into())
}

/// A text up to the end of its first sentence.
fn first_sentence(text: impl AsRef<str>) -> String {
    let text = text.as_ref();
    text.find(". ").map_or(text, |end| &text[..=end]).to_owned()
}

/// A diagnostic or a check in full.
///
/// Errors: `unknown-code`.
pub(super) fn report(typed: &str) -> Outcome<Report> {
    // as copied from a message: `error[unknown-key]`
    let name = typed.trim().rsplit('[').next().unwrap_or(typed).trim_end_matches(']');
    let code = codes::find(name).map(|c| c.text.to_owned());
    let check = Check::all().find(|c| c.name() == name).map(Check::explained);
    let texts: Vec<String> = code.into_iter().chain(check).collect();
    if !texts.is_empty() {
        let shown: Vec<String> = texts.iter().map(|t| wrapped(t)).collect();
        let json = json!({"code": name, "text": texts.join(" ")});
        return Ok(Report::of(format!("{name}\n\n{}\n", shown.join("\n\n")), json));
    }
    let names: Vec<&str> = codes::ALL.iter().map(|c| c.name).chain(Check::all().map(Check::name)).collect();
    let message = format!("there is no diagnostic and no check `{typed}`");
    let d = Diagnostic::error("unknown-code", message).help(help(name, &names, "there are"));
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
        for check in Check::all() {
            assert!(
                report(check.name()).is_ok_and(|r| r.text.contains("towpath verify")),
                "{}",
                check.name()
            );
        }
    }
}

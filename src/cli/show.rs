//! How a diagnostic looks.

use crate::diagnostic::{Diagnostic, Place, Severity};
use annotate_snippets::renderer::DecorStyle;
use annotate_snippets::{AnnotationKind, Level, Origin, Renderer, Snippet};
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::ops::Range;

/// The full form, with ANSI colours:
///
/// ```text
/// error[bend-too-tight]: tow bends at radius 3.2 mm, this tow needs 5.0 mm
///   --> bracket.map.toml:14:8
///    |
/// 14 | rule = "hoop"
///    |        ^^^^^^ asked for here
///    in the part: layer 7 (z 1.40 mm), x 41.2 mm, y 18.0 mm
///    help: hold the first course 1.8 mm further out, or choose a narrower tow
/// ```
pub(super) fn text(d: &Diagnostic) -> String {
    let level = match d.severity {
        Severity::Warning => Level::WARNING,
        Severity::Error => Level::ERROR,
    };
    let message = shown(&d.message);
    let title = level.primary_title(message.as_str()).id(d.code);
    let renderer = Renderer::styled().decor_style(DecorStyle::Ascii);
    let mut text = if let Some(place) = &d.place {
        let (lines, first, span) = marked(place);
        let mut annotation = AnnotationKind::Primary.span(span);
        if !place.label.is_empty() {
            annotation = annotation.label(place.label.as_str());
        }
        let snippet =
            Snippet::source(lines).line_start(first).path(place.source.name.as_str()).annotation(annotation);
        renderer.render(&[title.element(snippet)])
    } else if let Some(file) = &d.file {
        renderer.render(&[title.element(Origin::path(file.as_str()))])
    } else {
        renderer.render(&[annotate_snippets::Group::with_title(title)])
    };
    if let Some(p) = &d.in_part {
        let _ = write!(text, "\n   in the part: layer {} (z {:.2} mm)", p.layer, p.z_mm);
        if let Some([x, y]) = p.at_mm {
            let _ = write!(text, ", x {x:.1} mm, y {y:.1} mm");
        }
    }
    for help in &d.help {
        let style = annotate_snippets::renderer::DEFAULT_HELP_STYLE;
        let _ = write!(text, "\n   {style}help{style:#}: {}", shown(help));
    }
    text
}

/// The same for programs.
pub(super) fn json(d: &Diagnostic) -> Value {
    let place = d.place.as_ref();
    let at = place.map(Place::line_column);
    json!({
        "severity": match d.severity { Severity::Warning => "warning", Severity::Error => "error" },
        "code": d.code,
        "message": d.message,
        "file": place.map(|p| p.source.name.as_str()).or(d.file.as_deref()),
        "line": at.map(|a| a.0),
        "column": at.map(|a| a.1),
        "in_part": d.in_part.as_ref().map(|p| json!({"layer": p.layer, "z_mm": p.z_mm, "at_mm": p.at_mm})),
        "help": d.help,
    })
}

/// The lines to show, the number of the first of them, and what to mark in them.
///
/// Only the first line of a place is shown, so that a long list or a large file
/// stays one line on the screen.
fn marked(place: &Place) -> (&str, usize, Range<usize>) {
    let text = place.source.text.as_str();
    let floor = |at: usize| {
        let mut at = at.min(text.len());
        while !text.is_char_boundary(at) {
            at -= 1;
        }
        at
    };
    let (start, end) = (floor(place.span.start), floor(place.span.end.max(place.span.start)));
    let line_start = text[..start].rfind('\n').map_or(0, |at| at + 1);
    let line_end = text[start..].find('\n').map_or(text.len(), |at| start + at);
    let line = text[line_start..line_end].trim_end_matches('\r');
    let from = (start - line_start).min(line.len());
    let to = (end - line_start).min(line.len()).max(from);
    (line, place.line_column().0, from..to)
}

/// A message on one line, without control characters from somebody's file.
fn shown(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnostic::Source;
    use std::sync::Arc;

    fn plain(d: &Diagnostic) -> String {
        anstream::adapter::strip_str(&text(d)).to_string()
    }

    fn source(text: &str) -> Arc<Source> {
        Arc::new(Source { name: "bracket.map.toml".to_owned(), text: text.to_owned() })
    }

    #[test]
    fn the_house_form() {
        let text = "\n".repeat(13) + "rule = \"hoop\"\nnext = 1\n";
        let d = Diagnostic::error("bend-too-tight", "tow bends at radius 3.2 mm, this tow needs 5.0 mm")
            .at(&source(&text), 20..26, "asked for here")
            .in_part(7, 1.4, Some([41.2, 18.0]))
            .help("hold the first course 1.8 mm further out, or choose a narrower tow");
        assert_eq!(
            plain(&d),
            "error[bend-too-tight]: tow bends at radius 3.2 mm, this tow needs 5.0 mm\n  \
             --> bracket.map.toml:14:8\n   |\n\
             14 | rule = \"hoop\"\n   |        ^^^^^^ asked for here\n   \
             in the part: layer 7 (z 1.40 mm), x 41.2 mm, y 18.0 mm\n   \
             help: hold the first course 1.8 mm further out, or choose a narrower tow"
        );
    }

    #[test]
    fn a_file_without_a_place() {
        let d = Diagnostic::error("file-missing", "there is no file `a.svg`").in_file("a.svg");
        assert_eq!(plain(&d), "error[file-missing]: there is no file `a.svg`\n--> a.svg");
    }

    #[test]
    fn nothing_in_a_text_upsets_it() {
        let texts = ["", "\n", "a", "å=1\r\nb\t=\u{1b}[31m2", "one line\nanother"];
        for text in texts {
            for start in 0..text.len() + 3 {
                for end in start..text.len() + 5 {
                    let d = Diagnostic::error("wrong-type", "x\ny").at(&source(text), start..end, "here");
                    let shown = plain(&d);
                    assert!(shown.contains("bracket.map.toml:"), "{shown}");
                    assert!(!shown.contains("\u{1b}"), "{shown}");
                }
            }
        }
    }

    #[test]
    fn json_tells_the_place() {
        let d = Diagnostic::warning("key-unused", "m").at(&source("a\nå = 1"), 7..8, "");
        let j = json(&d);
        assert_eq!((j["line"].as_u64(), j["column"].as_u64()), (Some(2), Some(5)));
        assert_eq!(j["severity"], "warning");
    }
}

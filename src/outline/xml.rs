//! XML of drawings and packages: taken apart within bounds, and where its elements stand.

use crate::diagnostic::{Diagnostic, Outcome, Source};
use roxmltree::{Document, Error, Node, ParsingOptions};
use std::ops::Range;
use std::sync::Arc;

/// Tags and attributes of one text that are read, and elements and texts that they make. Each
/// takes some 72 bytes when it is taken apart, so these are 1.7 GB; a mesh of 3 million triangles
/// has 18 million.
const MOST: usize = 24_000_000;

/// A text taken apart; entities are put in where a document type is allowed.
///
/// Errors: `xml-unreadable`, `outline-too-large`.
pub(super) fn parsed<'t>(text: &'t str, source: &Arc<Source>, allow_dtd: bool) -> Outcome<Document<'t>> {
    parsed_within(MOST, text, source, allow_dtd)
}

fn parsed_within<'t>(
    most: usize,
    text: &'t str,
    source: &Arc<Source>,
    allow_dtd: bool,
) -> Outcome<Document<'t>> {
    let too_large = |message: String| {
        Diagnostic::error("outline-too-large", message)
            .in_file(source.name.clone())
            .help("export it with fewer points: a coarser tolerance, or fewer parts in one file")
    };
    // room is made for all of them before the first one is looked at
    let marks = text.bytes().filter(|b| matches!(b, b'<' | b'=')).count();
    if marks > most {
        let message = format!("the XML has {marks} tags and attributes, at most {most} are read");
        return Err(too_large(message).into());
    }
    let nodes_limit = u32::try_from(most).unwrap_or(u32::MAX);
    let options = ParsingOptions { allow_dtd, nodes_limit, ..Default::default() };
    let parsed = Document::parse_with_options(text, options).map_err(|e| match e {
        Error::NodesLimitReached => too_large(format!(
            "the XML has more than {most} elements and texts, entities put in: at most {most} are read"
        )),
        e => unreadable(&e, source),
    });
    Ok(parsed?)
}

/// An XML fault at its place.
fn unreadable(e: &Error, source: &Arc<Source>) -> Diagnostic {
    let at = e.pos();
    let line_start: usize =
        source.text.split_inclusive('\n').take((at.row as usize).saturating_sub(1)).map(str::len).sum();
    let column: usize =
        source.text[line_start..].chars().take((at.col as usize).saturating_sub(1)).map(char::len_utf8).sum();
    let start = (line_start + column).min(source.text.len());
    // the place is told by itself
    let message = e.to_string().replacen(&format!(" at {at}"), "", 1);
    Diagnostic::error("xml-unreadable", format!("the XML cannot be read: {message}")).at(
        source,
        start..start,
        "",
    )
}

/// Where the opening tag of an element stands.
pub(super) fn tag(node: Node<'_, '_>) -> Range<usize> {
    let range = node.range();
    let end = node
        .attributes()
        .next_back()
        .map_or(range.start + 1 + node.tag_name().name().len(), |a| a.range().end);
    range.start..end.min(range.end)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_takes_too_much_memory_is_not_taken_apart() {
        let told = |text: &str| {
            let source = Arc::new(Source { name: "a".into(), text: text.to_owned() });
            parsed_within(100, text, &source, true)
                .err()
                .map(|mut f| f.0.remove(0))
                .map(|d| (d.code, d.message))
        };
        let many = |n: usize| format!("<a>{}</a>", "<b c=''/>".repeat(n));
        assert_eq!(told(&many(49)), None);
        let (code, message) = told(&many(50)).unwrap();
        assert_eq!(code, "outline-too-large");
        assert_eq!(message, "the XML has 102 tags and attributes, at most 100 are read");
        // entities make many of few
        let doubled =
            format!("<!DOCTYPE a [<!ENTITY e \"{}\">]><a>{}</a>", "<b/>".repeat(20), "&e;".repeat(6));
        let (code, message) = told(&doubled).unwrap();
        assert!(code == "outline-too-large" && message.contains("more than 100 elements"), "{message}");
    }
}

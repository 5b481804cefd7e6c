//! Properties: in `style`, as attributes of their own, and in style sheets.
//!
//! Names and keywords are the same in capitals, comments are nothing, and what is `!important`
//! goes before what is not (W3C CSS Syntax 3, 5.4 and CSS Cascading 3, 6). Not handled: escapes
//! within names; values that are no value of their property, which by the standard leave the
//! property as it was.

use roxmltree::Node;

/// Properties that a style sheet may give and that change what is drawn: where one does, the
/// drawing is not as it is read.
const SHAPING: [&str; 22] = [
    "clip-path",
    "cx",
    "cy",
    "d",
    "display",
    "fill-rule",
    "height",
    "mask",
    "r",
    "rotate",
    "rx",
    "ry",
    "scale",
    "transform",
    "transform-box",
    "transform-origin",
    "translate",
    "visibility",
    "width",
    "x",
    "y",
    "zoom",
];

/// Those of them that are read where they stand in `style`.
const READ: [&str; 7] =
    ["clip-path", "display", "fill-rule", "mask", "transform-box", "transform-origin", "visibility"];

/// A property in small letters, from `style` or, failing that, from the attribute.
pub(super) fn property(node: Node<'_, '_>, name: &str) -> Option<String> {
    style(node, name).or_else(|| node.attribute(name).map(plain))
}

/// A property of `style`, in small letters.
pub(super) fn style(node: Node<'_, '_>, name: &str) -> Option<String> {
    let text = without_comments(node.attribute("style")?);
    let (mut value, mut important) = (None, false);
    for (n, v) in declarations(&text) {
        let v = v.to_ascii_lowercase();
        // `!` and its word may stand apart
        let weighty = v.rsplit_once('!').filter(|(_, word)| word.trim() == "important");
        if n.eq_ignore_ascii_case(name) && (weighty.is_some() || !important) {
            important |= weighty.is_some();
            value = Some(weighty.map_or(v.as_str(), |w| w.0).trim().to_owned());
        }
    }
    value
}

/// Properties that `style` gives, that change what is drawn and are not read there.
pub(super) fn unread(node: Node<'_, '_>) -> Vec<&'static str> {
    let Some(text) = node.attribute("style").map(without_comments) else { return Vec::new() };
    let given: Vec<String> = declarations(&text).map(|(n, _)| n.to_ascii_lowercase()).collect();
    SHAPING.into_iter().filter(|p| !READ.contains(p) && given.iter().any(|n| n == p)).collect()
}

/// Properties of a style sheet that change what is drawn.
pub(super) fn shaping(sheet: &str) -> Vec<&'static str> {
    let sheet = without_comments(sheet);
    let given: Vec<String> = sheet
        .split(['{', '}', ';'])
        .filter_map(|p| Some(p.split_once(':')?.0.trim().to_ascii_lowercase()))
        .collect();
    SHAPING.into_iter().filter(|p| given.iter().any(|n| n == p)).collect()
}

fn plain(value: &str) -> String {
    without_comments(value).trim().to_ascii_lowercase()
}

/// Names and values between semicolons, those in quotes and brackets left alone.
fn declarations(text: &str) -> impl Iterator<Item = (&str, &str)> {
    let (mut quote, mut depth) = (None, 0_usize);
    text.split(move |c| {
        match (quote, c) {
            (Some(q), _) if q == c => quote = None,
            (None, '"' | '\'') => quote = Some(c),
            (None, '(') => depth += 1,
            (None, ')') => depth = depth.saturating_sub(1),
            _ => {}
        }
        c == ';' && quote.is_none() && depth == 0
    })
    .filter_map(|d| d.split_once(':'))
    .map(|(n, v)| (n.trim(), v.trim()))
}

/// A comment parts words as a space does; one that does not end reaches to the end.
fn without_comments(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some((before, after)) = rest.split_once("/*") {
        out.push_str(before);
        out.push(' ');
        rest = after.split_once("*/").map_or("", |(_, after)| after);
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn declarations_are_read_as_style_sheets_have_them() {
        for (text, display) in [
            ("display:none", Some("none")),
            ("fill:#000;/* c: d */ display:none", Some("none")),
            ("DISPLAY : None", Some("none")),
            ("display:none ! IMPORTANT; display:inline", Some("none")),
            ("display:none; display:inline", Some("inline")),
            ("display/**/:/*a;b*/none", Some("none")),
            ("display:inline /* display:none", Some("inline")),
            ("fill:url(\"a;display:none\"); stroke:red", None),
            ("fill:url(data:a;display:none)", None),
            ("display", None),
            ("", None),
        ] {
            let xml = format!("<a style='{text}'/>");
            let doc = roxmltree::Document::parse(&xml).unwrap();
            assert_eq!(property(doc.root_element(), "display").as_deref(), display, "{text}");
        }
        let doc =
            roxmltree::Document::parse("<a display=' NONE ' style='R:2px;transform:none;y:1'/>").unwrap();
        assert_eq!(property(doc.root_element(), "display").as_deref(), Some("none"));
        assert_eq!(unread(doc.root_element()), ["r", "transform", "y"]);
    }

    #[test]
    fn style_sheets_that_change_shapes_are_known() {
        assert_eq!(shaping("circle{r:20px}"), ["r"]);
        assert_eq!(shaping("@media print { .a, a:hover { fill: red; Width : 3px } }"), ["width"]);
        assert_eq!(shaping(".a{/* r:2px; */stroke-width:2;font-size:3px}#d{fill:none}"), [""; 0]);
    }
}

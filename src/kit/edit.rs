//! Changes of single numbers in a profile's text, comments and all else kept.

use toml::de::{DeTable, DeValue};

/// The text with a number at `[path] key` set; `None` where the text has no such
/// place and none can be made for it.
pub(super) fn set(text: &str, path: &[&str], key: &str, value: f64) -> Option<String> {
    let written = number(value);
    let document = DeTable::parse(text).ok()?;
    let mut table = document.get_ref();
    let mut known = true;
    for name in path {
        match table.get(*name).map(toml::Spanned::get_ref) {
            Some(DeValue::Table(inner)) => table = inner,
            None => {
                known = false;
                break;
            }
            Some(_) => return None,
        }
    }
    if known && let Some(old) = table.get(key) {
        let span = old.span();
        return Some(format!("{}{written}{}", &text[..span.start], &text[span.end..]));
    }
    let header = format!("[{}]", path.join("."));
    let mut at = 0;
    for line in text.split_inclusive('\n') {
        at += line.len();
        let bare = line.split('#').next().unwrap_or("").trim();
        if bare == header {
            let newline = if line.ends_with('\n') { "" } else { "\n" };
            return Some(format!("{}{newline}{key} = {written}\n{}", &text[..at], &text[at..]));
        }
    }
    if known {
        // a table written in another way, as `limits = { … }`
        return None;
    }
    let newline = if text.ends_with('\n') || text.is_empty() { "" } else { "\n" };
    Some(format!("{text}{newline}\n{header}\n{key} = {written}\n"))
}

/// A number of four significant digits, or of one decimal where that is more, always with a point.
pub(super) fn number(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return "0.0".to_owned();
    }
    let mut decimals = 3_usize;
    let mut size = value.abs();
    while size >= 10.0 && decimals > 1 {
        size /= 10.0;
        decimals -= 1;
    }
    while size < 1.0 && decimals < 9 {
        size *= 10.0;
        decimals += 1;
    }
    let text = format!("{value:.decimals$}");
    let text = text.trim_end_matches('0');
    if text.ends_with('.') { format!("{text}0") } else { text.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_set_where_it_stands() {
        let text = "a = 1\n[t.u] # x\nk = 2.0   # kept\n[times]\ns = 3\n";
        assert_eq!(
            set(text, &["t", "u"], "k", 7.25).expect("there"),
            "a = 1\n[t.u] # x\nk = 7.25   # kept\n[times]\ns = 3\n"
        );
        assert_eq!(
            set(text, &["t", "u"], "m", 0.0025).expect("made"),
            "a = 1\n[t.u] # x\nm = 0.0025\nk = 2.0   # kept\n[times]\ns = 3\n"
        );
        let added = set(text, &["new"], "k", 1500.0).expect("made");
        assert!(added.ends_with("s = 3\n\n[new]\nk = 1500.0\n"), "{added}");
        assert_eq!(set("t = { k = 1 }", &["t"], "k", 2.0).expect("there"), "t = { k = 2.0 }");
        assert!(set("t = { k = 1 }", &["t"], "m", 2.0).is_none(), "no line for it");
        assert!(set("t = 1", &["t"], "m", 2.0).is_none(), "no table");
    }

    #[test]
    fn numbers_have_four_digits_and_a_point() {
        for (v, want) in
            [(1234.567, "1234.6"), (4.0, "4.0"), (0.002_345_6, "0.002346"), (12.345, "12.35"), (0.0, "0.0")]
        {
            assert_eq!(number(v), want, "{v}");
        }
    }
}

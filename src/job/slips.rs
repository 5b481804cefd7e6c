//! What was probably meant where a file is not TOML, or not what is asked for.

use super::table::{Kind, Table};
use std::ops::Range;

/// The line of a text that holds a place.
fn line_at(text: &str, at: usize) -> Option<&str> {
    let before = text.get(..at)?.rfind('\n').map_or(0, |k| k + 1);
    text[before..].lines().next()
}

/// What was probably meant by a line that is not TOML: how it would be written here.
pub(super) fn slip(text: &str, at: usize) -> Option<String> {
    let (key, value) = line_at(text, at)?.split_once('=')?;
    let value = value.split('#').next()?.trim();
    if let Some(number) = decimal_comma(value) {
        return Some(format!("{DECIMAL_POINT}: {number}"));
    }
    if let Some(list) = number_list(value) {
        return Some(format!("{LIST}: {list}"));
    }
    if key.trim() == "layers" && super::layers::parse(value).is_ok() {
        return Some(format!("`layers` is text: \"{value}\""));
    }
    if let Some(number) = with_unit(value) {
        return Some(format!("{NO_UNIT}: {number}"));
    }
    if ["yes", "no", "on", "off"].iter().any(|word| value.eq_ignore_ascii_case(word)) {
        return Some("write true or false, without quotes".to_owned());
    }
    (value.starts_with('"') && value.contains('\\')).then(|| SLASHES.to_owned())
}

/// What is told of a number that is written with its unit.
pub(super) const NO_UNIT: &str = "write the number without its unit, the key says the unit";

/// What is told of a path as another system writes it.
pub(super) const SLASHES: &str = "write / in paths, on every system";

/// What is told of a number with a comma.
pub(super) const DECIMAL_POINT: &str = "the decimal sign is a point";

/// What is told of a list with semicolons.
pub(super) const LIST: &str = "a list stands in square brackets, its values apart by commas";

/// A number with a decimal comma, and perhaps points between its thousands, with a point.
pub(super) fn decimal_comma(value: &str) -> Option<String> {
    let (whole, part) = value.split_once(',')?;
    let digits = |s: &str| !s.is_empty() && s.chars().all(|c| c.is_ascii_digit());
    let mut groups = whole.trim_start_matches(['+', '-']).split('.');
    let first = groups.next().is_some_and(digits);
    let thousands = groups.all(|group| group.len() == 3 && digits(group));
    (first && thousands && digits(part)).then(|| format!("{}.{part}", whole.replace('.', "")))
}

/// Several numbers with semicolons between them, with commas: `0; 45` or `[0; 45]`.
pub(super) fn number_list(value: &str) -> Option<String> {
    let inside = value.strip_prefix('[').and_then(|v| v.strip_suffix(']')).unwrap_or(value);
    let number = |v: &str| {
        let v = v.trim();
        let v = decimal_comma(v).unwrap_or_else(|| v.to_owned());
        v.parse::<f64>().is_ok_and(f64::is_finite).then_some(v)
    };
    let numbers: Vec<String> = inside.split(';').map(number).collect::<Option<_>>()?;
    (numbers.len() > 1).then(|| format!("[{}]", numbers.join(", ")))
}

/// The number of a value that ends in a unit, as `3 mm` or `45°`.
pub(super) fn with_unit(value: &str) -> Option<&str> {
    let end = value.find(|c: char| !(c.is_ascii_digit() || "+-.".contains(c)))?;
    let (number, unit) = value.split_at(end);
    let unit = unit.trim();
    let letters = unit.chars().all(|c| c.is_alphanumeric() || "°%/^µ²³".contains(c));
    let short = !unit.is_empty() && unit.chars().count() <= 8;
    (letters && short && number.parse::<f64>().is_ok()).then_some(number)
}

/// Where a line holds nothing but a header, as `[region]`.
pub(super) fn header(text: &str, header: &str) -> Option<Range<usize>> {
    let mut from = 0;
    for line in text.split('\n') {
        if line.split('#').next().is_some_and(|l| l.trim() == header) {
            let start = from + line.find('[').unwrap_or_default();
            return Some(start..start + header.len());
        }
        from += line.len() + 1;
    }
    None
}

/// The name of a list of tables whose header at a place cannot stand beside another one that
/// has single brackets.
pub(super) fn single_header(text: &str, at: usize, root: &'static Table) -> Option<&'static str> {
    let line = line_at(text, at)?.split('#').next()?.trim();
    let name = line.trim_start_matches('[').trim_end_matches(']').trim();
    let key = root.key(name).filter(|k| matches!(k.kind, Kind::Tables(_)))?;
    (line.starts_with('[') && header(text, &format!("[{name}]")).is_some()).then_some(key.name)
}

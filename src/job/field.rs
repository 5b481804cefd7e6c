//! The direction field of the rule `steered`: scattered points, each with an
//! angle and a weight, from a table of comma-separated values.

use crate::diagnostic::{Diagnostic, Faults, Outcome, Source};
use std::sync::Arc;

/// One point of a field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// Place, mm.
    pub at_mm: [f64; 2],
    /// Direction, degrees from +x; it has no sense, 0 and 180 are the same.
    pub angle_deg: f64,
    /// How much it counts beside its neighbours, above 0.
    pub weight: f64,
}

/// A direction field.
#[derive(Clone, Debug, PartialEq)]
pub struct Field {
    /// Its points, at least one.
    pub samples: Vec<Sample>,
}

/// The columns.
const COLUMNS: &str = "x_mm,y_mm,angle_deg[,weight]";

/// Faults told at once; a file that is no table at all would fill pages.
const MOST_FAULTS: usize = 10;

/// Most points that are read: a field is smooth, more tell nothing.
const MOST_POINTS: usize = 200_000;

/// Reads a table. The first line may name the columns; empty lines and lines
/// that begin with `#` are passed over.
///
/// Errors: `field-syntax` with the line, up to ten of them.
pub fn read(source: &Arc<Source>) -> Outcome<Field> {
    let mut samples = Vec::new();
    let mut faults = Vec::new();
    let mut begin = 0;
    let mut first = true;
    for line in source.text.split_inclusive('\n') {
        let start = begin;
        begin += line.len();
        let text = line.trim_start_matches('\u{feff}').trim();
        if text.is_empty() || text.starts_with('#') {
            continue;
        }
        let lead = line.len() - line.trim_start().len();
        let span = start + lead..start + lead + text.len();
        let words: Vec<&str> = text.split(',').map(str::trim).collect();
        let header = first && words.iter().all(|w| w.parse::<f64>().is_err());
        first = false;
        let parsed = if header { named(&words).map(|()| None) } else { sample(&words).map(Some) };
        match parsed {
            Ok(s) => samples.extend(s),
            Err(message) => {
                let d = Diagnostic::error("field-syntax", message)
                    .at(source, span, "")
                    .help(format!("one point a line: {COLUMNS}"));
                faults.push(d);
                if faults.len() >= MOST_FAULTS {
                    return Err(Faults(faults));
                }
            }
        }
    }
    if faults.is_empty() && (samples.is_empty() || samples.len() > MOST_POINTS) {
        let message = format!("the field has {} points, it takes 1 to {MOST_POINTS}", samples.len());
        let d = Diagnostic::error("field-syntax", message).at(source, 0..0, "");
        faults.push(d.help(format!("one point a line: {COLUMNS}")));
    }
    if faults.is_empty() { Ok(Field { samples }) } else { Err(Faults(faults)) }
}

fn named(words: &[&str]) -> Result<(), String> {
    match words {
        ["x_mm", "y_mm", "angle_deg"] | ["x_mm", "y_mm", "angle_deg", "weight"] => Ok(()),
        _ => Err(format!("the columns are `{}`", words.join(","))),
    }
}

fn sample(words: &[&str]) -> Result<Sample, String> {
    if !(3..=4).contains(&words.len()) {
        return Err(format!("this line holds {} values, it needs 3 or 4", words.len()));
    }
    let number = |i: usize, name: &str, limit: f64| {
        let v: f64 = words[i].parse().map_err(|_| format!("{name} is `{}`, which is no number", words[i]))?;
        if v.is_finite() && v.abs() <= limit {
            Ok(v)
        } else {
            Err(format!("{name} is {}, it must lie within {limit} of 0", words[i]))
        }
    };
    let most = super::table::LARGEST_MM;
    let (x, y) = (number(0, "x_mm", most)?, number(1, "y_mm", most)?);
    let angle_deg = number(2, "angle_deg", 3600.0)?;
    let weight = if words.len() == 4 { number(3, "weight", 1e9)? } else { 1.0 };
    if weight <= 0.0 {
        return Err(format!("weight is {}, it must be above 0", words[3]));
    }
    Ok(Sample { at_mm: [x, y], angle_deg, weight })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(text: &str) -> Outcome<Field> {
        read(&Arc::new(Source { name: "field.csv".to_owned(), text: text.to_owned() }))
    }

    #[test]
    fn tables_with_and_without_names_and_weights_are_read() {
        let named =
            text("x_mm,y_mm,angle_deg,weight\n# a comment\n1, 2, 30, 0.5\n\n3,4,-90,2\n").expect("reads");
        assert_eq!(named.samples.len(), 2);
        assert_eq!(named.samples[0], Sample { at_mm: [1.0, 2.0], angle_deg: 30.0, weight: 0.5 });
        let bare = text("1,2,30\r\n3,4,-90").expect("reads");
        assert!((bare.samples[1].weight - 1.0).abs() < 1e-12, "left out");
    }

    #[test]
    fn every_bad_line_is_told_with_its_place() {
        let faults =
            text("x_mm,y_mm,angle_deg\n1,2\n1,2,east\n1,2,3,0\n1,2,nan\n1e9,0,0\n").expect_err("bad");
        let lines: Vec<usize> =
            faults.0.iter().filter_map(|d| d.place.as_ref()).map(|p| p.line_column().0).collect();
        assert_eq!(lines, [2, 3, 4, 5, 6]);
        assert!(text("").is_err() && text("a,b,c\n1,2,3").is_err(), "no points, other columns");
    }
}

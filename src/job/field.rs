//! The direction field of the rule `steered`: scattered points, each with an
//! angle and a weight, from a table of comma-separated values.

use super::document::other_format;
use crate::diagnostic::{Diagnostic, Faults, Notes, Outcome, Source};
use std::ops::Range;
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
/// Errors: `field-syntax` with the line, up to ten of them; `file-of-another-kind`.
/// Warns of `field-clash`.
pub fn read(notes: &mut Notes, source: &Arc<Source>) -> Outcome<Field> {
    let headed = |l: &str| l.starts_with('[') && l.ends_with(']');
    let first = source.text.lines().map(str::trim).find(|l| !l.is_empty() && !l.starts_with('#'));
    let toml = first.is_some_and(headed).then_some("TOML, as a map or a job is");
    let other = other_format(&source.text).or(toml);
    if let Some(other) = other {
        let message = format!("`{}` is {other}; a table of {COLUMNS} is expected", source.name);
        return Err(Diagnostic::error("file-of-another-kind", message).at(source, 0..0, "").into());
    }
    let mut samples = Vec::new();
    let mut spans: Vec<Range<usize>> = Vec::new();
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
        // every line of such a table is wrong: one tells it
        if let Some(message) = other_table(text, &words) {
            let d = Diagnostic::error("field-syntax", message).at(source, span, "");
            let d = d.help(format!(
                "one point a line: {COLUMNS}; commas between values, points in numbers: 10.5,20,45"
            ));
            return Err(d.into());
        }
        let parsed = if header { named(&words).map(|()| None) } else { sample(&words).map(Some) };
        match parsed {
            Ok(None) => {}
            Ok(Some(s)) => {
                samples.push(s);
                spans.push(span);
            }
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
    if !faults.is_empty() {
        return Err(Faults(faults));
    }
    clashes(notes, source, &samples, &spans);
    Ok(Field { samples })
}

/// What a line of a table of another make says: values between semicolons or tabs, or
/// numbers with decimal commas.
fn other_table(line: &str, words: &[&str]) -> Option<String> {
    for (sign, name) in [(';', "semicolons"), ('\t', "tabs")] {
        if (3..=4).contains(&line.split(sign).count()) {
            return Some(format!("values stand between {name}, a field has commas there"));
        }
    }
    let whole = |w: &&str| w.parse::<i64>().is_ok();
    let doubled = matches!(words.len(), 6 | 8) && words.iter().all(whole);
    doubled.then(|| {
        format!(
            "this line holds {} whole numbers, it needs 3 or 4: are commas its decimal signs?",
            words.len()
        )
    })
}

/// Directions at one place that differ by more are told, degrees: less is what rounding
/// and meshes leave.
const CLASH_DEG: f64 = 1.0;

/// Warns of points at the same place that ask for different directions, at the first
/// of them.
fn clashes(notes: &mut Notes, source: &Arc<Source>, samples: &[Sample], spans: &[Range<usize>]) {
    let mut order: Vec<usize> = (0..samples.len()).collect();
    let by_place = |&i: &usize, &j: &usize| {
        let ([ax, ay], [bx, by]) = (samples[i].at_mm, samples[j].at_mm);
        ax.total_cmp(&bx).then(ay.total_cmp(&by))
    };
    order.sort_by(|i, j| by_place(i, j).then(i.cmp(j)));
    let apart = |i: usize, j: usize| {
        let turn = (samples[i].angle_deg - samples[j].angle_deg).rem_euclid(180.0);
        turn.min(180.0 - turn) > CLASH_DEG
    };
    let mut found: Vec<[usize; 2]> = order
        .chunk_by(|i, j| by_place(i, j).is_eq())
        .filter_map(|same| Some([same[0], *same[1..].iter().find(|j| apart(same[0], **j))?]))
        .collect();
    found.sort_unstable();
    let Some(&[i, j]) = found.first() else { return };
    let line = |k: usize| 1 + source.text[..spans[k].start].matches('\n').count();
    let [x, y] = samples[i].at_mm;
    let others = match found.len() - 1 {
        0 => String::new(),
        n => format!(", and so at {}", crate::diagnostic::counted(n, "other place")),
    };
    let message = format!(
        "lines {} and {} ask for {} and {} degrees at the same place, x {x} y {y} mm{others}",
        line(i),
        line(j),
        samples[i].angle_deg,
        samples[j].angle_deg
    );
    notes.push(
        Diagnostic::warning("field-clash", message)
            .at(source, spans[j].clone(), "")
            .help("a direction between them is taken, by weight; keep the one that is meant"),
    );
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
        read(&mut Notes::default(), &Arc::new(Source { name: "field.csv".to_owned(), text: text.to_owned() }))
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

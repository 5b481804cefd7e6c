//! Quotes as a table, as CSV and as JSON.

use super::{Row, told};
use crate::count::f64_of;
use crate::diagnostic::Faults;
use crate::estimate::series::{BreakEven, Quote};
use crate::estimate::{self, WITHIN};
use crate::gcode::clock;
use crate::job::series::Rate;
use crate::quote::{MOST_TIMED, Question, Quoted, SeriesQuoted};
use serde_json::{Map, Value, json};
use std::fmt::Write as _;

/// Width of a name in a table of one job.
const NAME: usize = 26;

/// Width of a column of figures.
const FIGURE: usize = 14;

/// For people.
pub(super) fn table(question: &Question, rows: &[Row]) -> String {
    let mut out = String::new();
    match rows {
        [Row { outcome: Ok(quoted), .. }] => match &quoted.series {
            Some(series) => one(&mut out, quoted, series),
            None => out.push_str(&estimate::table(&quoted.estimate, &quoted.job)),
        },
        _ => several(&mut out, question, rows),
    }
    if question.quick {
        let percent = [WITHIN.fibre_length, WITHIN.mass, WITHIN.time].map(|w| w * 100.0);
        let _ = writeln!(
            out,
            "{:<NAME$}no layer was planned; at most so far off the plan on the bench set: fibre length {:.0} %, mass of a part {:.0} %, build time {:.0} %; courses and cuts are rough: plans had {} to {} times as many",
            "quick",
            percent[0],
            percent[1],
            percent[2],
            WITHIN.courses_least_times,
            WITHIN.courses_most_times
        );
    }
    out
}

fn line(out: &mut String, name: &str, value: &str) {
    // a long name keeps off what stands behind it
    let gap = if name.chars().count() < NAME { "" } else { "  " };
    let _ = writeln!(out, "{name:<NAME$}{gap}{value}");
}

/// One job: a column for each quantity.
fn one(out: &mut String, quoted: &Quoted, s: &SeriesQuoted) {
    let e = &quoted.estimate;
    let job = &quoted.job;
    let parts = if job.copies == 1 { "1 part".to_owned() } else { format!("{} parts", job.copies) };
    line(out, "job", &format!("{}, {parts} on a bed, printer {}", job.name, job.printer.name));
    line(out, "build time of a bed", &format!("{} h:mm:ss", clock(e.time_s.total)));
    line(
        out,
        "in one part",
        &format!(
            "{:.2} m of tow, {:.2} g; {:.2} g of matrix, purges included",
            s.part.tow_m, s.part.tow_g, s.part.matrix_g
        ),
    );
    out.push('\n');
    figures(out, &s.quantities, s.currency.as_deref());
    out.push('\n');
    batches(out, s, job.series.get(Rate::BatchesPerYear));
    beds(out, s);
    mass(out, s);
    if job.series.machined.is_some() {
        line(out, "against machining", &pays(s.break_even.as_ref()));
    }
    for q in &s.quantities {
        if !q.sensitivity.is_empty() {
            let name = format!("moves the cost at {}", whole(q.quantity_per_year));
            line(out, &name, &influences(q));
        }
    }
    out.push('\n');
    echo(out, s);
}

type Cell = fn(&Quote) -> Option<f64>;

/// A row of figures: what it is, its decimals, where it comes from.
const FIGURES: &[(&str, usize, Cell)] = &[
    ("good parts a year", 0, |q| Some(q.quantity_per_year)),
    ("parts begun", 1, |q| Some(q.parts_begun)),
    ("batches", 1, |q| q.batches),
    ("printer hours", 1, |q| Some(q.printer_h)),
    ("printers", 0, |q| q.printers),
    ("  busy, %", 1, |q| q.printers_busy_fraction.map(|f| f * 100.0)),
    ("press cycles", 1, |q| q.press_cycles),
    ("press hours", 2, |q| q.press_h),
    ("presses", 0, |q| q.presses),
    ("press tools in tool_years", 0, |q| q.tools),
    ("tow, kg", 3, |q| q.tow_kg),
    ("spools of tow", 0, |q| q.tow_spools),
    ("matrix, kg", 3, |q| q.matrix_kg),
    ("hours of work", 1, |q| q.labour_h),
];

/// A row of money, as [`FIGURES`].
const MONEY: &[(&str, Cell)] = &[
    ("  tow", |q| q.cost_per_part.tow),
    ("  matrix", |q| q.cost_per_part.matrix),
    ("  printer", |q| q.cost_per_part.printer),
    ("  press", |q| q.cost_per_part.press),
    ("  tool write-off", |q| q.cost_per_part.tool),
    ("  inserts", |q| q.cost_per_part.inserts),
    ("  work", |q| q.cost_per_part.labour),
    ("  set-up", |q| q.cost_per_part.setup),
    ("  total", |q| q.total_per_part),
];

fn figures(out: &mut String, quotes: &[Quote], currency: Option<&str>) {
    let mut row = |name: &str, decimals: usize, cell: Cell| {
        let cells: String =
            quotes.iter().map(|q| format!("{:>FIGURE$}", number(cell(q), decimals))).collect();
        let _ = writeln!(out, "{name:<NAME$}{cells}");
    };
    for (name, decimals, cell) in FIGURES {
        row(name, *decimals, *cell);
    }
    let _ = writeln!(out, "cost of one part, {}", currency.unwrap_or("no currency given"));
    let mut row = |name: &str, cell: Cell| {
        let cells: String = quotes.iter().map(|q| format!("{:>FIGURE$}", number(cell(q), 2))).collect();
        let _ = writeln!(out, "{name:<NAME$}{cells}");
    };
    for (name, cell) in MONEY {
        row(name, *cell);
    }
    if quotes.iter().any(|q| q.machined_per_part.is_some()) {
        row("  machined", |q| q.machined_per_part);
        row("  this over machined", |q| q.cost_ratio);
    }
}

/// Where fewer batches are reckoned with than were asked for.
fn batches(out: &mut String, s: &SeriesQuoted, asked: Option<f64>) {
    let fewer: Vec<String> = s
        .quantities
        .iter()
        .filter(|q| q.batches.zip(asked).is_some_and(|(n, asked)| n < asked))
        .map(|q| whole(q.quantity_per_year))
        .collect();
    if let (Some(asked), false) = (asked, fewer.is_empty()) {
        let text = format!(
            "fewer than the {asked} of `batches_per_year` at {} a year: none makes less than a bed of parts",
            fewer.join(", ")
        );
        line(out, "batches", &text);
    }
}

/// Parts on a bed, and whether more of them pay.
fn beds(out: &mut String, s: &SeriesQuoted) {
    let (Some(first), Some(quote)) = (s.beds.first(), s.quantities.first()) else { return };
    let quantity = whole(quote.quantity_per_year);
    for b in &s.beds {
        let name = format!("{} on a bed", b.copies);
        let mut text = format!("{:.3} printer hours a part", b.printer_h_per_part);
        if let Some(cost) = b.total_per_part {
            let _ = write!(text, ", {cost:.2} a part at {quantity} a year");
        }
        if b.copies != first.copies {
            let less = 1.0 - b.printer_h_per_part / first.printer_h_per_part;
            let _ = write!(text, "; {:+.1} % hours", -less * 100.0);
            if let Some((one, now)) = first.total_per_part.zip(b.total_per_part).filter(|(one, _)| *one > 0.0)
            {
                let _ = write!(text, ", {:+.1} % cost against 1", (now / one - 1.0) * 100.0);
                text.push_str(if b.copies > 1 && f64_of(b.copies) > quote.parts_begun {
                    ": more than a year needs"
                } else if now < one * (1.0 - WORTH) {
                    ": it pays"
                } else {
                    ": hardly worth it"
                });
            }
        }
        line(out, &name, &text);
    }
    let mut most = s.most_on_a_bed.to_string();
    if s.most_on_a_bed > MOST_TIMED {
        let _ = write!(
            most,
            "; beds are timed up to {MOST_TIMED}, or as many as `copies` says: hours of a part hardly change beyond"
        );
    }
    if s.most_turned > s.most_on_a_bed {
        let _ = write!(
            most,
            "; {} if you turn the outline and its map by 90 degrees (angle_deg too)",
            s.most_turned
        );
    }
    line(out, "most on a bed", &most);
}

/// Savings below this share are within what the estimate is good for.
const WORTH: f64 = 0.01;

fn mass(out: &mut String, s: &SeriesQuoted) {
    let m = &s.mass;
    let mut text = m.part_g.map_or_else(|| "unknown".to_owned(), |g| format!("{g:.2} g"));
    if !s.inserts.is_empty() {
        let inserts = m.inserts_g.map_or_else(|| "unknown".to_owned(), |g| format!("{g:.2} g"));
        let _ = write!(text, ", {:.2} g as printed and {inserts} of inserts", m.printed_g);
    }
    match (m.machined_g, &m.machined_from) {
        (Some(g), Some(from)) => {
            let comma = if s.inserts.is_empty() { "" } else { "," };
            let _ = write!(text, "{comma} against {g:.2} g machined, without inserts ({from})");
        }
        (None, Some(_)) => text.push_str("; that of the machined part is unknown"),
        _ => {}
    }
    if let Some(ratio) = m.ratio {
        let _ = write!(text, ": {ratio:.3} of it");
    }
    line(out, "mass of a part", &text);
}

/// Break-even in words.
fn pays(break_even: Option<&BreakEven>) -> String {
    let text = match break_even {
        None => "unknown: rates are missing".to_owned(),
        Some(b) => match (b.pays, b.from_per_year, b.to_per_year) {
            (true, Some(from), None) if from <= 1.0 => "costs no more from the first part on".to_owned(),
            (true, Some(from), None) => format!("costs no more from {} parts a year on", whole(from)),
            (true, Some(from), Some(to)) => {
                format!("costs no more between {} and {} parts a year", whole(from), whole(to))
            }
            _ => "costs more at every quantity".to_owned(),
        },
    };
    match break_even.and_then(|b| b.also_from_per_year.zip(b.also_to_per_year)) {
        Some((from, to)) => format!("{text}, and between {} and {}", whole(from), whole(to)),
        None => text,
    }
}

fn influences(q: &Quote) -> String {
    let all: Vec<String> = q
        .sensitivity
        .iter()
        .map(|i| format!("{} +10 %: {:+.2} %", i.input, i.change_fraction * 100.0))
        .collect();
    all.join(", ")
}

/// Rates in a line.
const ECHOED: usize = 4;

/// The rates, beside every result.
fn echo(out: &mut String, s: &SeriesQuoted) {
    let mut rates: Vec<String> = s.rates.iter().map(|(k, v)| format!("{k} {v}")).collect();
    for i in &s.inserts {
        let price = i.price_each.map_or_else(|| "no price given".to_owned(), |p| format!("at {p}"));
        rates.push(format!("insert {} x {}, {price}", i.count, i.name));
    }
    let currency = s.currency.as_deref().unwrap_or("no currency given");
    if rates.is_empty() {
        let _ = writeln!(out, "your rates: none given");
    } else {
        let _ = writeln!(out, "your rates ({currency}); the quote is as good as they are:");
    }
    for chunk in rates.chunks(ECHOED) {
        let _ = writeln!(out, "  {}", chunk.join(", "));
    }
    if !s.missing.is_empty() {
        let _ = writeln!(out, "not given, and not made up:");
        for chunk in s.missing.chunks(ECHOED) {
            let _ = writeln!(out, "  {}", chunk.join(", "));
        }
    }
}

/// Several jobs: a line for each job and quantity.
fn several(out: &mut String, question: &Question, rows: &[Row]) {
    let quoting = !question.quantities.is_empty();
    let head: &[&str] = if quoting {
        &["job", "parts a year", "printer h", "printers", "presses", "spools", "a part", "machined", "ratio"]
    } else {
        &["job", "copies", "build time", "fibre m", "courses", "matrix g", "part g", "fibre %", "porosity %"]
    };
    let mut lines: Vec<Vec<String>> = vec![head.iter().map(|h| (*h).to_owned()).collect()];
    for row in rows {
        match &row.outcome {
            Err(faults) => lines.push(vec![row.path.clone(), fault_text(faults)]),
            Ok(quoted) => match &quoted.series {
                Some(s) => {
                    for q in &s.quantities {
                        let currency = s.currency.as_ref().map_or_else(String::new, |c| format!(" {c}"));
                        lines.push(vec![
                            row.path.clone(),
                            whole(q.quantity_per_year),
                            number(Some(q.printer_h), 1),
                            number(q.printers, 0),
                            number(q.presses, 0),
                            number(q.tow_spools, 0),
                            format!("{}{currency}", number(q.total_per_part, 2)),
                            number(q.machined_per_part, 2),
                            number(q.cost_ratio, 3),
                        ]);
                    }
                }
                None => {
                    let e = &quoted.estimate;
                    lines.push(vec![
                        row.path.clone(),
                        quoted.job.copies.to_string(),
                        clock(e.time_s.total),
                        number(Some(e.fibre_length_mm / 1000.0), 2),
                        e.courses.to_string(),
                        number(Some(e.matrix_mass_g), 2),
                        number(Some(e.part_mass_g), 2),
                        number(Some(e.fibre_volume_fraction * 100.0), 1),
                        number(Some(e.printed_porosity * 100.0), 1),
                    ]);
                }
            },
        }
    }
    // a fault's text is as long as it is: it sets no column's width
    let width = |column: usize| {
        lines
            .iter()
            .filter(|l| l.len() == head.len())
            .filter_map(|l| l.get(column))
            .map(|c| c.chars().count())
            .max()
            .unwrap_or(0)
    };
    let widths: Vec<usize> = (0..head.len()).map(width).collect();
    for cells in &lines {
        let mut text = String::new();
        for (i, cell) in cells.iter().enumerate() {
            let w = widths[i];
            let _ = if i == 0 {
                write!(text, "{cell:<w$}")
            } else if cells.len() == head.len() {
                write!(text, "  {cell:>w$}")
            } else {
                write!(text, "  {cell}")
            };
        }
        let _ = writeln!(out, "{}", text.trim_end());
    }
    if quoting {
        for row in rows {
            if let Ok(Quoted { series: Some(s), job, .. }) = &row.outcome {
                let _ = writeln!(out, "\n{}", row.path);
                if job.series.machined.is_some() {
                    line(out, "against machining", &pays(s.break_even.as_ref()));
                }
                echo(out, s);
            }
        }
    }
}

fn fault_text(Faults(faults): &Faults) -> String {
    let first = faults.first().map_or_else(String::new, ToString::to_string);
    let more = faults.len().saturating_sub(1);
    if more == 0 { first } else { format!("{first} (and {more} more)") }
}

/// A figure, or a dash where it is unknown.
fn number(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| "-".to_owned(), |v| format!("{v:.decimals$}"))
}

fn whole(v: f64) -> String {
    format!("{v:.0}")
}

/// For spreadsheets: one line for each job and quantity, RFC 4180.
pub(super) fn csv(question: &Question, rows: &[Row]) -> String {
    let objects: Vec<Vec<(String, Value)>> = rows.iter().flat_map(|r| flat(question, r)).collect();
    // every column that any row has, in the order of first sight
    let mut columns: Vec<String> = Vec::new();
    for (name, _) in objects.iter().flatten() {
        if !columns.contains(name) {
            columns.push(name.clone());
        }
    }
    let mut out = String::new();
    let mut push = |cells: Vec<String>| {
        let _ = write!(out, "{}\r\n", cells.join(","));
    };
    push(columns.iter().map(|c| field(&Value::String(c.clone()))).collect());
    for object in &objects {
        let cell =
            |name: &String| object.iter().find(|(n, _)| n == name).map_or(String::new(), |(_, v)| field(v));
        push(columns.iter().map(cell).collect());
    }
    out
}

/// One field: quoted where it must be. A text that a spreadsheet would run as a
/// formula is quoted and begins with an apostrophe.
fn field(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(s) => {
            let text = if s.starts_with(['=', '+', '-', '@']) { format!("'{s}") } else { s.clone() };
            if text.contains([',', '"', '\n', '\r', '\'']) {
                format!("\"{}\"", text.replace('"', "\"\""))
            } else {
                text
            }
        }
        other => other.to_string(),
    }
}

/// A row's lines as names and values, nested names joined by points.
fn flat(question: &Question, row: &Row) -> Vec<Vec<(String, Value)>> {
    let job = ("job".to_owned(), json!(row.path));
    let quoted = match &row.outcome {
        Err(faults) => return vec![vec![job, ("error".to_owned(), json!(fault_text(faults)))]],
        Ok(quoted) => quoted,
    };
    let mut first = vec![job, ("name".to_owned(), json!(quoted.job.name))];
    // lengths, times and masses but that of a part are those of all copies
    first.push(("copies".to_owned(), json!(quoted.job.copies)));
    if question.quick {
        unfold("quick_within_fraction", &json!(WITHIN), &mut first);
    }
    let estimate = serde_json::to_value(&quoted.estimate).unwrap_or_default();
    let Some(s) = &quoted.series else {
        unfold("", &rounded(estimate), &mut first);
        return vec![first];
    };
    s.quantities
        .iter()
        .map(|q| {
            let mut cells = first.clone();
            let mut value = serde_json::to_value(q).unwrap_or_default();
            if let Some(table) = value.as_object_mut() {
                let moves = table.remove("sensitivity");
                debug_assert!(moves.is_some(), "a quote tells what moves it");
                // what a row is about stands before its figures
                if let Some(quantity) = table.remove("quantity_per_year") {
                    cells.push(("quantity_per_year".to_owned(), quantity));
                }
            }
            cells.push(("currency".to_owned(), json!(s.currency)));
            unfold("", &rounded(value), &mut cells);
            cells.push(("moves_most".to_owned(), json!(influences(q))));
            // one part, as the program says: purges and its share of the bed are in it
            let mut part = serde_json::to_value(s.part).unwrap_or_default();
            if let Some(table) = part.as_object_mut() {
                // stands in front
                table.remove("copies");
            }
            unfold("part", &rounded(part), &mut cells);
            unfold("mass", &rounded(serde_json::to_value(&s.mass).unwrap_or_default()), &mut cells);
            if let Some(even) = s.break_even {
                unfold("break_even", &serde_json::to_value(even).unwrap_or_default(), &mut cells);
            }
            cells.push(("most_on_a_bed".to_owned(), json!(s.most_on_a_bed)));
            cells.extend(s.rates.iter().map(|(k, v)| (k.clone(), json!(v))));
            cells.push(("missing".to_owned(), json!(s.missing.join("; "))));
            cells
        })
        .collect()
}

fn unfold(path: &str, value: &Value, out: &mut Vec<(String, Value)>) {
    match value {
        Value::Object(table) => {
            for (key, inner) in table {
                let name = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
                unfold(&name, inner, out);
            }
        }
        other => out.push((path.to_owned(), other.clone())),
    }
}

/// For programs: one job is an object, several are a list of them.
pub(super) fn json(question: &Question, rows: &[Row]) -> Value {
    let all: Vec<Value> = rows.iter().map(|r| object(question, r)).collect();
    match <[Value; 1]>::try_from(all) {
        Ok([one]) => one,
        Err(all) => json!({ "jobs": all }),
    }
}

fn object(question: &Question, row: &Row) -> Value {
    let quoted = match &row.outcome {
        Err(Faults(faults)) => {
            return json!({"job": row.path, "errors": told(faults), "warnings": told(&row.warnings)});
        }
        Ok(quoted) => quoted,
    };
    let mut out = Map::new();
    out.insert("job".to_owned(), json!(row.path));
    out.insert("name".to_owned(), json!(quoted.job.name));
    out.insert("copies".to_owned(), json!(quoted.job.copies));
    out.insert("quick".to_owned(), json!(question.quick));
    if question.quick {
        out.insert("within_fraction".to_owned(), json!(WITHIN));
    }
    out.insert("estimate".to_owned(), json!(quoted.estimate));
    out.insert("left_out".to_owned(), json!(quoted.left_out));
    if let Some(s) = &quoted.series {
        out.insert("series".to_owned(), rounded(serde_json::to_value(s).unwrap_or_default()));
    }
    out.insert("warnings".to_owned(), json!(told(&row.warnings)));
    Value::Object(out)
}

/// Figures to six decimals: further digits mean nothing.
fn rounded(value: Value) -> Value {
    match value {
        Value::Number(n) if n.is_f64() => {
            let v = n.as_f64().unwrap_or_default();
            json!((v * 1e6).round() / 1e6 + 0.0)
        }
        Value::Array(list) => Value::Array(list.into_iter().map(rounded).collect()),
        Value::Object(table) => Value::Object(table.into_iter().map(|(k, v)| (k, rounded(v))).collect()),
        other => other,
    }
}

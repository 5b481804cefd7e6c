//! `printer` and `material`: what is built in, and checks for a user's own.

use super::Report;
use crate::diagnostic::nearest::help;
use crate::diagnostic::{Diagnostic, Outcome, Source};
use crate::job::builtin::{self, BuiltIn};
use crate::job::material::{self, Material};
use crate::job::{self, Matrix, Printer, Tow};
use serde_json::{Value, json};
use std::path::Path;

/// `printer list`.
pub(super) fn printers() -> Report {
    list(&[builtin::PRINTERS], &["name", "description"])
}

/// `material list`.
pub(super) fn materials() -> Report {
    list(&[builtin::MATRICES, builtin::TOWS], &["kind", "name", "polymer", "description"])
}

/// A table for people, the whole files for programs.
fn list(lists: &[&'static [BuiltIn]], columns: &[&str]) -> Report {
    let all: Vec<Value> = lists.iter().flat_map(|l| l.iter()).map(|b| as_json(b.text)).collect();
    let cell = |row: &Value, column: &str| row[column].as_str().unwrap_or("").to_owned();
    let width = |column: &str| {
        all.iter().map(|row| cell(row, column).chars().count()).max().unwrap_or(0).max(column.len())
    };
    let mut text = String::new();
    let mut line = |cells: Vec<(String, usize)>| {
        let line: Vec<String> = cells.iter().map(|(c, w)| format!("{c:<w$}", w = *w)).collect();
        text.push_str(line.join("  ").trim_end());
        text.push('\n');
    };
    line(columns.iter().map(|c| ((*c).to_owned(), width(c))).collect());
    for row in &all {
        line(columns.iter().map(|c| (cell(row, c), width(c))).collect());
    }
    Report::of(text, json!(all))
}

/// `printer show NAME`.
///
/// Errors: `unknown-name`.
pub(super) fn show_printer(name: &str) -> Outcome<Report> {
    show(&[builtin::PRINTERS], name, "printer")
}

/// `material show NAME`.
///
/// Errors: `unknown-name`.
pub(super) fn show_material(name: &str) -> Outcome<Report> {
    show(&[builtin::MATRICES, builtin::TOWS], name, "material")
}

fn show(lists: &[&'static [BuiltIn]], name: &str, what: &str) -> Outcome<Report> {
    match lists.iter().find_map(|l| builtin::find(l, name)) {
        Some(found) => Ok(Report::of(found.text, as_json(found.text))),
        None => {
            let names: Vec<&str> = lists.iter().flat_map(|l| builtin::names(l)).collect();
            let d = Diagnostic::error("unknown-name", format!("there is no built-in {what} `{name}`"));
            Err(d.help(help(name, &names, "built in")).into())
        }
    }
}

/// A text that was read before, as JSON.
fn as_json(text: &str) -> Value {
    toml::from_str(text).unwrap_or(Value::Null)
}

/// `material check FILE`.
///
/// Errors: every fault of the file; `input-missing` and the like.
pub(super) fn check_material(file: &Path) -> Outcome<Report> {
    let source = job::first_text(file)?;
    let facts = match material::read(&source)? {
        Material::Matrix(m) => matrix_facts(&m),
        Material::Tow(t) => tow_facts(&t),
    };
    Ok(Report::telling(told(&source, "no faults", &facts), checked(&source, "material")))
}

pub(super) fn told(source: &Source, state: &str, facts: &[String]) -> String {
    let mut text = format!("{}: {state}\n", source.name);
    for fact in facts {
        text.push_str("  ");
        text.push_str(fact);
        text.push('\n');
    }
    text
}

pub(super) fn checked(source: &Source, what: &str) -> Value {
    json!({"file": source.name, "faults": 0, what: as_json(&source.text)})
}

pub(super) fn printer_facts(p: &Printer) -> Vec<String> {
    let [x0, y0, x1, y1] = p.bed_mm;
    vec![
        format!("{}: {}", p.name, p.description),
        format!("parts on {:.1} x {:.1} mm", x1 - x0, y1 - y0),
        format!(
            "shortest course {:.1} mm: {:.1} mm behind the cutter and {:.1} mm of anchor",
            p.shortest_course_mm(),
            p.cutter_to_nozzle_mm,
            p.anchor_mm
        ),
        format!("matrix head T{}, fibre head T{}", p.matrix.tool, p.fibre.tool),
    ]
}

fn matrix_facts(m: &Matrix) -> Vec<String> {
    vec![format!(
        "{}: {}, {} g/cm3, laid at {} degC",
        m.name, m.polymer, m.density_g_cm3, m.process_temperature_c
    )]
}

fn tow_facts(t: &Tow) -> Vec<String> {
    vec![
        format!(
            "{}: {} x {} mm, bends to {} mm, its edges strained by {:.1} % there",
            t.name,
            t.width_mm,
            t.height_mm,
            t.min_bend_radius_mm,
            50.0 * t.width_mm / t.min_bend_radius_mm
        ),
        format!(
            "least hoop: round a hole of {:.2} mm radius, its centre line at {} mm",
            t.min_bend_radius_mm - 0.5 * t.width_mm,
            t.min_bend_radius_mm
        ),
        if t.trail_mm > 0.0 {
            format!(
                "comes to lie {} mm behind the nozzle: loops not much wider than that are left out",
                t.trail_mm
            )
        } else {
            "comes to lie where the nozzle goes (`trail_mm` 0)".to_owned()
        },
        format!(
            "{:.6} mm2 of fibre in {} mm2: fibre volume fraction {:.3}",
            t.fibre_area_mm2,
            t.area_mm2,
            t.fibre_fraction()
        ),
    ]
}

//! `verify FILE.gcode --printer P [--plan PLAN.json]`.

use super::Report;
use super::console::Console;
use crate::diagnostic::{Outcome, counted};
use crate::job;
use crate::verify::{self, Verdict};
use clap::Args;
use serde_json::json;
use std::path::PathBuf;
use std::sync::Arc;

/// What to check.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// The program
    #[arg(value_name = "FILE.gcode")]
    program: PathBuf,
    /// The printer it is for: a built-in profile's name, or a path to a .toml
    #[arg(short, long, value_name = "P")]
    printer: String,
    /// The plan that was written with it: agreement, outline, areas and estimate are checked too
    #[arg(long, value_name = "NAME.plan.json")]
    plan: Option<PathBuf>,
}

/// Reads the program and tells what every check found.
pub(super) fn run(arguments: &Arguments, console: &Console) -> Outcome<Report> {
    let (_, printer) = job::printer_named(&arguments.printer)?;
    let name = arguments.program.display().to_string();
    let plan = match &arguments.plan {
        Some(path) => Some((path.display().to_string(), job::first(path)?)),
        None => None,
    };
    let program = job::first_opened(&arguments.program)?;
    let verdict = console.working(format!("checking {name}"), &Arc::default(), || {
        verify::verify(&name, program, &printer, plan.as_ref().map(|(n, b)| (n.as_str(), b.as_slice())))
    })?;
    Ok(told(&name, &printer.name, plan.is_some(), &verdict))
}

fn told(name: &str, printer: &str, planned: bool, verdict: &Verdict) -> Report {
    let f = &verdict.figures;
    let faults = verdict.ledger.faults();
    let mut text = verdict.ledger.table();
    text.push_str(&format!(
        "\n{name} for {printer}: {} lines, {}, {}, {:.2} m of tow, {:.2} cm3 of matrix, {} by its own clock: {}\n",
        f.lines,
        counted(f.layers, "layer"),
        counted(f.courses, "course"),
        f.fibre_mm / 1000.0,
        f.matrix_mm3 / 1000.0,
        crate::gcode::clock(f.seconds),
        if faults == 0 { "no faults".to_owned() } else { counted(faults, "fault") },
    ));
    if !planned {
        text.push_str("without a plan: agreement, outline, areas and estimate were not looked at\n");
    }
    let json = json!({
        "program": name,
        "printer": printer,
        "with_plan": planned,
        "faults": faults,
        "figures": f,
        "checks": verdict.ledger.json(),
    });
    let mut report = if faults == 0 { Report::telling(text, json) } else { Report::of(text, json) };
    report.status = u8::from(faults > 0);
    report
}

//! `verify FILE.gcode --printer P [--plan PLAN.json]`.

use super::Report;
use super::console::Console;
use crate::diagnostic::{Diagnostic, Outcome, Source, counted};
use crate::files::{self, Input};
use crate::job;
use crate::verify::{self, Verdict};
use clap::Args;
use serde_json::json;
use std::path::{Path, PathBuf};
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
    let (profile, printer) = job::printer_named(&arguments.printer)?;
    let name = arguments.program.display().to_string();
    let plan = match &arguments.plan {
        Some(path) => Some((path.display().to_string(), job::first(path)?)),
        None => None,
    };
    if let Some((plan, bytes)) = &plan
        && let Some(kind) = job::kind_of_file(bytes)
    {
        let message = format!("`{plan}` is {kind}; the plan of the program is expected");
        return Err(Diagnostic::error("plan-unreadable", message)
            .in_file(plan)
            .help("give the NAME.plan.json that was written with the program")
            .into());
    }
    let program = job::first_opened(&arguments.program)?;
    // what comes through a pipe can be looked at once only
    let begin = if arguments.program.is_file() { files::head(&arguments.program, 64) } else { None };
    if begin.is_some_and(|text| text.trim_start().starts_with('{')) {
        let message = format!("`{name}` is JSON, as a plan is; a program is expected");
        return Err(Diagnostic::error("file-of-another-kind", message)
            .in_file(name)
            .help("give the NAME.gcode; its plan goes behind --plan")
            .into());
    }
    if let Some(kind) = no_program(&arguments.program) {
        let d =
            Diagnostic::error("file-of-another-kind", format!("`{name}` is {kind}; a program is expected"));
        let d = d.in_file(&name);
        return Err(if kind == job::A_JOB {
            d.help(format!("plan it first: `towpath plan {name} --out out` writes NAME.gcode, and checks it"))
                .into()
        } else {
            d.help("give the NAME.gcode that `towpath plan` has written").into()
        });
    }
    let verdict = console.working(format!("checking {name}"), &Arc::default(), || {
        verify::verify(&name, program, &printer, plan.as_ref().map(|(n, b)| (n.as_str(), b.as_slice())))
    })?;
    let mut notes: Vec<String> = another_printer(&verdict, &profile, &printer.name).into_iter().collect();
    notes.extend(plan.as_ref().and_then(|(plan, _)| another_plan(&verdict, plan)));
    Ok(told(&name, &printer.name, plan.is_some(), &verdict, &notes))
}

/// What a file plainly is that is no program.
fn no_program(path: &Path) -> Option<&'static str> {
    /// What people type is shorter, bytes.
    const TYPED: usize = 1 << 20;
    // what comes through a pipe can be looked at once only
    if !path.is_file() {
        return None;
    }
    let typed = path.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml"));
    let begin = files::head(path, if typed { TYPED } else { 64 })?;
    job::kind_of_file(begin.as_bytes()).filter(|kind| typed || !matches!(*kind, "a program" | "TOML"))
}

/// In words, where the program was written with another printer profile than the one given.
fn another_printer(verdict: &Verdict, profile: &Source, name: &str) -> Option<String> {
    let (told, hash) = verdict.printer.as_ref()?;
    let given = Input::of("printer", "", profile.text.as_bytes());
    // a built-in one may be of another version
    let built_in = told.strip_prefix("built-in ");
    if given.sha256.starts_with(hash) || built_in == Some(name) {
        return None;
    }
    let path = Path::new(&profile.name);
    Some(if path.file_name().is_some_and(|file| file == told.as_str()) {
        format!(
            "`{told}` is not as it was when the program was written: the checks are those of the profile as it is now"
        )
    } else {
        let told = built_in.unwrap_or(told);
        format!(
            "the program was written for the printer `{told}`, not for `{name}`: the checks are those of `{name}`"
        )
    })
}

/// In words, where a plan was written with another program.
fn another_plan(verdict: &Verdict, plan: &str) -> Option<String> {
    let roles = match verdict.not_of_plan.as_slice() {
        [] => return None,
        [one] => one.clone(),
        [many @ .., last] => format!("{} and {last}", many.join(", ")),
    };
    Some(format!(
        "`{plan}` is the plan of another program: it was made from another {roles} than the header tells"
    ))
}

fn told(name: &str, printer: &str, planned: bool, verdict: &Verdict, notes: &[String]) -> Report {
    let f = &verdict.figures;
    let faults = verdict.ledger.faults();
    let mut text: String = notes.iter().map(|note| format!("{note}\n")).collect();
    if !notes.is_empty() {
        text.push('\n');
    }
    text.push_str(&verdict.ledger.table());
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
        "notes": notes,
        "faults": faults,
        "figures": f,
        "checks": verdict.ledger.json(),
    });
    let mut report = if faults == 0 { Report::telling(text, json) } else { Report::of(text, json) };
    report.status = u8::from(faults > 0);
    report
}

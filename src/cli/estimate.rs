//! `estimate JOB.toml …`: figures and quotes, no files.

mod render;

use super::console::Console;
use super::{Report, show};
use crate::diagnostic::{Diagnostic, Faults, Notes, Outcome, Progress};
use crate::quote::{self, Question, Quoted};
use clap::{Args, ValueEnum};
use rayon::prelude::*;
use std::num::NonZeroUsize;
use std::path::PathBuf;
use std::sync::Arc;

/// What to estimate, and how to print it.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// The jobs; several make one table
    #[arg(value_name = "JOB.toml", required = true)]
    job: Vec<PathBuf>,
    /// Good parts a year, one or several: machines, material and cost of each
    #[arg(long, value_name = "N,N,…", value_delimiter = ',', value_parser = quantity, allow_negative_numbers = true)]
    quantity: Vec<u32>,
    /// How to print; --json is the same as json
    #[arg(long, value_enum, value_name = "FORMAT", default_value_t = Format::Table)]
    format: Format,
    /// From areas and lengths, without planning each layer: a few hundredths of a
    /// second; says how far it lay from the plan on the project's bench set
    #[arg(long)]
    quick: bool,
    /// Threads to work with, all cores where left out; figures do not depend on it
    #[arg(short = 'j', long, value_name = "N", visible_alias = "threads", value_parser = super::thread_count)]
    jobs: Option<NonZeroUsize>,
}

impl Arguments {
    /// `--format json`, which is `--json` by another name.
    pub(super) fn as_json(&self) -> bool {
        self.format == Format::Json
    }
}

/// Most parts a year that figures are worked out for.
const MOST_PARTS: u32 = 1_000_000_000;

/// A quantity as typed.
fn quantity(typed: &str) -> Result<u32, String> {
    let parts = typed.trim().parse().ok().filter(|n| (1..=MOST_PARTS).contains(n));
    parts.ok_or_else(|| {
        format!("give whole numbers of parts a year, 1 to {MOST_PARTS}, with commas between them")
    })
}

/// How to print.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Format {
    /// For people
    Table,
    /// Comma-separated values with a header line, RFC 4180
    Csv,
    /// JSON
    Json,
}

/// A job and what came of it.
struct Row {
    path: String,
    outcome: Outcome<Quoted>,
    warnings: Vec<Diagnostic>,
}

/// Estimates every job. One that fails is told, the others go on.
///
/// Errors: a single job's faults.
pub(super) fn run(
    arguments: &Arguments,
    as_json: bool,
    console: &Console,
    notes: &mut Notes,
) -> Outcome<Report> {
    let question = Question { quantities: arguments.quantity.clone(), quick: arguments.quick };
    let pool = super::threads(arguments.jobs)?;
    if let [path] = arguments.job.as_slice() {
        let progress = Arc::clone(&notes.progress);
        let outcome = console.working(format!("estimating {}", path.display()), &progress, || {
            pool.install(|| quote::quote(notes, path, &question))
        });
        super::with_path(notes, path);
        let row =
            Row { path: path.display().to_string(), outcome: Ok(outcome?), warnings: notes.warnings.clone() };
        return Ok(report(arguments, as_json, &question, &[row]));
    }
    let progress = Arc::new(Progress::default());
    progress.stage([0.0, 1.0], arguments.job.len());
    let rows: Vec<Row> =
        console.working(format!("estimating {} jobs", arguments.job.len()), &progress, || {
            pool.install(|| {
                arguments
                    .job
                    .par_iter()
                    .map(|path| {
                        let mut notes = Notes::default();
                        let outcome = quote::quote(&mut notes, path, &question);
                        super::with_path(&mut notes, path);
                        progress.step();
                        Row { path: path.display().to_string(), outcome, warnings: notes.warnings }
                    })
                    .collect()
            })
        });
    for row in &rows {
        notes.warnings.extend(row.warnings.iter().cloned().map(|d| of_job(d, &row.path)));
        if let Err(Faults(faults)) = &row.outcome {
            let faults: Vec<Diagnostic> = faults.iter().cloned().map(|d| of_job(d, &row.path)).collect();
            console.errors(&faults);
        }
    }
    let mut report = report(arguments, as_json, &question, &rows);
    // one that could not be run outweighs one that is at fault
    report.status =
        rows.iter().filter_map(|r| r.outcome.as_ref().err()).map(super::status_of).max().unwrap_or(0);
    Ok(report)
}

/// A message that names no file names its job.
fn of_job(d: Diagnostic, path: &str) -> Diagnostic {
    if d.place.is_none() && d.file.is_none() { d.in_file(path) } else { d }
}

fn report(arguments: &Arguments, as_json: bool, question: &Question, rows: &[Row]) -> Report {
    let json = render::json(question, rows);
    let text = match arguments.format {
        Format::Table => render::table(question, rows),
        Format::Csv => render::csv(question, rows),
        Format::Json => super::json_text(&json),
    };
    debug_assert!(as_json || !text.is_empty(), "a report says something");
    Report::of(text, json)
}

/// A job's messages for programs.
fn told(diagnostics: &[Diagnostic]) -> Vec<serde_json::Value> {
    diagnostics.iter().map(show::json).collect()
}

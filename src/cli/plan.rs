//! `plan JOB.toml --out DIR`.

use super::Report;
use super::console::Console;
use crate::diagnostic::{Diagnostic, Notes, Outcome};
use crate::{estimate, files, plan, report};
use clap::Args;
use serde_json::json;
use std::num::NonZeroUsize;
use std::path::PathBuf;
use std::sync::Arc;

/// What to plan, and where to.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// The job
    #[arg(value_name = "JOB.toml")]
    pub(super) job: PathBuf,
    /// Folder for the program, the plan and the report; made where it is missing
    #[arg(short, long, value_name = "DIR")]
    out: PathBuf,
    /// Threads to work with; the result is the same for any number
    #[arg(short = 'j', long, value_name = "N")]
    threads: Option<NonZeroUsize>,
    /// Plan again whenever the job or a file that it names changes; ends with Ctrl-C
    #[arg(long)]
    pub(super) watch: bool,
}

/// Reads the job and plans it, in as many threads as asked for.
pub(super) fn run(arguments: &Arguments, console: &Console, notes: &mut Notes) -> Outcome<Report> {
    let pool = super::threads(arguments.threads)?;
    let progress = Arc::clone(&notes.progress);
    console.working(format!("planning {}", arguments.job.display()), &progress, || {
        pool.install(|| planned(arguments, notes))
    })
}

fn planned(arguments: &Arguments, notes: &mut Notes) -> Outcome<Report> {
    let planned = plan::plan(notes, &arguments.job)?;
    let stem = planned.job.file_stem();
    let page = report::page(&report::Told {
        job: &planned.job,
        work: &planned.work,
        estimate: &planned.estimate,
        left_out: &planned.left_out,
        warnings: &notes.warnings,
    });
    let names = [".gcode", ".plan.json", ".report.html"].map(|ending| format!("{stem}{ending}"));
    let files: Vec<(String, Vec<u8>)> =
        names.iter().cloned().zip([planned.program, planned.plan, page].map(String::into_bytes)).collect();
    files::write_all(&arguments.out, &files).map_err(|e| {
        let folder = arguments.out.display();
        Diagnostic::error("output-unwritable", format!("the output cannot be written to `{folder}`: {e}"))
            .in_file(folder.to_string())
            .help("choose another folder with --out, or free space on the disk")
    })?;
    let table = estimate::table(&planned.estimate, &planned.job);
    let paths: Vec<String> = names.iter().map(|n| arguments.out.join(n).display().to_string()).collect();
    let json = json!({
        "name": planned.job.name,
        "files": paths,
        "estimate": planned.estimate,
        "left_out": planned.left_out.len(),
        "warnings": notes.warnings.iter().map(super::show::json).collect::<Vec<_>>(),
    });
    Ok(Report::telling(format!("{table}written                   {}\n", paths.join(", ")), json))
}

//! `plan JOB.toml --out DIR`.

use super::Report;
use super::console::Console;
use crate::diagnostic::{Diagnostic, Faults, Notes, Outcome};
use crate::job::Printer;
use crate::verify::findings::{Check, shown};
use crate::{estimate, files, plan, verify};
use clap::Args;
use serde_json::json;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};

/// What to plan, and where to.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// The job
    #[arg(value_name = "JOB.toml")]
    job: PathBuf,
    /// Folder for the program and the plan; made where it is missing
    #[arg(short, long, value_name = "DIR")]
    out: PathBuf,
    /// Write the program without checking it; then check it with `towpath verify`
    #[arg(long)]
    no_verify: bool,
    /// Threads to work with; the result is the same for any number
    #[arg(short = 'j', long, value_name = "N")]
    threads: Option<NonZeroUsize>,
}

/// Reads the job and plans it, in as many threads as asked for.
pub(super) fn run(arguments: &Arguments, console: &Console, notes: &mut Notes) -> Outcome<Report> {
    let threads = arguments.threads.map_or(0, NonZeroUsize::get);
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().map_err(|e| {
        Diagnostic::error("output-unwritable", format!("{threads} threads cannot be started: {e}"))
    })?;
    console.working(format!("planning {}", arguments.job.display()), || {
        pool.install(|| planned(arguments, notes))
    })
}

fn planned(arguments: &Arguments, notes: &mut Notes) -> Outcome<Report> {
    let planned = plan::plan(notes, &arguments.job)?;
    let stem = planned.job.file_stem();
    let names = [format!("{stem}.gcode"), format!("{stem}.plan.json")];
    let files =
        [(names[0].clone(), planned.program.into_bytes()), (names[1].clone(), planned.plan.into_bytes())];
    let printer = &planned.job.printer;
    files::write_all_if(&arguments.out, &files, |written| {
        if arguments.no_verify { Ok(()) } else { check(&names[0], written, printer) }
    })
    .map_err(|e| {
        let folder = arguments.out.display();
        Diagnostic::error("output-unwritable", format!("the output cannot be written to `{folder}`: {e}"))
            .in_file(folder.to_string())
            .help("choose another folder with --out, or free space on the disk")
    })??;
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

/// Checks the program as it was written, with its plan.
///
/// Errors: `planner-fault`, one for each check that fails; nothing is left then.
fn check(name: &str, written: &[&Path], printer: &Printer) -> Outcome<()> {
    let [program, plan] = written else { return Ok(()) };
    let plan = files::read(plan)?;
    let verdict = verify::verify(name, files::open(program)?, printer, Some((name, &plan)))?;
    let faults: Vec<Diagnostic> = Check::all()
        .filter_map(|c| {
            let (count, finding) = (verdict.ledger.faults_of(c), verdict.ledger.first_of(c)?);
            let text = format!(
                "the planned program does not pass its check `{}`, {count} time{}; {}: {}",
                c.name(),
                if count == 1 { "" } else { "s" },
                shown(&finding.place),
                finding.text
            );
            let d = Diagnostic::error("planner-fault", text);
            Some(d.help(
                "a fault of towpath, or of a profile whose blocks contradict its figures: nothing was written; please report it with the job",
            ))
        })
        .collect();
    if faults.is_empty() { Ok(()) } else { Err(Faults(faults)) }
}

/// Seconds as `h:mm:ss`.
pub(super) fn clock(seconds: f64) -> String {
    crate::gcode::clock(seconds)
}

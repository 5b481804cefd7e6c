//! `plan JOB.toml --out DIR`.

use super::Report;
use super::console::Console;
use crate::diagnostic::{Diagnostic, Faults, Notes, Outcome, counted};
use crate::fibre::RegionCover;
use crate::job::{Job, Printer};
use crate::verify::findings::{Check, Place, shown};
use crate::{estimate, files, plan, plan_file, report, verify};
use clap::Args;
use serde_json::json;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};
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
    /// Write the program without checking it; then check it with `towpath verify`
    #[arg(long)]
    no_verify: bool,
    /// Threads to work with; the result is the same for any number
    #[arg(short = 'j', long, value_name = "N", value_parser = super::thread_count)]
    threads: Option<NonZeroUsize>,
    /// Plan again whenever the job or a file that it names changes; ends with Ctrl-C
    #[arg(long)]
    pub(super) watch: bool,
}

/// Reads the job and plans it, in as many threads as asked for.
pub(super) fn run(arguments: &Arguments, console: &Console, notes: &mut Notes) -> Outcome<Report> {
    super::writable("output", &arguments.out)?;
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
        cover: &planned.cover,
        left_out: &planned.left_out,
        warnings: &notes.warnings,
        follow: arguments.watch,
    });
    super::with_path(notes, &arguments.job);
    let names = [".gcode", ".plan.json", ".report.html"].map(|ending| format!("{stem}{ending}"));
    if !arguments.no_verify {
        check([&names[0], &names[1]], [&planned.program, &planned.plan], &planned.job.printer)?;
    }
    another(notes, &arguments.out.join(&names[1]), &planned.job);
    let files: Vec<(String, Vec<u8>)> =
        names.iter().cloned().zip([planned.program, planned.plan, page].map(String::into_bytes)).collect();
    files::write_all(&arguments.out, &files).map_err(|e| super::unwritable("output", &arguments.out, &e))?;
    let [x, y, z] = planned.work.outline.size_mm();
    let layers = planned.work.outline.layers.len();
    let s = if layers == 1 { "" } else { "s" };
    let table = format!("{:<26}{x:.1} x {y:.1} x {z:.2} mm in {layers} layer{s}\n", "size of a part")
        + &estimate::table(&planned.estimate, &planned.job)
        + &served(&planned.cover, &planned.job);
    let paths: Vec<String> = names.iter().map(|n| arguments.out.join(n).display().to_string()).collect();
    let json = json!({
        "name": planned.job.name,
        "files": paths,
        "size_mm": [x, y, z],
        "layers": layers,
        "estimate": planned.estimate,
        "left_out": planned.left_out.len(),
        "regions": planned.cover.iter().map(|r| json!({
            "region": r.region,
            "layable_mm2": r.layable_mm2,
            "covered_mm2": r.covered_mm2,
            "reachable_mm2": r.reachable_mm2,
            "courses": r.courses,
            "closed": r.closed,
            "spirals": r.spirals,
            "length_mm": r.length_mm,
            "given_up_mm": r.given_up_mm,
            "angle_off_deg": r.angle_off_deg,
            "least_radius_mm": r.least_radius_mm,
        })).collect::<Vec<_>>(),
        "warnings": notes.warnings.iter().map(super::show::json).collect::<Vec<_>>(),
    });
    Ok(Report::telling(format!("{table}written                   {}\n", paths.join(", ")), json))
}

/// Warns where a plan that is about to be replaced was made by another job. The report
/// says nothing of it: it is the folder's business.
fn another(notes: &mut Notes, there: &Path, job: &Job) {
    let Some(inputs) = plan_file::inputs(there) else { return };
    let file = |role: &str| job.inputs.iter().find(|i| i.role == role).map(|i| i.file.as_str());
    let differs = ["job", "outline"].iter().any(|role| {
        let was = inputs.iter().find(|(r, _)| r == role).map(|(_, f)| f.as_str());
        was.is_some() && was != file(role)
    });
    if !differs {
        return;
    }
    let was: Vec<String> = inputs
        .iter()
        .filter(|(r, _)| r == "job" || r == "outline")
        .map(|(role, f)| format!("{role} `{f}`"))
        .collect();
    let message = format!(
        "program, plan and report of {} are replaced: they have the name `{}`, too",
        was.join(" and "),
        job.file_stem()
    );
    notes.push(
        Diagnostic::warning("output-of-another-job", message)
            .in_file(there.display().to_string())
            .help("give one of the parts another `name`, or plan into another folder"),
    );
}

/// Checks a program with its plan, before either is written.
///
/// Errors: `planner-fault`, one for each check that fails.
fn check(names: [&str; 2], texts: [&str; 2], printer: &Printer) -> Outcome<()> {
    let plan = Some((names[1], texts[1].as_bytes()));
    let verdict = verify::verify(names[0], texts[0].as_bytes(), printer, plan)?;
    let faults: Vec<Diagnostic> = Check::all()
        .filter_map(|c| {
            let (count, finding) = (verdict.ledger.faults_of(c), verdict.ledger.first_of(c)?);
            let text = format!(
                "the planned program does not pass its check `{}`, {count} time{}; {}{}{}",
                c.name(),
                if count == 1 { "" } else { "s" },
                shown(&finding.place),
                if finding.place == Place::default() { "" } else { ": " },
                finding.text
            );
            let d = Diagnostic::error("planner-fault", text);
            let d = if c.keys().is_empty() { d } else { d.help(c.keys_told()) };
            // mostly why: what `printer check` would have told
            let d = match printer.idle_out_of_reach().filter(|_| c == Check::Reach) {
                Some(doubt) => doubt.help.into_iter().fold(d.help(doubt.message), Diagnostic::help),
                None => d,
            };
            Some(d.help(
                "a fault of towpath, or of a profile whose blocks contradict its figures: nothing was written; please report it with the job",
            ))
        })
        .collect();
    if faults.is_empty() { Ok(()) } else { Err(Faults(faults)) }
}

/// Share of a region's tow from which on it is told that it is left out.
const TOLD_LEFT_OUT: f64 = 0.02;

/// One line for each region. Cover depends on the shortest piece, which stands
/// beside it.
fn served(cover: &[RegionCover], job: &Job) -> String {
    let mut out = String::new();
    let shortest = job.printer.shortest_course_mm();
    let closes = |name: &str| {
        let region = job.map.iter().flat_map(|m| &m.regions).find(|r| r.name == name);
        region.is_some_and(|r| r.rule.closes())
    };
    for (i, r) in cover.iter().enumerate() {
        let angle = r.angle_off_deg.map(|a| format!(", {a:.1} deg off its direction")).unwrap_or_default();
        let bend = r.least_radius_mm.map(|b| format!(", bends from {b:.1} mm")).unwrap_or_default();
        // what has no room is no area that could be covered: cover says nothing of it
        let all = r.length_mm + r.given_up_mm;
        let missing = if r.given_up_mm > TOLD_LEFT_OUT * all {
            format!(", {:.2} m left out", r.given_up_mm / 1000.0)
        } else {
            String::new()
        };
        out.push_str(&format!(
            "{:<26}{}: {:.1} % of its area, {}{}{missing}{angle}{bend}\n",
            if i == 0 { format!("cover, pieces >= {shortest:.0} mm") } else { String::new() },
            r.region,
            r.covered_percent(),
            counted(r.courses, "course"),
            match (r.closed, r.spirals) {
                (0, 0) if !closes(&r.region) => String::new(),
                (closed, 0) => format!(" ({closed} closed)"),
                (0, wound) => format!(" ({})", counted(wound, "spiral")),
                (closed, wound) => format!(" ({closed} closed, {})", counted(wound, "spiral")),
            },
        ));
    }
    out
}

//! `printer new`, `check`, `trial`, `fit`: for whoever adds a printer.

use super::Report;
use super::profiles::{checked, printer_facts, told};
use crate::diagnostic::{Diagnostic, Notes, Outcome, Source};
use crate::files;
use crate::gcode::clock;
use crate::job::{self, printer, schema};
use crate::kit::{blank, fit, materials, sample, sheet, trial};
use clap::Args;
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// What to write, and where to.
#[derive(Debug, Args)]
pub(super) struct New {
    /// Name of the printer
    name: String,
    /// The file to write, a .toml; the schema that editors look for goes beside it
    #[arg(short, long, value_name = "FILE")]
    out: PathBuf,
}

/// Which printer, and where to.
#[derive(Debug, Args)]
pub(super) struct Trial {
    /// A built-in printer's name, or a path to a .toml
    #[arg(value_name = "PRINTER")]
    printer: String,
    /// Folder for the programs and the sheet; made where it is missing
    #[arg(short, long, value_name = "DIR")]
    out: PathBuf,
    /// Built-in name or path; left out: the first that the heads get hot enough for
    #[arg(long, value_name = "MATRIX")]
    matrix: Option<String>,
    /// Built-in name or path
    #[arg(long, value_name = "TOW")]
    tow: Option<String>,
}

/// Which printer, and what was timed.
#[derive(Debug, Args)]
pub(super) struct Fit {
    /// A built-in printer's name, or a path to a .toml
    #[arg(value_name = "PRINTER")]
    printer: String,
    /// A program that was run; once for each --took
    #[arg(long = "program", value_name = "FILE.gcode", required = true)]
    programs: Vec<PathBuf>,
    /// How long it took, from its first line to its last
    #[arg(long = "took", value_name = "H:MM:SS", required = true, value_parser = seconds)]
    took: Vec<f64>,
    /// Bed and chamber were hot when each program began
    #[arg(long)]
    hot: bool,
    /// The file for the fitted profile; left out: it is only told
    #[arg(short, long, value_name = "FILE")]
    out: Option<PathBuf>,
}

/// `h:mm:ss` in seconds; a fraction of a second may follow a point.
fn seconds(typed: &str) -> Result<f64, String> {
    let wrong = || format!("`{typed}` is no time, write it as h:mm:ss, for example 1:24:27");
    let parts: Vec<&str> = typed.split(':').collect();
    let [h, m, s] = parts[..] else { return Err(wrong()) };
    let whole = |text: &str| {
        let digits = !text.is_empty() && text.len() <= 4 && text.chars().all(|c| c.is_ascii_digit());
        if digits { text.parse::<u32>().ok() } else { None }
    };
    let (Some(h), Some(m)) = (whole(h), whole(m)) else { return Err(wrong()) };
    let plain = !s.is_empty() && s.chars().all(|c| c.is_ascii_digit() || c == '.');
    let s = if plain { s.parse::<f64>().map_err(|_| wrong())? } else { return Err(wrong()) };
    if m > 59 || s >= 60.0 {
        return Err(format!("`{typed}`: minutes and seconds go to 59"));
    }
    let total = f64::from(h) * 3600.0 + f64::from(m) * 60.0 + s;
    if total > 0.0 { Ok(total) } else { Err("a program takes more than no time".to_owned()) }
}

/// Folder and name of a file to write.
fn split(path: &Path) -> Outcome<(PathBuf, String)> {
    match path.file_name().and_then(|n| n.to_str()) {
        Some(name) => Ok((path.parent().unwrap_or(Path::new("")).to_owned(), name.to_owned())),
        None => Err(unwritable(path, "it is not the name of a file").into()),
    }
}

fn unwritable(path: &Path, why: impl std::fmt::Display) -> Diagnostic {
    let name = path.display().to_string();
    Diagnostic::error("output-unwritable", format!("`{name}` cannot be written: {why}")).in_file(name)
}

/// `printer new NAME --out FILE`.
///
/// Errors: `output-exists`, `output-unwritable`; a name that no profile may have.
pub(super) fn new(arguments: &New) -> Outcome<Report> {
    let path = &arguments.out;
    let shown = path.display().to_string();
    if path.file_name().is_some_and(|name| name == blank::SCHEMA_FILE) {
        let message = format!("`{shown}` is the name of the schema that is written beside the profile");
        return Err(Diagnostic::error("output-exists", message)
            .help("choose another name, as mine.toml")
            .into());
    }
    let text = blank::text(&arguments.name);
    // a name of two lines or none is told as any fault of a profile
    printer::read(&std::sync::Arc::new(Source { name: shown.clone(), text: text.clone() }))?;
    let (folder, name) = split(path)?;
    let folder = if folder.as_os_str().is_empty() { PathBuf::from(".") } else { folder };
    files::write_new(&folder, &[(name, text.into_bytes())]).map_err(|e| match e.kind() {
        // a file on the way to the folder is told in the same way
        std::io::ErrorKind::AlreadyExists if path.exists() => {
            Diagnostic::error("output-exists", format!("`{shown}` is there already, nothing was written"))
                .in_file(&shown)
                .help("choose another name: nothing that was filled in is overwritten")
        }
        _ => unwritable(path, files::why(&e)),
    })?;
    let schema = folder.join(blank::SCHEMA_FILE);
    let text_of_schema = super::json_text(&schema::printer()).into_bytes();
    // the schema is the same for every profile: it may be there, and is made new
    if let Err(e) = files::write_all(&folder, &[(blank::SCHEMA_FILE.to_owned(), text_of_schema)]) {
        // a profile alone would look as if all went well; nobody has filled it in yet
        let _ = std::fs::remove_file(path);
        return Err(unwritable(&schema, files::why(&e)).into());
    }
    let text = format!(
        "written {shown} and {}\n  fill it in, then: towpath printer check {shown}\n",
        schema.display()
    );
    Ok(Report::telling(text, json!({"files": [shown, schema.display().to_string()]})))
}

/// `printer check FILE`: faults, then a small program.
///
/// Errors: every fault of the profile; `input-missing` and the like; what keeps
/// the small program from being made.
pub(super) fn check(file: &Path, notes: &mut Notes) -> Outcome<Report> {
    let source = job::first_text(file)?;
    let p = printer::read(&source)?;
    let sample = sample::render(&p)?;
    let verdict = sample.replayed()?;
    let faults = verdict.ledger.faults();
    let state = match faults {
        0 => "no faults".to_owned(),
        1 => "1 fault in the program that it makes, told below".to_owned(),
        n => format!("{n} faults in the program that it makes, told below"),
    };
    let mut text = told(&source, &state, &printer_facts(&p));
    let cold = materials::laid_cold(&p);
    let as_hot = if cold.is_empty() { "" } else { ", laid too cold (see the warning)" };
    let [matrix, tow] = &sample.materials;
    let _ = writeln!(
        text,
        "  a small program in {matrix} and {tow}{as_hot}: {} lines, {:.0} mm of tow, {} h:mm:ss\n",
        sample.program.lines().count(),
        sample.fibre_length_mm,
        clock(sample.time_s.total)
    );
    text.push_str(&sample.program);
    if faults == 0 {
        text.push_str("\nreplayed by the independent check of programs: no faults\n");
    } else {
        let _ = write!(text, "\nreplayed by the independent check of programs:\n{}", verdict.ledger.table());
    }
    notes.warnings.extend(p.doubts().into_iter().chain(p.idle_out_of_reach()));
    notes.warnings.extend(cold);
    notes.warnings.extend(printer::not_measured(&source));
    let mut json = checked(&source, "printer");
    json["faults"] = json!(faults);
    json["warnings"] = notes.warnings.iter().map(super::show::json).collect();
    json["replay"] = json!({"faults": faults, "checks": verdict.ledger.json()});
    json["sample"] = json!({
        "matrix": matrix,
        "tow": tow,
        "program": sample.program,
        "fibre_length_mm": sample.fibre_length_mm,
        "time_s": sample.time_s,
    });
    let mut report = if faults == 0 { Report::telling(text, json) } else { Report::of(text, json) };
    report.status = u8::from(faults > 0);
    Ok(report)
}

/// Bytes of a sheet that are looked at: far more than one has.
const LARGEST_SHEET: usize = 1 << 20;

/// `printer trial PRINTER --out DIR`.
///
/// Errors: as of the profile and the materials; `output-exists`, `trial-impossible`, `bed-full`.
pub(super) fn trials(arguments: &Trial, notes: &mut Notes) -> Outcome<Report> {
    let (source, p) = job::printer_named(&arguments.printer)?;
    // a built-in machine is known to be invented
    if Path::new(&arguments.printer).extension().is_some() {
        notes.warnings.extend(p.doubts().into_iter().chain(p.idle_out_of_reach()));
        notes.warnings.extend(printer::not_measured(&source));
    }
    let matrix = arguments.matrix.as_deref().map(job::matrix_named).transpose()?;
    let tow = arguments.tow.as_deref().map(job::tow_named).transpose()?;
    let there = arguments.out.join(sheet::FILE);
    if files::head(&there, LARGEST_SHEET).is_some_and(|text| sheet::filled_in(&text)) {
        let shown = there.display().to_string();
        let message = format!(
            "`{shown}` is not as it was written, it may have been filled in: trials written anew would take its place"
        );
        return Err(Diagnostic::error("output-exists", message)
            .in_file(shown)
            .help("choose another folder with --out, or put the sheet aside")
            .into());
    }
    let trials = trial::write(&p, matrix, tow)?;
    let files: Vec<(String, Vec<u8>)> =
        trials.files.iter().map(|(n, t)| (n.clone(), t.clone().into_bytes())).collect();
    files::write_all(&arguments.out, &files).map_err(|e| unwritable(&arguments.out, files::why(&e)))?;
    let names: Vec<String> = files.iter().map(|(n, _)| arguments.out.join(n).display().to_string()).collect();
    let mut text = String::from("written\n");
    for name in &names {
        let _ = writeln!(text, "  {name}");
    }
    let _ = writeln!(text, "hot heads, moving axes, fumes: read {} before anything runs", there.display());
    let warnings: Vec<Value> = notes.warnings.iter().map(super::show::json).collect();
    Ok(Report::telling(text, json!({"files": names, "warnings": warnings})))
}

/// `printer fit PRINTER --program FILE --took H:MM:SS …`.
///
/// Errors: `fit-pairs`, `fit-off`, `fit-profile`, `program-unread`; as of the profile and files.
pub(super) fn fitted(arguments: &Fit) -> Outcome<Report> {
    let (programs, took) = (&arguments.programs, &arguments.took);
    if programs.len() != took.len() {
        let message = format!("{} programs and {} times are given", programs.len(), took.len());
        let d = Diagnostic::error("fit-pairs", message);
        return Err(d.help("one --took for each --program, in the same order").into());
    }
    let (source, p) = job::printer_named(&arguments.printer)?;
    let mut timed = Vec::new();
    for (file, took_s) in programs.iter().zip(took) {
        let text = job::first_text(file)?;
        timed.push(fit::Timed { name: text.name.clone(), text: text.text.clone(), took_s: *took_s });
    }
    let fitted = fit::fit(&source, &p, &timed, arguments.hot)?;
    if let Some(path) = &arguments.out {
        let (folder, name) = split(path)?;
        let folder = if folder.as_os_str().is_empty() { PathBuf::from(".") } else { folder };
        files::write_all(&folder, &[(name, fitted.text.clone().into_bytes())])
            .map_err(|e| unwritable(path, files::why(&e)))?;
    }
    Ok(Report::of(fit_text(&fitted, arguments.out.as_deref()), fit_json(&fitted, arguments.out.as_deref())))
}

fn fit_text(f: &fit::Fitted, out: Option<&Path>) -> String {
    let mut text = format!("{:<36}{:>12}{:>12}\n", "parameter", "before", "fitted");
    for p in &f.parameters {
        let _ = writeln!(text, "{:<36}{:>12.4}{:>12.4}", p.key, p.before, p.after);
    }
    let _ = writeln!(text, "\n{:<36}{:>10}{:>22}{:>22}", "program", "took", "modelled before", "fitted");
    for (name, took, before, after) in &f.programs {
        let off = |s: f64| format!("{} {:+.1} %", clock(s), 100.0 * (s / took - 1.0));
        let _ = writeln!(text, "{name:<36}{:>10}{:>22}{:>22}", clock(*took), off(*before), off(*after));
    }
    let condition =
        if f.condition.is_finite() { format!("{:.1}", f.condition) } else { "infinite".to_owned() };
    let _ = writeln!(
        text,
        "\nthe times tell {} of {} directions apart (condition number {condition})",
        f.rank,
        f.parameters.len()
    );
    for line in &f.untold {
        let _ = writeln!(text, "  {line}");
    }
    if let Some(out) = out {
        let _ = writeln!(text, "written {}", out.display());
    }
    text
}

fn fit_json(f: &fit::Fitted, out: Option<&Path>) -> serde_json::Value {
    json!({
        "parameters": f.parameters.iter()
            .map(|p| json!({"key": p.key, "before": p.before, "fitted": p.after}))
            .collect::<Vec<_>>(),
        "programs": f.programs.iter()
            .map(|(name, took, before, after)| {
                json!({"file": name, "took_s": took, "before_s": before, "fitted_s": after})
            })
            .collect::<Vec<_>>(),
        "rank": f.rank,
        "condition": f.condition.is_finite().then_some(f.condition),
        "untold": f.untold,
        "profile": f.text,
        "file": out.map(|o| o.display().to_string()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_read_as_they_are_said() {
        assert_eq!(seconds("1:02:05"), Ok(3725.0));
        assert_eq!(seconds("0:00:07.5"), Ok(7.5));
        assert_eq!(seconds("120:00:00"), Ok(432_000.0));
        for wrong in
            ["", "7", "1:2", "0:60:00", "0:00:60", "-1:00:00", "a:b:c", "0:00:00", "1:00:inf", "1:00:1e1"]
        {
            assert!(seconds(wrong).is_err(), "{wrong}");
        }
    }
}

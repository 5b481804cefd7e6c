//! `picture JOB.toml --layer N|all --out FILE`.

use super::Report;
use super::console::Console;
use crate::diagnostic::{Diagnostic, Notes, Outcome};
use crate::plan::{self, Planned};
use crate::report::{self, Format};
use crate::{files, job};
use clap::Args;
use serde_json::json;
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::sync::Arc;

/// What to draw, and where to.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// The job
    #[arg(value_name = "JOB.toml")]
    job: PathBuf,
    /// The layer to draw, from 1, or `all`
    #[arg(short, long, value_name = "N|all")]
    layer: Which,
    /// The picture, .svg or .png; with `all` one for each layer, its number added to the name
    #[arg(short, long, value_name = "FILE")]
    out: PathBuf,
}

/// One layer or all of them.
#[derive(Clone, Copy, Debug)]
enum Which {
    All,
    One(usize),
}

impl FromStr for Which {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match (text, text.parse()) {
            ("all", _) => Ok(Self::All),
            (_, Ok(n)) if n > 0 => Ok(Self::One(n)),
            _ => Err("a layer's number from 1, or `all`".to_owned()),
        }
    }
}

pub(super) fn run(arguments: &Arguments, console: &Console, notes: &mut Notes) -> Outcome<Report> {
    let shown = arguments.out.display().to_string();
    let unclear = |text: String, help: &str| Diagnostic::error("picture-name", text).help(help);
    let Some(format) = Format::of(&arguments.out) else {
        let text = format!("`{shown}` does not say which kind of picture it is");
        return Err(unclear(text, "end the name in .svg or .png").into());
    };
    let Some(stem) = arguments.out.file_stem().and_then(|s| s.to_str()) else {
        let text = format!("`{shown}` is no name of a file");
        return Err(unclear(text, "as `layer.svg`").into());
    };
    let folder = match arguments.out.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    super::writable("picture", folder)?;
    let what = format!("drawing {}", arguments.job.display());
    let progress = Arc::clone(&notes.progress);
    console.working(what, &progress, || {
        let planned = plan::plan(notes, &arguments.job)?;
        super::with_path(notes, &arguments.job);
        let drawn = drawn(arguments, &planned, format, stem)?;
        for (name, _) in &drawn {
            keep_drawings(&arguments.job, &arguments.out.with_file_name(name))?;
        }
        files::write_all(folder, &drawn).map_err(|e| super::unwritable("picture", folder, &e))?;
        let paths: Vec<String> =
            drawn.iter().map(|(name, _)| arguments.out.with_file_name(name).display().to_string()).collect();
        let text = paths.iter().map(|p| format!("written  {p}\n")).collect::<String>();
        Ok(Report::telling(text, json!({ "name": planned.job.name, "files": paths })))
    })
}

/// A picture takes the place of an earlier picture only: a drawing is somebody's work.
///
/// Errors: `output-exists`.
fn keep_drawings(job: &Path, out: &Path) -> Outcome<()> {
    let same =
        |named: &PathBuf| named.canonicalize().ok().is_some_and(|n| Some(n) == out.canonicalize().ok());
    let shown = out.display().to_string();
    let message = if job::named_files(job).iter().any(same) {
        format!("`{shown}` goes into the job: a picture of its name would take its place")
    } else if files::head(out, LARGEST_PICTURE).is_some_and(|text| report::is_other_drawing(&text)) {
        format!("`{shown}` is there already, and it is a drawing, not a picture of a layer")
    } else {
        return Ok(());
    };
    Err(Diagnostic::error("output-exists", message)
        .in_file(shown)
        .help("choose another name, as layer.svg")
        .into())
}

/// Bytes of a file that are looked at to tell what it is.
const LARGEST_PICTURE: usize = 64 << 20;

/// Names and bytes of the pictures.
fn drawn(
    arguments: &Arguments,
    planned: &Planned,
    format: Format,
    stem: &str,
) -> Outcome<Vec<(String, Vec<u8>)>> {
    let Planned { job, work, left_out, .. } = planned;
    let ending = arguments.out.extension().and_then(|e| e.to_str()).unwrap_or_default();
    let last = work.outline.layers.len();
    let picture = |index: usize| report::picture(job, work, left_out, index, format);
    match arguments.layer {
        Which::One(n) if n > last => Err(missing(n, last, job).into()),
        Which::One(n) => Ok(vec![(format!("{stem}.{ending}"), picture(n - 1))]),
        Which::All => {
            let digits = last.to_string().len();
            let name = |n: usize| format!("{stem}-{n:0digits$}.{ending}");
            Ok((0..last).map(|i| (name(i + 1), picture(i))).collect())
        }
    }
}

fn missing(n: usize, last: usize, job: &job::Job) -> Diagnostic {
    Diagnostic::error("layer-missing", format!("`{}` has no layer {n}, its last one is {last}", job.name))
        .help(format!("choose one from 1 to {last}, or `--layer all`"))
}

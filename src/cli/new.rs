//! `new NAME`: a job to begin with, its map and its drawing.

use super::Report;
use crate::diagnostic::{Diagnostic, Outcome};
use crate::{files, job};
use clap::Args;
use serde_json::json;
use std::io::ErrorKind;
use std::path::PathBuf;

/// What to call it, and where to put it.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// Name of the part; the files are called after it
    #[arg(value_name = "NAME")]
    name: String,
    /// Folder for the files; made where it is missing
    #[arg(short, long, value_name = "DIR", default_value = ".")]
    out: PathBuf,
}

const JOB: &str = include_str!("new/job.toml");
const MAP: &str = include_str!("new/map.toml");
const DRAWING: &str = include_str!("new/drawing.svg");

/// Writes the three files, none over another.
///
/// Errors: `out-of-range` for a name that no job may have, `output-exists`,
/// `output-unwritable`.
pub(super) fn run(arguments: &Arguments) -> Outcome<Report> {
    let name = arguments.name.trim();
    if name.is_empty() || name.chars().any(char::is_control) {
        let message = "a part's name is some text on one line";
        return Err(Diagnostic::error("out-of-range", message).into());
    }
    let stem = job::file_stem(name);
    let typed = toml::Value::String(name.to_owned()).to_string();
    let text = |text: &str| text.replace("STEM", &stem).replace("\"NAME\"", &typed).into_bytes();
    let files = [
        (format!("{stem}.toml"), text(JOB)),
        (format!("{stem}.map.toml"), text(MAP)),
        (format!("{stem}.svg"), text(DRAWING)),
    ];
    let folder = arguments.out.display().to_string();
    files::write_new(&arguments.out, &files).map_err(|e| match e.kind() {
        ErrorKind::AlreadyExists => {
            let there = files.iter().map(|f| arguments.out.join(&f.0)).find(|p| p.exists());
            let there = there.map_or_else(|| folder.clone(), |p| p.display().to_string());
            Diagnostic::error("output-exists", format!("`{there}` is there already, nothing was written"))
                .in_file(there)
                .help("choose another name, or another folder with --out")
        }
        _ => Diagnostic::error(
            "output-unwritable",
            format!("`{folder}` cannot be written to: {}", files::why(&e)),
        )
        .in_file(folder.clone())
        .help("choose another folder with --out"),
    })?;
    let paths: Vec<String> = files.iter().map(|f| arguments.out.join(&f.0).display().to_string()).collect();
    let next = format!("towpath plan {} --out out", quoted(&paths[0]));
    let json = json!({"name": name, "files": paths});
    Ok(Report::telling(format!("written  {}\nnext     {next}\n", paths.join(", ")), json))
}

/// A path as a shell takes it.
fn quoted(path: &str) -> String {
    let plain = path.chars().all(|c| c.is_alphanumeric() || "-_./\\:".contains(c));
    if plain { path.to_owned() } else { format!("'{}'", path.replace('\'', "'\\''")) }
}

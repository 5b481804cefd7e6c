//! Runs the built program as a user would.

use super::{Findings, check};
use std::path::{Path, PathBuf};
use std::process::Command;

/// What a run left behind.
#[derive(Clone, Debug)]
pub(crate) struct Ran {
    pub(crate) status: Option<i32>,
    pub(crate) said: String,
    pub(crate) told: String,
    pub(crate) folder: PathBuf,
}

/// `towpath plan JOB --out DIR`.
pub(crate) fn plan(job: &Path, out: &Path) -> Ran {
    let output = Command::new(env!("CARGO_BIN_EXE_towpath"))
        .arg("plan")
        .arg(job)
        .arg("--out")
        .arg(out)
        .env("NO_COLOR", "1")
        .output()
        .expect("the built program starts");
    Ran {
        status: output.status.code(),
        said: String::from_utf8_lossy(&output.stdout).into_owned(),
        told: String::from_utf8_lossy(&output.stderr).into_owned(),
        folder: out.to_owned(),
    }
}

impl Ran {
    /// The one file with this ending.
    pub(crate) fn file(&self, ending: &str) -> Result<(PathBuf, String), String> {
        let mut found: Vec<PathBuf> = std::fs::read_dir(&self.folder)
            .map_err(|e| format!("{}: {e}", self.folder.display()))?
            .filter_map(|entry| entry.ok().map(|e| e.path()))
            .filter(|p| p.to_string_lossy().ends_with(ending))
            .collect();
        found.sort();
        match found.as_slice() {
            [one] => std::fs::read_to_string(one)
                .map(|text| (one.clone(), text))
                .map_err(|e| format!("{}: {e}", one.display())),
            other => Err(format!("{} files end with {ending}", other.len())),
        }
    }

    /// Every promise, on what the run wrote.
    pub(crate) fn checked(&self) -> Result<Findings, String> {
        if self.status != Some(0) {
            return Err(format!("exit status {:?}:\n{}", self.status, self.told));
        }
        let (_, plan) = self.file(".plan.json")?;
        let (_, program) = self.file(".gcode")?;
        Ok(check(&plan, &program, &self.told))
    }
}

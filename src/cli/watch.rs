//! `plan --watch`: plans again whenever a file changes.
//!
//! Files are looked at, not listened to: that works on every file system, with
//! editors that write a new file in place of the old one, and with files that are
//! not there yet.

use super::console::Console;
use super::{finish, plan};
use crate::diagnostic::{Notes, counted};
use crate::{files, job};
use std::path::{Path, PathBuf};
use std::thread;
use std::time::{Duration, SystemTime};

/// How often the files are looked at.
const LOOK: Duration = Duration::from_millis(250);

/// A file and what tells whether it changed.
type Seen = Vec<(PathBuf, Option<(SystemTime, u64)>)>;

/// Plans, and plans again after every change, until somebody ends it or nobody
/// reads the results any more. A fault is told like any other, and watching goes on.
pub(super) fn plan(arguments: &plan::Arguments, console: &Console, as_json: bool) {
    let mut known: Vec<PathBuf> = Vec::new();
    loop {
        // taken before planning: a change meanwhile is seen as one
        let named = job::named_files(&arguments.job);
        // half a job names fewer files: those of before count until it is whole again
        if named.len() > 1 || known.is_empty() {
            known = named;
        }
        let before = seen(&known);
        let mut notes = Notes::default();
        let outcome = plan::run(arguments, console, &mut notes);
        let status = finish(console, as_json, &notes, outcome);
        if console.closed() {
            return;
        }
        let what = if status == 0 { "planned" } else { "not planned" };
        console.tell(&format!("{what}; watching {}, Ctrl-C ends", counted(known.len(), "file")));
        while seen(&known) == before {
            thread::sleep(LOOK);
        }
        settle(&known);
    }
}

fn seen(paths: &[PathBuf]) -> Seen {
    paths.iter().map(|p| (p.clone(), files::stamp(Path::new(p)))).collect()
}

/// Waits until nothing changes any more: an editor may be in the middle of writing.
fn settle(paths: &[PathBuf]) {
    /// Looks at most, so that a file that always changes is planned all the same.
    const MOST: usize = 8;
    let mut last = seen(paths);
    for _ in 0..MOST {
        thread::sleep(LOOK / 4);
        let now = seen(paths);
        if now == last {
            return;
        }
        last = now;
    }
}

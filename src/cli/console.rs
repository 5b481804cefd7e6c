//! Where output goes: data to stdout, everything else to stderr.

use super::{Colour, show};
use crate::diagnostic::Diagnostic;
use anstream::{AutoStream, ColorChoice};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::{self, Write as _};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Messages beyond this many are counted, not shown: they mostly share a cause.
const MOST_SHOWN: usize = 50;

/// The two streams, and how much to say.
pub(super) struct Console {
    colour: ColorChoice,
    quiet: bool,
}

impl Console {
    pub(super) fn new(colour: Colour, quiet: bool) -> Self {
        let colour = match colour {
            Colour::Auto => ColorChoice::Auto,
            Colour::Always => ColorChoice::Always,
            Colour::Never => ColorChoice::Never,
        };
        Self { colour, quiet }
    }

    pub(super) fn quiet(&self) -> bool {
        self.quiet
    }

    /// A counter that shows itself where that is wanted.
    #[expect(dead_code, reason = "for the stages of `plan` that take time")]
    pub(super) fn progress(&self, steps: u64, what: &'static str) -> Progress {
        Progress::new(steps, what, !self.quiet)
    }

    /// Data, to stdout. That nobody reads on is no error.
    pub(super) fn out(&self, text: &str) -> io::Result<()> {
        let mut stdout = io::stdout().lock();
        match stdout.write_all(text.as_bytes()).and_then(|()| stdout.flush()) {
            Err(e) if e.kind() == io::ErrorKind::BrokenPipe => Ok(()),
            other => other,
        }
    }

    pub(super) fn warnings(&self, warnings: &[Diagnostic]) {
        if !self.quiet {
            self.diagnostics(warnings, "warning");
        }
    }

    pub(super) fn errors(&self, errors: &[Diagnostic]) {
        self.diagnostics(errors, "error");
    }

    fn diagnostics(&self, all: &[Diagnostic], what: &str) {
        let mut stderr = AutoStream::new(io::stderr(), self.colour).lock();
        // stderr closed: there is nobody to tell
        for d in all.iter().take(MOST_SHOWN) {
            let _ = writeln!(stderr, "{}", show::text(d));
        }
        let more = all.len().saturating_sub(MOST_SHOWN);
        if more > 0 {
            let s = if more == 1 { "" } else { "s" };
            let _ = writeln!(stderr, "{more} more {what}{s} not shown");
        }
    }
}

/// Counts steps of long work; shows itself on a terminal after a second.
#[derive(Debug)]
pub struct Progress {
    bar: ProgressBar,
    started: Instant,
    waiting: AtomicBool,
}

impl Progress {
    /// Work is short until it has taken this long.
    const SHORT: Duration = Duration::from_secs(1);

    /// A counter of some steps, hidden for now, and for good unless `wanted`.
    pub fn new(steps: u64, what: &'static str, wanted: bool) -> Self {
        let bar = ProgressBar::with_draw_target(Some(steps), ProgressDrawTarget::hidden());
        if let Ok(style) = ProgressStyle::with_template("{msg} {pos}/{len} {wide_bar}") {
            bar.set_style(style);
        }
        bar.set_message(what);
        Self { bar, started: Instant::now(), waiting: AtomicBool::new(wanted) }
    }

    /// One more step is done. May be called from several threads.
    pub fn step(&self) {
        self.bar.inc(1);
        if self.started.elapsed() > Self::SHORT && self.waiting.swap(false, Ordering::Relaxed) {
            // draws nothing unless stderr is a terminal
            self.bar.set_draw_target(ProgressDrawTarget::stderr());
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}

/// Makes a panic say what it is: a fault of the program, not of the user's files.
pub(super) fn explain_panics() {
    std::panic::set_hook(Box::new(|info| {
        let what = info.payload_as_str().unwrap_or("no message");
        let place = info.location().map(|l| format!(", {}:{}", l.file(), l.line())).unwrap_or_default();
        let mut stderr = io::stderr().lock();
        let _ = writeln!(
            stderr,
            "this is a fault of towpath {}, not of your files: {what}{place}\n\
             nothing was written; please report it with the job that shows it",
            env!("CARGO_PKG_VERSION")
        );
    }));
}

//! Where output goes: data to stdout, everything else to stderr.

use super::{Colour, show};
use crate::diagnostic::Diagnostic;
use anstream::{AutoStream, ColorChoice};
use indicatif::{ProgressBar, ProgressStyle};
use std::io::{self, IsTerminal as _, Write as _};
use std::sync::mpsc::{self, RecvTimeoutError, Sender};
use std::thread::{self, JoinHandle};
use std::time::Duration;

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

    /// Does some work; shows on a terminal that it goes on, once it takes long.
    pub(super) fn working<T>(&self, what: String, work: impl FnOnce() -> T) -> T {
        let _sign = (!self.quiet && io::stderr().is_terminal()).then(|| Working::on(what));
        work()
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

/// A sign of life during long work: what is done, and for how long already.
struct Working {
    done: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Working {
    /// Work is short until it has taken this long.
    const SHORT: Duration = Duration::from_secs(1);

    /// How often the seconds are drawn anew.
    const TICK: Duration = Duration::from_millis(200);

    fn on(what: String) -> Self {
        let (done, wait) = mpsc::channel::<()>();
        let thread = thread::spawn(move || {
            if wait.recv_timeout(Self::SHORT) != Err(RecvTimeoutError::Timeout) {
                return;
            }
            let bar = ProgressBar::new_spinner().with_elapsed(Self::SHORT);
            if let Ok(style) = ProgressStyle::with_template("{spinner} {msg}, {elapsed}") {
                bar.set_style(style);
            }
            bar.set_message(what);
            while wait.recv_timeout(Self::TICK) == Err(RecvTimeoutError::Timeout) {
                bar.tick();
            }
            bar.finish_and_clear();
        });
        Self { done: Some(done), thread: Some(thread) }
    }
}

impl Drop for Working {
    fn drop(&mut self) {
        // closes the channel: the thread clears its line and ends
        drop(self.done.take());
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
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

//! Where output goes: data to stdout, everything else to stderr.

use super::{Colour, show};
use crate::diagnostic::{Diagnostic, Progress};
use anstream::{AutoStream, ColorChoice};
use indicatif::{ProgressBar, ProgressStyle};
use std::cell::Cell;
use std::io::{self, IsTerminal as _, Write as _};
use std::sync::Arc;
use std::sync::mpsc::{self, RecvTimeoutError, Sender};
use std::thread::{self, JoinHandle};
use std::time::Duration;

/// Messages beyond this many are counted, not shown: they mostly share a cause.
const MOST_SHOWN: usize = 50;

/// The two streams, and how much to say.
pub(super) struct Console {
    colour: ColorChoice,
    quiet: bool,
    /// Nobody reads stdout any more.
    closed: Cell<bool>,
}

impl Console {
    pub(super) fn new(colour: Colour, quiet: bool) -> Self {
        let colour = match colour {
            Colour::Auto => ColorChoice::Auto,
            Colour::Always => ColorChoice::Always,
            Colour::Never => ColorChoice::Never,
        };
        Self { colour, quiet, closed: Cell::new(false) }
    }

    pub(super) fn quiet(&self) -> bool {
        self.quiet
    }

    /// Does some work; shows on a terminal that it goes on and how long it still
    /// takes, once it takes long.
    pub(super) fn working<T>(&self, what: String, progress: &Arc<Progress>, work: impl FnOnce() -> T) -> T {
        let _sign =
            (!self.quiet && io::stderr().is_terminal()).then(|| Working::on(what, Arc::clone(progress)));
        work()
    }

    /// Whether nobody reads stdout any more.
    pub(super) fn closed(&self) -> bool {
        self.closed.get()
    }

    /// A line for whoever watches, to stderr.
    pub(super) fn tell(&self, text: &str) {
        if !self.quiet {
            // stderr closed: there is nobody to tell
            let _ = writeln!(io::stderr().lock(), "{text}");
        }
    }

    /// Data, to stdout. That nobody reads on is no error.
    pub(super) fn out(&self, text: &str) -> io::Result<()> {
        let mut stdout = io::stdout().lock();
        match stdout.write_all(text.as_bytes()).and_then(|()| stdout.flush()) {
            Err(e) if e.kind() == io::ErrorKind::BrokenPipe => {
                self.closed.set(true);
                Ok(())
            }
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

    fn on(what: String, progress: Arc<Progress>) -> Self {
        let (done, wait) = mpsc::channel::<()>();
        let thread = thread::spawn(move || {
            if wait.recv_timeout(Self::SHORT) != Err(RecvTimeoutError::Timeout) {
                return;
            }
            let bar = ProgressBar::new_spinner().with_elapsed(Self::SHORT);
            if let Ok(style) = ProgressStyle::with_template("{spinner} {msg}") {
                bar.set_style(style);
            }
            while wait.recv_timeout(Self::TICK) == Err(RecvTimeoutError::Timeout) {
                bar.set_message(sign(&what, bar.elapsed(), progress.share()));
                bar.tick();
            }
            bar.finish_and_clear();
        });
        Self { done: Some(done), thread: Some(thread) }
    }
}

/// What is shown while work goes on.
fn sign(what: &str, passed: Duration, share: f64) -> String {
    /// Below this share what is left is a guess.
    const KNOWN: f64 = 0.1;
    let passed = passed.as_secs_f64();
    let mut text = format!("{what}, {passed:.0} s");
    if share >= KNOWN {
        let left = passed * (1.0 - share) / share;
        text.push_str(&format!(", {:.0} %, about {left:.0} s left", share * 100.0));
    }
    text
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn time_left_is_told_once_it_can_be_known() {
        let sign = |s: u64, share: f64| sign("planning a.toml", Duration::from_secs(s), share);
        assert_eq!(sign(3, 0.05), "planning a.toml, 3 s");
        assert_eq!(sign(3, 0.25), "planning a.toml, 3 s, 25 %, about 9 s left");
        assert_eq!(sign(8, 1.0), "planning a.toml, 8 s, 100 %, about 0 s left");
    }
}

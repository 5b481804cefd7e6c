//! A program of ten million lines through the whole check, as a stream: seconds, MB/s
//! and the most memory that it took; then one line of a gigabyte.
//!
//!     cargo bench --bench long_program            # ten million lines
//!     cargo bench --bench long_program -- 1000000
//!
//! The program is an example's, its layers stacked upon themselves again and again,
//! written as it is read. What planning took is forgotten before memory is counted,
//! which only Linux allows.
#![allow(clippy::print_stdout, reason = "a bench prints what it finds")]
#![allow(clippy::expect_used, reason = "a bench that cannot go on says why and stops")]

use std::fmt::Write as _;
use std::io::Read;
use std::path::Path;
use std::time::Instant;
use towpath::diagnostic::Notes;
use towpath::job::{self, Printer};
use towpath::plan;
use towpath::verify::{Verdict, verify};

/// A program's layers, stacked upon themselves.
struct Stack {
    head: String,
    layers: Vec<String>,
    tail: String,
    top_mm: f64,
    /// Layers in one stack, stacks to write, stacks written.
    number: usize,
    stacks: usize,
    written: usize,
    chunk: Vec<u8>,
    at: usize,
}

impl Stack {
    fn of(program: &str, lines: usize) -> Self {
        let all: Vec<&str> = program.lines().collect();
        let is_layer = |l: &&str| l.starts_with("(layer ");
        let first = all.iter().position(is_layer).expect("a layer");
        // the end block stands behind the last lift
        let end = all.iter().rposition(|l| l.starts_with("G0 Z")).expect("a lift") + 1;
        let last = all.iter().rev().find(|l| is_layer(l)).expect("a layer");
        let top = last.rsplit(' ').next().and_then(|w| w.trim_end_matches(')').parse().ok());
        // one stack says nothing true of the whole
        let told = ["(fibre length", "(build time", "(part "];
        let head = all[..first].iter().filter(|l| !told.iter().any(|t| l.starts_with(t)));
        Self {
            head: head.fold(String::new(), |text, l| text + l + "\n"),
            layers: all[first..end].iter().map(|l| (*l).to_owned()).collect(),
            tail: all[end..].iter().fold(String::new(), |text, l| text + l + "\n"),
            top_mm: top.expect("its height"),
            number: all.iter().filter(|l| is_layer(l)).count(),
            stacks: lines.div_ceil(end - first),
            written: 0,
            chunk: Vec::new(),
            at: 0,
        }
    }

    /// The next stack's text.
    fn next(&mut self) {
        let mut text = if self.written == 0 { self.head.clone() } else { String::new() };
        let up = self.top_mm * u32::try_from(self.written).map(f64::from).expect("few stacks");
        let over = self.number * self.written;
        for line in &self.layers {
            if let Some(z) = line.strip_prefix("G0 Z") {
                let (z, rest) = z.split_once(' ').unwrap_or((z, ""));
                let _ = writeln!(text, "G0 Z{:.3} {rest}", z.parse::<f64>().expect("a height") + up);
            } else if let Some(rest) = line.strip_prefix("(layer ") {
                let mut words = rest.trim_end_matches(')').split(" z ");
                let (n, z) = (words.next().expect("a number"), words.next().expect("a height"));
                let n: usize = n.parse().expect("a number");
                let z: f64 = z.parse().expect("a height");
                let _ = writeln!(text, "(layer {} z {:.3})", n + over, z + up);
            } else if let Some((frame, id)) = line.split_once("course L") {
                let (layer, rest) = id.split_once('.').expect("a course of a layer");
                let layer: usize = layer.parse().expect("a number");
                let _ = writeln!(text, "{frame}course L{}.{rest}", layer + over);
            } else {
                text.push_str(line);
                text.push('\n');
            }
        }
        self.written += 1;
        if self.written == self.stacks {
            text.push_str(&self.tail);
        }
        (self.chunk, self.at) = (text.into_bytes(), 0);
    }
}

impl Read for Stack {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        if self.at == self.chunk.len() {
            if self.written == self.stacks {
                return Ok(0);
            }
            self.next();
        }
        let n = out.len().min(self.chunk.len() - self.at);
        out[..n].copy_from_slice(&self.chunk[self.at..self.at + n]);
        self.at += n;
        Ok(n)
    }
}

/// Most memory held so far, MB, from here on when `anew`.
fn peak_mb(anew: bool) -> f64 {
    if anew {
        let _ = std::fs::write("/proc/self/clear_refs", "5");
    }
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    line.and_then(|l| l.trim().trim_end_matches("kB").trim().parse::<f64>().ok())
        .map_or(f64::NAN, |kb| kb / 1e3)
}

fn check(what: &str, printer: &Printer, program: impl Read) -> Verdict {
    let before = peak_mb(true);
    let start = Instant::now();
    let verdict = verify(what, program, printer, None).expect("without a plan there is always a verdict");
    let s = start.elapsed().as_secs_f64();
    let f = &verdict.figures;
    #[expect(clippy::cast_precision_loss, reason = "to be read by people")]
    let mb = f.bytes as f64 / 1e6;
    println!(
        "{what}: {} lines, {mb:.0} MB in {s:.1} s, {:.1} MB/s; {:.0} MB at most, {before:.0} MB before; {} faults",
        f.lines,
        mb / s,
        peak_mb(false),
        verdict.ledger.faults()
    );
    verdict
}

fn main() {
    let lines = std::env::args().find_map(|a| a.parse().ok()).unwrap_or(10_000_000);
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/rocker/job.toml");
    let planned = plan::plan(&mut Notes::default(), &path).expect("the example is planned");
    let (_, mut printer) = job::printer_named(&planned.job.printer.name).expect("it is built in");
    // a part of that many layers is taller than the machine
    for head in [&mut printer.matrix, &mut printer.fibre] {
        head.reach_mm[2][1] = 1e4;
    }
    let stack = Stack::of(&planned.program, lines);
    drop(planned);
    let verdict = check("stacked example", &printer, stack);
    if verdict.ledger.faults() > 0 {
        println!("{}", verdict.ledger.table());
    }
    let verdict = check("one line", &printer, std::io::repeat(b'7').take(1_000_000_000));
    if let Some((check, finding)) = verdict.ledger.first() {
        println!("  {}, line {}: {}", check.name(), finding.place.line, finding.text);
    }
}

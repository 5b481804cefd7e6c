//! Checks a plan and its program against what towpath promises, from the files alone.
//!
//! Nothing here uses the `towpath` library: it reads the files with its own
//! eyes, so that a fault of the planner cannot hide itself.
//!
//! `plan_file` (the plan's shape) -> `promises` (geometry and sums of the plan)
//! -> `words` (the program's text) -> `replay` (what the machine would do)
#![allow(dead_code, reason = "each test program uses its own part of the support code")]
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

pub(crate) mod bench_parts;
pub(crate) mod cover;
pub(crate) mod curve;
pub(crate) mod good;
pub(crate) mod machine;
pub(crate) mod near;
pub(crate) mod parts;
pub(crate) mod plan_file;
pub(crate) mod promises;
pub(crate) mod replay;
pub(crate) mod run;
pub(crate) mod words;

use std::fmt;

/// One broken promise.
#[derive(Clone, Debug)]
pub(crate) struct Finding {
    /// Which promise, one or two words: what the self-tests look for.
    pub(crate) promise: &'static str,
    /// The layer's number, where there is one.
    pub(crate) layer: Option<u64>,
    /// Worst place in part coordinates, mm.
    pub(crate) at: Option<[f64; 2]>,
    /// What was found.
    pub(crate) value: f64,
    /// What was promised.
    pub(crate) limit: f64,
    /// In words: of what.
    pub(crate) text: String,
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "[{}] {}: {:.6}, limit {:.6}", self.promise, self.text, self.value, self.limit)?;
        if let Some(layer) = self.layer {
            write!(f, ", layer {layer}")?;
        }
        if let Some([x, y]) = self.at {
            write!(f, ", at x {x:.3} y {y:.3}")?;
        }
        Ok(())
    }
}

/// Collects findings; one promise that breaks in a thousand places stays readable.
#[derive(Debug, Default)]
pub(crate) struct Findings(pub(crate) Vec<Finding>);

impl Findings {
    /// A fault that is a yes or no.
    pub(crate) fn say(&mut self, promise: &'static str, layer: Option<u64>, text: String) {
        self.0.push(Finding { promise, layer, at: None, value: 1.0, limit: 0.0, text });
    }

    /// A fault where `value` exceeds `limit`. Not-a-number is always a fault.
    pub(crate) fn most(&mut self, promise: &'static str, place: Place, value: f64, limit: f64, text: &str) {
        if value <= limit {
            return;
        }
        self.0.push(Finding { promise, layer: place.0, at: place.1, value, limit, text: text.to_owned() });
    }

    /// A fault where `value` stays below `limit`.
    pub(crate) fn least(&mut self, promise: &'static str, place: Place, value: f64, limit: f64, text: &str) {
        if value >= limit {
            return;
        }
        self.0.push(Finding { promise, layer: place.0, at: place.1, value, limit, text: text.to_owned() });
    }

    /// A fault where two numbers that are the same thing differ.
    pub(crate) fn same(
        &mut self,
        promise: &'static str,
        place: Place,
        value: f64,
        truth: f64,
        within: f64,
        text: &str,
    ) {
        if (value - truth).abs() <= within {
            return;
        }
        self.0.push(Finding {
            promise,
            layer: place.0,
            at: place.1,
            value,
            limit: truth,
            text: format!("{text} (within {within:.6})"),
        });
    }

    /// At most `count` findings per promise, and how many more there are.
    pub(crate) fn summary(&self, count: usize) -> String {
        let mut seen: std::collections::BTreeMap<&str, usize> = std::collections::BTreeMap::new();
        let mut out = String::new();
        for finding in &self.0 {
            let n = seen.entry(finding.promise).or_insert(0);
            *n += 1;
            if *n <= count {
                out.push_str(&format!("  {finding}\n"));
            }
        }
        for (promise, n) in seen {
            if n > count {
                out.push_str(&format!("  [{promise}] and {} more\n", n - count));
            }
        }
        out
    }

    /// Whether a promise is among the broken ones.
    pub(crate) fn has(&self, promise: &str) -> bool {
        self.0.iter().any(|f| f.promise == promise)
    }
}

/// Layer and place of a finding.
pub(crate) type Place = (Option<u64>, Option<[f64; 2]>);

/// No place.
pub(crate) const NOWHERE: Place = (None, None);

/// Checks one plan and its program; `told` is what the run wrote to stderr.
pub(crate) fn check(plan: &str, program: &str, told: &str) -> Findings {
    let mut findings = Findings::default();
    let Some(plan) = plan_file::read(&mut findings, plan) else {
        return findings;
    };
    promises::check(&mut findings, &plan, told);
    replay::check(&mut findings, &plan, program);
    findings
}

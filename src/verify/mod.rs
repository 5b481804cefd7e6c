//! The independent check of a program: a reader and a machine of its own.
//!
//! [`stream`] (lines) -> [`words`] -> [`machine`] (modal state: moves) -> `replay`
//! (the printer: heads, heat, tow, what lies) -> [`findings`]; `against` holds it
//! to the plan. Nothing here uses the planner's geometry, its writer or its clock,
//! so that a planner's fault cannot hide itself.

mod against;
mod bare;
mod clock;
mod controller;
mod course;
pub mod dialect;
pub mod findings;
pub mod geometry;
mod ground;
mod header;
mod heat;
pub mod machine;
mod plan;
mod ramp;
mod replay;
pub mod stream;
pub mod timeline;
mod trail;
pub mod words;

use crate::diagnostic::Outcome;
use crate::job::{Printer, built_in_matrix, built_in_tow};
use dialect::Dialect;
use findings::{Check, Ledger};
use serde::Serialize;
use std::io::Read;

/// The estimate's and the header's time may differ from the program's by this, %.
const TIME_PERCENT: f64 = 0.2;

/// How far a told time is off, as a share.
fn time_off(told: f64, found: f64) -> f64 {
    // a program of a few moves is told in whole seconds
    ((told - found).abs() - 1.5).max(0.0) / found.max(1.0)
}

/// What is known of the materials: from the plan, or from built-in materials that
/// the header names.
#[derive(Clone, Copy, Debug, Default)]
struct Facts {
    tow_width_mm: Option<f64>,
    bend_mm: Option<f64>,
    /// How far the place where tow is laid trails the nozzle.
    trail_mm: f64,
    /// Temperature at work of matrix head and fibre head, degC.
    work_c: [Option<f64>; 2],
    /// Of bed and chamber, degC: from the plan, or where the header says that the matrix is
    /// built in.
    rest_c: [Option<f64>; 2],
    /// Most of the matrix that can be molten.
    max_flow_mm3_s: Option<f64>,
}

impl Facts {
    fn of_materials(&mut self, matrix: Option<&str>, tow: Option<&str>) {
        // what a comment names is never opened as a file
        if self.tow_width_mm.is_none()
            && let Some(t) = tow.and_then(built_in_tow)
        {
            self.tow_width_mm = Some(t.width_mm);
            self.bend_mm = Some(t.min_bend_radius_mm);
            self.trail_mm = t.trail_mm;
            self.work_c[1] = Some(t.process_temperature_c);
        }
        if self.work_c[0].is_none()
            && let Some(m) = matrix.and_then(built_in_matrix)
        {
            self.work_c[0] = Some(m.process_temperature_c);
            self.max_flow_mm3_s = Some(m.max_flow_mm3_s);
        }
    }
}

/// What the program comes to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Figures {
    /// Lines read.
    pub lines: u64,
    /// Bytes read.
    pub bytes: u64,
    /// Moves and feeds.
    pub moves: u64,
    /// Layers opened.
    pub layers: u64,
    /// Courses laid.
    pub courses: u64,
    /// Cuts made.
    pub cuts: u64,
    /// Head changes after the first choice.
    pub head_changes: u64,
    /// Tow laid, mm.
    pub fibre_mm: f64,
    /// Matrix laid as beads, mm3.
    pub matrix_mm3: f64,
    /// Matrix purged, mm3.
    pub purge_mm3: f64,
    /// Time, s.
    pub seconds: f64,
}

/// A program that was checked.
#[derive(Clone, Debug)]
pub struct Verdict {
    /// Every check.
    pub ledger: Ledger,
    /// What the program comes to.
    pub figures: Figures,
    /// Name and beginning of the hash of the printer profile that the header tells.
    pub printer: Option<(String, String)>,
    /// Inputs, by their roles, of which header and plan tell different hashes.
    pub not_of_plan: Vec<String>,
}

/// Checks a program, read as a stream, against a printer and, where there is one,
/// its plan (name to show, bytes).
///
/// Errors: `plan-unreadable`; `block-template` of the profile; `file-unreadable`.
/// Whatever is wrong with the program itself is in the verdict.
pub fn verify(
    name: &str,
    program: impl Read,
    printer: &Printer,
    plan: Option<(&str, &[u8])>,
) -> Outcome<Verdict> {
    let dialect = Dialect::of(printer)?;
    let plan = plan.map(|(name, bytes)| plan::read(name, bytes)).transpose()?;
    let mut facts = Facts::default();
    if let Some(p) = &plan {
        facts.tow_width_mm = Some(p.tow.width_mm);
        facts.bend_mm = Some(p.tow.min_bend_radius_mm);
        facts.trail_mm = p.tow.trail_mm;
        facts.rest_c = [p.printer.bed_c, p.printer.chamber_c];
        facts.max_flow_mm3_s = p.matrix.max_flow_mm3_s;
        facts.work_c = [Some(p.printer.temperature_c.matrix), Some(p.printer.temperature_c.fibre)];
    }
    let against = plan.as_ref().map(against::Against::new);
    let mut replay = replay::Replay::new(printer, dialect, against, facts);
    let mut lines = stream::Lines::new(program);
    let mut line = words::Line::default();
    let mut inputs = header::Inputs::default();
    lines.all(name, |bytes| {
        replay.line(bytes, &mut line);
        line.comments.iter().filter_map(|c| bytes.get(c.clone())).for_each(|c| inputs.comment(c));
    })?;
    let (whole, bytes) = (lines.whole(), lines.bytes());
    let (mut ledger, mut figures) = replay.finish(whole);
    figures.bytes = bytes;
    ledger.look(Check::Text);
    ledger.look(Check::Controller);
    let planned = plan.iter().flat_map(|p| &p.inputs);
    let mut not_of_plan: Vec<String> =
        planned.filter(|i| inputs.differs(&i.role, &i.sha256)).map(|i| i.role.clone()).collect();
    not_of_plan.dedup();
    Ok(Verdict { ledger, figures, printer: inputs.printer(), not_of_plan })
}

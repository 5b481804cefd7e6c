//! Moves and a printer profile become the text of a program.
//!
//! Words as in RS-274 (NIST IR 6556), with `E` for what a head feeds. Lines to
//! three decimals; an arc's centre is found again from its ends as written, so
//! that both radii agree to a few ten-thousandths of a millimetre.

mod header;
pub mod number;
mod writer;

pub use header::{Facts, clock};

use crate::diagnostic::Outcome;
use crate::geom::Segment;
use crate::job::block::BlockValues;
use crate::job::printer::Controller;
use crate::job::{Head, Job};
use crate::sequence::Program;

/// A program and what the plan repeats of it.
#[derive(Clone, Debug)]
pub struct Text {
    /// The whole program, lines ended by `\n`.
    pub program: String,
    /// The cut block as written.
    pub cut: Vec<String>,
}

/// Writes a program.
///
/// Errors: `block-template` where a block of the profile cannot be filled in.
pub fn write(job: &Job, program: &Program, facts: &Facts) -> Outcome<Text> {
    writer::write(job, program, facts)
}

/// A speed as it is written: in whole mm/min, rounded down because a limit is a
/// limit; mm/s.
pub(crate) fn written_speed_mm_s(mm_s: f64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a feed in mm/min")]
    let mm_min = writer::mm_min(mm_s) as f64;
    mm_min / 60.0
}

/// A piece of a course as lines of the program say it, one after the other: an arc as it is, its
/// halves, or its chords.
pub(crate) fn lines_of(controller: &Controller, segment: &Segment) -> Vec<Segment> {
    writer::lines_of(controller, segment)
}

/// What the names in the profile's blocks stand for, for one job.
pub(crate) fn names(job: &Job, facts: &Facts) -> BlockValues {
    let p = &job.printer;
    #[expect(clippy::cast_precision_loss, reason = "a number of layers")]
    let layers = facts.layers as f64;
    BlockValues::new()
        .text("part", &header::plain(&job.name))
        .number("layers", layers)
        .number("fibre_length_mm", facts.fibre_length_mm)
        .text("build_time", &clock(facts.seconds))
        .number("matrix_tool", f64::from(p.matrix.tool))
        .number("fibre_tool", f64::from(p.fibre.tool))
        .number("bed_temperature_c", p.bed_temperature_c)
        .number("chamber_temperature_c", p.chamber_temperature_c)
        .number("matrix_temperature_c", job.temperature_c(Head::Matrix))
        .number("fibre_temperature_c", job.temperature_c(Head::Fibre))
        .number("matrix_standby_c", p.matrix.standby_temperature_c)
        .number("fibre_standby_c", p.fibre.standby_temperature_c)
}

//! Moves and a printer profile become the text of a program.
//!
//! Words as in RS-274 (NIST IR 6556), with `E` for what a head feeds. Lines to
//! three decimals; an arc's centre is found again from its ends as written, so
//! that both radii agree to a few ten-thousandths of a millimetre.

pub mod blocks;
mod header;
pub mod number;
mod writer;

pub use header::{Facts, clock};

use crate::diagnostic::Outcome;
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
/// Errors: `block-fails` where a block of the profile cannot be filled in.
pub fn write(job: &Job, program: &Program, facts: &Facts) -> Outcome<Text> {
    writer::write(job, program, facts)
}

/// The names that the profile's blocks may use, for one job.
pub(crate) fn names(job: &Job, facts: &Facts) -> blocks::Names {
    let p = &job.printer;
    blocks::Names {
        part: header::plain(&job.name),
        layers: facts.layers,
        fibre_length_mm: facts.fibre_length_mm,
        build_time: clock(facts.seconds),
        matrix_tool: p.matrix.tool,
        fibre_tool: p.fibre.tool,
        bed_temperature_c: p.bed_temperature_c,
        chamber_temperature_c: p.chamber_temperature_c,
        matrix_temperature_c: temperature(job, Head::Matrix),
        fibre_temperature_c: temperature(job, Head::Fibre),
        matrix_standby_c: p.matrix.standby_temperature_c,
        fibre_standby_c: p.fibre.standby_temperature_c,
        tool: p.matrix.tool,
        temperature_c: temperature(job, Head::Matrix),
    }
}

/// Temperature at which a head works, degC.
pub(crate) fn temperature(job: &Job, head: Head) -> f64 {
    match head {
        Head::Matrix => job.matrix.process_temperature_c,
        Head::Fibre => job.tow.process_temperature_c,
    }
}

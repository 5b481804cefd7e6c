//! The printer profile: its format, its checks, and what it resolves to.

mod check;
mod doubt;
mod format;
mod heater;
mod measured;
mod resolve;
mod start;

pub(crate) use format::PRINTER;
pub use heater::{Heater, ROOM_C};
pub(crate) use measured::{MEASURE, not_measured};

use super::block::Block;
use super::document::Reader;
use super::material::{Matrix, Tow};
use crate::diagnostic::{Outcome, Source};
use std::sync::Arc;

/// Which of the two heads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Head {
    /// Extrudes the matrix.
    Matrix,
    /// Lays the tow.
    Fibre,
}

impl Head {
    /// Its place where there is one of something for each head: matrix, fibre.
    pub(crate) fn index(self) -> usize {
        usize::from(self == Self::Fibre)
    }

    /// Its name in messages.
    pub(crate) fn word(self) -> &'static str {
        ["matrix", "fibre"][self.index()]
    }
}

/// A two-head printer.
#[derive(Clone, Debug)]
pub struct Printer {
    /// Name, as in `printer list`.
    pub name: String,
    /// One line for `printer list`.
    pub description: String,
    /// What its controller understands.
    pub controller: Controller,
    /// The matrix head.
    pub matrix: HeadProfile,
    /// The fibre head.
    pub fibre: HeadProfile,
    /// Diameter of the matrix feedstock, mm.
    pub feedstock_diameter_mm: f64,
    /// Tow between cutter and nozzle, mm: laid after the cut.
    pub cutter_to_nozzle_mm: f64,
    /// Tow that must be down before the cut can pull on it, mm.
    pub anchor_mm: f64,
    /// Motion limits.
    pub limits: Limits,
    /// Heights and clearances.
    pub clearance: Clearance,
    /// Where purges go; machine coordinates of the nozzle.
    pub purge: Purge,
    /// Seconds that the profile states for what is not a move.
    pub times: Times,
    /// How one head takes over from the other.
    pub head_change: HeadChange,
    /// How the bed heats; `None` where the profile does not say.
    pub bed_heating: Option<Heater>,
    /// How the chamber heats; `None` where the profile does not say.
    pub chamber_heating: Option<Heater>,
    /// Bed temperature, degC: what the matrix wants, within what the bed reaches.
    pub bed_temperature_c: f64,
    /// Chamber temperature, degC, likewise; 0 where the chamber is not heated.
    pub chamber_temperature_c: f64,
    /// Hottest that the bed gets, degC.
    pub max_bed_temperature_c: f64,
    /// Hottest that the chamber gets, degC; 0 where it has no heating.
    pub max_chamber_temperature_c: f64,
    /// Part placement: where the bed's usable rectangle lies, machine coordinates, mm: [x_lo, y_lo, x_hi, y_hi].
    pub bed_mm: [f64; 4],
    /// Room between two copies, mm.
    pub copy_gap_mm: f64,
    /// What the start block sets the heads to, matrix and fibre, degC: room temperature where
    /// it leaves one cold.
    pub start_heads_c: [f64; 2],
    /// The program texts.
    pub blocks: Blocks,
}

impl Printer {
    /// The profile of one head.
    pub fn head(&self, head: Head) -> &HeadProfile {
        match head {
            Head::Matrix => &self.matrix,
            Head::Fibre => &self.fibre,
        }
    }

    /// Sets temperatures by the materials: standing by is relative to them, since a
    /// PEEK head never falls to where PA12 is laid; bed and chamber get as hot as
    /// the matrix wants and the machine can.
    pub(crate) fn suit(&mut self, matrix: Option<&Matrix>, tow: Option<&Tow>) {
        let at_work = [matrix.map(|m| m.process_temperature_c), tow.map(|t| t.process_temperature_c)];
        for (head, at_work) in [&mut self.matrix, &mut self.fibre].into_iter().zip(at_work) {
            if let Some(at_work) = at_work {
                head.standby_temperature_c = (at_work - head.standby_drop_k).max(0.0);
            }
        }
        if let Some(matrix) = matrix {
            self.bed_temperature_c = matrix.bed_temperature_c.min(self.max_bed_temperature_c);
            self.chamber_temperature_c = matrix.chamber_temperature_c.min(self.max_chamber_temperature_c);
        }
        let at_work = [0, 1].map(|i| at_work[i].unwrap_or_default());
        self.start_heads_c = start::heads_c(self, at_work);
    }

    /// How long the start block waits for bed and chamber, s: both are set at its
    /// begin, from room temperature, and the machine homes meanwhile.
    pub fn start_wait_s(&self, bed_c: f64, chamber_c: f64) -> f64 {
        let wait = |heater: Option<Heater>, target: f64| match heater {
            Some(h) if target > ROOM_C => h.seconds(ROOM_C, target),
            _ => 0.0,
        };
        let hot = wait(self.bed_heating, bed_c).max(wait(self.chamber_heating, chamber_c));
        (hot - self.times.start_s).max(0.0)
    }

    /// The shortest course that can be cut and laid, mm.
    pub fn shortest_course_mm(&self) -> f64 {
        self.cutter_to_nozzle_mm + self.anchor_mm
    }
}

/// What the controller understands.
#[derive(Clone, Debug, PartialEq)]
pub struct Controller {
    /// G2 and G3 are understood.
    pub arcs: bool,
    /// Largest distance between a chord and its arc, mm.
    pub chord_mm: f64,
    /// E counts from the last `G92 E0` rather than move by move.
    pub absolute_extrusion: bool,
    /// Head offsets are in the program's coordinates rather than in the controller.
    pub program_applies_offsets: bool,
    /// `( … )` rather than `; …`.
    pub parenthesis_comments: bool,
    /// `M6` follows the `T` word.
    pub tool_change_m6: bool,
    /// P of G4 counts milliseconds rather than seconds.
    pub dwell_milliseconds: bool,
    /// Least time that it needs for one line that moves, s.
    pub block_time_s: f64,
}

/// One head.
#[derive(Clone, Debug, PartialEq)]
pub struct HeadProfile {
    /// The T number.
    pub tool: u32,
    /// Nozzle position relative to the carriage's reference, mm.
    pub offset_mm: [f64; 3],
    /// Machine coordinates that its nozzle reaches, mm: x, y, z as [lo, hi].
    pub reach_mm: [[f64; 2]; 3],
    /// Highest temperature, degC.
    pub max_temperature_c: f64,
    /// Temperature while the other head works, degC: that at work less `standby_drop_k`.
    pub standby_temperature_c: f64,
    /// How much cooler than at work it stands by, K.
    pub standby_drop_k: f64,
    /// How it heats and cools.
    pub heater: Heater,
    /// Speed while it lays, mm/s.
    pub speed_mm_s: f64,
    /// Fastest feed of its feedstock or tow, mm/s.
    pub max_feed_mm_s: f64,
    /// What is written as E for each mm that is to be fed.
    pub feed_scale: f64,
}

/// Motion limits of the machine.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Fastest x, y, z, mm/s.
    pub axis_speed_mm_s: [f64; 3],
    /// Speed of moves without laying, mm/s.
    pub travel_mm_s: f64,
    /// Acceleration while laying, mm/s2.
    pub work_mm_s2: f64,
    /// Acceleration of travel moves, mm/s2.
    pub travel_mm_s2: f64,
    /// Acceleration of z moves, mm/s2.
    pub z_mm_s2: f64,
    /// Deviation that sets the speed through a corner, mm.
    pub corner_deviation_mm: f64,
    /// Fastest change of an acceleration, mm/s3; infinite where there is no limit.
    pub jerk_mm_s3: f64,
}

/// How one head takes over from the other. Places are machine coordinates of
/// the nozzle, mm: of the matrix head, of the fibre head.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum HeadChange {
    /// Both hang on one carriage; the idle one is raised.
    Lift,
    /// Each has its own carriage; the idle one waits at its place.
    Park([[f64; 2]; 2]),
    /// One carriage puts a head down at its place and fetches the other.
    Dock([[f64; 2]; 2]),
}

/// Heights and clearances.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Clearance {
    /// A travel over laid material lifts by this, mm.
    pub travel_lift_mm: f64,
    /// How much higher than the working nozzle the idle one hangs, mm.
    pub idle_lift_mm: f64,
}

/// Where and how much a head purges after it is selected.
#[derive(Clone, Debug, PartialEq)]
pub struct Purge {
    /// Start of the matrix purge line, machine coordinates of the nozzle, mm.
    pub matrix_at_mm: [f64; 2],
    /// Length and direction of that line: +x, mm.
    pub matrix_line_mm: f64,
    /// Matrix volume purged after a change to the matrix head, mm3.
    pub matrix_volume_mm3: f64,
}

/// Seconds for what is not a move.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Times {
    /// One head change, s.
    pub head_change_s: f64,
    /// One cut, s.
    pub cut_s: f64,
    /// Homing and whatever else the start block does besides heating, s.
    pub start_s: f64,
    /// The end block, s.
    pub end_s: f64,
}

/// The profile's program texts: templates with a fixed set of names.
#[derive(Clone, Debug)]
pub struct Blocks {
    /// Opens the program.
    pub start: Block,
    /// Closes it.
    pub end: Block,
    /// After the `T` line that selects the matrix head.
    pub to_matrix: Block,
    /// After the `T` line that selects the fibre head.
    pub to_fibre: Block,
    /// Cuts the tow. No axis moves.
    pub cut: Block,
    /// Sets a head's temperature without waiting: names `tool`, `temperature_c`.
    pub heat: Block,
    /// Sets a head's temperature and waits: names `tool`, `temperature_c`.
    pub heat_wait: Block,
}

/// Reads a profile's text.
///
/// Errors: those of the format, `profile-geometry`, `profile-limits`,
/// `block-template`, `block-words`; all of them at once.
pub fn read(source: &Arc<Source>) -> Outcome<Printer> {
    let (values, mut reader) = Reader::read(source, &PRINTER);
    check::check(&values, &mut reader, source);
    reader.finish()?;
    Ok(resolve::resolve(&values, source).expect("every required key was checked to be there"))
}

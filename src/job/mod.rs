//! What the user asks for: job, map, printer and materials, read from TOML,
//! checked, and resolved so that nothing needed is optional any more.

pub mod block;
pub mod builtin;
pub mod field;
pub mod map;
pub mod material;
pub mod printer;
pub mod schema;
pub mod series;

mod document;
mod layers;
mod named;
mod read;
mod slips;
pub(crate) mod table;
mod unit;

pub use block::{Block, BlockKind, BlockValues};
pub use document::{A_JOB, kind_of_file};
pub use field::{Field, Sample};
pub use map::{Layers, Map, Meets, Region, Rule, Shape};
pub use material::{Matrix, Tow};
pub use named::{built_in_matrix, built_in_tow, matrix_named, printer_named, tow_named};
pub use printer::{Head, Printer};
pub use read::{built_in_text, first, first_opened, first_text, layer_fit, named_files, read};
pub(crate) use read::{may_bring_layers, place_of};
pub use series::Series;

use crate::count::f64_of;
use crate::files::Input;
use std::path::PathBuf;

/// A whole job, resolved.
#[derive(Clone, Debug)]
pub struct Job {
    /// `[part] name`, as typed.
    pub name: String,
    /// The outline file and how to read it.
    pub outline: OutlineFile,
    /// Height of a layer where the outline brings none of its own, mm.
    pub layer_height_mm: f64,
    /// Parts on one bed, at least 1.
    pub copies: usize,
    /// The printer profile.
    pub printer: Printer,
    /// The matrix material.
    pub matrix: Matrix,
    /// The tow material.
    pub tow: Tow,
    /// How matrix beads are laid.
    pub beads: BeadPlan,
    /// How courses are laid, for the whole job.
    pub courses: CoursePlan,
    /// The reinforcement map; `None`: matrix alone.
    pub map: Option<Map>,
    /// What the user says of a series: rates, press, inserts, the machined part.
    pub series: Series,
    /// Lots of matrix and tow, as typed.
    pub lots: [Option<String>; 2],
    /// Every file that went in, with its hash (the outline is added by its reader).
    pub inputs: Vec<Input>,
}

/// Heights closer than this are the same, mm: far below a layer and what files give, far above
/// what adding up layer heights loses.
pub(crate) const SAME_HEIGHT_MM: f64 = 1e-6;

impl Job {
    /// The height is not the job's own but one that the outline brings.
    pub(crate) fn brought(&self, height_mm: f64) -> bool {
        (height_mm - self.layer_height_mm).abs() > SAME_HEIGHT_MM
    }

    /// Temperature at which a head works, degC.
    pub(crate) fn temperature_c(&self, head: Head) -> f64 {
        match head {
            Head::Matrix => self.matrix.process_temperature_c,
            Head::Fibre => self.tow.process_temperature_c,
        }
    }

    /// The part's name made safe for a file name: letters and digits of any
    /// script, `-`, `_` and `.` stay, every run of anything else becomes one `-`;
    /// never hidden, never empty, at most 100 bytes: file systems commonly take 255 of
    /// a name with its endings.
    pub fn file_stem(&self) -> String {
        file_stem(&self.name)
    }
}

/// A name made safe for a file name, as [`Job::file_stem`].
pub fn file_stem(name: &str) -> String {
    let mut stem = String::new();
    for c in name.chars() {
        if c.is_alphanumeric() || "-_.".contains(c) {
            stem.push(c);
        } else if !stem.ends_with('-') {
            stem.push('-');
        }
    }
    let stem = stem.trim_matches(['-', '.']);
    let end = (0..=stem.len().min(100)).rev().find(|&k| stem.is_char_boundary(k)).unwrap_or(0);
    let stem = stem[..end].trim_matches(['-', '.']);
    if stem.is_empty() { "part".to_owned() } else { stem.to_owned() }
}

/// The outline file of a job.
#[derive(Clone, Debug)]
pub struct OutlineFile {
    /// Where it is.
    pub path: PathBuf,
    /// The name as typed in the job.
    pub typed: String,
    /// `[part] thickness_mm`, if given.
    pub thickness_mm: Option<f64>,
    /// Millimetres per unit of a file that carries no unit, by `[part] unit`; mm where it says
    /// nothing.
    pub unit_mm: Option<f64>,
    /// The job's text and where in it the outline is named, for messages.
    pub place: crate::diagnostic::Place,
    /// Where in it the thickness is given, or the table that it would stand in.
    pub thickness_place: crate::diagnostic::Place,
}

/// The job's `[matrix]` table.
#[derive(Clone, Debug, PartialEq)]
pub struct BeadPlan {
    /// Closed beads along every boundary.
    pub perimeters: usize,
    /// Width of a bead, mm.
    pub bead_width_mm: f64,
    /// How the inside is filled.
    pub fill: Fill,
    /// Directions of parallel fill, degrees, one per layer in turn; not empty.
    pub fill_angles_deg: Vec<f64>,
    /// Share of what fibre and perimeters leave that is filled, 0 to 1.
    pub fill_fraction: f64,
}

impl BeadPlan {
    /// What perimeters take from every boundary, mm.
    pub fn perimeters_mm(&self) -> f64 {
        self.bead_width_mm * f64_of(self.perimeters)
    }
}

/// How the inside of a layer is filled with matrix.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fill {
    /// Parallel beads.
    Parallel,
    /// Beads that follow the boundary.
    Contour,
    /// Perimeters only.
    None,
}

/// Job-wide settings of courses.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoursePlan {
    /// Largest distance between a course and the line that a rule asked for, mm.
    pub deviation_mm: f64,
    /// Least distance between the ends of closed courses in neighbouring layers, mm.
    pub end_stagger_mm: f64,
}

impl Job {
    /// Speed of a bead of a cross-section (mm2): the head's own, less where its
    /// feedstock or its melt rate would be too fast, mm/s.
    pub fn bead_speed_mm_s(&self, area_mm2: f64) -> f64 {
        let d = self.printer.feedstock_diameter_mm;
        let feedstock = std::f64::consts::PI * 0.25 * d * d;
        let area = area_mm2.max(1e-6);
        let head = &self.printer.matrix;
        head.speed_mm_s.min(head.max_feed_mm_s * feedstock / area).min(self.matrix.max_flow_mm3_s / area)
    }

    /// Speed of a course: the fibre head's own, not faster than its tow is fed, mm/s.
    pub fn course_speed_mm_s(&self) -> f64 {
        self.printer.fibre.speed_mm_s.min(self.printer.fibre.max_feed_mm_s)
    }
}

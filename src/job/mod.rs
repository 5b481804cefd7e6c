//! What the user asks for: job, map, printer and materials, read from TOML,
//! checked, and resolved so that nothing needed is optional any more.

pub mod map;
pub mod material;
pub mod printer;

pub use map::{Layers, Map, Region, Rule, Shape};
pub use material::{Matrix, Tow};
pub use printer::{Head, Printer};

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
    /// Every file that went in, with its hash (the outline is added by its reader).
    pub inputs: Vec<Input>,
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
    /// Millimetres per unit of a file that carries no unit; 1 unless `[part] unit` says else.
    pub unit_mm: f64,
    /// The job's text and where in it the outline is named, for messages.
    pub place: crate::diagnostic::Place,
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

//! Matrix beads: perimeters, then fill of exactly what tow leaves.

use crate::geom::Point;

/// The beads of one layer and how its area closes.
#[derive(Clone, Debug, Default)]
pub struct LayerBeads {
    /// Perimeters first, then fill; the sequence reorders.
    pub beads: Vec<Bead>,
    /// Where the layer's area goes.
    pub areas: Areas,
}

/// One extruded run of matrix.
#[derive(Clone, Debug, PartialEq)]
pub struct Bead {
    /// What it is for.
    pub kind: BeadKind,
    /// Width, mm.
    pub width_mm: f64,
    /// Cross-section, mm2: flow per mm of path.
    pub area_mm2: f64,
    /// The last point joins the first (which is not repeated).
    pub closed: bool,
    /// Centre line, mm.
    pub points: Vec<Point>,
}

/// What a bead is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BeadKind {
    /// Along a boundary of the outline.
    Perimeter,
    /// Between perimeters and courses.
    Fill,
}

impl BeadKind {
    /// The word in the plan.
    pub fn word(self) -> &'static str {
        match self {
            Self::Perimeter => "perimeter",
            Self::Fill => "fill",
        }
    }
}

/// Where a layer's area goes, mm2: outline = tow + matrix + open + unfilled.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Areas {
    /// The cross-section.
    pub outline: f64,
    /// Under the strips of the courses.
    pub tow: f64,
    /// Under beads.
    pub matrix: f64,
    /// Left empty on purpose by `fill_fraction`.
    pub open: f64,
    /// Where no bead fits.
    pub unfilled: f64,
}

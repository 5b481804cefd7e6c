//! The reinforcement map: what to lay where.

use crate::diagnostic::Source;
use std::ops::Range;
use std::sync::Arc;

/// A whole map.
#[derive(Clone, Debug)]
pub struct Map {
    /// The regions in the file's order.
    pub regions: Vec<Region>,
}

/// One `[[region]]`.
#[derive(Clone, Debug)]
pub struct Region {
    /// Its name, or `region N` where none was given.
    pub name: String,
    /// Where it lies.
    pub shape: Shape,
    /// In which layers.
    pub layers: Layers,
    /// How courses are laid in it.
    pub rule: Rule,
    /// Courses side by side; `None` fills the shape.
    pub courses: Option<usize>,
    /// Directions, degrees, taken in turn from the region's first layer on; not
    /// empty where the rule needs one.
    pub angle_deg: Vec<f64>,
    /// Centre to centre, mm; at least the tow's width.
    pub spacing_mm: f64,
    /// No course bends tighter, mm; at least the tow's own.
    pub min_bend_radius_mm: f64,
    /// Where regions overlap the higher wins; equal: the earlier in the file.
    pub priority: i64,
    /// Where the user wrote what, for messages.
    pub written: Written,
}

/// Places in the map's text.
#[derive(Clone, Debug)]
pub struct Written {
    /// The map's text.
    pub source: Arc<Source>,
    /// The whole `[[region]]` header.
    pub region: Range<usize>,
    /// The value of `shape`.
    pub shape: Range<usize>,
    /// The value of `layers`.
    pub layers: Range<usize>,
    /// The value of `rule`.
    pub rule: Range<usize>,
}

/// Where a region lies, in the outline's coordinates, mm.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// The hole that holds this point, or whose edge is nearest and within 5 mm.
    HoleAt([f64; 2]),
    /// The whole outline.
    Outline,
    /// A polygon.
    Polygon(Vec<[f64; 2]>),
    /// A disc: x, y, radius.
    Circle([f64; 3]),
    /// An element of the drawing.
    Id(String),
}

/// Which layers a region is in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Layers {
    /// Every layer.
    All,
    /// Numbers from 1, both ends in, every `step`-th.
    Numbers {
        /// First.
        first: usize,
        /// Last.
        last: usize,
        /// 1 for every layer.
        step: usize,
    },
    /// Layers whose middle lies between two heights, mm above the bed.
    Heights {
        /// Lowest, mm.
        from_mm: f64,
        /// Highest, mm.
        to_mm: f64,
    },
}

/// How courses are laid in a region.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rule {
    /// Closed courses round a hole.
    Hoop,
    /// Closed courses parallel to the shape's boundaries.
    Contour,
    /// Parallel courses.
    Unidirectional,
}

impl Rule {
    /// The word in files.
    pub fn word(self) -> &'static str {
        match self {
            Self::Hoop => "hoop",
            Self::Contour => "contour",
            Self::Unidirectional => "unidirectional",
        }
    }
}

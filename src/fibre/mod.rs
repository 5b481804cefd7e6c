//! Courses: one uncut run of tow each.

pub mod course;

pub use course::Course;

/// The courses of one layer.
#[derive(Clone, Debug, Default)]
pub struct LayerCourses {
    /// In no particular order; the sequence decides.
    pub courses: Vec<Course>,
    /// What was asked for and could not be laid.
    pub left_out: Vec<LeftOut>,
    /// Cuts that turns saved: rows laid less courses made of them.
    pub cuts_saved: usize,
    /// The strips that the courses cover, mm.
    pub strips: crate::geom::Area,
}

/// Tow that was asked for and is not laid.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftOut {
    /// Name of the region.
    pub region: String,
    /// Layer number.
    pub layer: usize,
    /// Why, in a few words.
    pub reason: String,
    /// Tow given up, mm.
    pub length_mm: f64,
    /// Where, mm; `None` where the shape gives no place.
    pub at_mm: Option<[f64; 2]>,
}

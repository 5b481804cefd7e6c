//! Speeds along the moves, and so the time that they take.

use crate::geom::{Point, Segment};

/// A piece of motion that runs into the next one without a stop being asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Leg {
    /// Where it runs, mm; a move in z alone is a line whose ends coincide.
    pub path: Segment,
    /// Change of height, mm.
    pub dz: f64,
    /// Speed asked for, mm/s.
    pub speed_mm_s: f64,
    /// Acceleration, mm/s2.
    pub acceleration_mm_s2: f64,
}

/// The corner of two legs, seen by the planner.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Corner {
    /// Unit direction in.
    pub along: Point,
    /// Unit direction out.
    pub onward: Point,
}

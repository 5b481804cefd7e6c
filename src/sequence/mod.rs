//! The order of the work: courses and beads become the moves of two heads.

mod bed;
mod build;
mod preheat;
mod reach;
mod route;

pub(crate) use bed::usable;
pub use bed::{fits, most_copies, most_turned};
pub use build::{in_turn, order};
pub use preheat::preheat;

use crate::geom::{Point, Segment};
use crate::job::Head;

/// The whole program as moves, in part coordinates plus placement (machine
/// coordinates of the working nozzle), mm.
#[derive(Clone, Debug, Default)]
pub struct Program {
    /// Everything that happens, in order.
    pub moves: Vec<Move>,
    /// Where each copy stands: machine xy = part xy + placement.
    pub placements: Vec<Point>,
    /// The courses in the order and direction in which they are laid, layer by
    /// layer (index 0 is layer 1), for one copy.
    pub courses: Vec<Vec<Laid>>,
}

/// A course as it is laid.
#[derive(Clone, Debug)]
pub struct Laid {
    /// Unique over the program, as `L3.2`.
    pub id: String,
    /// The course, its path in the direction laid.
    pub course: crate::fibre::Course,
    /// Length from the start at which it is cut, mm.
    pub cut_at_mm: f64,
}

/// One thing that the machine does. Coordinates are those of the working
/// nozzle in the machine, offsets not yet applied.
#[derive(Clone, Debug, PartialEq)]
pub enum Move {
    /// A layer begins; its top.
    Layer {
        /// From 1.
        number: usize,
        /// Top, mm.
        z_mm: f64,
    },
    /// The other head takes over.
    Select(Head),
    /// A head is set to a temperature and the program goes on.
    Heat {
        /// Which.
        head: Head,
        /// degC.
        temperature_c: f64,
    },
    /// A head is set to a temperature and the program waits for it.
    HeatWait {
        /// Which.
        head: Head,
        /// degC.
        temperature_c: f64,
    },
    /// To a height, without laying.
    Z(f64),
    /// To a place at the present height, without laying.
    Travel(Point),
    /// A bead begins: which, and how it is walked.
    Bead {
        /// Its place in the layer's list of beads.
        index: usize,
        /// Which copy of the part it belongs to, from 0.
        copy: usize,
        /// From its last point to its first.
        reversed: bool,
        /// A closed bead begins at this one of its points.
        start: usize,
    },
    /// A straight bead to a place.
    Extrude {
        /// End, mm.
        to: Point,
        /// Volume laid on the way, mm3.
        volume_mm3: f64,
    },
    /// A course begins (before the travel to its start).
    CourseStart(String),
    /// The tow is fed to the nozzle, mm, without a move.
    Thread(f64),
    /// Tow is laid along a piece of a course.
    Lay {
        /// The piece, placed in the machine.
        segment: Segment,
        /// Fed 1:1 before the cut; pulled from behind the nozzle after it.
        fed: bool,
    },
    /// The tow is cut.
    Cut,
    /// A course ends.
    CourseEnd(String),
    /// Purging begins.
    PurgeStart,
    /// Purging ends.
    PurgeEnd,
    /// Nothing moves for a while, s.
    Dwell(f64),
}

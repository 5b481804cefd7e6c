//! A course: lines and arcs joined tangentially, none tighter than the minimum
//! radius, long enough to be cut and laid.

use crate::geom::Path;
use crate::job::Rule;

/// One uncut run of tow. Made only by [`Course::new`], which refuses a bend
/// below the minimum radius, a joint that is not tangential, and a piece too
/// short to cut: later stages never ask again.
#[derive(Clone, Debug, PartialEq)]
pub struct Course {
    /// Name of the region that it belongs to.
    pub region: String,
    /// The rule that laid it.
    pub rule: Rule,
    /// Priority of its region among the map's: 0 is laid first.
    pub rank: usize,
    path: Path,
}

impl Course {
    /// The centre line of the tow.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Length, mm.
    pub fn length_mm(&self) -> f64 {
        self.path.length()
    }
}

//! What is asked of a region in a layer.

use super::{Course, CourseFault};
use crate::geom::Path;
use crate::geom::swing::Corners;
use crate::job::Rule;

/// What every rule needs to know of a region in a layer.
#[derive(Clone, Copy, Debug)]
pub(super) struct Order<'a> {
    /// Name of the region.
    pub(super) region: &'a str,
    pub(super) rule: Rule,
    pub(super) rank: usize,
    /// Tow width, mm.
    pub(super) width: f64,
    /// Centre to centre, mm.
    pub(super) spacing: f64,
    /// Least bend radius, mm.
    pub(super) radius: f64,
    /// That which is asked for, mm: loops that are to be wound are bent wider.
    pub(super) asked_radius: f64,
    /// Shortest course, mm.
    pub(super) shortest: f64,
    /// Shortest closed course that a rule may lay, mm. Where it is less than `shortest`,
    /// what is shorter is wound with its neighbours afterwards, or given up.
    pub(super) shortest_loop: f64,
    /// Largest distance from the line asked for, mm.
    pub(super) deviation: f64,
    /// How far outside a way past a corner may lie, as a share of that: see
    /// [`SWING_SHARES`](super::along::SWING_SHARES).
    pub(super) swing: f64,
    /// Swings past corners leave narrow places free: see [`Corners::lean`].
    pub(super) lean: bool,
    /// Lines along a boundary keep as near to it as they can, not just within the deviation:
    /// loosely some corners are passed that are just too tight.
    pub(super) tight: bool,
    /// Closed courses are what is asked for, and not that as much as can be is covered: corners
    /// that a leg was too short for are tried once more when it is joined to the next one, and
    /// no loop is cut open for a hair.
    pub(super) closes: bool,
    /// Courses round a hole or pins begin as near to it as lines that are exact may lie: where a
    /// wall is just as many of them wide they all fit.
    pub(super) snug: bool,
    /// Courses side by side; `None` fills.
    pub(super) courses: Option<usize>,
    /// Direction, radians.
    pub(super) angle: f64,
    /// Cover is given up where that saves cuts.
    pub(super) few_cuts: bool,
    /// Rows may be joined by turns.
    pub(super) turns: bool,
}

impl Order<'_> {
    /// A course of the region along a path, none tighter than `radius` mm nor shorter than
    /// `shortest` mm.
    ///
    /// Errors: see [`CourseFault`].
    pub(super) fn course(&self, path: Path, radius: f64, shortest: f64) -> Result<Course, CourseFault> {
        Course::new(self.region.to_string(), self.rule, self.rank, path, radius, shortest)
    }

    /// Shortest path that a rule may lay, mm.
    pub(super) fn least(&self, closed: bool) -> f64 {
        if closed { self.shortest_loop } else { self.shortest }
    }

    /// How corners are passed, where `free` says whether a way past one has room.
    pub(super) fn corners<'a>(&self, free: &'a dyn Fn(&Path) -> bool) -> Corners<'a> {
        Corners { radius: self.radius, lean: self.lean, free }
    }

    /// How far a line may be fitted off what a rule proposes, mm. The other half of the
    /// deviation is for what is beside it.
    pub(super) fn fit(&self) -> f64 {
        (0.5 * self.deviation).min(MOST_MM)
    }

    /// How far outside the room a fitted line may lie, mm: as far as it may be fitted, and a
    /// tenth of the deviation for the chords by which both are looked at.
    pub(super) fn outside(&self) -> f64 {
        (0.6 * self.deviation).min(MOST_MM)
    }

    /// How near two centre lines may lie, mm: each is fitted.
    pub(super) fn apart(&self) -> f64 {
        self.width - self.fit()
    }

    /// How near its own middle line may come to itself, mm: it is fitted on either side, in all
    /// by no more than any line may lie off.
    pub(super) fn apart_from_itself(&self) -> f64 {
        self.width - self.deviation.min(MOST_MM)
    }

    /// From an edge that the first course keeps clear of by so much to its middle, mm.
    pub(super) fn first(&self, clearance: f64) -> f64 {
        let margin = if self.snug { SNUG } else { 1.0 };
        clearance + 0.5 * self.width + margin * self.outside()
    }
}

/// What lines that lie snugly keep of the margin from the edge that they begin at.
const SNUG: f64 = 0.1;

/// However far lines may lie off what is asked for, they leave the room or come too near to
/// each other by no more than this, mm: less than the 0.05 mm that programs are held to, by
/// what rounding of numbers takes.
const MOST_MM: f64 = 0.035;

#[cfg(test)]
impl Order<'static> {
    /// What tests of rules ask for where they do not say otherwise.
    pub(super) fn sample(rule: Rule) -> Self {
        Self {
            region: "test",
            rule,
            rank: 0,
            width: 1.0,
            spacing: 1.0,
            radius: 5.0,
            asked_radius: 5.0,
            shortest: 20.0,
            shortest_loop: 20.0,
            deviation: 0.02,
            swing: super::along::SWING_SHARES[0],
            lean: false,
            tight: true,
            closes: false,
            snug: false,
            courses: None,
            angle: 0.0,
            few_cuts: false,
            turns: true,
        }
    }
}

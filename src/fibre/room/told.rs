//! What is asked for and not laid, as it is told.

use super::Room;
use crate::geom::{Path, Point};
use crate::reinforcement::{LeftOut, Reason};

impl Room<'_> {
    /// Records tow that was asked for and is not laid.
    pub(in crate::fibre) fn leave_out(&mut self, reason: Reason, length_mm: f64, at: Option<Point>) {
        // what waits for its turn misses nothing, and is told all the same
        if length_mm <= 0.0 && reason != Reason::NotItsTurn {
            return;
        }
        self.left_out.push(LeftOut {
            region: self.order.region.to_string(),
            // layers that ask for the same are laid once: numbered when they are copied
            layer: 0,
            reason,
            length_mm,
            at_mm: at.map(|p| [p.x, p.y]),
        });
    }

    /// How much is told as left out so far.
    pub(in crate::fibre) fn told(&self) -> usize {
        self.left_out.len()
    }

    /// Forgets what was told after so much.
    pub(in crate::fibre) fn forget_since(&mut self, told: usize) {
        self.left_out.truncate(told);
    }

    /// A path that was told as left out was laid after all.
    pub(in crate::fibre) fn not_left_out(&mut self, path: &Path) {
        let at = path.point_at(0.5 * path.length()).map(|p| [p.x, p.y]);
        self.left_out.retain(|l| l.at_mm != at);
    }

    /// What later rounds laid after all is not left out.
    pub(in crate::fibre) fn settle_left_out(&mut self) {
        let limit = 0.9 * self.order.width;
        let taken = &self.taken;
        self.left_out.retain(|l| l.at_mm.is_none_or(|[x, y]| taken.distance(Point::new(x, y)) > limit));
    }
}

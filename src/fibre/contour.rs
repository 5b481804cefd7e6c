//! Closed courses parallel to the shape's boundaries, outer and inner.

use super::room::Room;
use crate::geom::{Area, combine, offset};

/// Rounds at most: no shape is deeper than this many courses.
const ROUNDS: usize = 2_000;

/// Lays rings from the boundaries inwards, one round of courses along every
/// boundary at a time: first along the shape's own, then along the edges of what
/// the rounds before left, each one spacing from what it follows.
///
/// Corners are passed in bends of the radius, on the inside or swinging wide
/// ([`crate::geom::bend::eased`]); where a place is too narrow for both its edges
/// the longer course has it and the other is interrupted; where a loop cannot be
/// closed its sides are laid as open courses.
pub(super) fn lay(room: &mut Room<'_>) {
    let o = room.order;
    let most = o.courses.unwrap_or(ROUNDS).min(ROUNDS);
    let mut rest = room.area.clone();
    for _ in 0..most {
        let before = room.courses.len();
        rest = long_enough(&rest, o.shortest);
        if rest.is_empty() || room.lay_along(&rest) == 0.0 {
            break;
        }
        rest = room.rest_of(&rest, before);
    }
    tell_unserved(room, most);
}

/// The parts of an area along whose edge a course can lie at all.
fn long_enough(area: &Area, shortest: f64) -> Area {
    let parts: Vec<Area> = area.split().filter(|a| a.perimeter() >= shortest).collect();
    combine::union_all(&parts)
}

/// Reports what no course reached, as tow that would have filled it.
fn tell_unserved(room: &mut Room<'_>, most: usize) {
    let o = room.order;
    let chord = crate::geom::bend::PROPOSAL_CHORD_MM;
    let mut band = room.area.clone();
    if most < ROUNDS {
        #[expect(clippy::cast_precision_loss, reason = "a number of courses")]
        let deep = offset::shrunk(&band, (most as f64 - 1.0) * o.spacing + 0.1 * o.width, chord);
        band = combine::difference(&band, &deep);
    }
    let strips: Vec<Area> = room
        .courses
        .iter()
        .map(|c| offset::strip(&c.path().flatten(chord), o.spacing * 1.02, c.path().closed, chord))
        .collect();
    let rest = combine::difference(&band, &combine::union_all(&strips));
    for a in rest.split() {
        let length = a.area() / o.spacing;
        if length > o.width {
            let at = a.polygons()[0].outer()[0];
            let reason = "no course of this bend radius and shortest length fits beside the others";
            room.leave_out(reason, length, Some(at));
        }
    }
}

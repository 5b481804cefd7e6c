//! Closed courses parallel to the shape's boundaries, outer and inner.

use super::room::Room;
use crate::geom::{Area, combine, offset, smooth};

/// Lays rings from the boundaries inwards.
///
/// Each ring bounds an area that bends no tighter than the radius on either side
/// ([`smooth::bendable`]); the next ring is one spacing inside it, so rings never
/// meet. What a loop cannot serve (arms narrower than two radii) is then laid
/// with open courses along its edges.
pub(super) fn lay(room: &mut Room<'_>) {
    let o = room.order;
    let chord = crate::geom::bend::PROPOSAL_CHORD_MM;
    let most = o.courses.unwrap_or(usize::MAX);
    let mut area = room.area.clone();
    let mut served = Area::empty();
    let mut count = 0;
    while count < most && !area.is_empty() {
        let legal = legal(&area, o.radius);
        if count == 0 {
            served = offset::grown(&legal, 0.5 * o.spacing, chord);
        }
        if legal.is_empty() {
            break;
        }
        let rings: Vec<Vec<_>> = legal.rings().map(<[_]>::to_vec).collect();
        for (i, ring) in rings.iter().enumerate() {
            // two edges of a narrow place may be nearer than a tow's width
            if i == 0 {
                room.lay_ring(ring)
            } else {
                room.lay_where_free(ring, true)
            };
        }
        area = offset::shrunk(&legal, o.spacing, chord);
        count += 1;
    }
    lay_rest(room, &served, most);
}

/// The area itself where a tow can follow its boundary as it is.
fn legal(area: &Area, radius: f64) -> Area {
    if smooth::tight_share(area, smooth::working_radius(radius)) == 0.0 {
        return area.clone();
    }
    smooth::bendable(area, radius)
}

/// Rounds over what rings left: each lays one course along every edge of it.
const ROUNDS: usize = 60;

/// Open courses along the edges of what the rings left, as deep as the courses
/// asked for go.
fn lay_rest(room: &mut Room<'_>, served: &Area, most: usize) {
    let o = room.order;
    let chord = crate::geom::bend::PROPOSAL_CHORD_MM;
    let mut rest = room.rest();
    if most < 10_000 {
        #[expect(clippy::cast_precision_loss, reason = "a number of courses")]
        let deep = offset::shrunk(&room.area, (most as f64 - 1.0) * o.spacing + 0.1 * o.width, chord);
        rest = combine::difference(&rest, &deep);
    }
    for _ in 0..ROUNDS {
        let before = room.courses.len();
        rest = long_enough(&rest, o.shortest);
        if rest.is_empty() || room.lay_along(&rest) == 0.0 {
            break;
        }
        rest = room.rest_of(&rest, before);
    }
    let arms = combine::difference(&room.area, served);
    tell_unserved(room, &arms, most);
}

/// The parts of an area along whose edge a course can lie at all.
fn long_enough(area: &Area, shortest: f64) -> Area {
    let parts: Vec<Area> = area.split().filter(|a| a.perimeter() >= shortest).collect();
    combine::union_all(&parts)
}

/// Reports what neither loops nor open courses reached.
fn tell_unserved(room: &mut Room<'_>, arms: &Area, most: usize) {
    let o = room.order;
    let chord = crate::geom::bend::PROPOSAL_CHORD_MM;
    let strips: Vec<Area> = room
        .courses
        .iter()
        .map(|c| offset::strip(&c.path().flatten(chord), o.spacing * 1.02, c.path().closed, chord))
        .collect();
    let rest = combine::difference(arms, &combine::union_all(&strips));
    for a in rest.split() {
        // as deep as the courses asked for go
        #[expect(clippy::cast_precision_loss, reason = "a number of courses")]
        let depth = most.min(10_000) as f64 * o.spacing;
        let within = a.area().min(0.5 * a.perimeter() * depth);
        let length = within / o.spacing;
        if length > o.width {
            let at = a.polygons()[0].outer()[0];
            room.leave_out(
                "too narrow for a course that bends no tighter than the tow allows",
                length,
                Some(at),
            );
        }
    }
}

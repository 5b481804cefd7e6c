//! Closed courses round a hole.

use super::room::Room;
use crate::count::f64_of;
use crate::geom::{Area, Point, bend, combine, offset, smooth};
use crate::reinforcement::Reason;

/// Lays hoops round a hole, the first as near to it as perimeters and bend
/// radius allow, the others outside it.
///
/// Hoops are pulled tight when they are laid, so they follow the hole's convex
/// hull; `follow` keeps them parallel to the hole's own edge instead. Those that are
/// to become a `spiral` are of few arcs.
pub(super) fn lay(room: &mut Room<'_>, hole: &Area, clearance: f64, follow: bool, spiral: bool) {
    let o = room.order;
    let start = clearance + 0.5 * o.width + 0.6 * o.deviation;
    let chord = bend::PROPOSAL_CHORD_MM;
    let grown = offset::grown(hole, start, chord);
    let Some(edge) = grown.polygons().first().map(|p| p.outer().to_vec()) else { return };
    let mut inner = if follow {
        let closed = offset::closed(&grown, smooth::working_radius(o.radius), chord);
        if smooth::tight_share(&closed, smooth::working_radius(o.radius)) > 0.0 {
            smooth::rounded_up(&edge, o.radius)
        } else {
            closed
        }
    } else {
        smooth::rounded_up(&edge, o.radius)
    };
    // more loops than this do not fit between the hole and the far end of the part
    let most = o.courses.unwrap_or(10_000);
    for k in 0..most {
        let Some(p) = inner.polygons().first() else { break };
        let ring = p.outer().to_vec();
        let laid = if spiral { lay_loosely(room, &ring) } else { room.lay_loop(&ring) };
        if laid == 0.0 && (o.courses.is_none() || beyond(room, &inner)) {
            if o.courses.is_some() {
                let left = most - k;
                let length = crate::geom::polyline::ring_length(&ring) * f64_of(left - 1);
                room.leave_out(Reason::Hoops { missing: left, asked: most }, length, ring.first().copied());
            }
            break;
        }
        inner =
            combine::simplified(&offset::grown(&inner, o.spacing, bend::PROPOSAL_CHORD_MM), offset::TIDY_MM);
        if follow {
            inner = offset::closed(&inner, smooth::working_radius(o.radius), bend::PROPOSAL_CHORD_MM);
        }
    }
}

/// Lays a hoop that is to be wound into a spiral; gives its length. It is of few arcs;
/// one that so comes too near to the one inside it is fitted more tightly.
fn lay_loosely(room: &mut Room<'_>, ring: &[Point]) -> f64 {
    let before = room.courses.len();
    let mut tight = room.clone();
    let laid = room.lay_where_free(ring, true);
    if matches!(&room.courses[before..], [one] if one.path().closed) {
        return laid;
    }
    let closer = tight.lay_loop(ring);
    if closer <= laid {
        return laid;
    }
    *room = tight;
    closer
}

/// The whole room lies inside the loop: larger loops find nothing.
fn beyond(room: &Room<'_>, inner: &Area) -> bool {
    combine::difference(&room.area, inner).area() < 1e-3
}

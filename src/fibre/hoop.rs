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
    let start = o.first(clearance);
    let chord = bend::PROPOSAL_CHORD_MM;
    let grown = offset::grown(hole, start, chord);
    let Some(edge) = grown.polygons().first().map(|p| p.outer().to_vec()) else { return };
    let mut inner = if follow {
        let closed = offset::closed(&grown, smooth::working_radius(o.radius), chord);
        let round = smooth::rounded_up(&edge, o.radius);
        // chords of a round hole that is a little too small do not tell that it is too tight
        let tight = smooth::tight_share(&closed, smooth::working_radius(o.radius)) > 0.0;
        if tight || !room.can_follow(&closed) { round } else { closed }
    } else {
        smooth::rounded_up(&edge, o.radius)
    };
    // more loops than this do not fit between the hole and the far end of the part
    let most = o.courses.unwrap_or(10_000);
    let before = room.told();
    let mut any = false;
    for k in 0..most {
        let Some(p) = inner.polygons().first() else { break };
        let ring = p.outer().to_vec();
        let told = room.told();
        let laid = if spiral { lay_loosely(room, &ring) } else { room.lay_loop(&ring) };
        any |= laid > 0.0;
        // arcs between other holes may be too short to be laid, and hoops outside these are not
        if laid == 0.0 && all_inside(room, &inner) {
            if o.courses.is_some() {
                // this one is told with the others, and all where none was laid
                room.forget_since(if any { told } else { before });
                let left = if any { most - k } else { most };
                let length = crate::geom::polyline::ring_length(&ring) * f64_of(left);
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
fn all_inside(room: &Room<'_>, inner: &Area) -> bool {
    combine::difference(&room.area, inner).area() < 1e-3
}

#[cfg(test)]
mod tests {
    use super::super::order::Order;
    use super::*;
    use crate::geom::pt;
    use crate::job::Rule;
    use std::f64::consts::TAU;

    #[test]
    fn hoops_go_on_outside_a_circle_of_holes() {
        // between two bolt holes no arc is as long as a piece; inside and outside them hoops close
        let disc = |p: Point, r: f64| smooth::disc(p, r, 2e-3);
        let bolts: Vec<Area> =
            (0..8).map(|k| disc(Point::unit(TAU * f64::from(k) / 8.0) * 45.0, 4.5)).collect();
        let bore = disc(pt(0.0, 0.0), 32.0);
        let ring = combine::difference(&disc(pt(0.0, 0.0), 58.2), &bore);
        let within = combine::difference_all(&ring, &bolts);
        let order = Order { shortest: 43.0, shortest_loop: 43.0, closes: true, ..Order::sample(Rule::Hoop) };
        let mut room = Room::new(order, &within);
        lay(&mut room, &bore, 0.0, false, false);
        // closed form: widths between bore and bolts, and between bolts and rim
        let far = |c: &super::super::Course| c.path().point_at(0.0).map_or(0.0, Point::norm);
        let inside = room.courses.iter().filter(|c| c.path().closed && far(c) < 45.0).count();
        let outside = room.courses.iter().filter(|c| c.path().closed && far(c) > 45.0).count();
        assert_eq!((inside, outside), (8, 8), "8.5 mm inside them and 8.7 mm outside, 1 mm each");
    }

    #[test]
    fn a_contour_round_a_hole_too_small_to_follow_has_as_many_courses_as_hoops() {
        // perimeters of 1 mm and half a width more: 3.5 to 5.1 mm, where tow bends to 5 mm
        let disc = |r: f64, chord: f64| smooth::disc(pt(25.0, 25.0), r, chord);
        let radii = [2.0, 2.6, 3.0, 3.2, 3.3, 3.4, 3.46, 3.5, 3.51, 3.52, 3.53, 3.535, 3.6];
        let holes = radii.iter().flat_map(|r| [2e-3, 0.01, 0.03].map(|chord| (*r, disc(*r, chord))));
        let order =
            Order { courses: Some(4), width: 0.9, spacing: 0.9, closes: true, ..Order::sample(Rule::Hoop) };
        for (r, hole) in holes {
            let within = combine::difference(&disc(24.0, 2e-3), &disc(r + 1.0, 2e-3));
            let mut room = Room::new(order, &within);
            lay(&mut room, &hole, 1.0, true, false);
            let closed = room.courses.iter().filter(|c| c.path().closed).count();
            assert_eq!((closed, room.courses.len()), (4, 4), "{:?}", room.left_out);
        }
    }

    #[test]
    fn hoops_that_find_no_room_are_told_once_and_all() {
        let disc = |r: f64| smooth::disc(pt(0.0, 0.0), r, 2e-3);
        let within = combine::difference(&disc(12.5), &disc(10.0));
        for asked in 3..6 {
            let order = Order { courses: Some(asked), closes: true, ..Order::sample(Rule::Hoop) };
            let mut room = Room::new(order, &within);
            lay(&mut room, &disc(10.0), 0.0, false, false);
            assert_eq!(room.courses.len(), 2, "2.5 mm of ground");
            let told: Vec<&Reason> = room.left_out.iter().map(|l| &l.reason).collect();
            assert!(matches!(told.as_slice(), [Reason::Hoops { .. }]), "{told:?}");
            let missing = f64_of(asked - 2) * TAU * 12.5;
            assert!((room.left_out[0].length_mm - missing).abs() < 0.5, "{} mm", room.left_out[0].length_mm);
        }
    }
}

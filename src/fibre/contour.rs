//! Closed courses parallel to the shape's boundaries, outer and inner.

use super::room::Room;
use super::unidirectional;
use crate::geom::{Area, combine, offset, polyline, pt, trig};

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
///
/// Where the shape is to be filled, the order of boundaries matters: loops round
/// every small hole leave wedges between them. So it is also tried with courses
/// that follow the outer boundary alone, and the hole that is largest, before
/// what they leave is served as above; what covers most is laid.
pub(super) fn lay(room: &mut Room<'_>) {
    let o = room.order;
    let many = room.area.rings().count() > 1;
    let mut best: Option<Room<'_>> = None;
    for lead in [Lead::Every, Lead::Outer, Lead::Hole] {
        if lead != Lead::Every && (o.courses.is_some() || !many) {
            break;
        }
        let mut tried = room.empty_copy();
        if lead != Lead::Every {
            follow(&mut tried, lead);
        }
        rounds(&mut tried);
        fill_rest(&mut tried);
        if best.as_ref().is_none_or(|b| worth(&tried) > worth(b)) {
            best = Some(tried);
        }
    }
    if let Some(best) = best {
        *room = best;
    }
    tell_unserved(room, o.courses.unwrap_or(ROUNDS).min(ROUNDS));
}

/// Which boundary is followed first.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Lead {
    /// All of them at once.
    Every,
    /// The outer boundary.
    Outer,
    /// The largest hole.
    Hole,
}

/// Tow laid, less what its cuts cost.
fn worth(room: &Room<'_>) -> f64 {
    let cut = if room.order.few_cuts { 0.6 } else { 0.25 };
    room.courses.iter().map(|c| c.length_mm() - cut * room.order.shortest).sum()
}

/// Courses side by side along one boundary of every part, past all others.
fn follow(room: &mut Room<'_>, lead: Lead) {
    let o = room.order;
    let chord = crate::geom::bend::PROPOSAL_CHORD_MM;
    let mut edges: Vec<Area> = Vec::new();
    for part in room.area.polygons() {
        if lead == Lead::Outer {
            edges.push(combine::ring_area(part.outer()));
        } else if let Some(hole) =
            part.holes().iter().max_by(|a, b| polyline::ring_length(a).total_cmp(&polyline::ring_length(b)))
        {
            // the complement of the hole: following it inwards is following it outwards
            let Some(b) = room.area.bounds() else { return };
            let far = b.hi.dist(b.lo) + 10.0 * o.radius;
            let frame = combine::ring_area(&[
                pt(b.lo.x - far, b.lo.y - far),
                pt(b.hi.x + far, b.lo.y - far),
                pt(b.hi.x + far, b.hi.y + far),
                pt(b.lo.x - far, b.hi.y + far),
            ]);
            edges.push(combine::difference(&frame, &combine::ring_area(hole)));
        }
    }
    for mut edge in edges {
        for _ in 0..ROUNDS {
            let before = room.courses.len();
            let Some(path) = room.lay_edge(&edge, lead == Lead::Outer) else { break };
            if room.courses.len() == before {
                break;
            }
            // the next follows this one, eased as it is
            let strip = offset::strip(&path.flatten(chord), 2.0 * o.spacing, true, chord);
            edge = combine::simplified(&combine::difference(&edge, &strip), 0.5 * offset::TIDY_MM);
            let main = edge.split().max_by(|a, b| a.area().total_cmp(&b.area()));
            match main {
                Some(main) => edge = main,
                None => break,
            }
        }
    }
}

fn rounds(room: &mut Room<'_>) {
    let o = room.order;
    let most = o.courses.unwrap_or(ROUNDS).min(ROUNDS);
    let mut rest = room.rest();
    for _ in 0..most {
        let before = room.courses.len();
        rest = long_enough(&rest, o.shortest);
        if rest.is_empty() || room.lay_along(&rest) == 0.0 {
            break;
        }
        rest = room.rest_of(&rest, before);
    }
}

/// Straight courses in what the rounds leave, along the edges of each place:
/// loops cannot close in the middle of a shape narrower than two radii.
fn fill_rest(room: &mut Room<'_>) {
    let o = room.order;
    if o.courses.is_some() || o.spacing > 1.5 * o.width {
        return;
    }
    let rest = room.rest();
    for part in rest.split() {
        if part.area() < 0.5 * o.spacing * o.shortest {
            continue;
        }
        let mut angles: Vec<(f64, f64)> = part
            .rings()
            .flat_map(polyline::ring_edges)
            .map(|(a, b)| (a.dist(b), trig::atan2(b.y - a.y, b.x - a.x)))
            .collect();
        angles.sort_by(|a, b| b.0.total_cmp(&a.0));
        let steps = (0..12).map(|k| std::f64::consts::PI * f64::from(k) / 12.0);
        let tried: Vec<f64> = angles.iter().take(3).map(|a| a.1).chain(steps).collect();
        unidirectional::lay_best(room, &part, &tried);
    }
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
    let rest = combine::difference_all(&band, &strips);
    for a in rest.split() {
        let length = a.area() / o.spacing;
        if length > o.width {
            let at = a.polygons()[0].outer()[0];
            let reason = "no course of this bend radius and shortest length fits beside the others";
            room.leave_out(reason, length, Some(at));
        }
    }
}

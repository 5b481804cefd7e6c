//! Ends of courses, led on until a corner of the strip meets a wall.
//!
//! A strip ends square. Lines are proposed where a disc of the tow's width has
//! room, so against a wall that the course meets at an angle phi its end stops
//! short by w / 2 tan(phi / 2): half a width at a wall square to it. What is led
//! on is straight, so the gate that made the course has nothing to refuse.

use super::Course;
use super::room::Room;
use crate::geom::nearest::Lines;
use crate::geom::{Area, Path, Point, Segment, bend, polyline};
use crate::job::Rule;
use rstar::{AABB, RTree, RTreeObject};

/// Farthest that an end is led on, in tow widths: hollows in the ends of shapes, where
/// loops do not close, are filled so.
const FARTHEST_WIDTHS: f64 = 10.0;

/// The same of courses that follow a field, which turns meanwhile.
const FARTHEST_STEERED_WIDTHS: f64 = 2.0;

fn farthest_widths(rule: Rule) -> f64 {
    if rule == Rule::Steered { FARTHEST_STEERED_WIDTHS } else { FARTHEST_WIDTHS }
}

/// What is kept to a wall on top of nothing, mm: the plan's and the program's
/// rounding, and the chords of a round wall.
const KEPT_MM: f64 = 4e-3;

/// What is not worth a longer line, mm.
const LEAST_MM: f64 = 0.02;

/// A straight piece that an end must not pass.
#[derive(Clone, Copy, Debug)]
struct Piece {
    a: Point,
    b: Point,
    kind: Kind,
}

#[derive(Clone, Copy, Debug)]
enum Kind {
    /// The strip's corners may touch it where it is the outline's; elsewhere half a
    /// width is left.
    Wall,
    /// Tow of a course: its number and the length at which the piece begins.
    Tow(usize, f64),
}

impl RTreeObject for Piece {
    type Envelope = AABB<[f64; 2]>;
    fn envelope(&self) -> Self::Envelope {
        AABB::from_corners([self.a.x, self.a.y], [self.b.x, self.b.y])
    }
}

/// Everything that ends of a region's courses must not pass.
pub(super) struct Bounds {
    pieces: RTree<Piece>,
    /// The outline less its perimeters.
    outline: Lines,
    width: f64,
    /// Farthest that an end is led on, mm.
    farthest: f64,
    /// How much nearer than its width fitted tow may lie, mm.
    hair: f64,
}

/// Number of the courses that other regions laid.
const OTHERS: usize = usize::MAX;

impl Bounds {
    /// For the courses of a room: from the area in which the strips must lie, the
    /// outline less its perimeters and the courses of other regions. Where the area
    /// ends within the outline another region may begin: there half a width is left
    /// as before.
    fn new(room: &Room<'_>, within: &Area, inside: &Area, others: &[Course]) -> Self {
        let order = &room.order;
        // only what lies near an end that may be led on
        let paths = room.courses.iter().map(Course::path).chain(&room.short);
        let ends = paths.filter(|p| !p.closed).flat_map(|p| [p.start(), p.end()]).flatten();
        let ends = RTree::bulk_load(ends.map(|p| [p.x, p.y]).collect());
        let reach = (farthest_widths(order.rule) + 2.0) * order.width;
        let near = |piece: &Piece| {
            let (lo, hi) = (piece.envelope().lower(), piece.envelope().upper());
            let around = AABB::from_corners([lo[0] - reach, lo[1] - reach], [hi[0] + reach, hi[1] + reach]);
            ends.locate_in_envelope(around).next().is_some()
        };
        let mut pieces: Vec<Piece> = within
            .rings()
            .flat_map(polyline::ring_edges)
            .map(|(a, b)| Piece { a, b, kind: Kind::Wall })
            .collect();
        let others = others.iter().map(|c| (OTHERS, c.wanted()));
        for (number, path) in others.chain(room.courses.iter().map(Course::path).enumerate()) {
            let mut at = 0.0;
            for w in path.flatten(bend::PROPOSAL_CHORD_MM).windows(2) {
                pieces.push(Piece { a: w[0], b: w[1], kind: Kind::Tow(number, at) });
                at += w[0].dist(w[1]);
            }
        }
        pieces.retain(near);
        Self {
            pieces: RTree::bulk_load(pieces),
            outline: Lines::boundary(inside),
            width: order.width,
            farthest: farthest_widths(order.rule) * order.width,
            hair: order.outside(),
        }
    }

    /// How far a course can be led on beyond a point that lies at a length of it, when
    /// its other end was led on by `own`.
    fn reach(&self, p: Point, along: Point, course: usize, at: f64, own: Option<Piece>) -> f64 {
        let w = self.width;
        let farthest = self.farthest;
        let (half, across) = (0.5 * w, along.left());
        let far = p + along * (farthest + w);
        let around = AABB::from_corners(
            [p.x.min(far.x) - w, p.y.min(far.y) - w],
            [p.x.max(far.x) + w, p.y.max(far.y) + w],
        );
        let mut reach = farthest;
        for piece in self.pieces.locate_in_envelope_intersecting(around).chain(&own) {
            let local = |q: Point| Point::new((q - p).dot(along), (q - p).dot(across));
            let (a, b) = (local(piece.a), local(piece.b));
            let limit = match piece.kind {
                Kind::Wall if self.outline.distance(piece.a.lerp(piece.b, 0.5)) < KEPT_MM => {
                    beam(a, b, half - KEPT_MM, -half).map(|x| x - KEPT_MM)
                }
                Kind::Wall => round(a, b, half - KEPT_MM),
                // a course is always near its own end
                Kind::Tow(c, s) if c == course && (s - at).abs() < 1.6 * w => None,
                Kind::Tow(..) => {
                    // neighbours lie a width to the side, fitted lines a hair less
                    let now = polyline::point_segment_distance(Point::default(), a, b);
                    let hair = if now > w - self.hair { now.min(w) } else { w };
                    round(a, b, hair - 1e-6)
                }
            };
            if let Some(limit) = limit {
                reach = reach.min(limit);
            }
        }
        reach
    }

    /// A path led on at both ends, and the pieces added.
    fn led_on(&self, path: &Path, course: usize) -> (Path, Vec<(Point, Point)>) {
        let mut added = Vec::new();
        let whole = path.length();
        let mut path = path.clone();
        // pieces are told by their length from the start of the course as laid
        for at in [0.0, whole] {
            path = path.reversed();
            let (Some(p), Some(last)) = (path.end(), path.segments.last().copied()) else { continue };
            let along = last.tangent_at(last.length());
            // the ends of a course that nearly closes may lie face to face
            let other = added.first().map(|&(a, b)| Piece { a, b, kind: Kind::Tow(course, f64::INFINITY) });
            let more = self.reach(p, along, course, at, other);
            if more < LEAST_MM {
                continue;
            }
            let to = p + along * more;
            added.push((p, to));
            match (path.segments.last_mut(), last) {
                (Some(s), Segment::Line { from, .. }) => *s = Segment::Line { from, to },
                _ => path.segments.push(Segment::Line { from: p, to }),
            }
        }
        (path, added)
    }

    /// Remembers what was led on, here and in the room.
    fn remember(&mut self, room: &mut Room<'_>, course: usize, added: Vec<(Point, Point)>) {
        for (a, b) in added {
            room.note(&[a, b]);
            // no part of the course before it is as far along as this
            self.pieces.insert(Piece { a, b, kind: Kind::Tow(course, f64::INFINITY) });
        }
    }
}

/// The nearest place, from `behind` on, at which a piece lies in the beam of this
/// half width along x.
fn beam(a: Point, b: Point, half: f64, behind: f64) -> Option<f64> {
    if a.y.min(b.y) >= half || a.y.max(b.y) <= -half {
        return None;
    }
    // the part of the piece within the beam
    let at = |y: f64| ((y - a.y) / (b.y - a.y)).clamp(0.0, 1.0);
    let (t0, t1) = if (b.y - a.y).abs() < 1e-12 { (0.0, 1.0) } else { (at(-half), at(half)) };
    let (x0, x1) = (a.lerp(b, t0).x, a.lerp(b, t1).x);
    (x0.max(x1) > behind).then(|| x0.min(x1))
}

/// How far a disc of this radius comes along x before it meets a piece; `None`
/// when it does not. Pieces behind it are passed.
fn round(a: Point, b: Point, radius: f64) -> Option<f64> {
    let off = |x: f64| polyline::point_segment_distance(Point::new(x, 0.0), a, b);
    if a.y.min(b.y) >= radius || a.y.max(b.y) <= -radius || a.x.max(b.x) <= 1e-9 {
        return None;
    }
    if off(0.0) < radius {
        return Some(0.0);
    }
    // the distance to a piece is convex along a line: first where it is least
    let (mut lo, mut hi) = (0.0, a.x.max(b.x) + radius);
    for _ in 0..40 {
        let (m, n) = (lo + (hi - lo) / 3.0, hi - (hi - lo) / 3.0);
        if off(m) <= off(n) { hi = n } else { lo = m }
    }
    if off(lo) >= radius {
        return None;
    }
    let (mut free, mut met) = (0.0, lo);
    for _ in 0..40 {
        let m = 0.5 * (free + met);
        if off(m) >= radius { free = m } else { met = m }
    }
    Some(free)
}

/// Leads the ends of a room's courses on, and lays what was just too short to be
/// laid and is not any more. `within` is the area in which the strips must lie,
/// `inside` the outline less its perimeters, `others` the courses of other regions,
/// `radius` what the tow must keep: a room whose loops are wound to spirals asks more.
pub(super) fn lead_on(room: &mut Room<'_>, within: &Area, inside: &Area, others: &[Course], radius: f64) {
    let o = room.order;
    if room.short.is_empty() && room.courses.iter().all(|c| c.path().closed) {
        return;
    }
    let mut bounds = Bounds::new(room, within, inside, others);
    for i in 0..room.courses.len() {
        let c = &room.courses[i];
        if c.path().closed {
            continue;
        }
        let (longer, added) = bounds.led_on(c.path(), i);
        if added.is_empty() {
            continue;
        }
        if let Ok(made) = c.relaid(longer, radius, o.shortest) {
            bounds.remember(room, i, added);
            room.courses[i] = made;
        }
    }
    let mut short = std::mem::take(&mut room.short);
    short.sort_by(|a, b| b.length().total_cmp(&a.length()));
    for path in short {
        let number = room.courses.len();
        let (longer, _) = bounds.led_on(&path, number);
        if longer.length() < o.shortest || !room.clear(&longer) || !room.keeps_off_itself(&longer) {
            continue;
        }
        let line = longer.flatten(bend::PROPOSAL_CHORD_MM);
        if let Ok(made) = o.course(longer, radius, o.shortest) {
            room.not_left_out(&path);
            bounds.remember(room, number, line.windows(2).map(|w| (w[0], w[1])).collect());
            room.courses.push(made);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::order::Order;
    use super::*;
    use crate::geom::{combine, pt, trig};

    fn laid(ring: &[Point], shortest: f64) -> Room<'static> {
        let order = Order { radius: 50.0, shortest, ..Order::sample(Rule::Unidirectional) };
        let area = combine::ring_area(ring);
        let mut room = Room::new(order, &area);
        super::super::unidirectional::lay(&mut room);
        lead_on(&mut room, &area, &area, &[], 4.0);
        room
    }

    #[test]
    fn rows_end_flush_with_a_wall_square_to_them() {
        let room = laid(&[pt(0.0, 0.0), pt(40.0, 0.0), pt(40.0, 9.5), pt(0.0, 9.5)], 20.0);
        assert_eq!(room.courses.len(), 9, "rows");
        for c in &room.courses {
            assert!((c.length_mm() - (40.0 - 2.0 * KEPT_MM)).abs() < 1e-6, "{}", c.length_mm());
        }
    }

    #[test]
    fn a_corner_of_the_strip_meets_an_oblique_wall() {
        // walls at 60 degrees to the rows: the corner is w / 2 cot(phi) ahead of the middle
        let lean = 10.0 / trig::tan(60.0_f64.to_radians());
        let room = laid(&[pt(0.0, 0.0), pt(40.0, 0.0), pt(40.0 + lean, 10.0), pt(lean, 10.0)], 20.0);
        let form = 40.0 - 2.0 * 0.5 / trig::tan(60.0_f64.to_radians());
        assert!(room.courses.len() >= 9, "rows");
        for c in &room.courses {
            assert!((c.length_mm() - form).abs() < 0.03, "{} against {form}", c.length_mm());
        }
    }

    #[test]
    fn what_was_just_too_short_is_laid_from_wall_to_wall() {
        let ring = [pt(0.0, 0.0), pt(20.2, 0.0), pt(20.2, 6.5), pt(0.0, 6.5)];
        let room = laid(&ring, 20.0);
        assert_eq!(room.courses.len(), 6, "as long as the part is");
        assert_eq!(room.left_out, [], "what is laid is not left out");
        let room = laid(&ring, 20.3);
        assert_eq!(room.courses.len(), 0, "longer than the part");
        assert!(!room.left_out.is_empty(), "and told");
    }

    #[test]
    fn ends_face_to_face_keep_a_width_between_them() {
        let line = |from, to| Segment::Line { from, to };
        let arc = |from, to, centre| Segment::Arc(crate::geom::Arc { from, to, centre, ccw: true });
        // a racetrack with 3 mm of its lower straight missing
        let path = Path::new(
            vec![
                line(pt(12.0, 0.0), pt(20.0, 0.0)),
                arc(pt(20.0, 0.0), pt(20.0, 10.0), pt(20.0, 5.0)),
                line(pt(20.0, 10.0), pt(0.0, 10.0)),
                arc(pt(0.0, 10.0), pt(0.0, 0.0), pt(0.0, 5.0)),
                line(pt(0.0, 0.0), pt(9.0, 0.0)),
            ],
            false,
        );
        let area = combine::ring_area(&[pt(-20.0, -20.0), pt(40.0, -20.0), pt(40.0, 30.0), pt(-20.0, 30.0)]);
        let mut room = laid(&[pt(0.0, 0.0), pt(1.0, 0.0), pt(0.0, 1.0)], 20.0);
        room.replace(vec![Course::new("test".into(), Rule::Contour, 0, path, 4.0, 20.0).expect("a course")]);
        lead_on(&mut room, &area, &area, &[], 4.0);
        let path = room.courses[0].path();
        let gap = path.start().zip(path.end()).map_or(0.0, |(a, b)| a.x - b.x);
        assert!((gap - 1.0).abs() < 1e-3, "{gap}");
    }

    #[test]
    fn an_end_stops_a_width_short_of_other_tow() {
        let disc = |x: f64, y: f64, q: f64| round(pt(x, y - 5.0), pt(x, y + 5.0), q);
        assert!((disc(3.0, 0.0, 1.0).unwrap_or(9.0) - 2.0).abs() < 1e-6, "square to it");
        assert!(disc(-3.0, 0.0, 1.0).is_none(), "behind it");
        let slanted = round(pt(0.0, 4.0), pt(4.0, 0.0), 1.0);
        assert!((slanted.unwrap_or(9.0) - (4.0 - 2.0_f64.sqrt())).abs() < 1e-6, "{slanted:?}");
    }
}

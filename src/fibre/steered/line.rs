//! Lines that follow a field, led step by step: beside tow that is there while the field
//! allows it, and never turning faster than the bend radius.

use super::relaxed::Relaxed;
use crate::count::f64_of;
use crate::fibre::order::Order;
use crate::fibre::room::Room;
use crate::geom::nearest::Lines;
use crate::geom::{Point, bend, offset, polyline, trig};

/// How far a course may lie off the field to come or stay beside its neighbour,
/// radians: 11 degrees. Where fields fan out that closes most of the seams that tow of
/// one width leaves, and keeps the mean of all angles as it is at 7 degrees.
pub(super) const KEEP_RAD: f64 = 0.2;

/// Gaps to the neighbour that are closed, in spacings: in a wider one another
/// course finds its place.
const CLOSED_UP_TO: f64 = 0.99;

/// How far a line that comes round may pass beside its beginning and still be
/// closed, as a share of its length, which is how far it then lies off the field,
/// radians: what is left between samples of a field is no spiral.
const CLOSED_RAD: f64 = 0.06;

/// Where a course would lie off the field by more than this it ends, radians.
pub(super) const STOP_RAD: f64 = 0.61;

/// Extra radius of traced lines, as a share: the fit's arcs need room.
pub(super) const MARGIN: f64 = 0.06;

/// Distance to the neighbour beyond the spacing, mm: traced lines and fitted ones
/// differ by no more.
pub(super) const BESIDE_MM: f64 = 0.012;

/// How much a course may be led towards its neighbour to close a gap, and away from it to
/// open one, radians beside the neighbour's direction: away more, for a gap too narrow
/// ends a course.
const CLOSED_BY: f64 = 0.25;
const OPENED_BY: f64 = 0.5;

/// A line that follows the field.
pub(super) struct Line {
    pub(super) points: Vec<Point>,
    pub(super) closed: bool,
    /// mm.
    pub(super) length: f64,
    /// Where it looked for tow beside it, place by place along it.
    looks: Vec<Look>,
}

/// A place where a line looked for tow.
#[derive(Clone, Copy)]
struct Look {
    at: Point,
    /// How far off the nearest was, mm, or how far it looked.
    off_tow: f64,
}

impl Line {
    /// Tow along these lines would have led it elsewhere.
    pub(super) fn minds(&self, tow: &Lines, tracer: &Tracer<'_>) -> bool {
        let farthest = tracer.looks_within() + tracer.step;
        let mut k = 0;
        while let Some(look) = self.looks.get(k) {
            let off = tow.distance_within(look.at, LOOK_PAST * farthest);
            // further off than the nearest no tow matters, but where it is in the way; a step
            // more: places up to so far from this one are asked too
            if off < look.off_tow.max(tracer.spacing) + tracer.step {
                return true;
            }
            // two looks lie no more than two steps apart
            k += tracer.steps(0.5 * (off.min(LOOK_PAST * farthest) - farthest)).max(1);
        }
        false
    }

    /// The line passes a place so nearly that another line through it is this one again.
    pub(super) fn passes(&self, p: Point, tracer: &Tracer<'_>) -> bool {
        let mut k = 0;
        while let Some([a, b]) = self.points.get(k..k + 2) {
            let off = polyline::point_segment_distance(p, *a, *b);
            if off < SAME_MM {
                return true;
            }
            k += tracer.steps(off - SAME_MM).max(1);
        }
        false
    }
}

/// Lines that pass so near to one another are one line, mm.
const SAME_MM: f64 = 0.02;

/// How far tow is looked for where it is asked whether a line minds it, as a multiple of the
/// distance within which it can matter: places are passed over that lie far from it.
const LOOK_PAST: f64 = 6.0;

/// What leads lines.
pub(super) struct Tracer<'a> {
    field: &'a Relaxed,
    /// Length of a step, mm.
    step: f64,
    /// Most that a line turns in a step, radians.
    turn: f64,
    pub(super) spacing: f64,
    /// Beside these a line keeps as it does beside tow.
    kerbs: Option<Lines>,
}

impl<'a> Tracer<'a> {
    pub(super) fn new(field: &'a Relaxed, order: &Order<'_>) -> Self {
        let step = 0.7 * (8.0 * order.radius * bend::PROPOSAL_CHORD_MM).sqrt();
        Self {
            field,
            step,
            turn: step / (order.radius * (1.0 + MARGIN)),
            spacing: order.spacing,
            kerbs: None,
        }
    }

    /// One whose lines keep beside the walls as they do beside tow, as if tow lay outside
    /// them.
    pub(super) fn beside_walls(field: &'a Relaxed, room: &Room<'_>) -> Self {
        let o = room.order;
        let outside = offset::grown(&room.area, o.spacing, bend::PROPOSAL_CHORD_MM);
        Self { kerbs: Some(Lines::boundary(&outside)), ..Self::new(field, &o) }
    }

    /// The line through a seed: once round where it comes back to it, else both ways.
    pub(super) fn trace(&self, room: &Room<'_>, seed: Point, along: Option<Point>) -> Line {
        let angle = match along {
            Some(t) => self.wanted(room, seed, trig::atan2(t.y, t.x)).0,
            None => self.field.at(seed),
        };
        let mut looks = Vec::new();
        let (forward, back) = self.run(room, seed, angle, &[], &mut looks);
        if let Some(end) = back {
            let points = closed_up(&forward, end);
            let length = polyline::ring_length(&points);
            return Line { points, closed: true, length, looks };
        }
        looks.reverse();
        let (mut points, _) = self.run(room, seed, angle + std::f64::consts::PI, &forward, &mut looks);
        points.reverse();
        points.pop();
        points.extend(forward);
        let length = polyline::length(&points);
        Line { points, closed: false, length, looks }
    }

    /// One way from a seed, and where the line would go on beside the seed if it
    /// comes back to it. It keeps off the other way, which is there already.
    fn run(
        &self,
        room: &Room<'_>,
        seed: Point,
        angle: f64,
        other: &[Point],
        looks: &mut Vec<Look>,
    ) -> (Vec<Point>, Option<Point>) {
        let mut line = vec![seed];
        let start = Point::unit(angle);
        let (mut p, mut heading) = (seed, angle);
        let most = 200_000;
        while line.len() < most {
            let (wanted, off, look) = self.wanted(room, p, heading);
            looks.push(look);
            if off > STOP_RAD {
                break;
            }
            let turn = trig::wrapped(wanted - heading).clamp(-self.turn, self.turn);
            // a chord of the arc that turns by so much
            let q = p + Point::unit(heading + 0.5 * turn) * self.step;
            heading += turn;
            // what is near has just been looked for nearly there
            let clear = look.off_tow - q.dist(look.at) > room.order.apart();
            let free = if clear { room.is_within(q) } else { room.is_free(q) };
            if !free || self.comes_near(q, other, self.spacing) {
                break;
            }
            // a line that winds onto itself ends; what goes on beside it is another's
            if self.winds_onto(&line, q) {
                break;
            }
            // once round and back, past the seed or beside it
            let beside = seed + start * (q - seed).dot(start);
            if line.len() > 20 && (p - seed).dot(start) < 0.0 && (q - seed).dot(start) >= 0.0 {
                let length = self.step * f64_of(line.len());
                let missed = q.dist(beside);
                if missed < (CLOSED_RAD * length).max(0.9 * self.spacing) && missed < 0.2 * length {
                    let same_way = Point::unit(heading).dot(start) > 0.9;
                    return (line, same_way.then_some(q));
                }
            }
            line.push(q);
            p = q;
        }
        (line, None)
    }

    /// A place is nearer than this to a line, but for its beginning, where the place
    /// may have come from.
    fn comes_near(&self, p: Point, line: &[Point], within: f64) -> bool {
        let beginning = self.steps(4.0 * within);
        line.get(beginning.max(1)..).is_some_and(|rest| self.passes(p, rest, within))
    }

    /// A line passes a place nearer than this.
    pub(super) fn passes(&self, p: Point, line: &[Point], within: f64) -> bool {
        let mut k = 0;
        while let Some(q) = line.get(k) {
            let d = p.dist(*q);
            if d < within {
                return true;
            }
            // points are a step apart: none before this one can be near enough
            k += self.steps(d - within).max(1);
        }
        false
    }

    /// A place lies nearer than a spacing to a line that leads to it, but for its last
    /// part; and not at its beginning, where the line may close.
    fn winds_onto(&self, line: &[Point], p: Point) -> bool {
        let last = self.steps(4.0 * self.spacing);
        let until = line.len().saturating_sub(last.max(20));
        self.comes_near(p, &line[..until], 0.98 * self.spacing)
    }

    /// How many steps there are in a length.
    fn steps(&self, mm: f64) -> usize {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a share of a line")]
        let steps = (mm / self.step) as usize;
        steps
    }

    /// Tow at this distance from a line or nearer turns it, mm.
    fn looks_within(&self) -> f64 {
        (1.0 + CLOSED_UP_TO) * self.spacing
    }

    /// The heading wanted at a point by a line that goes along `heading`, how far that
    /// heading lies off the field, radians, and where it looked for tow.
    fn wanted(&self, room: &Room<'_>, p: Point, heading: f64) -> (f64, f64, Look) {
        let sensed = |angle: f64| {
            let off = trig::wrapped(angle - heading);
            if off.abs() > std::f64::consts::FRAC_PI_2 { angle + std::f64::consts::PI } else { angle }
        };
        // asked at the step's end: asked where it begins, a line would drift out of its bends
        let ahead = p + Point::unit(heading) * self.step;
        let field = sensed(self.field.at(ahead));
        let mut wanted = field;
        let mut off_tow = self.looks_within();
        let tow = room.nearest_tow(ahead, off_tow);
        let kerb = self.kerbs.as_ref().and_then(|kerbs| kerbs.nearest_within(ahead, off_tow));
        let off = |near: &(Point, Point)| ahead.dist(near.0);
        let nearest = [tow, kerb].into_iter().flatten().min_by(|a, b| off(a).total_cmp(&off(b)));
        if let Some((near, direction)) = nearest {
            off_tow = ahead.dist(near);
            let gap = off_tow - self.spacing;
            if gap < CLOSED_UP_TO * self.spacing {
                let beside = sensed(trig::atan2(direction.y, direction.x));
                // the gap is closed, or opened, within two spacings
                let left = (near - ahead).dot(Point::unit(beside).left()) > 0.0;
                let inwards = trig::atan2(gap - BESIDE_MM, 2.0 * self.spacing);
                let inwards = inwards.clamp(-OPENED_BY, CLOSED_BY);
                let kept = beside + if left { inwards } else { -inwards };
                let off = trig::wrapped(kept - field);
                let away = inwards < 0.0 && (off > 0.0) != left;
                wanted = if away { kept } else { field + off.clamp(-KEEP_RAD, KEEP_RAD) };
            }
        }
        let off = trig::wrapped(wanted - field).abs();
        (wanted, off, Look { at: ahead, off_tow })
    }
}

/// A line once round, its end led onto its beginning: by how much it has missed it
/// sideways is shared out over its whole length.
fn closed_up(line: &[Point], end: Point) -> Vec<Point> {
    let (Some(&first), Some(&second)) = (line.first(), line.get(1)) else { return line.to_vec() };
    let along = (second - first).normalised().unwrap_or_default();
    let missed = (end - first).dot(along.left());
    let part = |k: usize| f64_of(k) / f64_of(line.len());
    let mut out: Vec<Point> = Vec::with_capacity(line.len());
    for (k, p) in line.iter().enumerate() {
        let next = line.get(k + 1).copied().unwrap_or(end);
        let aside = (next - *p).normalised().unwrap_or(along).left();
        out.push(*p - aside * (missed * part(k)));
    }
    // the last point may stand beyond the beginning already
    while out.len() > 3
        && out.last().is_some_and(|l| (*l - first).dot(along) > -0.2 * (second - first).norm())
    {
        out.pop();
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::directions::Directions;
    use super::super::seeds::Seeds;
    use super::*;
    use crate::geom::{combine, pt, smooth};
    use crate::job::field::Sample;
    use crate::job::{Field, Rule};
    use std::f64::consts::TAU;

    fn order() -> Order<'static> {
        Order::sample(Rule::Steered)
    }

    #[test]
    fn beside_a_wall_a_line_keeps_to_it_while_the_field_allows() {
        let plate = combine::ring_area(&[pt(0.0, 0.0), pt(80.0, 0.0), pt(80.0, 30.0), pt(0.0, 30.0)]);
        let room = Room::new(order(), &plate);
        // what the field turns away from the wall, degrees, and whether a line stays there
        for (turned, stays) in [(8.0, true), (20.0, false)] {
            let sample = |x: f64, y: f64| Sample { at_mm: [x, y], angle_deg: turned, weight: 1.0 };
            let samples = vec![sample(0.0, 0.0), sample(80.0, 0.0), sample(0.0, 30.0), sample(80.0, 30.0)];
            let bounds = room.area.bounds().expect("a plate");
            let field = Relaxed::new(&Directions::new(&Field { samples }), bounds, 5.0);
            let furthest = |tracer: &Tracer<'_>| {
                let mut walls = Seeds::along_walls(&room);
                let lines = walls.lines(&room, tracer);
                let low =
                    lines.iter().filter(|l| l.points.iter().any(|p| p.y < 0.6 && p.x > 10.0 && p.x < 70.0));
                low.map(|l| l.points.iter().map(|p| p.y).fold(0.0, f64::max)).fold(f64::INFINITY, f64::min)
            };
            let up = furthest(&Tracer::beside_walls(&field, &room));
            assert_eq!(up < 0.6, stays, "{turned} degrees: {up} mm up");
            let up = furthest(&Tracer::new(&field, &order()));
            assert!(up > 1.0, "{turned} degrees, walls or not: {up} mm up");
        }
    }

    #[test]
    fn a_line_once_round_is_closed_where_it_began() {
        // an orbit of radius 10 that comes back 0.8 mm further out
        let at = |k: u32| {
            let share = f64::from(k) / 200.0;
            Point::unit(TAU * share) * (10.0 + 0.8 * share)
        };
        let line: Vec<Point> = (0..200).map(at).collect();
        let closed = closed_up(&line, at(200));
        let seam = closed[0].dist(closed[closed.len() - 1]);
        assert!(seam > 0.1 && seam < 0.7, "one step apart: {seam}");
        assert!(closed.iter().all(|p| (p.norm() - 10.0).abs() < 0.05), "a circle again");
    }

    #[test]
    fn a_line_keeps_off_its_other_way() {
        let ring = combine::difference(
            &smooth::disc(pt(0.0, 0.0), 24.0, 0.004),
            &smooth::disc(pt(0.0, 0.0), 12.0, 0.004),
        );
        let room = Room::new(order(), &ring);
        let samples = vec![Sample { at_mm: [0.0, 18.0], angle_deg: 0.0, weight: 1.0 }];
        let relaxed =
            Relaxed::new(&Directions::new(&Field { samples }), room.area.bounds().expect("a ring"), 5.0);
        let tracer = Tracer { field: &relaxed, step: 0.25, turn: 0.05, spacing: 1.0, kerbs: None };
        let line: Vec<Point> = (0..400).map(|k| pt(0.25 * f64::from(k), 0.0)).collect();
        assert!(tracer.comes_near(pt(50.1, 0.9), &line, 1.0));
        assert!(!tracer.comes_near(pt(50.1, 1.1), &line, 1.0));
        assert!(tracer.comes_near(pt(99.9, 0.5), &line, 1.0), "the far end");
        assert!(!tracer.comes_near(pt(0.5, 0.5), &line, 1.0), "where it came from");
    }
}

//! Courses that follow a direction field, side by side.
//!
//! Jobard & Lefer, *Creating evenly-spaced streamlines of arbitrary density*,
//! Visualization in Scientific Computing '97, 43-55: new lines are seeded at the
//! wanted distance from lines that are there, and a line stops where it would come
//! too near. Differs in that a line keeps to its neighbour while the field allows
//! it ([`KEEP_RAD`]), so that tow lies beside tow where directions fan out slowly;
//! that the field is first relaxed where it asks for more than the tow can bend
//! ([`Relaxed`]), and that a line never turns faster than the bend radius allows, so
//! that singular points are passed; and that of several seeds beside a
//! line the one with the longest course is laid, so that there are few ends.

use super::relaxed::Relaxed;
use super::room::Room;
use crate::geom::{Point, bend, trig};
use crate::job::Field;
use rstar::RTree;
use rstar::primitives::GeomWithData;

/// How far a course may lie off the field to come or stay beside its neighbour,
/// radians: 7 degrees cost a unidirectional ply some per cent of its stiffness
/// (common practice), a gap between courses costs more.
const KEEP_RAD: f64 = 0.12;

/// Gaps to the neighbour that are closed, in spacings: in a wider one another
/// course finds its place.
const CLOSED_UP_TO: f64 = 0.99;

/// Where a course would lie off the field by more than this it ends, radians.
const STOP_RAD: f64 = 0.61;

/// Neighbours that a direction is averaged over.
const NEIGHBOURS: usize = 8;

/// Seeds tried along each side of a course.
const SEEDS: usize = 7;

/// Extra radius of traced lines, as a share: the fit's arcs need room.
const MARGIN: f64 = 0.06;

/// Distance to the neighbour beyond the spacing, mm: traced lines and fitted ones
/// differ by no more.
const BESIDE_MM: f64 = 0.012;

/// A field that can be asked anywhere.
#[derive(Debug)]
pub(crate) struct Directions {
    tree: RTree<GeomWithData<[f64; 2], [f64; 3]>>,
}

impl Directions {
    pub(crate) fn new(field: &Field) -> Self {
        let points = field
            .samples
            .iter()
            .map(|s| {
                // twice the angle: directions have no sense
                let (sin, cos) = trig::sin_cos(2.0 * s.angle_deg.to_radians());
                GeomWithData::new(s.at_mm, [cos, sin, s.weight])
            })
            .collect();
        Self { tree: RTree::bulk_load(points) }
    }

    /// The direction at a point, radians: of its nearest samples, by inverse
    /// squared distance and weight (Shepard 1968).
    pub(crate) fn at(&self, p: Point) -> f64 {
        let mut sum = Point::default();
        for s in self.tree.nearest_neighbor_iter([p.x, p.y]).take(NEIGHBOURS) {
            let [x, y] = *s.geom();
            let [cos, sin, weight] = s.data;
            let d2 = (p - Point::new(x, y)).norm2();
            sum = sum + Point::new(cos, sin) * (weight / (d2 + 1e-6));
        }
        0.5 * trig::atan2(sum.y, sum.x)
    }
}

/// Lays steered courses.
pub(super) fn lay(room: &mut Room<'_>, field: &Directions) {
    let o = room.order;
    let step = 0.7 * (8.0 * o.radius * bend::PROPOSAL_CHORD_MM).sqrt();
    let Some(bounds) = room.area.bounds() else { return tell(room) };
    let field = Relaxed::new(field, bounds, o.radius * (1.0 + MARGIN));
    let tracer = Tracer { field: &field, step, turn: step / (o.radius * (1.0 + MARGIN)), spacing: o.spacing };
    let told = room.left_out.len();
    let mut beside = 0;
    // a first course, or one in a place that none beside another reaches
    while let Some(line) = first(room, &tracer) {
        if room.lay_line(&line) == 0.0 {
            break;
        }
        while beside < room.courses.len() {
            let laid = next_to(room, &tracer, beside);
            if !laid {
                beside += 1;
            }
        }
    }
    room.left_out.truncate(told);
    tell(room);
}

/// Seeds on a grid, in places of their own.
fn first(room: &Room<'_>, tracer: &Tracer<'_>) -> Option<Vec<Point>> {
    let o = room.order;
    let b = room.area.bounds()?;
    let size = b.size();
    // a seed for every square of the shortest course's area, at most so many
    let cell = (o.shortest * o.spacing).sqrt().max(size.x.max(size.y) / 40.0);
    let mut best: Option<(f64, Vec<Point>)> = None;
    let mut y = b.lo.y + 0.5 * cell;
    while y < b.hi.y {
        let mut x = b.lo.x + 0.5 * cell;
        while x < b.hi.x {
            let seed = Point::new(x, y);
            if room.room_at(seed) > 0.0
                && let Some((length, line)) = tracer.trace(room, seed, None)
                && best.as_ref().is_none_or(|(l, _)| length > *l + 1e-9)
            {
                best = Some((length, line));
            }
            x += cell;
        }
        y += cell;
    }
    best.filter(|(length, _)| *length >= o.shortest).map(|(_, line)| line)
}

/// Lays the longest course that begins beside another. Gives whether there was one.
fn next_to(room: &mut Room<'_>, tracer: &Tracer<'_>, course: usize) -> bool {
    let o = room.order;
    let path = room.courses[course].path().clone();
    let length = path.length();
    let mut best: Option<(f64, Vec<Point>)> = None;
    for k in 0..SEEDS {
        #[expect(clippy::cast_precision_loss, reason = "a handful")]
        let s = length * (k as f64 + 0.5) / SEEDS as f64;
        let (Some(p), Some(t)) = (path.point_at(s), path.tangent_at(s)) else { continue };
        for side in [1.0, -1.0] {
            let seed = p + t.left() * (side * (o.spacing + BESIDE_MM));
            if room.room_at(seed) < 0.0 {
                continue;
            }
            if let Some((length, line)) = tracer.trace(room, seed, Some(t))
                && best.as_ref().is_none_or(|(l, _)| length > *l + 1e-9)
            {
                best = Some((length, line));
            }
        }
    }
    match best {
        Some((length, line)) if length >= o.shortest => {
            let before = room.courses.len();
            room.lay_line(&line);
            room.courses.len() > before
        }
        _ => false,
    }
}

struct Tracer<'a> {
    field: &'a Relaxed,
    step: f64,
    /// Most that a line turns in a step, radians.
    turn: f64,
    spacing: f64,
}

impl Tracer<'_> {
    /// The line through a seed, both ways, and its length.
    fn trace(&self, room: &Room<'_>, seed: Point, along: Option<Point>) -> Option<(f64, Vec<Point>)> {
        let angle = match along {
            Some(t) => self.wanted(room, seed, trig::atan2(t.y, t.x))?.0,
            None => self.field.at(seed),
        };
        let forward = self.run(room, seed, angle);
        let mut line = self.run(room, seed, angle + std::f64::consts::PI);
        line.reverse();
        line.pop();
        line.extend(forward);
        // as many steps as points, all alike
        #[expect(clippy::cast_precision_loss, reason = "points of one line")]
        let length = self.step * line.len().saturating_sub(1) as f64;
        (line.len() > 2).then_some((length, line))
    }

    fn run(&self, room: &Room<'_>, seed: Point, angle: f64) -> Vec<Point> {
        let mut line = vec![seed];
        let (mut p, mut heading) = (seed, angle);
        let most = 200_000;
        while line.len() < most {
            let Some((wanted, off)) = self.wanted(room, p, heading) else { break };
            if off > STOP_RAD {
                break;
            }
            let turn = trig::wrapped(wanted - heading).clamp(-self.turn, self.turn);
            // a chord of the arc that turns by so much
            let q = p + Point::unit(heading + 0.5 * turn) * self.step;
            heading += turn;
            if room.room_at(q) < 0.0 {
                break;
            }
            // once round and back: a closed line
            if line.len() > 20 && q.dist(seed) < 0.9 * self.spacing {
                break;
            }
            line.push(q);
            p = q;
        }
        line
    }

    /// The heading wanted at a point by a line that goes along `heading`, and how
    /// far that heading lies off the field, radians.
    fn wanted(&self, room: &Room<'_>, p: Point, heading: f64) -> Option<(f64, f64)> {
        let sensed = |angle: f64| {
            let off = trig::wrapped(angle - heading);
            if off.abs() > std::f64::consts::FRAC_PI_2 { angle + std::f64::consts::PI } else { angle }
        };
        // what the field asks a little ahead, so that turns begin in time
        let ahead = p + Point::unit(heading) * (2.0 * self.step);
        let field = sensed(self.field.at(ahead));
        let mut wanted = field;
        if let Some((near, direction)) = room.nearest_tow(p) {
            let gap = p.dist(near) - self.spacing;
            if gap < CLOSED_UP_TO * self.spacing {
                let beside = sensed(trig::atan2(direction.y, direction.x));
                // the gap is closed, or opened, within two spacings
                let left = (near - p).dot(Point::unit(beside).left()) > 0.0;
                let inwards = trig::atan2(gap - BESIDE_MM, 2.0 * self.spacing);
                let inwards = inwards.clamp(-0.5, 0.25);
                let kept = beside + if left { inwards } else { -inwards };
                let off = trig::wrapped(kept - field);
                let away = inwards < 0.0 && (off > 0.0) != left;
                wanted = if away { kept } else { field + off.clamp(-KEEP_RAD, KEEP_RAD) };
            }
        }
        let off = trig::wrapped(wanted - field).abs();
        Some((wanted, off))
    }
}

/// What no course reaches.
fn tell(room: &mut Room<'_>) {
    let o = room.order;
    let rest = room.rest();
    for a in rest.split() {
        let length = a.area() / o.spacing;
        if length > o.width && a.perimeter() > o.width {
            let at = a.polygons()[0].outer()[0];
            room.leave_out("no course of the shortest length follows the field here", length, Some(at));
        }
    }
}

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

use super::Course;
use super::directions::Directions;
use super::joined;
use super::order::Order;
use super::relaxed::Relaxed;
use super::room::Room;
use super::seeds::Seeds;
use super::worth::Worth;
use crate::count::f64_of;
use crate::geom::nearest::Lines;
use crate::geom::{Point, bend, offset, polyline, trig};
use crate::reinforcement::Reason;
use rayon::prelude::*;
use std::collections::BTreeSet;

/// How far a course may lie off the field to come or stay beside its neighbour,
/// radians: 11 degrees. Where fields fan out that closes most of the seams that tow of
/// one width leaves, and keeps the mean of all angles as it is at 7 degrees.
const KEEP_RAD: f64 = 0.2;

/// Gaps to the neighbour that are closed, in spacings: in a wider one another
/// course finds its place.
const CLOSED_UP_TO: f64 = 0.99;

/// How far a line that comes round may pass beside its beginning and still be
/// closed, as a share of its length, which is how far it then lies off the field,
/// radians: what is left between samples of a field is no spiral.
const CLOSED_RAD: f64 = 0.06;

/// Where a course would lie off the field by more than this it ends, radians.
const STOP_RAD: f64 = 0.61;

/// First courses that are tried: they cover about a per cent more of the bench set's plate
/// with a hole than the longest alone. With 12 to 16 of them its cover scatters by half a per
/// cent without a trend, 92.6 to 93.4 % for pieces of 20 mm and 88.8 to 89.5 % for 43 mm.
const BEGINNINGS: usize = 14;

/// How many courses along the walls are laid first, the longest of them, in the ways that begin
/// there: where the field runs nearly along a wall no sliver shorter than a course is left at
/// it, sides that are alike are laid alike, and courses lie nearer to the field.
const ALONG_WALLS: [usize; 5] = [2, 3, 4, 6, usize::MAX];

/// Where the first cover this share of the region no others are tried.
const SERVED: f64 = 0.95;

/// Steps in which a course's angle off the field is looked at, mm.
const LOOK_MM: f64 = 2.0;

/// Extra radius of traced lines, as a share: the fit's arcs need room.
const MARGIN: f64 = 0.06;

/// Distance to the neighbour beyond the spacing, mm: traced lines and fitted ones
/// differ by no more.
pub(super) const BESIDE_MM: f64 = 0.012;

/// Lays steered courses. Gives the number of cuts that turns saved.
///
/// Where seams come to lie, and how wide they are, depends on the course that the
/// others are laid beside: the longest, as a rule, but not by much. So several are
/// tried, and such as run along the walls, and what serves the region best is laid.
pub(super) fn lay(room: &mut Room<'_>, field: &Directions) -> usize {
    let o = room.order;
    let Some(bounds) = room.area.bounds() else {
        tell(room);
        return 0;
    };
    let field = Relaxed::new(field, bounds, o.radius * (1.0 + MARGIN));
    let tracer = Tracer::new(&field, &o);
    let mut seeds = Seeds::on_a_grid(room);
    let lines = seeds.lines(room, &tracer);
    let along_walls = Tracer::beside_walls(&field, room);
    let way = |first: First| {
        let mut laid = room.empty_copy();
        match first {
            First::Line(rank) => {
                if lay_one_of(&mut laid, &tracer, lines[rank..].iter().chain(&lines[..rank]).copied()) {
                    fill(&mut laid, &tracer);
                }
            }
            First::Walls(most) => {
                let mut walls = Seeds::along_walls(&laid);
                while laid.courses.len() < most && walls.lay_one(&mut laid, &along_walls) {}
                fill(&mut laid, &along_walls);
            }
        }
        // turns lie across it on purpose
        let aside = laid.courses.iter().map(|c| lost_aside(c, &field)).sum();
        let tow = laid.courses.iter().map(Course::length_mm).sum();
        let saved = if o.few_cuts { joined::join(&mut laid) } else { 0 };
        Tried { laid, saved, aside, tow }
    };
    let mut best = way(First::Line(0));
    // strips may lie half a width outside where centre lines may
    let ground = room.area.area() + 0.5 * o.width * room.area.perimeter();
    if best.tow * o.spacing < SERVED * ground {
        // ranks in equal steps: what lies side by side is about as long
        let ranks =
            (1..BEGINNINGS).map(|k| k * lines.len() / BEGINNINGS).filter(|k| *k > 0).collect::<BTreeSet<_>>();
        let others: Vec<First> =
            ranks.into_iter().map(First::Line).chain(ALONG_WALLS.map(First::Walls)).collect();
        let others: Vec<Tried<'_>> = others.into_par_iter().map(way).collect();
        // a cut costs as much in one as in the other
        let value_of = Worth::in_order(&o, o.radius, best.laid.courses.iter().map(Course::length_mm));
        for other in others {
            if other.worth(value_of) > best.worth(value_of) {
                best = other;
            }
        }
    }
    *room = best.laid;
    let saved = best.saved;
    room.left_out.clear();
    tell(room);
    saved
}

/// What is laid first, and the rest beside it.
#[derive(Clone, Copy)]
enum First {
    /// The line of this rank, by length.
    Line(usize),
    /// So many courses along the walls.
    Walls(usize),
}

/// A region as laid beside one of the courses that may be the first.
struct Tried<'a> {
    laid: Room<'a>,
    /// Cuts that turns saved.
    saved: usize,
    /// What is lost where courses lie off the field, mm of tow.
    aside: f64,
    /// Tow before turns joined its courses, mm.
    tow: f64,
}

impl Tried<'_> {
    fn worth(&self, value_of: Worth) -> f64 {
        self.laid.courses.iter().map(|c| value_of.of(c.length_mm())).sum::<f64>() - self.aside
    }
}

/// How much a course may be led towards its neighbour to close a gap, and away from it to
/// open one, radians beside the neighbour's direction: away more, for a gap too narrow
/// ends a course.
const CLOSED_BY: f64 = 0.25;
const OPENED_BY: f64 = 0.5;

/// What tow of a course that lies off the field is less worth, mm: along the field its
/// stiffness falls with the fourth power of the angle's cosine (laminate theory's turned
/// stiffness Q11; what matrix and shear bear is left out).
fn lost_aside(course: &Course, field: &Relaxed) -> f64 {
    let (path, length) = (course.path(), course.length_mm());
    let steps = (length / LOOK_MM).ceil().max(1.0);
    let mut walk = path.walk();
    let mut lost = 0.0;
    let mut at = 0.5;
    while at < steps {
        let s = length * at / steps;
        if let Some((p, t)) = walk.at(s) {
            let cos = Point::unit(field.at(p)).dot(t);
            let square = cos * cos;
            lost += (1.0 - square * square) * length / steps;
        }
        at += 1.0;
    }
    lost
}

/// Lays courses beside those that are there, and in places that none of them reaches.
fn fill(room: &mut Room<'_>, tracer: &Tracer<'_>) {
    let mut beside = 0;
    let mut elsewhere = Seeds::on_a_grid(room);
    loop {
        while beside < room.courses.len() {
            let mut seeds = Seeds::beside(room, tracer, beside);
            while seeds.lay_one(room, tracer) {}
            beside += 1;
        }
        if !elsewhere.lay_one(room, tracer) {
            break;
        }
    }
}

/// Lays the first line for which a course is found. Gives whether there is one.
pub(super) fn lay_one_of<'l>(
    room: &mut Room<'_>,
    tracer: &Tracer<'_>,
    lines: impl IntoIterator<Item = &'l Line>,
) -> bool {
    let before = room.courses.len();
    let mut failed: Vec<&Line> = Vec::new();
    for line in lines {
        // beside one that failed another fails for the same reason
        let middle = line.points[line.points.len() / 2];
        if failed.iter().any(|f| tracer.passes(middle, &f.points, room.order.spacing)) {
            continue;
        }
        if line.closed {
            room.lay_loop(&line.points);
        } else {
            room.lay_line(&line.points);
        }
        if room.courses.len() > before {
            return true;
        }
        failed.push(line);
    }
    false
}

/// A line that follows the field.
pub(super) struct Line {
    pub(super) points: Vec<Point>,
    closed: bool,
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

pub(super) struct Tracer<'a> {
    field: &'a Relaxed,
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
    fn beside_walls(field: &'a Relaxed, room: &Room<'_>) -> Self {
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
            let clear = look.off_tow - q.dist(look.at) > room.least_off_tow();
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
    fn passes(&self, p: Point, line: &[Point], within: f64) -> bool {
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

/// What no course reaches.
fn tell(room: &mut Room<'_>) {
    let o = room.order;
    let rest = room.rest();
    for a in rest.split() {
        let length = a.area() / o.spacing;
        if length > o.width && a.perimeter() > o.width {
            let at = a.polygons()[0].outer()[0];
            room.leave_out(Reason::NothingFollows, length, Some(at));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::order::Order;
    use super::*;
    use crate::geom::{Area, combine, pt, smooth};
    use crate::job::field::Sample;
    use crate::job::{Field, Rule};
    use std::f64::consts::TAU;

    fn order() -> Order<'static> {
        Order::sample(Rule::Steered)
    }

    /// Samples every two mm round a place, turned from circles by an angle.
    fn round(centre: Point, off_deg: f64) -> Directions {
        let mut samples = Vec::new();
        for i in -25..=25 {
            for k in -25..=25 {
                let from = pt(2.0 * f64::from(i), 2.0 * f64::from(k));
                let p = centre + from;
                let angle = trig::atan2(from.y, from.x).to_degrees() + 90.0 + off_deg;
                samples.push(Sample { at_mm: [p.x, p.y], angle_deg: angle, weight: 1.0 });
            }
        }
        Directions::new(&Field { samples })
    }

    fn ring(centre: Point, inner: f64, outer: f64) -> Area {
        combine::difference(&smooth::disc(centre, outer, 0.004), &smooth::disc(centre, inner, 0.004))
    }

    #[test]
    fn orbits_are_nested_rings_laid_once() {
        let centre = pt(30.0, 40.0);
        let mut room = Room::new(order(), &ring(centre, 12.0, 24.0));
        lay(&mut room, &round(centre, 0.0));
        // strips of 1 mm between radii of 12 and 24: the best is twelve rings
        let closed: Vec<f64> =
            room.courses.iter().filter(|c| c.path().closed).map(|c| c.path().length()).collect();
        assert!(closed.len() >= 10, "{} rings of {} courses", closed.len(), room.courses.len());
        for length in &closed {
            let r = length / TAU;
            assert!((12.0..24.0).contains(&r), "once round: {length} mm is a radius of {r}");
        }
        let laid: f64 = room.courses.iter().map(|c| c.path().length()).sum();
        let full = std::f64::consts::PI * (24.0 * 24.0 - 12.0 * 12.0);
        assert!((0.85..=1.0).contains(&(laid / full)), "{laid} mm on {full} mm2");
    }

    #[test]
    fn a_spiral_field_is_followed_outwards() {
        let centre = pt(0.0, 0.0);
        let mut room = Room::new(order(), &ring(centre, 12.0, 24.0));
        lay(&mut room, &round(centre, 15.0));
        assert!(room.courses.iter().all(|c| !c.path().closed), "no orbit closes");
        let mut offs: Vec<f64> = Vec::new();
        for c in &room.courses {
            let p = c.path();
            for k in 1..20 {
                let s = p.length() * f64::from(k) / 20.0;
                let (at, t) = (p.point_at(s).expect("on it"), p.tangent_at(s).expect("on it"));
                let radial = at.normalised().expect("off the centre");
                let off = (trig::atan2(t.dot(radial), t.cross(radial)).to_degrees()).abs();
                // directions have no sense: 15 or 165 degrees off the circles
                offs.push((off.min(180.0 - off) - 15.0).abs());
            }
        }
        offs.sort_by(f64::total_cmp);
        let mean = offs.iter().sum::<f64>() / offs.len() as f64;
        assert!(mean < 7.0, "{mean} degrees off the field");
        // but where it makes room for its neighbours, a course keeps to the field
        let most = KEEP_RAD.to_degrees() + 3.0;
        assert!(
            offs[offs.len() * 95 / 100] < most,
            "{:?} degrees off the field",
            &offs[offs.len() * 95 / 100..]
        );
        assert!(
            offs[offs.len() - 1] < STOP_RAD.to_degrees(),
            "{} degrees off the field",
            offs[offs.len() - 1]
        );
        let laid: f64 = room.courses.iter().map(|c| c.path().length()).sum();
        assert!(laid > 0.6 * std::f64::consts::PI * (24.0 * 24.0 - 12.0 * 12.0), "{laid} mm");
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
        let field = round(pt(0.0, 0.0), 0.0);
        let room = Room::new(order(), &ring(pt(0.0, 0.0), 12.0, 24.0));
        let relaxed = Relaxed::new(&field, room.area.bounds().expect("a ring"), 5.0);
        let tracer = Tracer { field: &relaxed, step: 0.25, turn: 0.05, spacing: 1.0, kerbs: None };
        let line: Vec<Point> = (0..400).map(|k| pt(0.25 * f64::from(k), 0.0)).collect();
        assert!(tracer.comes_near(pt(50.1, 0.9), &line, 1.0));
        assert!(!tracer.comes_near(pt(50.1, 1.1), &line, 1.0));
        assert!(tracer.comes_near(pt(99.9, 0.5), &line, 1.0), "the far end");
        assert!(!tracer.comes_near(pt(0.5, 0.5), &line, 1.0), "where it came from");
    }
}

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

mod directions;
mod joined;
mod line;
mod relaxed;
mod seeds;

use super::Course;
use super::room::Room;
use super::worth::Worth;
use crate::geom::{Point, offset};
use crate::reinforcement::Reason;
pub(crate) use directions::Directions;
use line::{Line, MARGIN, Tracer};
use rayon::prelude::*;
use relaxed::Relaxed;
use seeds::Seeds;
use std::collections::BTreeSet;

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
fn lay_one_of<'l>(
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

/// What no course reaches.
fn tell(room: &mut Room<'_>) {
    let o = room.order;
    let rest = room.rest();
    for a in rest.split() {
        // where middle lines may lie: half a spacing more all round is their strips'
        let length = offset::grown(&a, 0.5 * o.spacing, 0.02).area() / o.spacing;
        if a.area() > o.width * o.spacing && a.perimeter() > o.width {
            let at = a.polygons()[0].outer()[0];
            room.leave_out(Reason::NothingFollows { shortest_mm: o.shortest }, length, Some(at));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::order::Order;
    use super::line::{KEEP_RAD, STOP_RAD};
    use super::*;
    use crate::geom::{Area, combine, pt, smooth, trig};
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
}

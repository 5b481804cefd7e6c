//! Seeds of lines that follow a field. A line is traced when it is first asked for, and
//! again only when tow has been laid that would have led it elsewhere: where a region is
//! nearly full most lines stay as they are while course after course is laid.

use super::lay_one_of;
use super::line::{BESIDE_MM, Line, Tracer};
use crate::count::f64_of;
use crate::fibre::room::Room;
use crate::geom::nearest::Lines;
use crate::geom::{Point, bend, polyline};

/// Seeds tried along each side of a course.
const ALONG_A_SIDE: usize = 7;

/// Lines that pass a seed beside a course after which none is traced through it: most seeds
/// of a side lie on one line, which ends here or there a little later by where it was begun.
/// With three of them all bench parts have the cover that seven gave, with one or two some
/// have less.
const ENOUGH: usize = 3;

/// Cells along a side of the grid at most.
const CELLS: f64 = 40.0;

/// Places where lines may begin.
pub(super) struct Seeds {
    seeds: Vec<Seed>,
    /// How many of the room's courses the lines know of.
    known: usize,
}

struct Seed {
    at: Point,
    /// The direction of the course beside which it lies.
    along: Option<Point>,
    line: Option<Line>,
}

impl Seeds {
    /// On a grid, in places of their own: one for every square of the shortest course's
    /// area, at most so many.
    pub(super) fn on_a_grid(room: &Room<'_>) -> Self {
        let o = room.order;
        let mut seeds = Vec::new();
        if let Some(b) = room.area.bounds() {
            let size = b.size();
            let cell = (o.shortest * o.spacing).sqrt().max(size.x.max(size.y) / CELLS);
            let mut y = b.lo.y + 0.5 * cell;
            while y < b.hi.y {
                let mut x = b.lo.x + 0.5 * cell;
                while x < b.hi.x {
                    seeds.push(Seed { at: Point::new(x, y), along: None, line: None });
                    x += cell;
                }
                y += cell;
            }
        }
        Self { seeds, known: 0 }
    }

    /// Along the walls, one for every half of the shortest course.
    pub(super) fn along_walls(room: &Room<'_>) -> Self {
        let step = 0.5 * room.order.shortest;
        let mut seeds = Vec::new();
        for ring in room.area.rings() {
            let mut next = 0.0;
            for (a, b) in polyline::ring_edges(ring) {
                let length = a.dist(b);
                let along = (b - a).normalised();
                // rings have the area at their left
                let inwards = along.unwrap_or_default().left() * BESIDE_MM;
                while next <= length && length > 0.0 {
                    seeds.push(Seed { at: a.lerp(b, next / length) + inwards, along, line: None });
                    next += step;
                }
                next -= length;
            }
        }
        Self { seeds, known: 0 }
    }

    /// Along both sides of a course.
    pub(super) fn beside(room: &Room<'_>, tracer: &Tracer<'_>, course: usize) -> Self {
        let path = room.courses[course].path();
        let length = path.length();
        let mut seeds = Vec::new();
        for k in 0..ALONG_A_SIDE {
            let s = length * (f64_of(k) + 0.5) / f64_of(ALONG_A_SIDE);
            let (Some(p), Some(t)) = (path.point_at(s), path.tangent_at(s)) else { continue };
            for side in [1.0, -1.0] {
                let at = p + t.left() * (side * (tracer.spacing + BESIDE_MM));
                seeds.push(Seed { at, along: Some(t), line: None });
            }
        }
        Self { seeds, known: room.courses.len() }
    }

    /// The lines that are long enough, the longest first, of equals the first. A seed
    /// beside a course that lines of others pass has none of its own.
    pub(super) fn lines(&mut self, room: &Room<'_>, tracer: &Tracer<'_>) -> Vec<&Line> {
        // a room only fills: a seed that is not free never will be
        self.seeds.retain(|s| room.is_free(s.at));
        let mut laid = Lines::default();
        for course in &room.courses[self.known..] {
            laid.add(&course.path().flatten(bend::PROPOSAL_CHORD_MM));
        }
        self.known = room.courses.len();
        for seed in &mut self.seeds {
            if seed.line.as_ref().is_some_and(|l| l.minds(&laid, tracer)) {
                seed.line = None;
            }
        }
        // from the middle of a course outwards: lines from there are most alike both ways
        let count = self.seeds.len();
        let mut order: Vec<usize> = (0..count).collect();
        order.sort_by_key(|i| (2 * i).abs_diff(count));
        for i in order {
            let seed = &self.seeds[i];
            let passed = |s: &&Seed| s.line.as_ref().is_some_and(|l| l.passes(seed.at, tracer));
            let known = || seed.along.is_some() && self.seeds.iter().filter(passed).count() >= ENOUGH;
            if seed.line.is_none() && !known() {
                let line = tracer.trace(room, seed.at, seed.along);
                self.seeds[i].line = Some(line);
            }
        }
        let mut lines: Vec<&Line> = self.seeds.iter().filter_map(|s| s.line.as_ref()).collect();
        lines.retain(|l| l.length >= room.order.shortest);
        lines.sort_by(|a, b| b.length.total_cmp(&a.length));
        lines
    }

    /// Lays a course along the longest line for which one is found. Gives whether there
    /// is one.
    pub(super) fn lay_one(&mut self, room: &mut Room<'_>, tracer: &Tracer<'_>) -> bool {
        let lines = self.lines(room, tracer);
        lay_one_of(room, tracer, lines)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fibre::order::Order;
    use crate::fibre::steered::directions::Directions;
    use crate::fibre::steered::relaxed::Relaxed;
    use crate::geom::{combine, pt, smooth};
    use crate::job::field::Sample;
    use crate::job::{Field, Rule};

    /// Directions that fan out, round a hole in a plate of 60 x 40 mm.
    fn fan() -> (Room<'static>, Directions) {
        let plate = combine::ring_area(&[pt(0.0, 0.0), pt(60.0, 0.0), pt(60.0, 40.0), pt(0.0, 40.0)]);
        let area = combine::difference(&plate, &smooth::disc(pt(25.0, 18.0), 6.0, 0.004));
        let sample = |i: u32| {
            let (x, y) = (f64::from(i % 7) * 10.0, f64::from(i / 7) * 10.0);
            Sample { at_mm: [x, y], angle_deg: (y - 20.0) * (1.0 + 0.02 * x), weight: 1.0 }
        };
        let field = Directions::new(&Field { samples: (0..35).map(sample).collect() });
        (Room::new(Order::sample(Rule::Steered), &area), field)
    }

    #[test]
    fn a_line_that_is_kept_is_the_one_that_would_be_traced() {
        let (mut room, field) = fan();
        let field = Relaxed::new(&field, room.area.bounds().expect("a plate"), room.order.radius);
        let tracer = Tracer::new(&field, &room.order);
        let mut seeds = Seeds::on_a_grid(&room);
        let (mut kept, mut anew) = (0, 0);
        for _ in 0..12 {
            let before: Vec<(Point, Vec<Point>)> =
                seeds.seeds.iter().filter_map(|s| Some((s.at, s.line.as_ref()?.points.clone()))).collect();
            seeds.lines(&room, &tracer);
            for seed in &seeds.seeds {
                let Some(line) = &seed.line else { continue };
                let fresh = tracer.trace(&room, seed.at, seed.along);
                assert_eq!(
                    line.points,
                    fresh.points,
                    "through {:?} beside {} courses",
                    seed.at,
                    room.courses.len()
                );
                let same = before.iter().any(|(at, points)| *at == seed.at && *points == line.points);
                *(if same { &mut kept } else { &mut anew }) += 1;
            }
            if !seeds.lay_one(&mut room, &tracer) {
                break;
            }
        }
        assert!(kept > 100 && anew > 100, "{kept} lines kept, {anew} traced");
    }

    #[test]
    fn a_seed_without_a_line_is_passed_by_those_of_others() {
        let (mut room, field) = fan();
        let field = Relaxed::new(&field, room.area.bounds().expect("a plate"), room.order.radius);
        let tracer = Tracer::new(&field, &room.order);
        assert!(Seeds::on_a_grid(&room).lay_one(&mut room, &tracer), "a first course");
        let mut seeds = Seeds::beside(&room, &tracer, 0);
        seeds.lines(&room, &tracer);
        let traced: Vec<&Line> = seeds.seeds.iter().filter_map(|s| s.line.as_ref()).collect();
        assert!(traced.len() < seeds.seeds.len(), "{} of {} seeds", traced.len(), seeds.seeds.len());
        for seed in seeds.seeds.iter().filter(|s| s.line.is_none()) {
            let passing = traced.iter().filter(|l| l.passes(seed.at, &tracer)).count();
            assert!(passing >= ENOUGH, "{passing} lines through {:?}", seed.at);
        }
    }
}

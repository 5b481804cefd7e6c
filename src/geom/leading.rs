//! Where to draw a point that another one trails, so that what trails comes to lie along a
//! path: the leader's way as lines and arcs that a machine can follow.
//!
//! Several ways are tried and what follows from each is judged by where the follower comes to
//! lie ([`super::tractrix`]): those to the nearest line along which it can be led
//! ([`super::leadable`]), and the path's own with its corners eased.

use super::polyline::nearest_share;
use super::tractrix::{STEP_MM, followed, lead, tightest_bend};
use super::{Path, Point, bend, leadable};

/// A path to draw along so that what trails goes along `path`.
#[derive(Clone, Debug)]
pub struct Led {
    /// The leader's way, none of its bends tighter than the radius. Always open: round a
    /// closed path it ends where it began, in another direction than it set out.
    pub path: Path,
    /// Where the follower comes to lie.
    pub laid: Vec<Point>,
    /// Largest distance of that from `path`, mm, up to the last stretch.
    pub off_mm: f64,
    /// Where.
    pub worst: Point,
    /// Largest distance of the last stretch, mm, which lies straight from the
    /// follower's last place to the leader's: d^2 / 2 R at its end off a bend of radius R
    /// where the follower is on the bend before it, a fraction of that where it swings out.
    pub end_off_mm: f64,
    /// Where.
    pub end_worst: Point,
    /// Share of the least radius by which the follower bends tighter than is borne.
    pub tight: f64,
}

impl Led {
    /// Largest distance of all that is laid, mm.
    pub fn off_anywhere_mm(&self) -> f64 {
        self.off_mm.max(self.end_off_mm)
    }

    /// The same with how much tighter than `radius` mm what follows at `distance` bends.
    pub fn held_to(self, radius: f64, distance: f64) -> Self {
        let least = tightest_bend(&self.path, distance);
        Self { tight: tight(least, radius), ..self }
    }

    /// What distance and tight bends count together, mm.
    pub fn cost_mm(&self) -> f64 {
        self.off_anywhere_mm() + TIGHT_MM * self.tight
    }
}

/// What a follower's tightest bend counts as beside distances, where none tighter than
/// `radius` mm is wanted, mm: nought where it is borne.
pub fn tight_mm(least: f64, radius: f64) -> f64 {
    TIGHT_MM * tight(least, radius)
}

fn tight(least: f64, radius: f64) -> f64 {
    (1.0 - BORNE - least / radius).max(0.0)
}

/// Share of the least radius by which a follower may bend tighter than it: what lines and
/// arcs fitted to a leader's way make of it, 0.08 mm at 4 mm. Less would cost corners of the
/// least radius the 0.05 mm that they can be laid within.
const BORNE: f64 = 0.02;

/// What a bend tighter by all of the least radius counts as, mm off: one tighter by a
/// hundredth is worth as much as what is asked for of the place.
const TIGHT_MM: f64 = 5.0;

/// The follower's bends are held to so many times the least radius, the leader's found so
/// much wider than it, tried in turn: what is borne at first. Lines and arcs ripple about the
/// way that they are fitted to, which bends the follower by up to 2 % more; where one sort of
/// bend needs more room, so does the other.
const HOLDS: [(f64, f64); 5] =
    [(1.0 - 0.7 * BORNE, 1.2e-3), (0.99, 4e-3), (0.998, 0.01), (1.01, 0.02), (1.03, 0.05)];

/// Distances from the nearest way along which the follower's bends are held at which lines
/// and arcs are fitted to it, mm: at first, and then.
const HELD: f64 = 5e-3;
const HELD_NEARER: [f64; 2] = [2e-3, 3.5e-3];
const HELD_FURTHER: [f64; 2] = [7e-3, 0.01];

/// Distances from its exact way at which the leader's corners are eased, tried in
/// turn, mm.
const EASES: [f64; 10] = [0.01, 0.02, 0.03, 0.04, 0.05, 0.065, 0.08, 0.1, 0.14, 0.2];

/// Distances from the nearest way that it can be led at which lines and arcs are
/// fitted to it, tried in turn, mm.
const CLOSE: [f64; 7] = [5e-3, 2e-3, 0.01, 0.02, 0.05, 0.1, 0.2];

/// Lines and arcs as near as this to the nearest way are off by hardly more than it, mm.
const CLOSELY_MM: f64 = 0.01;

/// So many of the shares by which bends are wider are as good as each other, so that the
/// better one is taken; those after them cost what they make room by.
const CLOSE_ONES: usize = 2;

/// Near enough not to be looked for nearer, mm.
const NEAR_MM: f64 = 0.04;

/// What is off by no more than this beyond the least is settled, mm: lines and arcs are
/// fitted to a hundredth, and less is not seen.
const HARDLY_MM: f64 = 2e-3;

/// Further off than this a fit's last hundredth of a millimetre is not looked for, mm: a
/// little more than the 0.05 that is asked for where it can be had.
const FAR_MM: f64 = 0.06;

/// See [`Wanted::led`].
pub fn led(path: &Path, distance: f64, radius: f64) -> Led {
    Wanted::new(path).led(distance, radius)
}

/// The end of a loop's way is led to its start over so many distances: so far the
/// follower's line is straight, and as far again.
const LED_IN: f64 = 2.0;

/// A search for a leader's way, and the best one yet.
struct Look<'a> {
    wanted: &'a Wanted<'a>,
    distance: f64,
    radius: f64,
    best: &'a mut Led,
    /// Ways with the follower's bends held were looked for.
    looked_held: bool,
}

impl Look<'_> {
    /// Tries what lines and arcs make of a way. `None` where they cannot follow it, else
    /// whether it is the best yet.
    fn tried(&mut self, way: &[Point], ease: f64) -> Option<bool> {
        let found = bend::fit_through(way, self.radius, ease)?;
        let led = self.wanted.nearer(found, self.distance, self.best.cost_mm());
        let led = led.map(|led| led.held_to(self.radius, self.distance));
        let better = led.filter(|led| led.cost_mm() < self.best.cost_mm());
        let found = better.is_some();
        if let Some(led) = better {
            *self.best = led;
        }
        Some(found)
    }

    /// Ways to the nearest line along which the follower bends no tighter than the leader
    /// may. Tells whether one was found that is better than what there was, tight or not.
    fn held(&mut self, line: &leadable::LedLine<'_>) -> bool {
        self.looked_held = true;
        let mut better = false;
        for (times, wider) in HOLDS {
            let Some(mut way) = line.way(self.radius, wider, Some(times)) else { break };
            self.meet(&mut way.points, way.aside);
            // nearer where lines and arcs ripple, less near where they cannot follow it
            let enough = NEAR_MM.max(way.least_mm + 2.0 * HARDLY_MM);
            let first = self.tried(&way.points, HELD);
            better |= first == Some(true);
            for ease in if first.is_some() { HELD_NEARER } else { HELD_FURTHER } {
                if self.best.tight == 0.0 && self.best.off_anywhere_mm() <= enough {
                    break;
                }
                better |= self.tried(&way.points, ease) == Some(true);
            }
            if better && self.best.tight == 0.0 {
                break;
            }
        }
        better
    }

    /// Ways to the nearest line that can be led along. Tells whether one leaves hardly more
    /// than need be.
    fn nearest(&mut self, line: &leadable::LedLine<'_>) -> bool {
        // whether what the nearest way is fitted with leaves nothing to be gained by more room
        let (mut found, mut closely) = (false, false);
        for (n, wider) in leadable::WIDER.into_iter().enumerate() {
            if closely && self.far() && n >= CLOSE_ONES {
                break;
            }
            let Some(mut way) = line.way(self.radius, wider, None) else { break };
            if way.tightest > 1.0 + BORNE && !self.looked_held && self.held(line) {
                return true;
            }
            self.meet(&mut way.points, way.aside);
            for ease in CLOSE {
                if closely && self.far() && ease > CLOSELY_MM {
                    break;
                }
                if let Some(better) = self.tried(&way.points, ease) {
                    closely |= ease <= CLOSELY_MM;
                    found |= better;
                }
                let off = self.best.off_anywhere_mm();
                if off <= NEAR_MM || (closely && off < way.least_mm + HARDLY_MM) {
                    return true;
                }
            }
        }
        found && self.far()
    }

    fn far(&self) -> bool {
        self.best.off_anywhere_mm() > FAR_MM
    }

    /// The way to the path itself, its corners eased.
    fn simple(&mut self) {
        if self.best.off_anywhere_mm() <= NEAR_MM {
            return;
        }
        let mut way = lead(self.wanted.path, self.distance);
        self.meet(&mut way, 0.0);
        for ease in EASES {
            self.tried(&way, ease);
            if self.best.off_anywhere_mm() < 0.5 * ease {
                break;
            }
        }
    }

    /// Ends a loop's way where it began.
    fn meet(&self, way: &mut Vec<Point>, aside: f64) {
        let path = self.wanted.path;
        let start = path.start().zip(path.tangent_at(0.0));
        if let Some((p, t)) = start.filter(|_| path.closed) {
            end_at(way, p + t.left() * aside, LED_IN * self.distance);
        }
    }
}

/// Ends a way at a place that it comes by, led there over its last `reach` mm: an end
/// that was moved aside alone would be a corner.
fn end_at(way: &mut Vec<Point>, place: Point, reach: f64) {
    let edges = way.windows(2).rev().take_while(|w| w[1].dist(place) < reach);
    let foot = edges.map(|w| w[0].lerp(w[1], nearest_share(place, w[0], w[1])));
    let foot = foot.min_by(|p, q| p.dist(place).total_cmp(&q.dist(place)));
    while let [.., before, last] = way.as_slice()
        && (*last - place).dot(*last - *before) > -0.5 * (*last - *before).norm2()
    {
        way.pop();
    }
    if let Some([before, last]) = way.last_chunk()
        && let Some(along) = (*last - *before).normalised()
    {
        let aside = foot.map_or(Point::default(), |foot| place - foot);
        // what lies along the way is no misfit
        let aside = aside - along * aside.dot(along);
        let mut from_end = last.dist(place);
        for i in (0..way.len()).rev() {
            let t = from_end / reach;
            if t >= 1.0 {
                break;
            }
            if i > 0 {
                from_end += way[i].dist(way[i - 1]);
            }
            way[i] = way[i] + aside * (1.0 - t * t * (3.0 - 2.0 * t));
        }
    }
    way.push(place);
}

/// Places along the last stretch at which it is looked at, as shares of it.
const LAST: [f64; 9] = [0.0, 0.125, 0.25, 0.375, 0.5, 0.625, 0.75, 0.875, 1.0];

/// A path that a follower is wanted on.
pub struct Wanted<'a> {
    path: &'a Path,
    lines: super::nearest::Lines,
}

impl<'a> Wanted<'a> {
    /// The path, with what is asked of it again and again.
    pub fn new(path: &'a Path) -> Self {
        let mut lines = super::nearest::Lines::default();
        lines.add(&path.flatten(1e-3));
        Self { path, lines }
    }

    /// The leader's way as lines and arcs of at least `radius` mm, and what follows
    /// from it; the path itself where no better one is found. A closed path is begun and
    /// ended at its start, or beside it where less is off then: what trails begins at rest
    /// there, as on an open one.
    ///
    /// Round a ring of the least radius R the leader, on a circle of sqrt(R^2 + d^2), may bend
    /// but d^2 / 2 R tighter: a start from rest, bent half as much as the ring, and a
    /// last straight are made up for slowly. The least that a nonlinear programme over the
    /// leader's bends and start finds is 0.090 mm with R 8 mm, d 2 mm and 0.175 mm with d
    /// 3 mm; what is found here is 0.02 mm above it, for lines and arcs that keep within
    /// the radius have less room than it.
    pub fn led(&self, distance: f64, radius: f64) -> Led {
        let mut best = self.judged(self.path.clone(), distance).held_to(radius, distance);
        let mut look = Look { wanted: self, distance, radius, best: &mut best, looked_held: false };
        let line = leadable::LedLine::new(self.path, distance);
        if !line.as_ref().is_some_and(|line| look.nearest(line)) {
            look.simple();
        }
        if let Some(line) = line.filter(|_| look.best.tight > 0.0 && !look.looked_held) {
            look.held(&line);
        }
        best
    }

    /// How far from the path a place is, mm.
    pub fn distance(&self, p: Point) -> f64 {
        self.lines.distance(p)
    }

    /// A path drawn along as it is, from its start to its end, and what follows from that:
    /// what trails is at rest at the start.
    pub fn judged(&self, drawn: Path, distance: f64) -> Led {
        let none = Point::default();
        self.nearer(drawn.clone(), distance, f64::INFINITY).unwrap_or(Led {
            path: drawn,
            laid: Vec::new(),
            off_mm: f64::INFINITY,
            worst: none,
            end_off_mm: f64::INFINITY,
            end_worst: none,
            tight: 0.0,
        })
    }

    /// The same, given up where it is as far off as `most` mm anywhere.
    fn nearer(&self, drawn: Path, distance: f64, most: f64) -> Option<Led> {
        let drawn = Path { closed: false, ..drawn };
        let points = super::polyline::densified(&drawn.flatten(1e-3), 2.0 * STEP_MM);
        let (mut off_mm, mut worst): (f64, Point) = (0.0, Point::default());
        let mut look = |p: Point| {
            let off = self.lines.distance_within(p, most);
            if off > off_mm {
                (off_mm, worst) = (off, p);
            }
            off < most
        };
        let laid = followed(&points, distance, &mut look)?;
        let (body, last) = laid.split_at(laid.len().saturating_sub(1));
        let (mut end_off_mm, mut end_worst): (f64, Point) = (0.0, Point::default());
        if let (Some(from), [to]) = (body.last(), last) {
            for p in LAST.iter().map(|share| from.lerp(*to, *share)) {
                let off = self.lines.distance_within(p, most);
                if off > end_off_mm {
                    (end_off_mm, end_worst) = (off, p);
                }
            }
        }
        (end_off_mm < most).then_some(Led {
            path: drawn,
            laid,
            off_mm,
            worst,
            end_off_mm,
            end_worst,
            tight: 0.0,
        })
    }
}

/// See [`Wanted::judged`].
pub fn judged(wanted: &Path, drawn: Path, distance: f64) -> Led {
    Wanted::new(wanted).judged(drawn, distance)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{Arc, Segment, pt, trig};

    fn corner(r: f64) -> Path {
        Path::new(
            vec![
                Segment::Line { from: pt(0.0, 0.0), to: pt(30.0, 0.0) },
                Segment::Arc(Arc {
                    from: pt(30.0, 0.0),
                    to: pt(30.0 + r, r),
                    centre: pt(30.0, r),
                    ccw: true,
                }),
                Segment::Line { from: pt(30.0 + r, r), to: pt(30.0 + r, 40.0) },
            ],
            false,
        )
    }

    fn bow(r: f64) -> Path {
        let a = Arc { from: pt(0.0, 0.0), to: pt(r, r), centre: pt(0.0, r), ccw: true };
        let b = Arc { from: pt(r, r), to: pt(2.0 * r, 2.0 * r), centre: pt(2.0 * r, r), ccw: false };
        Path::new(
            vec![
                Segment::Line { from: pt(-20.0, 0.0), to: pt(0.0, 0.0) },
                Segment::Arc(a),
                Segment::Arc(b),
                Segment::Line { from: pt(2.0 * r, 2.0 * r), to: pt(2.0 * r + 20.0, 2.0 * r) },
            ],
            false,
        )
    }

    /// A point moved straight to the nozzle in small steps, never nearer than it trails; in
    /// the end the straight to where the nozzle stops. Largest distance from the wanted
    /// path before and on that straight.
    fn stepped(wanted: &Path, way: &Path, d: f64) -> [f64; 2] {
        let line = wanted.flatten(1e-4);
        let off = |p: Point| {
            let to = line.windows(2).map(|w| crate::geom::polyline::point_segment_distance(p, w[0], w[1]));
            to.fold(f64::INFINITY, f64::min)
        };
        let mut tail = way.segments[0].from();
        let mut far = [off(tail), 0.0];
        for s in &way.segments {
            let n = (s.length() / 0.005).ceil();
            let mut k = 1.0;
            while k <= n {
                let nozzle = s.point_at(s.length() * k / n);
                let away = nozzle.dist(tail);
                if away > d {
                    tail = nozzle + (tail - nozzle) * (d / away);
                    if (k % 10.0) < 0.5 {
                        far[0] = far[0].max(off(tail));
                    }
                }
                k += 1.0;
            }
        }
        let end = way.segments[way.segments.len() - 1].to();
        for k in 0..=20 {
            far[1] = far[1].max(off(tail.lerp(end, f64::from(k) / 20.0)));
        }
        far
    }

    fn held(path: &Path, d: f64, radius: f64, most: f64) {
        let led = led(path, d, radius);
        assert!(led.path.min_radius() >= radius, "legal: {}", led.path.min_radius());
        assert!(led.path.worst_joint() < 1.8e-3, "tangent: {}", led.path.worst_joint());
        for w in led.path.segments.windows(2) {
            assert!(w[0].to().dist(w[1].from()) < 1e-6, "torn at {:?}", w[0].to());
        }
        let off = [led.off_mm, led.end_off_mm];
        assert!(led.off_anywhere_mm() <= most, "radius {radius}, d {d}: off by {off:?}, not {most}");
        let tightest = tightest_bend(&led.path, d);
        assert!(tightest > 0.975 * radius, "radius {radius}, d {d}: it lies in a bend of {tightest}");
        let plain = judged(path, path.clone(), d);
        if plain.off_mm > 2.0 * most {
            assert!(led.off_anywhere_mm() < 0.6 * plain.off_mm, "{most}: no better than {}", plain.off_mm);
        }
        for found in [&plain, &led] {
            // what is told is what a point drawn along does
            let [body, end] = stepped(path, &found.path, d);
            assert!(
                (found.off_mm - body).abs() < 4e-3,
                "radius {radius}, d {d}: {body} against {}",
                found.off_mm
            );
            assert!(
                (found.end_off_mm - end).abs() < 4e-3,
                "radius {radius}, d {d}: {end} against {}",
                found.end_off_mm
            );
            // the place told is where it is so
            let near = found.laid.iter().map(|p| p.dist(found.worst)).fold(f64::INFINITY, f64::min);
            assert!(near < 1e-9, "told of a place {near} mm off what is laid");
        }
    }

    #[test]
    fn corners_are_laid_where_they_are_wanted() {
        // the leader turns at once by atan(d / R) where a bend begins, which no way of
        // bounded bends does; it may here bend no tighter than R itself
        for r in [4.0, 5.0, 6.0, 8.0, 10.0, 15.0_f64] {
            for d in [0.5, 1.0, 1.5, 2.0] {
                held(&corner(r), d, r, 0.05);
            }
        }
        held(&corner(15.0), 3.0, 15.0, 0.05);
    }

    #[test]
    fn bows_are_laid_where_they_are_wanted() {
        // twice the turn of a corner, and no straight to swing out on
        for (r, d) in [(4.0, 0.5), (5.0, 0.9), (6.0, 1.0), (8.0, 1.0), (12.0, 1.2), (15.0, 1.0)] {
            held(&bow(r), d, r, 0.05);
        }
        // with a leader that may bend a fifth tighter than the bow
        for (r, d) in [(5.0, 1.5), (5.0, 2.0), (8.0, 2.0), (10.0, 2.0), (15.0, 3.0)] {
            held(&bow(r), d, 0.8 * r, 0.05);
        }
    }

    #[test]
    fn what_no_legal_way_can_lead_is_told() {
        // the least that any leader leaves which bends no tighter than R, and its follower no
        // tighter than 0.98 R, by linear programming over bends of the follower, 8 in d, in
        // steps: here no more than a hundredth of a millimetre above it. Left to bend as
        // tightly as it likes the follower could lie nearer by up to 0.007 mm
        for (path, r, d, least) in [
            (corner(8.0), 8.0, 3.0, 0.0585),
            (bow(4.0), 4.0, 1.0, 0.0605),
            (bow(5.0), 5.0, 1.0, 0.0530),
            (bow(8.0), 8.0, 1.5, 0.0767),
            (bow(8.0), 8.0, 2.0, 0.1211),
            (bow(10.0), 10.0, 3.0, 0.1987),
        ] {
            held(&path, d, r, least + 0.01);
            let off = led(&path, d, r).off_mm;
            assert!(off > least - 2e-3, "R {r}, d {d}: {off} is nearer than can be");
        }
    }

    fn ring(r: f64) -> Path {
        let half = |from: Point, to: Point| Segment::Arc(Arc { from, to, centre: pt(0.0, 0.0), ccw: true });
        Path::new(vec![half(pt(r, 0.0), pt(-r, 0.0)), half(pt(-r, 0.0), pt(r, 0.0))], true)
    }

    #[test]
    fn rings_are_laid_from_rest_to_where_they_began() {
        // the least by a nonlinear programme over the tow's bends, 8 in d and none tighter than
        // 0.98 times the radius, its start and its first direction; where none was reckoned the chord that a last straight is, led in
        // from outside, where the nozzle may turn at once: d^2 / 16 R
        let chord = |r: f64, d: f64| d * d / (16.0 * r);
        for (r, d, radius, least, most) in [
            (5.0, 1.0, 4.0, chord(5.0, 1.0), 0.03),
            (7.4, 1.0, 4.0, chord(7.4, 1.0), 0.016),
            (7.4, 2.0, 4.0, 0.0510, 0.055),
            (7.4, 3.0, 4.0, 0.1077, 0.115),
            (5.0, 2.0, 4.0, 0.0926, 0.101),
            // as tight as the nozzle may bend
            (5.0, 1.0, 5.0, 0.0384, 0.047),
            (8.0, 2.0, 8.0, 0.0959, 0.115),
            (8.0, 3.0, 8.0, 0.2159, 0.265),
        ] {
            let wanted = ring(r);
            held(&wanted, d, radius, most);
            let led = led(&wanted, d, radius);
            assert!(led.off_anywhere_mm() > least - 2e-3, "{} nearer than can be", led.off_anywhere_mm());
            let (from, to) = (led.path.start().expect("a start"), led.path.end().expect("an end"));
            assert!(from.dist(to) < 1e-9 && from.dist(pt(r, 0.0)) < most, "from {from:?} to {to:?}");
        }
    }

    #[test]
    fn a_bend_that_begins_where_the_last_straight_does_is_no_part_of_the_line() {
        // what the tow bends by until its last straight does not turn with the mean of the
        // bends before and behind that place
        for (r, most) in [(5.0, 0.075), (7.0, 0.052)] {
            for behind in [-0.05, 0.0, 0.05_f64] {
                let mut path = corner(r);
                path.segments.pop();
                let (sin, cos) = trig::sin_cos((2.0 + behind) / r);
                let (from, centre) = (pt(30.0 + r, r), pt(30.0 + 2.0 * r, r));
                let to = centre + pt(-cos, sin) * r;
                path.segments.push(Segment::Arc(Arc { from, to, centre, ccw: false }));
                held(&path, 2.0, 4.0, most);
            }
        }
    }

    #[test]
    fn a_way_that_is_given_up_is_no_better_and_one_that_is_not_is() {
        let path = corner(6.0);
        let wanted = Wanted::new(&path);
        let plain = wanted.judged(path.clone(), 2.0);
        let off = plain.off_anywhere_mm();
        assert!(wanted.nearer(path.clone(), 2.0, off).is_none(), "as far off as it is");
        let same = wanted.nearer(path.clone(), 2.0, off + 1e-6).expect("a little nearer than that");
        assert_eq!(same.laid, plain.laid);
        assert!((same.off_anywhere_mm() - off).abs() < 1e-12);
    }

    #[test]
    fn a_course_that_ends_in_a_bend_is_led_in_from_outside() {
        for (r, d) in [(6.0, 1.0), (8.0, 1.5), (10.0, 2.0), (10.0, 3.0)] {
            let turn = Segment::Arc(Arc {
                from: pt(30.0, 0.0),
                to: pt(30.0 + r, r),
                centre: pt(30.0, r),
                ccw: true,
            });
            let path = Path::new(vec![Segment::Line { from: pt(0.0, 0.0), to: pt(30.0, 0.0) }, turn], false);
            let before = d * d / (2.0 * r);
            for wanted in [path.reversed(), path] {
                held(&wanted, d, 0.6 * r, (0.35 * before).max(0.05));
            }
        }
    }

    #[test]
    fn a_wide_trail_round_a_tight_bow() {
        let led = led(&bow(4.0), 3.0, 4.0);
        // 0.22 is the least by linear programming, 0.95 is what the nozzle's way to the bow
        // itself leaves with its corners eased
        assert!(led.path.min_radius() >= 4.0, "legal");
        assert!((0.2..0.28).contains(&led.off_anywhere_mm()), "{}", led.off_anywhere_mm());
    }
}

//! Nested closed courses wound into one.

use super::room::Room;
use crate::count::f64_of;
use crate::geom::nearest::Lines;
use crate::geom::{Area, Path, Point, bend, offset, polyline};
use crate::reinforcement::Reason;

/// Step at which the way over is sampled, mm: the fit must see its bends.
const STEP_MM: f64 = 0.5;

/// Length of a way over, in spacings, that are tried: the shorter, the less of the
/// outermost loop is lost; but two that run side by side come nearer by the cosine
/// of their slope, 1.5 spacings over this length at most.
const WAYS_OVER: [f64; 6] = [10.0, 12.0, 15.0, 18.0, 26.0, 38.0];

/// Places where loops may be left that are looked at, and that are tried.
const PLACES: (u32, usize) = (36, 5);

/// How near the spiral is fitted, in deviations: loops are fitted already, and on the
/// way over there is little room to lose.
const FITTED: f64 = 0.15;

/// The same of loops that are too short to be laid by themselves, as shares of the
/// innermost: half of it would often be lost on longer ways. At the end of a way over the
/// spiral's curvature is that of the next loop and 6 spacings / way^2, so that round loops
/// of the least radius need four tenths.
const WAYS_OF_SHORT: [f64; 5] = [0.15, 0.22, 0.3, 0.38, 0.45];

/// Share that a spiral must keep of the tow of those loops that could be laid without it.
const KEPT: f64 = 0.9;

/// How much wider loops are bent that a spiral is wound from: on the way over it
/// bends a little tighter than they do.
pub(crate) const MARGIN: f64 = 1.08;

/// Joins every chain of closed courses that lie one beside the other all the way
/// round to a spiral. A loop is followed all round; then, where the loops are
/// calmest, all go over to the next one side by side. The last ends where the one
/// before comes over. A chain that cannot be wound, for lack of room or bend radius,
/// stays as it is. Gives the cuts saved and the strips of the loops that were wound: beside
/// the spiral's end a notch is left in them, which is no ground for others.
pub(super) fn wind(room: &mut Room<'_>, margin: f64) -> (usize, Vec<Area>) {
    let all: Vec<usize> = (0..room.courses.len()).filter(|&i| room.courses[i].path().closed).collect();
    let rings = Rings::new(room, &all);
    let mut spirals: Vec<(Vec<usize>, Path)> = Vec::new();
    for chain in rings.chains(room.order.spacing) {
        let mut rest = chain.as_slice();
        while rest.len() > 1 {
            // without the outermost loops where the whole cannot be wound
            let mut most = rest.len();
            let mut found = None;
            while most > 1 && found.is_none() {
                found = rings.wound(room, &rest[..most], margin).map(|path| (most, path));
                most = if most > 8 { most - most / 4 } else { most - 1 };
            }
            let Some((n, path)) = found else {
                rest = &rest[1..];
                continue;
            };
            spirals.push((rest[..n].iter().map(|&k| all[k]).collect(), path));
            rest = &rest[n..];
        }
    }
    lay(room, margin, spirals)
}

/// Winds closed courses that are too short to be cut and laid, with one beside them where
/// they do not suffice by themselves: every other loop stays as it is. Gives the strips of
/// the loops that were wound.
pub(super) fn wind_short(room: &mut Room<'_>, margin: f64) -> Vec<Area> {
    let shortest = room.order.shortest;
    let short = short_loops(room);
    let all: Vec<usize> = (0..room.courses.len()).filter(|&i| room.courses[i].path().closed).collect();
    let rings = Rings::new(room, &all);
    let mut spirals: Vec<(Vec<usize>, Path)> = Vec::new();
    for chain in rings.chains(room.order.spacing) {
        let mut rest = chain.as_slice();
        loop {
            let n = rest.iter().take_while(|&&k| short.contains(&all[k])).count();
            if n == 0 {
                break;
            }
            // all of them, or with the next one, or without the outermost
            let sizes = [n, n + 1].into_iter().chain((2..n).rev()).filter(|&n| n > 1 && n <= rest.len());
            let wound = sizes
                .filter_map(|n| Some((n, rings.wound(room, &rest[..n], margin)?)))
                .find(|(_, path)| path.length() >= shortest);
            let Some((n, path)) = wound else {
                rest = &rest[1..];
                continue;
            };
            spirals.push((rest[..n].iter().map(|&k| all[k]).collect(), path));
            rest = &rest[n..];
        }
    }
    lay(room, margin, spirals).1
}

/// Closed courses that are too short to be cut and laid, with none beside them that they
/// could be wound with: their places among the courses.
pub(super) fn lone_short(room: &Room<'_>) -> Vec<usize> {
    if short_loops(room).is_empty() {
        return Vec::new();
    }
    let all: Vec<usize> = (0..room.courses.len()).filter(|&i| room.courses[i].path().closed).collect();
    let length = |k: &usize| room.courses[all[*k]].length_mm();
    let chains = Rings::new(room, &all).chains(room.order.spacing);
    let lone = chains.iter().filter(|c| c.iter().map(length).sum::<f64>() < room.order.shortest);
    lone.flatten().map(|&k| all[k]).collect()
}

/// Closed courses that are too short to be cut and laid by themselves: their places
/// among the courses.
pub(super) fn short_loops(room: &Room<'_>) -> Vec<usize> {
    let short = |i: &usize| {
        let course = &room.courses[*i];
        course.path().closed && course.length_mm() < room.order.shortest
    };
    (0..room.courses.len()).filter(short).collect()
}

/// Leaves out closed courses that are too short and were not wound. Gives a point
/// inside each.
pub(super) fn give_up_short_loops(room: &mut Room<'_>) -> Vec<Point> {
    let short = short_loops(room);
    if short.is_empty() {
        return Vec::new();
    }
    let mut within = Vec::new();
    let mut kept = Vec::new();
    for (i, course) in std::mem::take(&mut room.courses).into_iter().enumerate() {
        if short.contains(&i) {
            let at = course.path().point_at(0.5 * course.length_mm());
            room.leave_out(Reason::TooShort { shortest_mm: room.order.shortest }, course.length_mm(), at);
            let ring = course.path().flatten(bend::PROPOSAL_CHORD_MM);
            let share = 1.0 / f64_of(ring.len().max(1));
            within.push(ring.iter().fold(Point::default(), |sum, p| sum + *p * share));
        } else {
            kept.push(course);
        }
    }
    room.replace(kept);
    within
}

/// Puts spirals in the place of the loops that each was wound from. Gives the cuts saved and
/// those loops' strips.
fn lay(room: &mut Room<'_>, margin: f64, spirals: Vec<(Vec<usize>, Path)>) -> (usize, Vec<Area>) {
    let o = room.order;
    let mut saved = 0;
    let mut grounds = Vec::new();
    let mut tried: Vec<usize> = Vec::new();
    for (members, path) in spirals {
        let before = room.courses.clone();
        let told = room.told();
        let kept: Vec<_> = (0..before.len())
            .filter(|i| !members.contains(i) && !tried.contains(i))
            .map(|i| before[i].clone())
            .collect();
        let tow = |courses: &[super::Course]| courses.iter().map(super::Course::length_mm).sum::<f64>();
        let long: Vec<_> =
            members.iter().map(|&i| before[i].clone()).filter(|c| c.length_mm() >= o.shortest).collect();
        // numbers of courses must stay: spirals are added behind them
        let n = kept.len();
        room.replace(kept);
        let radius = room.order.radius;
        room.order.radius = radius / margin;
        room.accept(path);
        room.order.radius = radius;
        let made = &room.courses[n..];
        if !made.is_empty() && made.len() < members.len() && tow(made) >= KEPT * tow(&long) {
            saved += long.len().saturating_sub(made.len());
            let chord = bend::PROPOSAL_CHORD_MM;
            // a hair wider, so that no edge of the spiral shows beside theirs
            let width = o.width + 8.0 * FITTED * o.fit();
            let strip = |&i: &usize| offset::strip(&before[i].path().flatten(chord), width, true, chord);
            grounds.extend(members.iter().map(strip));
            let made = made.to_vec();
            let mut courses = before;
            courses.extend(made);
            tried.extend(members);
            room.courses = courses;
        } else {
            room.forget_since(told);
            room.courses = before;
        }
    }
    let courses: Vec<_> = std::mem::take(&mut room.courses)
        .into_iter()
        .enumerate()
        .filter(|(i, _)| !tried.contains(i))
        .map(|(_, c)| c)
        .collect();
    room.replace(courses);
    (saved, grounds)
}

/// Closed courses as rings of points, counter-clockwise, the first repeated.
struct Rings {
    lines: Vec<Vec<Point>>,
    near: Vec<Lines>,
}

impl Rings {
    fn new(room: &Room<'_>, of: &[usize]) -> Self {
        let lines: Vec<Vec<Point>> =
            of.iter().map(|&i| ccw(&room.courses[i].path().flatten(0.5 * bend::PROPOSAL_CHORD_MM))).collect();
        let near = lines
            .iter()
            .map(|line| {
                let mut l = Lines::default();
                l.add(line);
                l
            })
            .collect();
        Self { lines, near }
    }

    /// Chains of loops that lie one beside the other, from the inside outwards.
    fn chains(&self, spacing: f64) -> Vec<Vec<usize>> {
        // the smaller lies inside and every point of it within two spacings
        let beside = |i: usize, j: usize| {
            polyline::ring_contains(&self.lines[j], self.lines[i][0])
                && self.lines[i].iter().all(|p| self.near[j].distance(*p) < 1.9 * spacing)
        };
        let mut order: Vec<usize> = (0..self.lines.len()).collect();
        order.sort_by(|a, b| {
            let size = |k: usize| polyline::signed_area(&self.lines[k]).abs();
            size(*a).total_cmp(&size(*b))
        });
        let mut chains: Vec<Vec<usize>> = Vec::new();
        for &k in &order {
            match chains.iter_mut().find(|c| c.last().is_some_and(|&l| beside(l, k))) {
                Some(chain) => chain.push(k),
                None => chains.push(vec![k]),
            }
        }
        chains.sort_by_key(|c| std::cmp::Reverse(c.len()));
        chains
    }

    /// The spiral of a chain, if it can be bent and has room.
    fn wound(&self, room: &Room<'_>, chain: &[usize], margin: f64) -> Option<Path> {
        let o = room.order;
        let inner = &self.lines[chain[0]];
        let total = polyline::length(inner);
        let ways: Vec<f64> = if total < o.shortest {
            WAYS_OF_SHORT.map(|share| share * total).to_vec()
        } else {
            WAYS_OVER.map(|w| w * o.spacing).into_iter().filter(|over| *over <= 0.5 * total).collect()
        };
        for over in ways {
            for start in self.calm(chain, over) {
                let spiral = self.points(chain, start, over);
                let fitted = bend::fit_through(&spiral, o.radius / margin, FITTED * 2.0 * o.fit());
                if let Some(path) = fitted
                    && room.inside(&path)
                    && room.keeps_off_itself(&path)
                {
                    return Some(path);
                }
            }
        }
        None
    }

    /// Places on the innermost loop before which the loops turn least, best first.
    fn calm(&self, chain: &[usize], over: f64) -> Vec<Point> {
        let inner = &self.lines[chain[0]];
        let total = polyline::length(inner);
        let mut places: Vec<(f64, u32, Point)> = (0..PLACES.0)
            .map(|k| {
                let start = along(inner, total * f64::from(k) / f64::from(PLACES.0));
                let mut place = start;
                let mut turned: f64 = 0.0;
                for &i in chain {
                    let ring = begun_at(&self.lines[i], place);
                    place = ring[0];
                    turned = turned.max(turn_within(&ring, over));
                }
                (turned, k, start)
            })
            .collect();
        places.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        places.into_iter().take(PLACES.1).map(|p| p.2).collect()
    }

    /// Points of the spiral: once round each loop, the last stretch going over to
    /// the next; round the last as far as the one before leaves room.
    fn points(&self, chain: &[usize], start: Point, over: f64) -> Vec<Point> {
        let mut out: Vec<Point> = Vec::new();
        let inner = begun_at(&self.lines[chain[0]], start);
        let lengths = lengths(&inner);
        let whole = polyline::length(&inner);
        let mut start = start;
        for (k, &i) in chain.iter().enumerate() {
            let ring = begun_at(&self.lines[i], start);
            let total = polyline::length(&ring);
            let next = chain.get(k + 1).map(|&n| &self.near[n]);
            let share = (1.5 * over / whole).min(0.6);
            for (p, fine) in with_tail(&ring, total * (1.0 - share)) {
                // loops go over side by side: as far as the innermost has at this place
                let gone =
                    if fine { (length_at(&inner, &lengths, p, over) - (whole - over)) / over } else { 0.0 };
                let u = gone.clamp(0.0, 1.0);
                let moved = match next {
                    Some(l) if u > 0.0 => l.nearest(p).map_or(p, |(q, _)| p.lerp(q, u * u * (3.0 - 2.0 * u))),
                    None if u > 0.0 => break,
                    _ => p,
                };
                if out.last().is_none_or(|l| l.dist(moved) > 1e-4) {
                    out.push(moved);
                }
            }
            if let Some(p) = out.last() {
                start = *p;
            }
        }
        out
    }
}

/// The lengths along a line at which its points lie.
fn lengths(line: &[Point]) -> Vec<f64> {
    let mut at = vec![0.0];
    for w in line.windows(2) {
        at.push(at[at.len() - 1] + w[0].dist(w[1]));
    }
    at
}

/// The length along a closed line at which it is nearest to a place, looked for over
/// its second half. `lengths` are those of its points.
fn length_at(line: &[Point], lengths: &[f64], place: Point, over: f64) -> f64 {
    let whole = lengths.last().copied().unwrap_or(0.0);
    let from = (0.5 * whole).min(whole - 1.2 * over);
    let mut best = (f64::INFINITY, 0.0);
    let first = lengths.partition_point(|at| *at < from).saturating_sub(1);
    for (w, at) in line.windows(2).zip(lengths.windows(2)).skip(first) {
        let share = polyline::nearest_share(place, w[0], w[1]);
        let off = w[0].lerp(w[1], share).dist(place);
        if off < best.0 {
            best = (off, at[0] + share * w[0].dist(w[1]));
        }
    }
    best.1
}

/// The points of a line, from a length on at steps of [`STEP_MM`]; whether a point
/// lies beyond that length.
fn with_tail(line: &[Point], from: f64) -> Vec<(Point, bool)> {
    let mut out = vec![(line[0], false)];
    let mut at = 0.0;
    for w in line.windows(2) {
        let length = w[0].dist(w[1]);
        let to = at + length;
        if at < from && to > from {
            out.push((w[0].lerp(w[1], (from - at) / length), false));
        }
        if to > from {
            let begin = (from - at).max(0.0);
            let n = ((length - begin) / STEP_MM).ceil().max(1.0);
            let mut k = 1.0;
            while k <= n {
                out.push((w[0].lerp(w[1], (begin + (length - begin) * k / n) / length), true));
                k += 1.0;
            }
        } else {
            out.push((w[1], false));
        }
        at = to;
    }
    out
}

/// How much a closed line turns within a length before its end, radians.
fn turn_within(line: &[Point], length: f64) -> f64 {
    let from = polyline::length(line) - length;
    let mut at = 0.0;
    let mut turned = 0.0;
    for w in line.windows(3) {
        at += w[0].dist(w[1]);
        if at >= from {
            let (d, e) = (w[1] - w[0], w[2] - w[1]);
            turned += d.turn_to(e).abs();
        }
    }
    turned
}

/// The point at a length along a line.
fn along(line: &[Point], length: f64) -> Point {
    let mut rest = length;
    for w in line.windows(2) {
        let d = w[0].dist(w[1]);
        if rest <= d && d > 0.0 {
            return w[0].lerp(w[1], rest / d);
        }
        rest -= d;
    }
    line[0]
}

/// A closed line, its first point repeated, counter-clockwise.
fn ccw(line: &[Point]) -> Vec<Point> {
    let mut line = line.to_vec();
    if polyline::signed_area(&line) < 0.0 {
        line.reverse();
    }
    line
}

/// A closed line begun at its point nearest to a place.
fn begun_at(line: &[Point], place: Point) -> Vec<Point> {
    let mut best = (f64::INFINITY, 0, place);
    for (i, w) in line.windows(2).enumerate() {
        let q = w[0].lerp(w[1], polyline::nearest_share(place, w[0], w[1]));
        if q.dist(place) < best.0 {
            best = (q.dist(place), i, q);
        }
    }
    let (_, i, q) = best;
    let mut out = vec![q];
    out.extend_from_slice(&line[i + 1..]);
    out.extend_from_slice(&line[1..=i]);
    out.push(q);
    out
}

#[cfg(test)]
mod tests {
    use super::super::hoop;
    use super::super::order::Order;
    use super::*;
    use crate::geom::{combine, pt, smooth};
    use crate::job::Rule;

    #[test]
    fn hoops_become_one_spiral_of_nearly_their_length() {
        let order = Order { radius: 6.0 * MARGIN, courses: Some(8), ..Order::sample(Rule::Hoop) };
        let hole = smooth::disc(pt(40.0, 40.0), 8.0, 0.004);
        let plate = combine::ring_area(&[pt(0.0, 0.0), pt(80.0, 0.0), pt(80.0, 80.0), pt(0.0, 80.0)]);
        let mut room = Room::new(order, &combine::difference(&plate, &hole));
        hoop::lay(&mut room, &hole, 1.0, false, true);
        let rings: f64 = room.courses.iter().map(super::super::Course::length_mm).sum();
        assert_eq!(room.courses.len(), 8, "hoops");
        let (saved, strips) = wind(&mut room, MARGIN);
        assert_eq!(strips.len(), 8, "loops");
        assert_eq!(saved, 7, "cuts saved: {:?}", room.left_out);
        assert_eq!(room.courses.len(), 1, "one spiral");
        let spiral = &room.courses[0];
        assert!(!spiral.path().closed && spiral.path().min_radius() >= 6.0, "{}", spiral.path().min_radius());
        // the last loop lacks the way over, the seven inside it gain half a spacing there
        let way = WAYS_OVER[0] / 9.5;
        let form = rings - way * 16.5 + way * 7.0 * 0.5;
        assert!((spiral.length_mm() - form).abs() < 0.5, "{form} {}", spiral.length_mm());
    }

    /// A hole for an M6 screw in a plate, two hoops round it, both too short for the printer.
    fn short_hoops(courses: usize) -> Room<'static> {
        let order = Order {
            width: 1.2,
            spacing: 1.2,
            shortest: 40.0,
            shortest_loop: 0.0,
            courses: Some(courses),
            ..Order::sample(Rule::Hoop)
        };
        let hole = smooth::disc(pt(20.0, 20.0), 3.3, 0.004);
        let plate = combine::ring_area(&[pt(0.0, 0.0), pt(40.0, 0.0), pt(40.0, 40.0), pt(0.0, 40.0)]);
        let mut room = Room::new(order, &combine::difference(&plate, &hole));
        hoop::lay(&mut room, &hole, 1.0, false, false);
        room
    }

    #[test]
    fn hoops_too_short_to_be_cut_are_laid_as_a_spiral() {
        let mut room = short_hoops(2);
        let rings: Vec<f64> = room.courses.iter().map(super::super::Course::length_mm).collect();
        assert!(matches!(rings.as_slice(), [a, b] if *a < *b && *b < 40.0), "{rings:?}");
        assert_eq!(wind_short(&mut room, 1.0).len(), 2, "loops");
        assert!(give_up_short_loops(&mut room).is_empty(), "{:?}", room.left_out);
        let [spiral] = room.courses.as_slice() else { panic!("{} courses", room.courses.len()) };
        assert!(!spiral.path().closed && spiral.length_mm() >= 40.0, "{} mm", spiral.length_mm());
        assert!(spiral.path().min_radius() >= 5.0, "R {}", spiral.path().min_radius());
        // closed form: the outer loop lacks the way over, at most four tenths of it, and is
        // half a spacing nearer on the way
        let most = rings[0] + rings[1];
        let least = rings[0] + 0.55 * rings[1];
        assert!(spiral.length_mm() > least && spiral.length_mm() < most, "{} mm", spiral.length_mm());
        // it leads round the hole once and on: never nearer than the first loop's radius
        let centre = pt(20.0, 20.0);
        let line = spiral.path().flatten(0.01);
        let reach = line
            .iter()
            .map(|p| p.dist(centre))
            .fold((f64::INFINITY, 0.0_f64), |(l, h), d| (l.min(d), h.max(d)));
        assert!(reach.0 > 4.98 && reach.1 < 6.4, "{reach:?}");
    }

    #[test]
    fn a_hoop_too_short_and_alone_is_given_up_and_told() {
        let mut room = short_hoops(1);
        assert_eq!(room.courses.len(), 1, "one hoop");
        assert!(wind_short(&mut room, 1.0).is_empty(), "nothing beside it");
        let within = give_up_short_loops(&mut room);
        assert!(matches!(within.as_slice(), [p] if p.dist(pt(20.0, 20.0)) < 1.0), "{within:?}");
        assert!(room.courses.is_empty(), "too short to be cut");
        let told: f64 = room
            .left_out
            .iter()
            .filter(|l| l.reason == Reason::TooShort { shortest_mm: 40.0 })
            .map(|l| l.length_mm)
            .sum();
        assert!((told - std::f64::consts::TAU * 5.05).abs() < 0.6, "{told} mm told");
    }

    #[test]
    fn long_hoops_stay_closed_beside_short_ones_that_are_wound() {
        let mut room = short_hoops(5);
        assert_eq!(room.courses.len(), 5, "hoops");
        wind_short(&mut room, 1.0);
        assert!(give_up_short_loops(&mut room).is_empty(), "{:?}", room.left_out);
        let closed = room.courses.iter().filter(|c| c.path().closed).count();
        assert_eq!((closed, room.courses.len()), (3, 4), "three loops and one spiral");
        assert!(room.courses.iter().all(|c| c.length_mm() >= 40.0), "all can be cut");
    }
}

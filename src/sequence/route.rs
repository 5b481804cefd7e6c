//! The order in which runs are visited, and the end at which each is entered.
//!
//! Nearest neighbour, then 2-opt and Or-opt over open runs with two ends (Croes
//! 1958; Or 1976; from memory). Exchanges are looked for among the ends nearest
//! to each place only, so the effort grows little faster than the number of runs.

use crate::geom::Point;
use rstar::{AABB, PointDistance, RTree, RTreeObject};

/// Something that is entered at one place and left at another.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Stop {
    /// Entered at either end, left at the other.
    Open(Point, Point),
    /// Entered at the first, left at the second.
    OneWay(Point, Point),
    /// Entered and left at any one of its points.
    Closed(Vec<Point>),
}

/// A visit: which stop, and how it is entered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Visit {
    pub(super) stop: usize,
    /// An open stop is entered at its far end.
    pub(super) reversed: bool,
    /// A closed stop is entered at this point of it.
    pub(super) at: usize,
}

/// How many of the nearest ends are tried for an exchange. More find little.
const NEIGHBOURS: usize = 10;

/// Longest run of stops that Or-opt moves to another place of the tour.
const LONGEST_MOVED: usize = 3;

/// Passes over the tour; it rarely changes after the third.
const PASSES: usize = 5;

/// Less than this is no gain, mm: keeps rounding from cycling.
const GAIN_MM: f64 = 1e-6;

/// A visit with the places where it begins and ends.
#[derive(Clone, Copy)]
struct Leg {
    visit: Visit,
    from: Point,
    to: Point,
    one_way: bool,
}

impl Leg {
    /// In a run that is gone through the other way round: from its other end, if it may.
    fn flipped(self) -> Self {
        if self.one_way {
            return self;
        }
        let visit = Visit { reversed: !self.visit.reversed, ..self.visit };
        Self { visit, from: self.to, to: self.from, ..self }
    }
}

/// Travel between the legs of a run, in its order and the other way round.
fn between(run: &[Leg]) -> (f64, f64) {
    run.windows(2).fold((0.0, 0.0), |(there, back), w| {
        (there + w[0].to.dist(w[1].from), back + w[1].flipped().to.dist(w[0].flipped().from))
    })
}

/// A place where a stop can be entered.
#[derive(Clone, Copy, PartialEq)]
struct Entry {
    p: Point,
    stop: usize,
    /// Which end of an open stop, which point of a closed one.
    index: usize,
}

impl RTreeObject for Entry {
    type Envelope = AABB<[f64; 2]>;
    fn envelope(&self) -> Self::Envelope {
        AABB::from_point([self.p.x, self.p.y])
    }
}

impl PointDistance for Entry {
    fn distance_2(&self, q: &[f64; 2]) -> f64 {
        (Point::new(q[0], q[1]) - self.p).norm2()
    }
}

/// Visits every stop, starting from `start`.
pub(super) fn tour(stops: &[Stop], start: Point) -> Vec<Visit> {
    let one_way = stops.iter().any(|s| matches!(s, Stop::OneWay(..)));
    let mut tour = Tour { legs: nearest_first(stops, start), start, one_way };
    for _ in 0..PASSES {
        let changed = tour.improve(stops.len());
        tour.enter_closed(stops);
        if !changed {
            break;
        }
    }
    tour.legs.into_iter().map(|l| l.visit).collect()
}

fn entries(stop: usize, s: &Stop) -> Vec<Entry> {
    let entry = |(index, p)| Entry { p, stop, index };
    match s {
        Stop::Open(a, b) => vec![entry((0, *a)), entry((1, *b))],
        Stop::OneWay(a, _) => vec![entry((0, *a))],
        Stop::Closed(points) => points.iter().copied().enumerate().map(entry).collect(),
    }
}

fn nearest_first(stops: &[Stop], start: Point) -> Vec<Leg> {
    let all = stops.iter().enumerate().flat_map(|(i, s)| entries(i, s)).collect();
    let mut left = RTree::bulk_load(all);
    let mut legs = Vec::with_capacity(stops.len());
    let mut at = start;
    while let Some(&entry) = left.nearest_neighbor([at.x, at.y]) {
        let stop = &stops[entry.stop];
        for e in entries(entry.stop, stop) {
            left.remove(&e);
        }
        let (reversed, index, to) = match stop {
            Stop::Open(a, b) => (entry.index == 1, 0, if entry.index == 1 { *a } else { *b }),
            Stop::OneWay(_, b) => (false, 0, *b),
            Stop::Closed(_) => (false, entry.index, entry.p),
        };
        let visit = Visit { stop: entry.stop, reversed, at: index };
        let one_way = matches!(stop, Stop::OneWay(..));
        legs.push(Leg { visit, from: entry.p, to, one_way });
        at = to;
    }
    legs
}

struct Tour {
    legs: Vec<Leg>,
    start: Point,
    /// Some leg is one-way: the way between the legs of a run is then another the other
    /// way round.
    one_way: bool,
}

impl Tour {
    /// Where the head is before leg `i`.
    fn before(&self, i: usize) -> Point {
        if i == 0 { self.start } else { self.legs[i - 1].to }
    }

    /// Travel from a place to the start of leg `i`; nothing follows the last.
    fn onward(&self, from: Point, i: usize) -> f64 {
        self.legs.get(i).map_or(0.0, |l| from.dist(l.from))
    }

    /// One pass of exchanges. Tells whether anything changed.
    fn improve(&mut self, stops: usize) -> bool {
        let ends = self.legs.iter().flat_map(|l| {
            let end = |p, index| Entry { p, stop: l.visit.stop, index };
            [end(l.from, 0), end(l.to, 1)]
        });
        let near = RTree::bulk_load(ends.collect());
        let mut position = vec![0; stops];
        for (k, l) in self.legs.iter().enumerate() {
            position[l.visit.stop] = k;
        }
        let mut changed = false;
        for i in 0..self.legs.len() {
            let from = self.before(i);
            let to = self.legs[i].from;
            let now = from.dist(to);
            // an exchange that gains makes one of its two new ways shorter than
            // the way it replaces, so the ends near this way's ends suffice
            let nearer = |p: Point| -> Vec<Entry> {
                let found = near.nearest_neighbor_iter([p.x, p.y]).take(NEIGHBOURS);
                found.take_while(|e| e.p.dist(p) + GAIN_MM < now).copied().collect()
            };
            let (at_from, at_to) = (nearer(from), nearer(to));
            let candidates =
                at_from.into_iter().map(|e| (e, false)).chain(at_to.into_iter().map(|e| (e, true)));
            for (e, onward) in candidates {
                let j = position[e.stop];
                let other = self.legs[j];
                let range = if onward && e.p == other.flipped().to && i > 0 && self.reverse(j, i - 1) {
                    Some((j, i - 1))
                } else if !onward && e.p == other.flipped().from && self.reverse(i, j) {
                    Some((i, j))
                } else {
                    self.relocate(i, j)
                };
                if let Some((a, b)) = range {
                    for k in a..=b {
                        position[self.legs[k].visit.stop] = k;
                    }
                    changed = true;
                    break;
                }
            }
        }
        changed
    }

    fn between(&self, begin: usize, end: usize) -> (f64, f64) {
        if self.one_way { between(&self.legs[begin..end]) } else { (0.0, 0.0) }
    }

    /// 2-opt: runs legs `i..=j` the other way round where that is shorter.
    fn reverse(&mut self, i: usize, j: usize) -> bool {
        if j < i {
            return false;
        }
        let p = self.before(i);
        let (first, last) = (self.legs[i], self.legs[j]);
        let (there, back) = self.between(i, j + 1);
        let old = p.dist(first.from) + there + self.onward(last.to, j + 1);
        let new = p.dist(last.flipped().from) + back + self.onward(first.flipped().to, j + 1);
        if new + GAIN_MM >= old {
            return false;
        }
        self.legs[i..=j].reverse();
        for l in &mut self.legs[i..=j] {
            *l = l.flipped();
        }
        true
    }

    /// Or-opt: moves a short run of which leg `j` is one end to before leg `i`,
    /// either way round, where that is shorter. Gives the range of legs that moved.
    fn relocate(&mut self, i: usize, j: usize) -> Option<(usize, usize)> {
        let p = self.before(i);
        let to = self.legs[i].from;
        for length in 1..=LONGEST_MOVED {
            for begin in [j, (j + 1).saturating_sub(length)] {
                let end = begin + length;
                if end > self.legs.len() || (begin <= i && i <= end) {
                    continue;
                }
                let (first, last) = (self.legs[begin], self.legs[end - 1]);
                let gap = self.before(begin);
                let (there, back) = self.between(begin, end);
                let old = p.dist(to) + gap.dist(first.from) + there + self.onward(last.to, end);
                let closed = self.onward(gap, end);
                let straight = p.dist(first.from) + there + last.to.dist(to) + closed;
                let flipped = p.dist(last.flipped().from) + back + first.flipped().to.dist(to) + closed;
                if straight.min(flipped) + GAIN_MM >= old {
                    continue;
                }
                if flipped < straight {
                    self.legs[begin..end].reverse();
                    for l in &mut self.legs[begin..end] {
                        *l = l.flipped();
                    }
                }
                if begin > i {
                    self.legs[i..end].rotate_right(length);
                    return Some((i, end - 1));
                }
                self.legs[begin..i].rotate_left(length);
                return Some((begin, i - 1));
            }
        }
        None
    }

    /// Enters each closed stop where the way in and on is shortest.
    fn enter_closed(&mut self, stops: &[Stop]) {
        for i in 0..self.legs.len() {
            let Stop::Closed(points) = &stops[self.legs[i].visit.stop] else { continue };
            let p = self.before(i);
            let way = |q: Point| p.dist(q) + self.onward(q, i + 1);
            let best = points
                .iter()
                .enumerate()
                .min_by(|(_, a), (_, b)| way(**a).total_cmp(&way(**b)))
                .filter(|(_, q)| way(**q) + GAIN_MM < way(self.legs[i].from));
            if let Some((index, &q)) = best {
                let visit = Visit { at: index, ..self.legs[i].visit };
                self.legs[i] = Leg { visit, from: q, to: q, ..self.legs[i] };
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::pt;

    fn travel(stops: &[Stop], visits: &[Visit], start: Point) -> f64 {
        let mut at = start;
        let mut sum = 0.0;
        for v in visits {
            let (from, to) = match &stops[v.stop] {
                Stop::Open(a, b) if v.reversed => (*b, *a),
                Stop::Open(a, b) | Stop::OneWay(a, b) => (*a, *b),
                Stop::Closed(p) => (p[v.at], p[v.at]),
            };
            sum += at.dist(from);
            at = to;
        }
        sum
    }

    fn numbers(mut seed: u64) -> impl FnMut() -> f64 {
        move || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            f64::from(u32::try_from((seed >> 33) % 1000).expect("below 1000")) / 10.0
        }
    }

    #[test]
    fn rows_are_laid_to_and_fro() {
        let stops: Vec<Stop> =
            (0..20).map(|i| Stop::Open(pt(0.0, f64::from(i)), pt(50.0, f64::from(i)))).collect();
        let visits = tour(&stops, pt(0.0, 0.0));
        assert_eq!(visits.len(), 20, "each once");
        assert!((travel(&stops, &visits, pt(0.0, 0.0)) - 19.0).abs() < 1e-9, "one step from row to row");
    }

    #[test]
    fn every_stop_is_visited_once_and_the_second_run_is_the_same() {
        let mut random = numbers(3);
        let stops: Vec<Stop> = (0..700)
            .map(|k| {
                let p = pt(random(), random());
                if k % 9 == 0 {
                    Stop::Closed((0..7).map(|i| p + Point::unit(f64::from(i)) * 2.0).collect())
                } else {
                    Stop::Open(p, pt(random(), random()))
                }
            })
            .collect();
        let visits = tour(&stops, pt(0.0, 0.0));
        let mut seen: Vec<usize> = visits.iter().map(|v| v.stop).collect();
        seen.sort_unstable();
        assert!(seen.into_iter().eq(0..700), "each once");
        assert_eq!(visits, tour(&stops, pt(0.0, 0.0)), "the same stops give the same tour");
        let first: Vec<Visit> = nearest_first(&stops, pt(0.0, 0.0)).iter().map(|l| l.visit).collect();
        let (before, after) = (travel(&stops, &first, pt(0.0, 0.0)), travel(&stops, &visits, pt(0.0, 0.0)));
        assert!(after < 0.9 * before, "exchanges save a tenth at least: {before} to {after} mm");
    }

    #[test]
    fn a_closed_stop_is_entered_where_it_lies_on_the_way() {
        let ring = Stop::Closed(vec![pt(10.0, 0.0), pt(10.0, 50.0), pt(5.0, 50.0)]);
        let stops = [ring, Stop::Open(pt(11.0, 50.0), pt(40.0, 50.0))];
        let visits = tour(&stops, pt(9.0, 48.0));
        assert_eq!((visits[0].stop, visits[0].at), (0, 1), "at the corner next to what follows");
    }

    #[test]
    fn small_tours_are_near_the_best_of_all_orders() {
        // brute force over orders and ends of six runs
        let mut random = numbers(7);
        for _ in 0..20 {
            let stops: Vec<Stop> =
                (0..6).map(|_| Stop::Open(pt(random(), random()), pt(random(), random()))).collect();
            let found = travel(&stops, &tour(&stops, pt(0.0, 0.0)), pt(0.0, 0.0));
            let mut best = f64::INFINITY;
            let mut order: Vec<usize> = (0..6).collect();
            permute(&mut order, 0, &mut |o| {
                for ends in 0..64_u32 {
                    let visits: Vec<Visit> = o
                        .iter()
                        .enumerate()
                        .map(|(k, &stop)| Visit { stop, reversed: ends >> k & 1 == 1, at: 0 })
                        .collect();
                    best = best.min(travel(&stops, &visits, pt(0.0, 0.0)));
                }
            });
            assert!(found <= best * 1.35 + 1e-9, "{found} against {best}");
        }
    }

    #[test]
    fn one_way_stops_are_entered_where_they_begin() {
        // brute force over orders and senses of six runs, some of them one-way
        let mut random = numbers(11);
        let (mut sum, mut least) = (0.0, 0.0);
        for round in 0..60_u32 {
            let mut place = || pt(random(), random());
            let stops: Vec<Stop> = (0..6)
                .map(|k| {
                    let (a, b) = (place(), place());
                    if ((round + 1) >> (k % 3)) & 1 == 1 { Stop::OneWay(a, b) } else { Stop::Open(a, b) }
                })
                .collect();
            let one_way = |stop: usize| matches!(stops[stop], Stop::OneWay(..));
            let visits = tour(&stops, pt(0.0, 0.0));
            let mut seen: Vec<usize> = visits.iter().map(|v| v.stop).collect();
            seen.sort_unstable();
            assert!(seen.into_iter().eq(0..6), "each once");
            assert!(visits.iter().all(|v| !(v.reversed && one_way(v.stop))), "against its sense: {visits:?}");
            let found = travel(&stops, &visits, pt(0.0, 0.0));
            let mut best = f64::INFINITY;
            let mut order: Vec<usize> = (0..6).collect();
            permute(&mut order, 0, &mut |o| {
                for ends in 0..64_u32 {
                    let reversed = |k: usize| ends >> k & 1 == 1;
                    if o.iter().enumerate().any(|(k, stop)| reversed(k) && one_way(*stop)) {
                        continue;
                    }
                    let visit = |(k, &stop): (usize, &usize)| Visit { stop, reversed: reversed(k), at: 0 };
                    let visits: Vec<Visit> = o.iter().enumerate().map(visit).collect();
                    best = best.min(travel(&stops, &visits, pt(0.0, 0.0)));
                }
            });
            assert!(found >= best - 1e-9, "{found} is less than the best, {best}");
            assert!(found <= 1.4 * best, "{found} against {best}");
            sum += found;
            least += best;
        }
        assert!(sum < 1.06 * least, "{sum} against {least} in all");
    }

    #[test]
    fn a_row_that_must_not_be_turned_is_walked_to() {
        // from its far end the one-way row would save the way back
        let stops = [Stop::OneWay(pt(50.0, 1.0), pt(0.0, 1.0)), Stop::Open(pt(50.0, 2.0), pt(0.0, 2.0))];
        let visits = tour(&stops, pt(0.0, 0.0));
        assert!((travel(&stops, &visits, pt(0.0, 0.0)) - 3.0).abs() < 1e-9, "{visits:?}");
        assert_eq!((visits[0].stop, visits[1].stop), (1, 0), "the other row leads to where it begins");
    }

    fn permute(order: &mut Vec<usize>, k: usize, visit: &mut dyn FnMut(&[usize])) {
        if k == order.len() {
            visit(order);
            return;
        }
        for i in k..order.len() {
            order.swap(k, i);
            permute(order, k + 1, visit);
            order.swap(k, i);
        }
    }
}

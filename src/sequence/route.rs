//! The order in which runs are visited, and the end at which each is entered.
//!
//! Nearest neighbour, then 2-opt and Or-opt over open runs with two ends (Lin
//! 1965; Or 1976, from memory). Moves are looked for among the next few runs of
//! the tour only, so the effort grows with their number.

use crate::geom::Point;

/// Something that is entered at one place and left at another.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Stop {
    /// Entered at either end, left at the other.
    Open(Point, Point),
    /// Entered and left at any of its points.
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

/// How far ahead in the tour an exchange is looked for.
const WINDOW: usize = 48;

/// Passes over the tour; it rarely changes after the third.
const PASSES: usize = 4;

#[derive(Clone, Copy)]
struct Leg {
    visit: Visit,
    from: Point,
    to: Point,
    turns: bool,
}

impl Leg {
    fn flipped(self) -> Self {
        if self.turns {
            Self {
                visit: Visit { reversed: !self.visit.reversed, ..self.visit },
                from: self.to,
                to: self.from,
                ..self
            }
        } else {
            self
        }
    }
}

/// Visits every stop, starting from `start`.
pub(super) fn tour(stops: &[Stop], start: Point) -> Vec<Visit> {
    let mut legs = nearest_first(stops, start);
    for _ in 0..PASSES {
        let a = two_opt(&mut legs, start);
        let b = or_opt(&mut legs, start);
        if !(a || b) {
            break;
        }
    }
    legs.into_iter().map(|l| l.visit).collect()
}

fn nearest_first(stops: &[Stop], start: Point) -> Vec<Leg> {
    let mut left: Vec<usize> = (0..stops.len()).collect();
    let mut at = start;
    let mut legs = Vec::with_capacity(stops.len());
    while !left.is_empty() {
        let mut best: Option<(f64, usize, Leg)> = None;
        for (k, &i) in left.iter().enumerate() {
            let leg = |reversed, point, from, to, turns| Leg {
                visit: Visit { stop: i, reversed, at: point },
                from,
                to,
                turns,
            };
            let mut consider = |l: Leg| {
                let d = at.dist(l.from);
                if best.as_ref().is_none_or(|(b, ..)| d < *b) {
                    best = Some((d, k, l));
                }
            };
            match &stops[i] {
                Stop::Open(a, b) => {
                    consider(leg(false, 0, *a, *b, true));
                    consider(leg(true, 0, *b, *a, true));
                }
                Stop::Closed(points) => {
                    for (n, p) in points.iter().enumerate() {
                        consider(leg(false, n, *p, *p, true));
                    }
                }
            }
        }
        let Some((_, k, leg)) = best else { break };
        left.swap_remove(k);
        // keeps ties in the order given, whatever swap_remove did
        left.sort_unstable();
        at = leg.to;
        legs.push(leg);
    }
    legs
}

fn before(legs: &[Leg], i: usize, start: Point) -> Point {
    if i == 0 { start } else { legs[i - 1].to }
}

/// Travel to the leg after `j` from a place; nothing follows the last one.
fn after(legs: &[Leg], j: usize, from: Point) -> f64 {
    legs.get(j + 1).map_or(0.0, |l| from.dist(l.from))
}

/// Less than this is no gain, mm: keeps rounding from cycling.
const GAIN_MM: f64 = 1e-6;

fn two_opt(legs: &mut [Leg], start: Point) -> bool {
    let mut changed = false;
    for i in 0..legs.len() {
        for j in i..(i + WINDOW).min(legs.len()) {
            let p = before(legs, i, start);
            let old = p.dist(legs[i].from) + after(legs, j, legs[j].to);
            let new = p.dist(legs[j].flipped().from) + after(legs, j, legs[i].flipped().to);
            if new + GAIN_MM < old {
                legs[i..=j].reverse();
                for l in &mut legs[i..=j] {
                    *l = l.flipped();
                }
                changed = true;
            }
        }
    }
    changed
}

fn or_opt(legs: &mut [Leg], start: Point) -> bool {
    let mut changed = false;
    for i in 0..legs.len() {
        for len in 1..=3 {
            let end = i + len;
            if end >= legs.len() {
                break;
            }
            // the run i..end moved behind leg k
            for k in end..(end + WINDOW).min(legs.len()) {
                let p = before(legs, i, start);
                let old =
                    p.dist(legs[i].from) + legs[end - 1].to.dist(legs[end].from) + after(legs, k, legs[k].to);
                let new =
                    p.dist(legs[end].from) + legs[k].to.dist(legs[i].from) + after(legs, k, legs[end - 1].to);
                if new + GAIN_MM < old {
                    legs[i..=k].rotate_left(len);
                    changed = true;
                    break;
                }
            }
        }
    }
    changed
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
                Stop::Open(a, b) => (*a, *b),
                Stop::Closed(p) => (p[v.at], p[v.at]),
            };
            sum += at.dist(from);
            at = to;
        }
        sum
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
    fn small_tours_are_near_the_best_of_all_orders() {
        // brute force over orders and ends of six runs
        let mut seed = 7_u64;
        let mut random = || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            ((seed >> 33) % 1000) as f64 / 10.0
        };
        let mut sum = (0.0, 0.0);
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
            sum.0 += found;
            sum.1 += best;
            assert!(found <= best * 1.6 + 1e-9, "{found} against {best}");
        }
        assert!(sum.0 < 1.12 * sum.1, "on average within 12 %: {} against {}", sum.0, sum.1);
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

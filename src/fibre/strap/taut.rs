//! Belts pulled tight: the shortest ring inside an area round what holds it, drawn so that tow
//! can follow it.

use crate::geom::nearest::Lines;
use crate::geom::{Area, Bounds, Point, bend, combine, polyline, smooth};

/// The outer ring of the largest polygon.
pub(super) fn outer(area: &Area) -> Option<Vec<Point>> {
    let part = area.polygons().iter().max_by(|a, b| a.area().total_cmp(&b.area()))?;
    Some(part.outer().to_vec())
}

/// A belt led inside an area: its part there, pulled tight round the points that
/// hold it. Runs counter-clockwise.
pub(super) fn led(belt: &Area, within: &Area, held: &[Point]) -> Option<Vec<Point>> {
    let ring = outer(&combine::intersection(belt, within))?;
    // where a belt turns left what it goes round may hold it, where it turns right the edge
    let edge: Vec<Point> = within.rings().flatten().copied().collect();
    let tidy = polyline::simplified_ring(&pulled_tight(ring, held, &edge), 2e-3);
    (tidy.len() > 2).then_some(tidy)
}

/// How near a point holds a belt, mm: areas are rounded to a tenth of it.
const TOUCH_MM: f64 = 1e-5;

/// The shortest ring that a counter-clockwise one can be pulled to: where it turns left
/// it is held by points inside it, where it turns right by points outside.
///
/// Each corner gives way to the hull of what lies in its triangle until none gives any
/// more; a ring of which no corner gives is the shortest.
fn pulled_tight(mut ring: Vec<Point>, inside: &[Point], outside: &[Point]) -> Vec<Point> {
    // every step makes the ring shorter or takes a corner away; a bound all the same
    let mut left = 1000 * (ring.len() + inside.len() + outside.len());
    // so many corners before this one gave nothing
    let (mut at, mut firm) = (0, 0);
    while firm < ring.len() && ring.len() > 3 && left > 0 {
        left -= 1;
        let n = ring.len();
        at %= n;
        let (a, b, c) = (ring[(at + n - 1) % n], ring[at], ring[(at + 1) % n]);
        let left_turn = (b - a).cross(c - b) > 0.0;
        let chain = held_chain([a, b, c], if left_turn { inside } else { outside });
        let new = chain.iter().chain([&c]).fold((0.0, a), |(sum, p), q| (sum + p.dist(*q), *q)).0;
        if chain.is_empty() || new < a.dist(b) + b.dist(c) - 1e-9 {
            let long = chain.len();
            ring.splice(at..=at, chain);
            // its own and those beside it are to be looked at again
            at = (at + ring.len() - 1) % ring.len();
            firm = firm.saturating_sub(1).min(ring.len().saturating_sub(long + 2));
        } else {
            at += 1;
            firm += 1;
        }
    }
    ring
}

/// What holds the corner of a belt at the middle of three points: the hull, on that
/// corner's side, of the points in their triangle.
fn held_chain([a, b, c]: [Point; 3], points: &[Point]) -> Vec<Point> {
    let side = if (b - a).cross(c - b) > 0.0 { 1.0 } else { -1.0 };
    let Some(bounds) = Bounds::of([a, b, c]) else { return Vec::new() };
    // how far a point lies inside an edge
    let depth = |p: Point, q: Point, r: Point| side * (q - p).cross(r - p);
    let holds = |p: &&Point| {
        let p = **p;
        let near = p.x > bounds.lo.x - TOUCH_MM
            && p.y > bounds.lo.y - TOUCH_MM
            && p.x < bounds.hi.x + TOUCH_MM
            && p.y < bounds.hi.y + TOUCH_MM;
        near && depth(a, b, p) > -TOUCH_MM * a.dist(b)
            && depth(b, c, p) > -TOUCH_MM * b.dist(c)
            && depth(c, a, p) > TOUCH_MM * c.dist(a)
    };
    let mut hold: Vec<Point> = points.iter().filter(holds).copied().collect();
    let mut chain = Vec::new();
    let mut from = a;
    while !hold.is_empty() {
        let mut next = c;
        for &p in &hold {
            if depth(from, next, p) < 0.0 {
                next = p;
            }
        }
        if next == c {
            break;
        }
        hold.retain(|p| *p != next && depth(next, c, *p) < 0.0);
        chain.push(next);
        from = next;
    }
    chain
}

/// Longest step between points of a belt that is drawn smooth, mm; where tow bends
/// sharply they lie no further apart than chords of its bends.
const STEP_MM: f64 = 0.5;

/// Discs that a belt must go round so that it bends no more tightly than a radius
/// where it is pulled round an edge: each touches the edge from the far side.
pub(super) fn corners(ring: &[Point], radius: f64) -> Vec<Area> {
    let n = ring.len();
    let radius = smooth::working_radius(radius);
    let turn = |i: usize| {
        let (a, b) = (ring[i] - ring[(i + n - 1) % n], ring[(i + 1) % n] - ring[i]);
        a.turn_to(b)
    };
    let mut out = Vec::new();
    let mut i = 0;
    while i < n {
        // belts run counter-clockwise: edges outside them make them turn to the right
        let mut bend = turn(i);
        if bend > -1e-3 {
            i += 1;
            continue;
        }
        let (first, mut last, mut along) = (i, i, 0.0);
        for k in i + 1..i + n {
            let step = ring[(k - 1) % n].dist(ring[k % n]);
            let here = turn(k % n);
            if here > -1e-3 || step > 0.5 * radius {
                break;
            }
            (along, bend, last) = (along + step, bend + here, k);
        }
        if -bend > SLIGHT && along < 0.9 * -bend * radius {
            let (before, after) = (ring[(first + n - 1) % n], ring[(last + 1) % n]);
            if let Some(forward) = (after - before).normalised() {
                // all of the edge there lies behind the disc where it reaches furthest
                let reach = |k: &usize| ring[k % n].dot(forward.left());
                let p =
                    ring[(first..=last).max_by(|j, k| reach(j).total_cmp(&reach(k))).unwrap_or(first) % n];
                out.push(smooth::disc(p - forward.left() * radius, radius, bend::PROPOSAL_CHORD_MM));
            }
        }
        i = last + 1;
    }
    out
}

/// Turns that fitting takes up by itself, radians.
const SLIGHT: f64 = 0.02;

/// Times that each point of a belt is drawn between its neighbours: what pulling
/// tight leaves is small and near.
const SETTLES: usize = 80;

/// A belt pulled tight by chords, drawn smooth between what holds it: the corners
/// of its chords would be bends that no tow follows.
pub(super) fn settled(ring: &[Point], within: &Area, held: &[Area], radius: f64) -> Vec<Point> {
    let edge = Lines::boundary(within);
    let rounds: Vec<Lines> = held.iter().map(Lines::boundary).collect();
    let step = STEP_MM.min((8.0 * radius * bend::PROPOSAL_CHORD_MM).sqrt());
    let mut ring = evenly(ring, step);
    let n = ring.len();
    for _ in 0..SETTLES {
        let drawn = (0..n).map(|i| {
            let mut p = (ring[(i + n - 1) % n] + ring[(i + 1) % n]) * 0.25 + ring[i] * 0.5;
            for round in &rounds {
                if round.enclose(p) {
                    p = round.nearest(p).map_or(p, |(q, _)| q);
                }
            }
            if edge.enclose(p) { p } else { edge.nearest(p).map_or(p, |(q, _)| q) }
        });
        ring = drawn.collect();
    }
    polyline::simplified_ring(&ring, 1e-4)
}

/// Points of a ring one step apart, or a little less.
fn evenly(ring: &[Point], step: f64) -> Vec<Point> {
    let total = polyline::ring_length(ring);
    let step = total / (total / step).ceil().max(3.0);
    let mut out = Vec::new();
    // where the next point lies beyond the start of an edge
    let mut next = 0.0;
    for (a, b) in polyline::ring_edges(ring) {
        let long = a.dist(b);
        while next < long {
            out.push(a.lerp(b, next / long));
            next += step;
        }
        next -= long;
    }
    out
}

//! Nested closed courses wound into one.

use super::room::Room;
use crate::geom::nearest::Lines;
use crate::geom::{Path, Point, bend, polyline};

/// Step at which loops are sampled, as a share of the longest chord of a bend: the
/// fit must see every bend as one.
const STEP_MM: f64 = 0.25;

/// Joins every chain of closed courses that lie one beside the other all the way
/// round to a spiral: between two loops it moves over from one to the next within
/// one turn. A chain that cannot be wound, for lack of room or bend radius, stays
/// as it is. Gives the cuts saved.
pub(super) fn wind(room: &mut Room<'_>) -> usize {
    let mut saved = 0;
    loop {
        let Some((members, path)) = next_chain(room) else { return saved };
        let mut kept = Vec::new();
        for (i, c) in std::mem::take(&mut room.courses).into_iter().enumerate() {
            if !members.contains(&i) {
                kept.push(c);
            }
        }
        let before = kept.len();
        room.replace(kept);
        room.accept(path);
        saved += members.len().saturating_sub(room.courses.len() - before);
    }
}

/// The longest chain that can be wound: its courses and the spiral.
fn next_chain(room: &Room<'_>) -> Option<(Vec<usize>, Path)> {
    let o = room.order;
    let loops: Vec<usize> = (0..room.courses.len()).filter(|&i| room.courses[i].path().closed).collect();
    let lines: Vec<Vec<Point>> =
        loops.iter().map(|&i| room.courses[i].path().flatten(bend::PROPOSAL_CHORD_MM)).collect();
    let beside = |i: usize, j: usize| {
        // the smaller lies inside and every point of it within two spacings
        let near = {
            let mut l = Lines::default();
            l.add(&lines[j]);
            l
        };
        polyline::ring_contains(&lines[j], lines[i][0])
            && lines[i].iter().all(|p| near.distance(*p) < 1.9 * o.spacing)
    };
    // from the inside outwards
    let mut order: Vec<usize> = (0..loops.len()).collect();
    order.sort_by(|a, b| {
        let size = |k: usize| polyline::signed_area(&lines[k]).abs();
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
    for mut chain in chains {
        // without the outermost loops where the whole cannot be wound
        while chain.len() > 1 {
            let rings: Vec<&[Point]> = chain.iter().map(|&k| lines[k].as_slice()).collect();
            let spiral = wound(&rings);
            let fit = bend::fit(&spiral, false, o.radius / 1.06, 0.5 * o.deviation);
            if let [path] = fit.pieces.as_slice()
                && fit.kinks.is_empty()
                && room.inside(path)
            {
                return Some((chain.iter().map(|&k| loops[k]).collect(), path.clone()));
            }
            chain.pop();
        }
    }
    None
}

/// Points of the spiral: along each ring, moving to the next ring's nearest point
/// in step with the way round, and once round the last.
fn wound(rings: &[&[Point]]) -> Vec<Point> {
    let mut out: Vec<Point> = Vec::new();
    let mut start = rings[0][0];
    for (k, ring) in rings.iter().enumerate() {
        let ring = begun_at(&ccw(ring), start);
        let total = polyline::length(&ring);
        let next = rings.get(k + 1).map(|n| {
            let mut l = Lines::default();
            l.add(n);
            l
        });
        let dense = polyline::densified(&ring, STEP_MM);
        let mut at = 0.0;
        for (i, &p) in dense.iter().enumerate() {
            if i > 0 {
                at += dense[i - 1].dist(p);
            }
            let moved = match &next {
                Some(l) => l.nearest(p).map_or(p, |(q, _)| p.lerp(q, at / total)),
                None => p,
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

//! Fill beads of thin walls, held inside the outline.
//!
//! A bead's width is what it has on average: where its wall is narrower it would reach
//! out of the part.

use super::{Bead, BeadKind};
use crate::geom::nearest::Lines;
use crate::geom::{Area, Point, polyline};

/// How far a bead's edge may lie outside the outline, mm: what chords leave.
const OUTSIDE_MM: f64 = 0.02;

/// Most of a bead's end that is taken away, in its widths: the middle of a thin wall
/// branches into its corners.
const BRANCH: f64 = 1.5;

/// Pieces that a bead is looked at in, mm, and the shortest that becomes a bead of its own.
const LOOK_MM: f64 = 0.5;
const ALONE_MM: f64 = 2.0;

/// Draws in fill beads that reach out of a thin wall, where they do. Their flow stays: the
/// wall is as full as before.
pub(super) fn inside(outline: &Area, beads: &mut Vec<Bead>) {
    let edge = Lines::boundary(outline);
    let out = |q: Point| !edge.enclose(q) && edge.distance_within(q, OUTSIDE_MM).is_infinite();
    let reaches = |a: Point, b: Point, width: f64| {
        let Some(aside) = (b - a).normalised().map(|d| d.left() * (0.5 * width)) else { return false };
        [0.0, 0.5, 1.0].iter().any(|s| {
            let p = a.lerp(b, *s);
            out(p + aside) || out(p - aside)
        })
    };
    let mut held = Vec::with_capacity(beads.len());
    for mut b in std::mem::take(beads) {
        // most beads are nowhere near
        if b.kind != BeadKind::Fill
            || b.closed
            || b.points.len() < 2
            || b.points.iter().all(|p| edge.distance(*p) > b.width_mm)
        {
            held.push(b);
            continue;
        }
        trim(&mut b, &reaches);
        for (mut piece, whole) in parted(&b, &|p, q| reaches(p, q, b.width_mm)) {
            for _ in 0..if whole { 0 } else { MOST_STEPS } {
                if !piece.points.windows(2).any(|w| reaches(w[0], w[1], piece.width_mm)) {
                    break;
                }
                piece.width_mm *= 0.85;
            }
            held.push(piece);
        }
    }
    *beads = held;
}

/// Times that a bead's width is drawn in, to a fifth of it at most.
const MOST_STEPS: usize = 10;

/// Takes away the ends of a bead that reach out; what they would have held the rest holds.
fn trim(b: &mut Bead, reaches: &dyn Fn(Point, Point, f64) -> bool) {
    let before = b.length_mm();
    for _ in 0..2 {
        let mut taken = 0.0;
        while let [.., p, q] = b.points.as_slice()
            && b.points.len() > 2
            && reaches(*p, *q, b.width_mm)
            && taken + p.dist(*q) < BRANCH * b.width_mm
        {
            taken += p.dist(*q);
            b.points.pop();
        }
        b.points.reverse();
    }
    let after = b.length_mm();
    if after < before && after > 0.0 {
        b.area_mm2 *= before / after;
    }
}

/// A bead as beads of its stretches that reach out and of those that do not, in its order;
/// true for the latter.
fn parted(b: &Bead, reaches: &dyn Fn(Point, Point) -> bool) -> Vec<(Bead, bool)> {
    let mut places = vec![b.points[0]];
    for w in b.points.windows(2) {
        let n = (w[0].dist(w[1]) / LOOK_MM).ceil().max(1.0);
        let mut k = 1.0;
        while k <= n {
            places.push(w[0].lerp(w[1], k / n));
            k += 1.0;
        }
    }
    // runs of pieces alike: how many, whether they stay inside, their length
    let mut runs: Vec<(usize, bool, f64)> = Vec::new();
    for w in places.windows(2) {
        let (whole, length) = (!reaches(w[0], w[1]), w[0].dist(w[1]));
        match runs.last_mut() {
            // what is short goes with what lies before it, as a piece to be drawn in
            Some(last) if last.1 == whole || last.2 < ALONE_MM => {
                *last = (last.0 + 1, last.1 && whole, last.2 + length);
            }
            _ => runs.push((1, whole, length)),
        }
    }
    let mut at = 0;
    runs.into_iter()
        .map(|(count, whole, _)| {
            let points = polyline::simplified(&places[at..=at + count], 1e-6);
            at += count;
            (Bead { points, ..b.clone() }, whole)
        })
        .collect()
}

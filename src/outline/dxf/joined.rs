//! Curves joined end to end.

use super::entities::Piece;
use crate::geom::Point;
use std::collections::{BTreeMap, BTreeSet};

/// Ends this close meet, mm: what drawing programs lose by rounding.
pub(super) const MEETS_MM: f64 = 0.01;

/// Curves whose ends and middles are this close are one curve drawn twice, mm.
const SAME_MM: f64 = 1e-3;

/// An end that meets no other.
pub(super) struct Open {
    pub(super) at: Point,
    /// To the nearest other end, mm.
    pub(super) gap_mm: Option<f64>,
    pub(super) line: usize,
}

/// What pieces become.
pub(super) struct Joined {
    /// Closed, the first point not repeated.
    pub(super) rings: Vec<Vec<Point>>,
    pub(super) open: Vec<Open>,
    /// How many were drawn twice, and the line of the first of them.
    pub(super) twice: Option<(usize, usize)>,
}

/// Joins pieces where their ends meet, the nearest ends first.
pub(super) fn rings(pieces: Vec<Piece>) -> Joined {
    let mut joined = Joined { rings: Vec::new(), open: Vec::new(), twice: None };
    let mut seen: BTreeSet<Vec<[i64; 2]>> = BTreeSet::new();
    let mut curves: Vec<Piece> = Vec::new();
    for piece in pieces {
        let (Some(&a), Some(&b)) = (piece.points.first(), piece.points.last()) else { continue };
        if !seen.insert(key(&piece.points)) {
            let (count, line) = joined.twice.unwrap_or((0, piece.line));
            joined.twice = Some((count + 1, line));
            continue;
        }
        let long = crate::geom::polyline::length(&piece.points);
        if a.dist(b) <= MEETS_MM && long > 4.0 * MEETS_MM {
            let mut ring = piece.points;
            ring.pop();
            if ring.len() > 2 {
                joined.rings.push(ring);
            }
        } else if long > MEETS_MM {
            curves.push(piece);
        }
    }
    let ends = matched(&curves);
    let mut used = vec![false; curves.len()];
    // chains that begin at an end without another one are open
    for (end, other) in ends.iter().enumerate() {
        if other.is_none() {
            let (curve, last) = (&curves[end / 2], end % 2 == 1);
            let at = curve.points[if last { curve.points.len() - 1 } else { 0 }];
            // each is looked for among all, so only for those that are told
            let told = joined.open.len() < super::MOST_FAULTS;
            let gap_mm = if told { nearest_other(&curves, end, at) } else { None };
            joined.open.push(Open { at, gap_mm, line: curve.line });
            used[end / 2] = true;
        }
    }
    for first in 0..curves.len() {
        let mut ring: Vec<Point> = Vec::new();
        // entered at its start; left at its end
        let mut entered = 2 * first;
        let mut whole = true;
        while !std::mem::replace(&mut used[entered / 2], true) {
            let points = &curves[entered / 2].points;
            // the last point is the next one's first
            if entered.is_multiple_of(2) {
                ring.extend(&points[..points.len() - 1]);
            } else {
                ring.extend(points[1..].iter().rev());
            }
            match ends[entered ^ 1] {
                Some(next) => entered = next,
                None => {
                    whole = false;
                    break;
                }
            }
        }
        if whole && ring.len() > 2 && entered == 2 * first {
            joined.rings.push(ring);
        }
    }
    joined
}

/// What tells a curve: its ends and its middle, whichever way it is drawn.
fn key(points: &[Point]) -> Vec<[i64; 2]> {
    #[expect(clippy::cast_possible_truncation, reason = "places within 1e5 mm")]
    let cell = |p: Point| [(p.x / SAME_MM).round() as i64, (p.y / SAME_MM).round() as i64];
    let mut ends = vec![cell(points[0]), cell(points[points.len() - 1])];
    ends.sort_unstable();
    let middle = crate::geom::polyline::length(points) * 0.5;
    let mut at = 0.0;
    for w in points.windows(2) {
        let l = w[0].dist(w[1]);
        if at + l >= middle && l > 0.0 {
            ends.push(cell(w[0].lerp(w[1], (middle - at) / l)));
            break;
        }
        at += l;
    }
    ends
}

/// For each end (twice the curve's index, and 1 for its last point) the end that it meets.
fn matched(curves: &[Piece]) -> Vec<Option<usize>> {
    let place = |end: usize| {
        let points = &curves[end / 2].points;
        points[if end % 2 == 1 { points.len() - 1 } else { 0 }]
    };
    #[expect(clippy::cast_possible_truncation, reason = "places within 1e5 mm")]
    let cell = |p: Point| ((p.x / MEETS_MM).floor() as i64, (p.y / MEETS_MM).floor() as i64);
    let mut near: BTreeMap<(i64, i64), Vec<usize>> = BTreeMap::new();
    for end in 0..2 * curves.len() {
        near.entry(cell(place(end))).or_default().push(end);
    }
    let mut candidates: Vec<(f64, usize, usize)> = Vec::new();
    for end in 0..2 * curves.len() {
        let (x, y) = cell(place(end));
        for other in (x - 1..=x + 1)
            .flat_map(|x| (y - 1..=y + 1).map(move |y| (x, y)))
            .filter_map(|c| near.get(&c))
            .flatten()
            .copied()
            .filter(|other| *other > end)
        {
            let d = place(end).dist(place(other));
            if d <= MEETS_MM {
                candidates.push((d, end, other));
            }
        }
    }
    candidates.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)).then(a.2.cmp(&b.2)));
    let mut met = vec![None; 2 * curves.len()];
    for (_, a, b) in candidates {
        if met[a].is_none() && met[b].is_none() {
            met[a] = Some(b);
            met[b] = Some(a);
        }
    }
    met
}

/// How far the nearest end of another curve, or the other one of this, is off, mm.
fn nearest_other(curves: &[Piece], end: usize, at: Point) -> Option<f64> {
    (0..2 * curves.len())
        .filter(|other| *other != end)
        .map(|other| {
            let points = &curves[other / 2].points;
            at.dist(points[if other % 2 == 1 { points.len() - 1 } else { 0 }])
        })
        .min_by(f64::total_cmp)
}

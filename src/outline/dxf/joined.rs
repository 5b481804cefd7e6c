//! Curves joined end to end.

use super::entities::Piece;
use crate::count::f64_of;
use crate::geom::{Point, grid, polyline};
use std::collections::{BTreeMap, BTreeSet};

/// Ends this close meet, mm: what drawing programs lose by rounding.
pub(super) const MEETS_MM: f64 = 0.01;

/// Curves that are this close at ends, quarters and middle are one curve drawn twice, mm.
const SAME_MM: f64 = 1e-3;

/// A curve of this length or less may lie within what its ends lose: it closes upon itself
/// only where it says so, and alone it is no fault, mm.
pub(super) const SCRAP_MM: f64 = 4.0 * MEETS_MM;

/// Ends that are looked at round one: where more lie within [`MEETS_MM`] nobody can say which
/// of them meet, and comparing each with each would not end.
pub(super) const MOST_NEAR: usize = 1000;

/// Nearest ends that are kept of each end in a round of matching: bounds memory. Those whose
/// nearest are all taken look again in the next round.
const KEPT: usize = 8;

/// Ends in one place among which one that does not double back is looked for.
const LOOKED_AT: usize = 32;

/// How many, and the line of the first of them.
pub(super) type Counted = Option<(usize, usize)>;

/// A closed curve.
pub(super) struct Ring {
    /// The first point not repeated.
    pub(super) points: Vec<Point>,
    /// Line of the file where a piece of it begins.
    pub(super) line: usize,
}

/// An end that meets no other.
pub(super) struct Open {
    pub(super) at: Point,
    /// To the nearest other end, mm.
    pub(super) gap_mm: Option<f64>,
    pub(super) line: usize,
}

/// What pieces become.
pub(super) struct Joined {
    pub(super) rings: Vec<Ring>,
    pub(super) open: Vec<Open>,
    /// Open curves that were drawn twice.
    pub(super) twice: Counted,
    /// Those of [`SCRAP_MM`] at most that meet nothing.
    pub(super) scraps: Counted,
    /// Where more than [`MOST_NEAR`] ends lie, and the line of one.
    pub(super) crowd: Option<(Point, usize)>,
}

/// One more of what is counted.
pub(super) fn count(what: &mut Counted, line: usize) {
    let (n, first) = what.unwrap_or((0, line));
    *what = Some((n + 1, first));
}

/// Joins pieces where their ends meet, the nearest ends first.
pub(super) fn rings(pieces: Vec<Piece>) -> Joined {
    let mut joined = Joined { rings: Vec::new(), open: Vec::new(), twice: None, scraps: None, crowd: None };
    let mut seen: BTreeSet<[[i64; 2]; 5]> = BTreeSet::new();
    let mut curves: Vec<Curve> = Vec::new();
    for piece in pieces {
        let (Some(&a), Some(&b)) = (piece.points.first(), piece.points.last()) else { continue };
        let length_mm = polyline::length(&piece.points);
        // in one place: nothing is drawn
        if length_mm <= grid::STEP_MM {
            continue;
        }
        let Piece { mut points, line, .. } = piece;
        if a.dist(b) <= grid::STEP_MM {
            points.pop();
            joined.rings.push(Ring { points, line });
        } else if seen.insert(key(&points, length_mm)) {
            curves.push(Curve { points, line, length_mm });
        } else {
            count(&mut joined.twice, line);
        }
    }
    let ends = match matched(&curves) {
        Ok(ends) => ends,
        Err(end) => {
            joined.crowd = Some((place(&curves, end), curves[end / 2].line));
            return joined;
        }
    };
    let mut used = vec![false; curves.len()];
    // chains that begin at an end without another one are open
    for (end, other) in ends.iter().enumerate() {
        if other.is_none() {
            let curve = &curves[end / 2];
            used[end / 2] = true;
            if ends[end ^ 1].is_none() && curve.length_mm <= SCRAP_MM {
                if end % 2 == 0 {
                    count(&mut joined.scraps, curve.line);
                }
                continue;
            }
            let at = place(&curves, end);
            // each is looked for among all, so only for those that are told
            let told = joined.open.len() < super::MOST_FAULTS;
            let gap_mm = if told { nearest_other(&curves, end, at) } else { None };
            joined.open.push(Open { at, gap_mm, line: curve.line });
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
        if whole && !ring.is_empty() && entered == 2 * first {
            joined.rings.push(Ring { points: ring, line: curves[first].line });
        }
    }
    joined
}

/// An open piece.
struct Curve {
    points: Vec<Point>,
    line: usize,
    length_mm: f64,
}

/// What tells a curve: ends, quarters and middle, whichever way it is drawn.
fn key(points: &[Point], length_mm: f64) -> [[i64; 2]; 5] {
    // of lines shorter than that several lie within it
    let side = if length_mm <= SCRAP_MM { grid::STEP_MM } else { SAME_MM };
    #[expect(clippy::cast_possible_truncation, reason = "places within 1e5 mm")]
    let cell = |p: Point| [(p.x / side).round() as i64, (p.y / side).round() as i64];
    let mut told = [cell(points[points.len() - 1]); 5];
    let (mut at, mut k) = (0.0, 0);
    for w in points.windows(2) {
        let l = w[0].dist(w[1]);
        while k < 4 && l > 0.0 && at + l >= length_mm * 0.25 * f64_of(k) {
            told[k] = cell(w[0].lerp(w[1], (length_mm * 0.25 * f64_of(k) - at) / l));
            k += 1;
        }
        at += l;
    }
    let mut back = told;
    back.reverse();
    told.min(back)
}

/// Where an end is: twice the curve's index, and 1 for its last point.
fn place(curves: &[Curve], end: usize) -> Point {
    let points = &curves[end / 2].points;
    points[if end % 2 == 1 { points.len() - 1 } else { 0 }]
}

/// Which way a curve leaves an end.
fn leaves(curves: &[Curve], end: usize) -> Point {
    let points = &curves[end / 2].points;
    let from = place(curves, end);
    let off = |p: &&Point| p.dist(from) > grid::STEP_MM;
    let next = if end.is_multiple_of(2) { points.iter().find(off) } else { points.iter().rev().find(off) };
    next.and_then(|p| (*p - from).normalised()).unwrap_or_default()
}

/// Cosine between ways that are the same, for lines that were drawn twice: a degree.
const SAME_WAY: f64 = 0.9998;

/// For each end the end that it meets, or an end with too many others round it.
fn matched(curves: &[Curve]) -> Result<Vec<Option<usize>>, usize> {
    let mut met = vec![None; 2 * curves.len()];
    in_one_place(curves, &mut met);
    while near(curves, &mut met)? {}
    Ok(met)
}

/// An end may meet another: its own curve's only where the curve is long enough to go round.
fn may_meet(curves: &[Curve], end: usize, other: usize) -> bool {
    end / 2 != other / 2 || curves[end / 2].length_mm > SCRAP_MM
}

/// Matches ends that lie in the same place. Where there are more than two, those go together
/// that go on from one another rather than back over the same ground.
fn in_one_place(curves: &[Curve], met: &mut [Option<usize>]) {
    let mut places: BTreeMap<[i64; 2], Vec<usize>> = BTreeMap::new();
    for end in 0..met.len() {
        places.entry(cell(place(curves, end), grid::STEP_MM)).or_default().push(end);
    }
    for ends in places.values().filter(|ends| ends.len() > 1) {
        for (k, &end) in ends.iter().enumerate() {
            if met[end].is_some() {
                continue;
            }
            let way = leaves(curves, end);
            let mut free = ends[k + 1..]
                .iter()
                .copied()
                .filter(|other| met[*other].is_none() && may_meet(curves, end, *other))
                .take(LOOKED_AT)
                .peekable();
            let any = free.peek().copied();
            let other = free.find(|other| leaves(curves, *other).dot(way) < SAME_WAY).or(any);
            if let Some(other) = other {
                (met[end], met[other]) = (Some(other), Some(end));
            }
        }
    }
}

/// Matches ends that are free and near, the nearest first; says whether there were any.
fn near(curves: &[Curve], met: &mut [Option<usize>]) -> Result<bool, usize> {
    let free: Vec<usize> = (0..met.len()).filter(|end| met[*end].is_none()).collect();
    let mut squares: BTreeMap<[i64; 2], Vec<usize>> = BTreeMap::new();
    for end in &free {
        squares.entry(cell(place(curves, *end), MEETS_MM)).or_default().push(*end);
    }
    let mut candidates: Vec<Meeting> = Vec::new();
    for &end in &free {
        let way = leaves(curves, end);
        let at = place(curves, end);
        let [x, y] = cell(at, MEETS_MM);
        let round = (x - 1..=x + 1)
            .flat_map(|x| (y - 1..=y + 1).map(move |y| [x, y]))
            .filter_map(|c| squares.get(&c))
            .flatten()
            .copied();
        let mut nearest: Vec<Meeting> = Vec::new();
        for (looked, other) in round.enumerate() {
            if looked > MOST_NEAR {
                return Err(end);
            }
            let d = at.dist(place(curves, other));
            if other != end && d <= MEETS_MM && may_meet(curves, end, other) {
                let back = leaves(curves, other).dot(way) >= SAME_WAY;
                nearest.push((back, d, end.min(other), end.max(other)));
            }
        }
        nearest.sort_by(nearer);
        candidates.extend(nearest.iter().take(KEPT));
    }
    candidates.sort_by(nearer);
    for (_, _, a, b) in &candidates {
        if met[*a].is_none() && met[*b].is_none() {
            (met[*a], met[*b]) = (Some(*b), Some(*a));
        }
    }
    Ok(!candidates.is_empty())
}

/// Two ends that may meet: whether the way goes back there along the same line, as between
/// lines that are drawn twice, their distance, and the ends.
type Meeting = (bool, f64, usize, usize);

/// What goes on before what goes back, then by distance, then by place in the file.
fn nearer(a: &Meeting, b: &Meeting) -> std::cmp::Ordering {
    a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)).then(a.2.cmp(&b.2)).then(a.3.cmp(&b.3))
}

#[expect(clippy::cast_possible_truncation, reason = "places within 1e5 mm")]
fn cell(p: Point, side: f64) -> [i64; 2] {
    [(p.x / side).floor() as i64, (p.y / side).floor() as i64]
}

/// How far the nearest end of another curve, or the other one of this, is off, mm.
fn nearest_other(curves: &[Curve], end: usize, at: Point) -> Option<f64> {
    (0..2 * curves.len())
        .filter(|other| *other != end)
        .map(|other| at.dist(place(curves, other)))
        .min_by(f64::total_cmp)
}

//! Runs of rows and the turns that join them, as paths.

use super::rows::Row;
use super::turn::{Side, Turn};
use crate::geom::{Arc, Path, Point, Segment, hatch, pt};

/// Joins rows and turns into runs. A run of rows joined at both ends all the way
/// round is closed.
pub(super) fn chains(rows: &[Row], right: &[Turn], left: &[Turn]) -> Vec<Path> {
    let link = |turns: &[Turn]| -> Vec<Option<usize>> {
        let mut of = vec![None; rows.len()];
        for (k, t) in turns.iter().enumerate() {
            of[t.lower] = Some(k);
            of[t.upper] = Some(k);
        }
        of
    };
    let (at_right, at_left) = (link(right), link(left));
    let mut used = vec![false; rows.len()];
    let mut paths = Vec::new();
    // runs with a free end first, loops after them
    for loops in [false, true] {
        for start in 0..rows.len() {
            if used[start] {
                continue;
            }
            let from = match (at_left[start], at_right[start]) {
                (None, _) => Side::Left,
                (_, None) => Side::Right,
                _ if loops => Side::Left,
                _ => continue,
            };
            let mut segments = Vec::new();
            let mut row = start;
            let mut entered = from;
            let mut closed = false;
            loop {
                used[row] = true;
                let r = rows[row];
                let (x0, x1) = if entered == Side::Left { (r.a, r.b) } else { (r.b, r.a) };
                segments.push(Segment::Line { from: pt(x0, r.y), to: pt(x1, r.y) });
                let turn = match entered {
                    Side::Left => at_right[row].map(|k| right[k]),
                    Side::Right => at_left[row].map(|k| left[k]),
                };
                let Some(t) = turn else { break };
                let path = t.path();
                let (path, next) = if t.lower == row { (path, t.upper) } else { (path.reversed(), t.lower) };
                segments.extend(path.segments);
                if next == start {
                    closed = true;
                    break;
                }
                if used[next] {
                    break;
                }
                row = next;
                entered = t.side;
            }
            paths.push(Path::new(segments, closed));
        }
    }
    // rows that the turns left no length
    paths.retain(|p| p.length() > 1e-6 && p.segments.iter().all(|s| s.length() > 1e-9));
    paths
}

pub(super) fn turned_back(path: &Path, angle: f64) -> Path {
    let back = |p: Point| hatch::to_plane(p.x, p.y, angle);
    let segments = path
        .segments
        .iter()
        .map(|s| match *s {
            Segment::Line { from, to } => Segment::Line { from: back(from), to: back(to) },
            Segment::Arc(a) => {
                Segment::Arc(Arc { from: back(a.from), to: back(a.to), centre: back(a.centre), ccw: a.ccw })
            }
        })
        .collect();
    Path::new(segments, path.closed)
}

/// Rows that a run is made of.
pub(super) fn rows_in(path: &Path) -> usize {
    path.segments.iter().filter(|s| along_rows(s)).count()
}

pub(super) fn along_rows(s: &Segment) -> bool {
    (s.to().y - s.from().y).abs() < 1e-6 && s.radius().is_infinite()
}

/// At least this share of a course lies along the rows: with less, turns would
/// make another laminate than the map asks for.
pub(super) const LEAST_SHARE: f64 = 0.5;

pub(super) fn mostly_rows(path: &Path) -> bool {
    let along: f64 = path.segments.iter().filter(|s| along_rows(s)).map(Segment::length).sum();
    along >= LEAST_SHARE * path.length()
}

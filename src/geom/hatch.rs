//! Parallel lines clipped to an area.

use super::{Area, Point, trig};

/// One row of a hatch: the stretches of its line that lie inside the area.
#[derive(Clone, Debug, PartialEq)]
pub struct HatchLine {
    /// Number of the row, counted along the normal from a fixed zero.
    pub index: i64,
    /// Distance of the row along the normal, in the turned frame, mm.
    pub offset: f64,
    /// Stretches as (from, to) along the row's direction, in the turned frame, mm.
    pub spans: Vec<(f64, f64)>,
}

/// Rows at `pitch` mm along the direction `angle` (radians), the row with index
/// 0 at `phase` mm along the left-hand normal from the origin. Coordinates of the
/// rows are in the frame turned by `angle`: see [`to_plane`].
///
/// Scanline with half-open edges, even-odd: a row through a vertex counts it once.
pub fn rows(area: &Area, angle: f64, pitch: f64, phase: f64) -> Vec<HatchLine> {
    Turned::new(area, angle).rows(pitch, phase)
}

/// The same with the rows that fit in the middle of the area's extent, wherever it lies.
pub fn rows_amid(area: &Area, angle: f64, pitch: f64) -> Vec<HatchLine> {
    let turned = Turned::new(area, angle);
    let (lo, hi) = turned.extent;
    turned.rows(pitch, lo + 0.5 * ((hi - lo) % pitch))
}

/// An area in the frame whose x runs along the rows: turned once for rows that are tried
/// at several phases.
#[derive(Clone, Debug)]
pub struct Turned {
    rings: Vec<Vec<Point>>,
    /// Its extent along the normal, mm; the first is the larger where it is empty.
    pub extent: (f64, f64),
}

impl Turned {
    /// For rows along the direction `angle`, radians.
    pub fn new(area: &Area, angle: f64) -> Self {
        let by = trig::sin_cos(-angle);
        let rings: Vec<Vec<Point>> =
            area.rings().map(|r| r.iter().map(|p| p.turned_by(by)).collect()).collect();
        let ys = || rings.iter().flatten().map(|p| p.y);
        let extent = (ys().fold(f64::INFINITY, f64::min), ys().fold(f64::NEG_INFINITY, f64::max));
        Self { rings, extent }
    }

    /// See [`rows`].
    pub fn rows(&self, pitch: f64, phase: f64) -> Vec<HatchLine> {
        let (lo, hi) = self.extent;
        if lo >= hi || pitch <= 0.0 {
            return Vec::new();
        }
        cut(&self.rings, lo, hi, pitch, phase)
    }
}

fn cut(turned: &[Vec<Point>], lo: f64, hi: f64, pitch: f64, phase: f64) -> Vec<HatchLine> {
    let first = index_at((lo - phase) / pitch);
    let last = index_at((hi - phase) / pitch);
    #[expect(
        clippy::cast_sign_loss,
        clippy::cast_possible_truncation,
        reason = "last >= first, a part has few rows"
    )]
    let count = (last - first + 1) as usize;
    let mut cuts: Vec<Vec<f64>> = vec![Vec::new(); count];
    #[expect(clippy::cast_precision_loss, reason = "row numbers are small")]
    let y_of = |i: i64| phase + pitch * i as f64;
    for ring in turned {
        for (a, b) in super::polyline::ring_edges(ring) {
            let (p, q) = if a.y <= b.y { (a, b) } else { (b, a) };
            let from = index_at((p.y - phase) / pitch);
            let to = index_at((q.y - phase) / pitch);
            // the last may round down past a row that it reaches
            for i in from..=to + 1 {
                let y = y_of(i);
                if p.y <= y && y < q.y {
                    #[expect(clippy::cast_sign_loss, clippy::cast_possible_truncation, reason = "i >= first")]
                    let slot = (i - first) as usize;
                    if let Some(row) = cuts.get_mut(slot) {
                        row.push(p.x + (y - p.y) / (q.y - p.y) * (q.x - p.x));
                    }
                }
            }
        }
    }
    cuts.into_iter()
        .zip(first..)
        .filter_map(|(mut xs, index)| {
            debug_assert!(xs.len().is_multiple_of(2), "a row enters an area as often as it leaves it");
            xs.sort_by(f64::total_cmp);
            let spans: Vec<(f64, f64)> =
                xs.chunks_exact(2).map(|c| (c[0], c[1])).filter(|(a, b)| b > a).collect();
            (!spans.is_empty()).then(|| HatchLine { index, offset: y_of(index), spans })
        })
        .collect()
}

#[expect(clippy::cast_possible_truncation, reason = "a part has few rows")]
fn index_at(v: f64) -> i64 {
    v.floor() as i64
}

/// A point of the turned frame back in the plane.
pub fn to_plane(along: f64, offset: f64, angle: f64) -> Point {
    Point::new(along, offset).turned(angle)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::pt;

    #[test]
    fn a_row_through_a_corner_enters_as_often_as_it_leaves() {
        // pitch, phase, and a height at which the row's number rounds to the one below
        for (pitch, phase, y) in [(0.3, 0.15, -1.95), (0.42, -1.7, 62.56)] {
            // a wedge whose tip is at that height, and a bar beside it
            let wedge = vec![pt(-10.0, y - 4.0), pt(-2.0, y), pt(-10.0, y + 4.0)];
            let bar = vec![pt(0.0, y - 5.0), pt(8.0, y - 5.0), pt(8.0, y + 5.0), pt(0.0, y + 5.0)];
            for row in cut(&[wedge, bar], y - 5.0, y + 5.0, pitch, phase) {
                let across = row.spans.iter().find(|(a, b)| *a < -1.9 && *b > -0.1);
                assert!(across.is_none(), "at {} a row runs from one to the other: {across:?}", row.offset);
                assert!(row.spans.contains(&(0.0, 8.0)), "at {} the bar: {:?}", row.offset, row.spans);
            }
        }
    }
}

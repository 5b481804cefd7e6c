//! Parallel fill: rows cut into cells, each cell a bead of its own width.
//!
//! A row of beads that all had one width would leave triangles at oblique ends or
//! lie over tow there. So each row is looked at along several lines, and where its
//! height changes the bead changes with it; what is laid is exactly the area that
//! the lines found.

use super::{Bead, BeadKind};
use crate::geom::{Area, hatch};

/// Lines looked along in one row.
const LINES: i64 = 5;

/// A cell narrower than this share of a bead is left unfilled.
const LEAST_WIDTH: f64 = 0.2;

/// A stretch of a row along which the same lines lie inside.
#[derive(Clone, Copy, Debug)]
struct Cell {
    x0: f64,
    x1: f64,
    /// Lowest and highest line inside, from the row's bottom.
    lo: i64,
    hi: i64,
}

/// Beads that fill an area along a direction (radians). `share` of the rows'
/// pitch is filled: 1 is solid.
pub(super) fn fill(area: &Area, angle: f64, width: f64, share: f64, height: f64) -> Vec<Bead> {
    area.split().flat_map(|part| fill_part(&part, angle, width, share, height)).collect()
}

fn fill_part(part: &Area, angle: f64, width: f64, share: f64, height: f64) -> Vec<Bead> {
    let ys = || part.rings().flatten().map(|p| p.turned(-angle).y);
    let (lo, hi) = (ys().fold(f64::INFINITY, f64::min), ys().fold(f64::NEG_INFINITY, f64::max));
    let extent = hi - lo;
    if extent <= 0.0 {
        return Vec::new();
    }
    // rows that divide the extent evenly: no sliver at the last one
    let (row, pitch) = if share >= 1.0 {
        let even = extent / (extent / width).round().max(1.0);
        (even, even)
    } else {
        (width, width / share)
    };
    #[expect(clippy::cast_precision_loss, reason = "a handful of lines")]
    let step = row / LINES as f64;
    let solid = share >= 1.0;
    let mut beads = Vec::new();
    let mut lay = |y0: f64, lines: &[Vec<(f64, f64)>]| {
        for chain in chains(lines) {
            lay_chain(&chain, y0, step, angle, width, height, solid, &mut beads);
        }
    };
    if solid {
        let mut current: Option<i64> = None;
        let mut lines: Vec<Vec<(f64, f64)>> = vec![Vec::new(); LINES as usize];
        #[expect(clippy::cast_precision_loss, reason = "row numbers are small")]
        let bottom = |r: i64| lo + row * r as f64;
        for line in hatch::rows(part, angle, step, lo + 0.5 * step) {
            let r = line.index.div_euclid(LINES);
            if current != Some(r) {
                if let Some(c) = current {
                    lay(bottom(c), &lines);
                }
                lines.iter_mut().for_each(Vec::clear);
                current = Some(r);
            }
            #[expect(clippy::cast_sign_loss, clippy::cast_possible_truncation, reason = "0 to LINES - 1")]
            let k = line.index.rem_euclid(LINES) as usize;
            lines[k] = line.spans;
        }
        if let Some(c) = current {
            lay(bottom(c), &lines);
        }
    } else {
        let mut y0 = lo + 0.5 * (pitch - row);
        while y0 < hi {
            let lines: Vec<Vec<(f64, f64)>> = (0..LINES)
                .map(|k| {
                    #[expect(clippy::cast_precision_loss, reason = "a handful of lines")]
                    let y = y0 + (k as f64 + 0.5) * step;
                    // one line only: the pitch is larger than the part
                    let rows = hatch::rows(part, angle, 4.0 * extent + 1.0, y);
                    rows.into_iter().find(|r| r.index == 0).map(|r| r.spans).unwrap_or_default()
                })
                .collect();
            lay(y0, &lines);
            y0 += pitch;
        }
    }
    beads
}

/// Cells side by side along a row, in runs that a head can follow.
fn chains(lines: &[Vec<(f64, f64)>]) -> Vec<Vec<Cell>> {
    let mut cuts: Vec<f64> = lines.iter().flatten().flat_map(|(a, b)| [*a, *b]).collect();
    cuts.sort_by(f64::total_cmp);
    cuts.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
    let mut open: Vec<Vec<Cell>> = Vec::new();
    let mut done: Vec<Vec<Cell>> = Vec::new();
    for w in cuts.windows(2) {
        let middle = 0.5 * (w[0] + w[1]);
        let mut cells: Vec<Cell> = Vec::new();
        for (k, spans) in (0_i64..).zip(lines) {
            if spans.iter().any(|(a, b)| *a <= middle && middle < *b) {
                match cells.last_mut() {
                    Some(c) if c.hi + 1 == k => c.hi = k,
                    _ => cells.push(Cell { x0: w[0], x1: w[1], lo: k, hi: k }),
                }
            }
        }
        let mut next: Vec<Vec<Cell>> = Vec::new();
        let meets = |chain: &[Cell], c: &Cell| {
            chain.last().is_some_and(|l| l.x1 >= c.x0 - 1e-9 && l.lo <= c.hi && c.lo <= l.hi)
        };
        for c in cells {
            match open.iter().position(|o| meets(o, &c)) {
                Some(at) => {
                    let mut chain = open.remove(at);
                    match chain.last_mut() {
                        Some(l) if l.lo == c.lo && l.hi == c.hi => l.x1 = c.x1,
                        _ => chain.push(c),
                    }
                    next.push(chain);
                }
                None => next.push(vec![c]),
            }
        }
        done.append(&mut open);
        open = next;
    }
    done.append(&mut open);
    done
}

/// One bead's worth of cells.
#[derive(Clone, Copy, Debug, Default)]
struct Piece {
    x0: f64,
    x1: f64,
    area: f64,
    /// Area times height of the middle above the row's bottom.
    moment: f64,
}

impl Piece {
    fn length(&self) -> f64 {
        self.x1 - self.x0
    }

    fn height(&self) -> f64 {
        self.area / self.length().max(1e-12)
    }

    fn with(self, o: &Self) -> Self {
        Self { x0: self.x0, x1: o.x1, area: self.area + o.area, moment: self.moment + o.moment }
    }
}

#[expect(clippy::too_many_arguments, reason = "one row's frame and one bead's measures")]
fn lay_chain(
    chain: &[Cell],
    y0: f64,
    step: f64,
    angle: f64,
    width: f64,
    height: f64,
    solid: bool,
    beads: &mut Vec<Bead>,
) {
    #[expect(clippy::cast_precision_loss, reason = "a handful of lines")]
    let piece = |c: &Cell| {
        let tall = (c.hi - c.lo + 1) as f64 * step;
        let middle = 0.5 * (c.lo + c.hi + 1) as f64 * step;
        let area = tall * (c.x1 - c.x0);
        Piece { x0: c.x0, x1: c.x1, area, moment: area * middle }
    };
    let mut pieces: Vec<Piece> = Vec::new();
    for next in chain.iter().map(piece) {
        match pieces.last_mut() {
            // too short to be a bead, or nearly as wide as what is before it
            Some(last)
                if last.length() < 0.5 * width
                    || next.length() < 0.25 * width
                    || (last.height() - next.height()).abs() < 0.15 * width =>
            {
                let tall = last.height();
                let both = last.with(&next);
                // a long bead does not swallow an end of another width
                if last.length() > 1.5 * width
                    && (both.height() - tall).abs() < 1e-9 + 0.1 * width
                    && next.height() < 0.7 * tall
                {
                    pieces.push(next);
                } else {
                    *last = both;
                }
            }
            _ => pieces.push(next),
        }
    }
    pieces.retain(|p| p.height() >= LEAST_WIDTH * width && p.area >= 0.1 * width * width);
    let middle = |p: &Piece| y0 + p.moment / p.area;
    for (k, p) in pieces.iter().enumerate() {
        let meets = |a: &Piece, b: &Piece| (a.x1 - b.x0).abs() < 1e-9;
        let from = match k.checked_sub(1).map(|i| &pieces[i]) {
            Some(q) if meets(q, p) => 0.5 * (middle(q) + middle(p)),
            _ => middle(p),
        };
        let to = match pieces.get(k + 1) {
            Some(q) if meets(p, q) => 0.5 * (middle(q) + middle(p)),
            _ => middle(p),
        };
        let (a, b) = (hatch::to_plane(p.x0, from, angle), hatch::to_plane(p.x1, to, angle));
        let full = p.area * height / a.dist(b);
        let wide = full / height;
        let area_mm2 = if solid { full } else { super::free_section(wide, height) };
        beads.push(Bead {
            kind: BeadKind::Fill,
            width_mm: wide,
            area_mm2,
            closed: false,
            points: vec![a, b],
        });
    }
}

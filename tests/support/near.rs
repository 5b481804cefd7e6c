//! Stretches of line in square cells: what lies near a point.

use super::curve::{cell, to_stretch};

/// Stretches of line, each with a mark of its owner.
#[derive(Clone, Debug)]
pub(crate) struct Near {
    lo: [f64; 2],
    side: f64,
    columns: usize,
    rows: usize,
    cells: Vec<Vec<u32>>,
    stretches: Vec<Stretch>,
}

/// One stretch of line.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Stretch {
    pub(crate) a: [f64; 2],
    pub(crate) b: [f64; 2],
    /// Whose it is.
    pub(crate) owner: usize,
    /// Length along the owner up to `a`.
    pub(crate) from: f64,
}

impl Near {
    pub(crate) fn new(stretches: Vec<Stretch>, side: f64) -> Self {
        let (mut lo, mut hi) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for s in &stretches {
            for p in [s.a, s.b] {
                for k in 0..2 {
                    lo[k] = lo[k].min(p[k]);
                    hi[k] = hi[k].max(p[k]);
                }
            }
        }
        if stretches.is_empty() {
            (lo, hi) = ([0.0; 2], [0.0; 2]);
        }
        let columns = cell((hi[0] - lo[0]) / side) + 1;
        let rows = cell((hi[1] - lo[1]) / side) + 1;
        let mut near = Self { lo, side, columns, rows, cells: vec![Vec::new(); columns * rows], stretches };
        for index in 0..near.stretches.len() {
            let s = near.stretches[index];
            let [c0, r0] = near.place([s.a[0].min(s.b[0]), s.a[1].min(s.b[1])]);
            let [c1, r1] = near.place([s.a[0].max(s.b[0]), s.a[1].max(s.b[1])]);
            for r in r0..=r1 {
                for c in c0..=c1 {
                    let mid = [lo[0] + (c as f64 + 0.5) * side, lo[1] + (r as f64 + 0.5) * side];
                    // a long slanting stretch touches few of the cells in its box
                    if to_stretch(mid, s.a, s.b).0 <= side * 0.7072 {
                        let index = u32::try_from(index).expect("fewer than 4e9 stretches");
                        near.cells[r * columns + c].push(index);
                    }
                }
            }
        }
        near
    }

    fn place(&self, p: [f64; 2]) -> [usize; 2] {
        [
            cell((p[0] - self.lo[0]) / self.side).min(self.columns - 1),
            cell((p[1] - self.lo[1]) / self.side).min(self.rows - 1),
        ]
    }

    /// The stretch nearest to a point within a reach, of those that count:
    /// distance and the stretch with the length along its owner.
    pub(crate) fn nearest(
        &self,
        p: [f64; 2],
        reach: f64,
        mut counts: impl FnMut(&Stretch, f64) -> bool,
    ) -> Option<(f64, Stretch, f64)> {
        let [c0, r0] = self.place([p[0] - reach, p[1] - reach]);
        let [c1, r1] = self.place([p[0] + reach, p[1] + reach]);
        let mut best: Option<(f64, Stretch, f64)> = None;
        for r in r0..=r1 {
            for c in c0..=c1 {
                for &index in &self.cells[r * self.columns + c] {
                    let s = self.stretches[index as usize];
                    let (d, t) = to_stretch(p, s.a, s.b);
                    if d > reach || best.is_some_and(|(b, ..)| b <= d) {
                        continue;
                    }
                    let along = s.from + t * super::curve::distance(s.a, s.b);
                    if counts(&s, along) {
                        best = Some((d, s, along));
                    }
                }
            }
        }
        best
    }
}

/// Stretches of a polyline, one owner.
pub(crate) fn stretches(line: &[[f64; 2]], owner: usize) -> Vec<Stretch> {
    let mut from = 0.0;
    let mut out = Vec::with_capacity(line.len());
    for w in line.windows(2) {
        out.push(Stretch { a: w[0], b: w[1], owner, from });
        from += super::curve::distance(w[0], w[1]);
    }
    out
}

/// The area inside closed rings, even-odd.
#[derive(Clone, Debug)]
pub(crate) struct Rings {
    pub(crate) edges: Near,
    pub(crate) corners: Vec<[f64; 2]>,
    pub(crate) lo: [f64; 2],
    pub(crate) hi: [f64; 2],
    pub(crate) area: f64,
    /// Edges by rows of equal height.
    rows: Vec<Vec<[[f64; 2]; 2]>>,
    row_height: f64,
}

impl Rings {
    pub(crate) fn new(rings: &[Vec<[f64; 2]>]) -> Self {
        let mut all = Vec::new();
        let mut corners = Vec::new();
        let mut area = 0.0;
        let (mut lo, mut hi) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for (owner, ring) in rings.iter().enumerate() {
            let mut closed = ring.clone();
            closed.extend(ring.first());
            for w in closed.windows(2) {
                area += 0.5 * (w[0][0] * w[1][1] - w[1][0] * w[0][1]);
            }
            for p in ring {
                for k in 0..2 {
                    lo[k] = lo[k].min(p[k]);
                    hi[k] = hi[k].max(p[k]);
                }
            }
            corners.extend_from_slice(ring);
            all.extend(stretches(&closed, owner));
        }
        if corners.is_empty() {
            (lo, hi) = ([0.0; 2], [0.0; 2]);
        }
        let row_height = ((hi[1] - lo[1]) / 400.0).max(0.05);
        let mut rows = vec![Vec::new(); cell((hi[1] - lo[1]) / row_height) + 1];
        for s in &all {
            let r0 = cell((s.a[1].min(s.b[1]) - lo[1]) / row_height).min(rows.len() - 1);
            let r1 = cell((s.a[1].max(s.b[1]) - lo[1]) / row_height).min(rows.len() - 1);
            for row in &mut rows[r0..=r1] {
                row.push([s.a, s.b]);
            }
        }
        Self { edges: Near::new(all, 1.0), corners, lo, hi, area: area.abs(), rows, row_height }
    }

    pub(crate) fn contains(&self, p: [f64; 2]) -> bool {
        if p[0] < self.lo[0] || p[1] < self.lo[1] || p[0] > self.hi[0] || p[1] > self.hi[1] {
            return false;
        }
        let row = cell((p[1] - self.lo[1]) / self.row_height).min(self.rows.len() - 1);
        let mut inside = false;
        for [a, b] in &self.rows[row] {
            if (a[1] > p[1]) != (b[1] > p[1]) && p[0] < (b[0] - a[0]) * (p[1] - a[1]) / (b[1] - a[1]) + a[0] {
                inside = !inside;
            }
        }
        inside
    }

    /// How far outside a point lies, mm, up to `reach`; 0 inside.
    pub(crate) fn outside(&self, p: [f64; 2], reach: f64) -> f64 {
        if self.contains(p) {
            return 0.0;
        }
        self.edges.nearest(p, reach, |_, _| true).map_or(reach, |(d, ..)| d)
    }
}

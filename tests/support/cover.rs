//! What lies where in a layer, counted at one seeded random point per small
//! square: no polygon library, so no polygon library's faults. With n squares
//! of area a cut by edges the counted area is out by about a * sqrt(n) / 2.

use super::curve::{cell, distance, steps};
use super::near::Rings;

/// Most squares per layer.
const SQUARES: f64 = 4.0e5;

/// Side of the blocks in which the worst place is looked for, mm.
const BLOCK_MM: f64 = 2.0;

/// Counted areas of a layer, mm2.
#[derive(Clone, Debug, Default)]
pub(crate) struct Covered {
    pub(crate) outline: f64,
    /// Under at least one course strip.
    pub(crate) tow: f64,
    /// Sum of what each strip covers by itself.
    pub(crate) tow_each: f64,
    /// Under at least one bead.
    pub(crate) beads: f64,
    /// Sum of what each bead covers by itself.
    pub(crate) beads_each: f64,
    /// Under beads and tow.
    pub(crate) both: f64,
    /// Under tow and outside the outline.
    pub(crate) tow_outside: f64,
    /// Under beads and outside the outline.
    pub(crate) beads_outside: f64,
    /// In the outline under neither.
    pub(crate) bare: f64,
    /// Standard deviation of such a count.
    pub(crate) sigma: f64,
    /// Middle of the block with the largest bare area, and that area.
    pub(crate) worst_bare: ([f64; 2], f64),
    /// Middle of the block with the most bead over tow, and that area.
    pub(crate) worst_both: ([f64; 2], f64),
}

/// A strip: a polyline with half a width, ends cut square.
#[derive(Clone, Debug)]
pub(crate) struct Strip {
    pub(crate) line: Vec<[f64; 2]>,
    pub(crate) half: f64,
    /// Whether the last point joins the first.
    pub(crate) closed: bool,
}

struct Field {
    lo: [f64; 2],
    side: f64,
    columns: usize,
    rows: usize,
}

impl Field {
    /// The random point of a square.
    fn point(&self, c: usize, r: usize) -> [f64; 2] {
        let mut h = (r * self.columns + c) as u64;
        h = h.wrapping_add(0x9e37_79b9_7f4a_7c15);
        h = (h ^ (h >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        h = (h ^ (h >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        h ^= h >> 31;
        let share = |bits: u64| (bits & 0xffff_ffff) as f64 / 4_294_967_296.0;
        [self.lo[0] + (c as f64 + share(h)) * self.side, self.lo[1] + (r as f64 + share(h >> 32)) * self.side]
    }

    /// Calls `found` with every square whose point lies in a box and passes a test.
    fn each(
        &self,
        lo: [f64; 2],
        hi: [f64; 2],
        test: impl Fn([f64; 2]) -> bool,
        mut found: impl FnMut(usize),
    ) {
        let c0 = cell((lo[0] - self.lo[0]) / self.side).min(self.columns - 1);
        let c1 = cell((hi[0] - self.lo[0]) / self.side).min(self.columns - 1);
        let r0 = cell((lo[1] - self.lo[1]) / self.side).min(self.rows - 1);
        let r1 = cell((hi[1] - self.lo[1]) / self.side).min(self.rows - 1);
        for r in r0..=r1 {
            for c in c0..=c1 {
                if test(self.point(c, r)) {
                    found(r * self.columns + c);
                }
            }
        }
    }
}

/// How often each square is covered.
struct Layers {
    count: Vec<u16>,
    last: Vec<u32>,
}

impl Layers {
    fn new(n: usize) -> Self {
        Self { count: vec![0; n], last: vec![0; n] }
    }

    /// Lays a strip once, however often it crosses itself.
    fn lay(&mut self, field: &Field, strip: &Strip, owner: u32) {
        let Self { count, last } = self;
        let mut mark = |i: usize| {
            if last[i] != owner {
                last[i] = owner;
                count[i] += 1;
            }
        };
        let h = strip.half;
        let line: Vec<[f64; 2]> = {
            let mut line: Vec<[f64; 2]> = Vec::with_capacity(strip.line.len());
            for &p in &strip.line {
                if line.last().is_none_or(|&q| distance(p, q) > 1e-9) {
                    line.push(p);
                }
            }
            line
        };
        for w in line.windows(2) {
            let (a, b) = (w[0], w[1]);
            let length = distance(a, b);
            let d = [(b[0] - a[0]) / length, (b[1] - a[1]) / length];
            // long stretches in pieces: their boxes stay close to the strip
            let n = steps(length / (4.0 * h).max(1.0));
            for k in 0..n {
                let (s0, s1) = (length * k as f64 / n as f64, length * (k + 1) as f64 / n as f64);
                let p = [a[0] + d[0] * s0, a[1] + d[1] * s0];
                let q = [a[0] + d[0] * s1, a[1] + d[1] * s1];
                let reach = [h * d[1].abs(), h * d[0].abs()];
                field.each(
                    [p[0].min(q[0]) - reach[0], p[1].min(q[1]) - reach[1]],
                    [p[0].max(q[0]) + reach[0], p[1].max(q[1]) + reach[1]],
                    |x| {
                        let v = [x[0] - p[0], x[1] - p[1]];
                        let along = v[0] * d[0] + v[1] * d[1];
                        let across = v[1] * d[0] - v[0] * d[1];
                        along >= 0.0 && along <= s1 - s0 && across.abs() <= h
                    },
                    &mut mark,
                );
            }
        }
        // the round outside of each joint, as a nozzle leaves it
        let n = line.len();
        let mut joints: Vec<[[f64; 2]; 3]> = line.windows(3).map(|w| [w[0], w[1], w[2]]).collect();
        if strip.closed && n > 3 {
            joints.push([line[n - 2], line[0], line[1]]);
        }
        for [a, v, b] in joints {
            let (la, lb) = (distance(a, v), distance(v, b));
            if la < 1e-9 || lb < 1e-9 {
                continue;
            }
            let d0 = [(v[0] - a[0]) / la, (v[1] - a[1]) / la];
            let d1 = [(b[0] - v[0]) / lb, (b[1] - v[1]) / lb];
            field.each(
                [v[0] - h, v[1] - h],
                [v[0] + h, v[1] + h],
                |x| {
                    let x = [x[0] - v[0], x[1] - v[1]];
                    // past the one stretch and before the other
                    x[0] * d0[0] + x[1] * d0[1] >= 0.0
                        && x[0] * d1[0] + x[1] * d1[1] <= 0.0
                        && x[0] * x[0] + x[1] * x[1] <= h * h
                },
                &mut mark,
            );
        }
    }
}

/// Counts a layer.
pub(crate) fn count(outline: &Rings, tow: &[Strip], beads: &[Strip]) -> Covered {
    let margin = 1.0;
    let lo = [outline.lo[0] - margin, outline.lo[1] - margin];
    let wide = [outline.hi[0] - outline.lo[0] + 2.0 * margin, outline.hi[1] - outline.lo[1] + 2.0 * margin];
    let side = (wide[0] * wide[1] / SQUARES).sqrt().max(0.03);
    let field = Field { lo, side, columns: cell(wide[0] / side) + 1, rows: cell(wide[1] / side) + 1 };
    let n = field.columns * field.rows;
    let (mut tows, mut laid) = (Layers::new(n), Layers::new(n));
    let mut owner = 0;
    for strip in tow {
        owner += 1;
        tows.lay(&field, strip, owner);
    }
    for strip in beads {
        owner += 1;
        laid.lay(&field, strip, owner);
    }

    let block_columns = cell(wide[0] / BLOCK_MM) + 2;
    let mut blocks = vec![[0.0_f64; 2]; block_columns * (cell(wide[1] / BLOCK_MM) + 2)];
    let mut c = Covered::default();
    let mut edges = 0_u32;
    let mut before = (false, false, false);
    for i in 0..n {
        let p = field.point(i % field.columns, i / field.columns);
        let (t, b, inside) = (tows.count[i] > 0, laid.count[i] > 0, outline.contains(p));
        if (t, b, inside) != before {
            edges += 1;
            before = (t, b, inside);
        }
        let bx = cell((p[0] - lo[0]) / BLOCK_MM);
        let by = cell((p[1] - lo[1]) / BLOCK_MM);
        let block = &mut blocks[by * block_columns + bx];
        c.outline += f64::from(u8::from(inside));
        c.tow += f64::from(u8::from(t));
        c.beads += f64::from(u8::from(b));
        c.tow_each += f64::from(tows.count[i]);
        c.beads_each += f64::from(laid.count[i]);
        c.tow_outside += f64::from(u8::from(t && !inside));
        c.beads_outside += f64::from(u8::from(b && !inside));
        if t && b {
            c.both += 1.0;
            block[1] += 1.0;
        }
        if inside && !t && !b {
            c.bare += 1.0;
            block[0] += 1.0;
        }
    }
    let a = side * side;
    for v in [
        &mut c.outline,
        &mut c.tow,
        &mut c.tow_each,
        &mut c.beads,
        &mut c.beads_each,
        &mut c.both,
        &mut c.tow_outside,
        &mut c.beads_outside,
        &mut c.bare,
    ] {
        *v *= a;
    }
    c.sigma = 0.5 * a * f64::from(edges).sqrt();
    for (i, block) in blocks.iter().enumerate() {
        let middle = [
            lo[0] + ((i % block_columns) as f64 + 0.5) * BLOCK_MM,
            lo[1] + ((i / block_columns) as f64 + 0.5) * BLOCK_MM,
        ];
        if block[0] * a > c.worst_bare.1 {
            c.worst_bare = (middle, block[0] * a);
        }
        if block[1] * a > c.worst_both.1 {
            c.worst_both = (middle, block[1] * a);
        }
    }
    c
}

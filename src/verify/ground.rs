//! What lies on the bed: heights everywhere, lines of the present layer.

use super::geometry::{Curve, distance, steps, to_stretch};

/// The outermost of a strip or bead, which is round or soft, is in no nozzle's way, mm.
const EDGE_MM: f64 = 0.1;

/// Nothing is laid wider, mm, whatever a program feeds.
const WIDEST_MM: f64 = 20.0;

/// Most squares of a map: bounds memory.
const MOST_SQUARES: f64 = 2e6;

/// Squares over the reach of both heads.
#[derive(Clone, Copy, Debug)]
struct Squares {
    lo: [f64; 2],
    side: f64,
    /// Squares in a millimetre: multiplying is quicker than dividing.
    per_mm: f64,
    columns: usize,
    rows: usize,
}

impl Squares {
    fn new(lo: [f64; 2], hi: [f64; 2], side: f64) -> Self {
        let (w, h) = ((hi[0] - lo[0]).max(1.0), (hi[1] - lo[1]).max(1.0));
        let side = side.max((w * h / MOST_SQUARES).sqrt());
        Self { lo, side, per_mm: 1.0 / side, columns: whole(w / side) + 1, rows: whole(h / side) + 1 }
    }

    /// Column and row of a place; the edge's for places outside.
    fn cell(&self, p: [f64; 2]) -> (usize, usize) {
        (
            whole((p[0] - self.lo[0]) * self.per_mm).min(self.columns - 1),
            whole((p[1] - self.lo[1]) * self.per_mm).min(self.rows - 1),
        )
    }

    fn index(&self, p: [f64; 2]) -> usize {
        let (c, r) = self.cell(p);
        r * self.columns + c
    }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped; not-a-number is 0")]
fn whole(v: f64) -> usize {
    v.clamp(0.0, 1e9) as usize
}

/// Highest that anything laid reaches, square by square.
#[derive(Clone, Debug)]
pub(super) struct Heights {
    squares: Squares,
    top: Vec<f32>,
    highest: f64,
}

impl Heights {
    /// An empty bed.
    pub(super) fn new(lo: [f64; 2], hi: [f64; 2]) -> Self {
        let squares = Squares::new(lo, hi, 0.5);
        Self { top: vec![0.0; squares.columns * squares.rows], squares, highest: 0.0 }
    }

    /// Something was laid along a piece, as wide as a strip or bead is, up to a height.
    pub(super) fn lay(&mut self, piece: &Curve, z: f64, width: f64) {
        #[expect(clippy::cast_possible_truncation, reason = "heights to a micrometre")]
        let top = z as f32;
        let half = if width > 0.0 { (0.5 * width - EDGE_MM).clamp(0.0, 0.5 * WIDEST_MM) } else { 0.0 };
        // steps so short that no square within is missed, whichever way the piece runs
        let n = steps(piece.length(), 0.7 * self.squares.side);
        let lanes = if half > 0.0 { steps(2.0 * half, 0.5 * self.squares.side) } else { 0 };
        let apart = 2.0 * half / f64::from(lanes.max(1));
        let straight = piece.arc.is_none().then(|| piece.direction(0.0).unwrap_or_default());
        for k in 0..=n {
            let share = f64::from(k) / f64::from(n);
            let p = piece.at(share);
            let d = straight.unwrap_or_else(|| piece.direction(share).unwrap_or_default());
            for lane in 0..=lanes {
                let aside = f64::from(lane) * apart - half;
                let top_here = &mut self.top[self.squares.index([p[0] - d[1] * aside, p[1] + d[0] * aside])];
                *top_here = top_here.max(top);
            }
        }
        self.highest = self.highest.max(z);
    }

    /// Something lies on the bed.
    pub(super) fn any(&self) -> bool {
        self.highest > 0.0
    }

    /// How deep a move from height `z0` to `z1` goes below what lies there, and where.
    pub(super) fn depth(&self, piece: &Curve, z0: f64, z1: f64) -> (f64, [f64; 2]) {
        let mut worst = (f64::NEG_INFINITY, piece.from);
        if z0.min(z1) >= self.highest {
            return (self.highest - z0.min(z1), piece.from);
        }
        let n = steps(piece.length(), 0.5 * self.squares.side);
        for k in 0..=n {
            let share = f64::from(k) / f64::from(n);
            let p = piece.at(share);
            let depth = f64::from(self.top[self.squares.index(p)]) - (z0 + (z1 - z0) * share);
            if depth > worst.0 {
                worst = (depth, p);
            }
        }
        worst
    }
}

/// A straight stretch that was laid.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stretch {
    /// Start.
    pub(super) a: [f64; 2],
    /// End.
    pub(super) b: [f64; 2],
    /// Whose it is.
    pub(super) owner: u32,
    /// Length of its owner up to `a`.
    pub(super) from: f64,
    /// Width laid, mm.
    pub(super) width: f64,
    /// Line of the program.
    pub(super) line: u64,
}

/// Stretches in squares: what lies near a place.
#[derive(Clone, Debug)]
pub(super) struct Near {
    squares: Squares,
    first: Vec<u32>,
    links: Vec<(u32, u32)>,
    /// All of them.
    pub(super) stretches: Vec<Stretch>,
}

const NONE: u32 = u32::MAX;

/// Between which x a straight stretch runs within a range of y.
fn within(a: [f64; 2], b: [f64; 2], low: f64, high: f64) -> Option<[f64; 2]> {
    let (a, b) = if a[1] <= b[1] { (a, b) } else { (b, a) };
    if b[1] < low || a[1] > high {
        return None;
    }
    let x = |y: f64| a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]);
    let from = if a[1] < low { x(low) } else { a[0] };
    let to = if b[1] > high { x(high) } else { b[0] };
    Some([from.min(to), from.max(to)])
}

impl Near {
    /// Nothing yet.
    pub(super) fn new(lo: [f64; 2], hi: [f64; 2]) -> Self {
        let squares = Squares::new(lo, hi, 1.0);
        let first = vec![NONE; squares.columns * squares.rows];
        Self { squares, first, links: Vec::new(), stretches: Vec::new() }
    }

    /// Forgets everything.
    pub(super) fn clear(&mut self) {
        if !self.stretches.is_empty() {
            self.first.fill(NONE);
            self.links.clear();
            self.stretches.clear();
        }
    }

    /// Adds a stretch.
    pub(super) fn add(&mut self, s: Stretch) {
        let Ok(index) = u32::try_from(self.stretches.len()) else { return };
        self.stretches.push(s);
        let (a, b) = (self.squares.cell(s.a), self.squares.cell(s.b));
        let (side, last) = (self.squares.side, self.squares.rows - 1);
        for r in a.1.min(b.1)..=a.1.max(b.1) {
            let y = self.squares.lo[1] + (float(r) + 0.5) * side;
            // rows at the edge stand for all that lies beyond
            let low = if r == 0 { f64::NEG_INFINITY } else { y - 0.75 * side };
            let high = if r == last { f64::INFINITY } else { y + 0.75 * side };
            let Some([from, to]) = within(s.a, s.b, low, high) else { continue };
            let first = self.squares.cell([from - 0.75 * side, y]).0.max(a.0.min(b.0));
            let end = self.squares.cell([to + 0.75 * side, y]).0.min(a.0.max(b.0));
            for c in first..=end {
                let middle = [self.squares.lo[0] + (float(c) + 0.5) * side, y];
                // a slanting stretch touches few of the squares in its box
                let edge = c == 0 || r == 0 || c + 1 == self.squares.columns || r + 1 == self.squares.rows;
                if !edge && to_stretch(middle, s.a, s.b).0 > 0.7072 * side {
                    continue;
                }
                let Ok(link) = u32::try_from(self.links.len()) else { return };
                let i = r * self.squares.columns + c;
                self.links.push((index, self.first[i]));
                self.first[i] = link;
            }
        }
    }

    /// Adds a curve as chords; gives the length up to its end.
    pub(super) fn add_curve(&mut self, c: &Curve, owner: u32, from: f64, width: f64, line: u64) -> f64 {
        let mut a = c.from;
        let mut s = from;
        let mut ends = Vec::new();
        c.chords(0.002, |b| ends.push(b));
        for b in ends {
            self.add(Stretch { a, b, owner, from: s, width, line });
            s += distance(a, b);
            a = b;
        }
        s
    }

    /// Whether some stretch that counts lies within a reach.
    pub(super) fn any(&self, p: [f64; 2], reach: f64, mut counts: impl FnMut(&Stretch) -> bool) -> bool {
        self.around(p, reach, |s| to_stretch(p, s.a, s.b).0 <= reach && counts(s))
    }

    /// The nearest stretch within a reach, of those that count: distance, stretch,
    /// length along its owner.
    pub(super) fn nearest(
        &self,
        p: [f64; 2],
        reach: f64,
        mut counts: impl FnMut(&Stretch, f64) -> bool,
    ) -> Option<(f64, Stretch, f64)> {
        let mut best: Option<(f64, Stretch, f64)> = None;
        self.around(p, reach, |s| {
            let (d, t) = to_stretch(p, s.a, s.b);
            if d <= reach && best.as_ref().is_none_or(|b| d < b.0) {
                let along = s.from + t * distance(s.a, s.b);
                if counts(s, along) {
                    best = Some((d, *s, along));
                }
            }
            false
        });
        best
    }

    /// Shows the stretches in the squares within a reach until one is `enough`; gives
    /// whether one was.
    fn around(&self, p: [f64; 2], reach: f64, mut enough: impl FnMut(&Stretch) -> bool) -> bool {
        let lo = self.squares.cell([p[0] - reach, p[1] - reach]);
        let hi = self.squares.cell([p[0] + reach, p[1] + reach]);
        for r in lo.1..=hi.1 {
            for c in lo.0..=hi.0 {
                let mut link = self.first[r * self.squares.columns + c];
                while link != NONE {
                    let (index, next) = self.links[link as usize];
                    link = next;
                    if enough(&self.stretches[index as usize]) {
                        return true;
                    }
                }
            }
        }
        false
    }
}

#[expect(clippy::cast_precision_loss, reason = "columns and rows are few")]
fn float(n: usize) -> f64 {
    n as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_is_that_of_a_search_through_all() {
        let mut seed = 7_u64;
        let mut random = move || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            f64::from(u32::try_from(seed >> 40).expect("24 bits")) / 16_777_216.0 * 60.0 - 5.0
        };
        let mut near = Near::new([0.0, 0.0], [50.0, 50.0]);
        for k in 0..400 {
            let a = [random(), random()];
            // short ones, and long ones that slant, and lie along the axes
            let b = match k % 8 {
                0 => [random(), random()],
                1 => [a[0], random()],
                2 => [random(), a[1]],
                _ => [a[0] + 0.2 * random(), a[1] - 0.1 * random()],
            };
            near.add(Stretch { a, b, owner: k, from: 0.0, width: 1.0, line: 0 });
        }
        for _ in 0..2000 {
            let p = [random(), random()];
            let want = near.stretches.iter().map(|s| to_stretch(p, s.a, s.b).0).fold(f64::INFINITY, f64::min);
            let found = near.nearest(p, 3.0, |_, _| true).map_or(f64::INFINITY, |f| f.0);
            assert!(if want <= 3.0 { (found - want).abs() < 1e-12 } else { found.is_infinite() }, "{p:?}");
        }
    }

    #[test]
    fn a_long_stretch_is_kept_in_few_squares() {
        let mut near = Near::new([0.0, 0.0], [300.0, 300.0]);
        near.add(Stretch { a: [1.0, 2.0], b: [299.0, 280.0], owner: 0, from: 0.0, width: 1.0, line: 0 });
        assert!(near.links.len() < 1200, "{} squares", near.links.len());
    }

    #[test]
    fn a_move_below_what_lies_is_deep() {
        let mut h = Heights::new([0.0, 0.0], [100.0, 100.0]);
        h.lay(&Curve::line([10.0, 50.0], [90.0, 50.0]), 1.0, 6.0);
        let across = Curve::line([50.0, 10.0], [50.0, 90.0]);
        assert!((h.depth(&across, 0.4, 0.4).0 - 0.6).abs() < 1e-6, "through it");
        assert!(h.depth(&across, 1.0, 1.0).0 <= 0.0, "over it");
        for (aside, deep) in [(2.8, true), (-2.8, true), (3.6, false), (-3.6, false), (-45.0, false)] {
            let along = Curve::line([5.0, 50.0 + aside], [95.0, 50.0 + aside]);
            assert_eq!(h.depth(&along, 0.1, 0.1).0 > 0.0, deep, "{aside} mm off its middle");
        }
    }
}

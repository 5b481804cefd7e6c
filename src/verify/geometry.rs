//! Lines, arcs and distances, enough for the checks.

use libm::{atan2, sincos};
use std::f64::consts::TAU;

/// Distance of two places, mm. Coordinates of machines neither overflow nor vanish
/// when they are squared, so the root will do, which is far quicker than `hypot`.
pub fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    let (x, y) = (a[0] - b[0], a[1] - b[1]);
    (x * x + y * y).sqrt()
}

/// A straight piece or an arc in the plane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Curve {
    /// Start, mm.
    pub from: [f64; 2],
    /// End, mm.
    pub to: [f64; 2],
    /// Centre and sense (counter-clockwise) of an arc.
    pub arc: Option<([f64; 2], bool)>,
}

impl Curve {
    /// A straight piece.
    pub fn line(from: [f64; 2], to: [f64; 2]) -> Self {
        Self { from, to, arc: None }
    }

    /// Signed turn from start to end, radians: positive counter-clockwise. Equal
    /// ends are a full circle.
    pub fn turn(&self) -> f64 {
        let Some((c, ccw)) = self.arc else { return 0.0 };
        let (a, b) = ([self.from[0] - c[0], self.from[1] - c[1]], [self.to[0] - c[0], self.to[1] - c[1]]);
        let turn = atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1]);
        let same = distance(self.from, self.to) < 1e-9;
        match ccw {
            true if turn <= 0.0 || same => {
                if same {
                    TAU
                } else {
                    turn + TAU
                }
            }
            false if turn >= 0.0 || same => {
                if same {
                    -TAU
                } else {
                    turn - TAU
                }
            }
            _ => turn,
        }
    }

    /// Radius, mm; infinite for a straight piece.
    pub fn radius(&self) -> f64 {
        self.arc.map_or(f64::INFINITY, |(c, _)| distance(self.from, c))
    }

    /// Length, mm.
    pub fn length(&self) -> f64 {
        if self.arc.is_some() { self.radius() * self.turn().abs() } else { distance(self.from, self.to) }
    }

    /// The place at a share of its length.
    pub fn at(&self, share: f64) -> [f64; 2] {
        match self.arc {
            None => [
                self.from[0] + (self.to[0] - self.from[0]) * share,
                self.from[1] + (self.to[1] - self.from[1]) * share,
            ],
            Some((c, _)) => {
                let (sin, cos) = sincos(self.turn() * share);
                let a = [self.from[0] - c[0], self.from[1] - c[1]];
                [c[0] + a[0] * cos - a[1] * sin, c[1] + a[0] * sin + a[1] * cos]
            }
        }
    }

    /// Unit direction at a share of its length; nothing for no length.
    pub fn direction(&self, share: f64) -> Option<[f64; 2]> {
        match self.arc {
            None => {
                let d = distance(self.from, self.to);
                (d > 1e-12).then(|| [(self.to[0] - self.from[0]) / d, (self.to[1] - self.from[1]) / d])
            }
            Some((c, ccw)) => {
                let p = self.at(share);
                let r = distance(p, c);
                let s = if ccw { 1.0 } else { -1.0 };
                (r > 1e-12).then(|| [-s * (p[1] - c[1]) / r, s * (p[0] - c[0]) / r])
            }
        }
    }

    /// The same, moved.
    pub fn moved(&self, by: [f64; 2]) -> Self {
        let add = |p: [f64; 2]| [p[0] + by[0], p[1] + by[1]];
        Self { from: add(self.from), to: add(self.to), arc: self.arc.map(|(c, ccw)| (add(c), ccw)) }
    }

    /// Distance of a place from it, and the share of its length at the nearest place.
    pub fn nearest(&self, p: [f64; 2]) -> (f64, f64) {
        let Some((c, _)) = self.arc else { return to_stretch(p, self.from, self.to) };
        let whole = self.turn();
        let (a, b) = ([self.from[0] - c[0], self.from[1] - c[1]], [p[0] - c[0], p[1] - c[1]]);
        let mut turn = atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1]) * whole.signum();
        if turn < 0.0 {
            turn += TAU;
        }
        if turn <= whole.abs() {
            return ((distance(p, c) - self.radius()).abs(), turn / whole.abs());
        }
        let (d0, d1) = (distance(p, self.from), distance(p, self.to));
        if d0 < d1 { (d0, 0.0) } else { (d1, 1.0) }
    }

    /// Lowest and highest coordinates that it reaches.
    pub fn bounds(&self) -> ([f64; 2], [f64; 2]) {
        let mut lo = [self.from[0].min(self.to[0]), self.from[1].min(self.to[1])];
        let mut hi = [self.from[0].max(self.to[0]), self.from[1].max(self.to[1])];
        if let Some((c, _)) = self.arc {
            let r = self.radius();
            for p in [[c[0] + r, c[1]], [c[0], c[1] + r], [c[0] - r, c[1]], [c[0], c[1] - r]] {
                if self.nearest(p).0 < 1e-9 {
                    for k in 0..2 {
                        lo[k] = lo[k].min(p[k]);
                        hi[k] = hi[k].max(p[k]);
                    }
                }
            }
        }
        (lo, hi)
    }

    /// Chords that stay within a distance of it, their ends without the start.
    pub fn chords(&self, within_mm: f64, mut end: impl FnMut([f64; 2])) {
        if self.arc.is_some() {
            let r = self.radius().max(1e-9);
            let step = 2.0 * libm::acos((1.0 - within_mm / r).clamp(-0.5, 1.0));
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped")]
            let n = (self.turn().abs() / step.max(1e-3)).ceil().clamp(1.0, 10_000.0) as u32;
            for k in 1..n {
                end(self.at(f64::from(k) / f64::from(n)));
            }
        }
        end(self.to);
    }
}

/// Distance of a place from a straight stretch, and how far along it (0 to 1) the
/// nearest place lies.
pub fn to_stretch(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> (f64, f64) {
    let d = [b[0] - a[0], b[1] - a[1]];
    let l2 = d[0] * d[0] + d[1] * d[1];
    let t = if l2 > 0.0 { (((p[0] - a[0]) * d[0] + (p[1] - a[1]) * d[1]) / l2).clamp(0.0, 1.0) } else { 0.0 };
    (distance(p, [a[0] + d[0] * t, a[1] + d[1] * t]), t)
}

/// Number of steps of at most `step` in a length, at least 1, at most a million.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped")]
pub fn steps(length: f64, step: f64) -> u32 {
    (length / step).ceil().clamp(1.0, 1e6) as u32
}

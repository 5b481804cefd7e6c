//! A circular arc.

use super::{Point, trig};
use crate::count::f64_of;

/// A circular arc shorter than a full turn, with its ends kept as given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arc {
    /// Start, mm.
    pub from: Point,
    /// End, mm.
    pub to: Point,
    /// Centre, mm.
    pub centre: Point,
    /// Counter-clockwise from start to end.
    pub ccw: bool,
}

impl Arc {
    /// Radius at the start, mm.
    pub fn radius(&self) -> f64 {
        self.from.dist(self.centre)
    }

    /// Angle swept, radians, in [0, 2 pi): none where it ends as it begins.
    pub fn sweep(&self) -> f64 {
        let (a, b) = (self.from - self.centre, self.to - self.centre);
        let turn = a.turn_to(b);
        trig::positive(if self.ccw { turn } else { -turn })
    }

    /// Length along the arc, mm.
    pub fn length(&self) -> f64 {
        self.radius() * self.sweep()
    }

    /// +1 counter-clockwise, -1 clockwise.
    pub fn sign(&self) -> f64 {
        if self.ccw { 1.0 } else { -1.0 }
    }

    /// The point at a length from the start, mm.
    pub fn point_at(&self, s: f64) -> Point {
        let r = self.radius();
        if r <= 0.0 {
            return self.from;
        }
        self.centre + (self.from - self.centre).turned(self.sign() * s / r)
    }

    /// Unit tangent at a length from the start.
    pub fn tangent_at(&self, s: f64) -> Point {
        let p = self.point_at(s) - self.centre;
        let t = if self.ccw { p.left() } else { -p.left() };
        t.normalised().unwrap_or(Point::new(1.0, 0.0))
    }

    /// The same arc walked the other way.
    pub fn reversed(&self) -> Self {
        Self { from: self.to, to: self.from, centre: self.centre, ccw: !self.ccw }
    }

    /// Number of equal chords that keep the sagitta within `chord_mm`.
    pub fn chords(&self, chord_mm: f64) -> usize {
        let r = self.radius();
        // sagitta = r (1 - cos(step / 2))
        let step = if chord_mm >= r { 1.0 } else { 2.0 * trig::acos(1.0 - chord_mm / r) };
        let n = (self.sweep() / step.min(1.0)).ceil();
        // a chord count is small: radius and sagitta bound it
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 1..=100000")]
        let n = n.clamp(1.0, 100_000.0) as usize;
        n
    }

    /// Appends the arc's points after its start, chords within `chord_mm` of the arc.
    pub fn flatten_into(&self, chord_mm: f64, out: &mut Vec<Point>) {
        let n = self.chords(chord_mm);
        let total = self.length();
        for i in 1..n {
            out.push(self.point_at(total * f64_of(i) / f64_of(n)));
        }
        out.push(self.to);
    }
}

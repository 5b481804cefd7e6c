//! Two arcs that leave one point and reach another with given directions.
//!
//! Bolton, *Biarc curves*, Computer-Aided Design 7 (1975) 89-92 (from memory);
//! differs in that the free parameter is searched instead of fixed, so that a
//! line followed by an arc, which most courses are made of, is among the answers.

use super::{Arc, Point, Segment};

/// One arc or line by its ends and its curvature.
#[derive(Clone, Copy, Debug)]
pub(super) struct Piece {
    pub(super) from: Point,
    pub(super) to: Point,
    /// 1/mm, positive counter-clockwise.
    pub(super) curvature: f64,
    /// Unit tangent at the start.
    tangent: Point,
}

/// Sagitta below which an arc is written as a line, mm. The joint then turns by
/// at most 4 sagitta / length: 0.02 degrees at a tenth of a millimetre.
const FLAT_MM: f64 = 1e-5;

impl Piece {
    pub(super) fn radius(&self) -> f64 {
        if self.curvature == 0.0 { f64::INFINITY } else { 1.0 / self.curvature.abs() }
    }

    /// How far a point lies beside the piece, mm.
    pub(super) fn deviation(&self, p: Point) -> f64 {
        let v = p - self.from;
        // distance to a circle through `from` with tangent t and curvature k,
        // written so that it stays exact as k goes to zero
        let (along, aside) = (v.dot(self.tangent), v.dot(self.tangent.left()));
        let k = self.curvature;
        let a = 2.0 * aside - k * (along * along + aside * aside);
        let root = (1.0 - k * a).max(0.0).sqrt();
        (a / (1.0 + root)).abs()
    }

    pub(super) fn segment(&self) -> Segment {
        let chord = self.from.dist(self.to);
        if self.curvature.abs() * chord * chord / 8.0 < FLAT_MM {
            return Segment::Line { from: self.from, to: self.to };
        }
        let centre = self.from + self.tangent.left() * (1.0 / self.curvature);
        Segment::Arc(Arc { from: self.from, to: self.to, centre, ccw: self.curvature > 0.0 })
    }
}

/// The pair of pieces for one choice of the free parameter.
#[derive(Clone, Copy, Debug)]
pub(super) struct Biarc {
    pub(super) first: Piece,
    pub(super) second: Piece,
    /// Tangent at the joint.
    pub(super) middle: Point,
}

/// The largest turn of one piece, as the cosine of its half: 140 degrees keep
/// both pieces well conditioned.
const COS_HALF_TURN: f64 = 0.342;

/// Where biarcs begin and end, and in which directions.
pub(super) struct Ends {
    from: (Point, Point),
    to: (Point, Point),
    /// Chord squared, and the chord and the first direction along the directions.
    vv: f64,
    along_first: f64,
    along_second: f64,
    cos: f64,
    /// Tangent length where both are as long.
    even: f64,
}

impl Ends {
    /// From a point along a unit tangent to another one along its own; `None` where no
    /// pair of arcs leads so.
    pub(super) fn new(from: (Point, Point), to: (Point, Point)) -> Option<Self> {
        let ((p0, t0), (p1, t1)) = (from, to);
        let v = p1 - p0;
        let (vv, along_first, along_second, cos) = (v.norm2(), v.dot(t0), v.dot(t1), t0.dot(t1));
        if vv < 1e-12 {
            return None;
        }
        let a = 2.0 * (1.0 - cos);
        let b = along_first + along_second;
        let even = if a < 1e-12 {
            if b <= 0.0 {
                return None;
            }
            vv / (2.0 * b)
        } else {
            // the root of a d^2 + 2 b d - v^2 that stays exact for small a
            vv / (b + (b * b + a * vv).sqrt())
        };
        Some(Self { from, to, vv, along_first, along_second, cos, even })
    }

    /// The biarc between them that bends no tighter than `radius` mm, if there is one.
    /// `share` moves the joint: 1 gives both ends equal tangent lengths, smaller a shorter
    /// first piece.
    pub(super) fn joined(&self, share: f64, radius: f64) -> Option<Biarc> {
        let ((p0, t0), (p1, t1)) = (self.from, self.to);
        let d1 = self.even * share;
        let below = self.along_second - d1 * (self.cos - 1.0);
        if below.abs() < 1e-12 {
            return None;
        }
        let d2 = (self.vv * 0.5 - d1 * self.along_first) / below;
        if !(d1 > 0.0 && d2 > 0.0 && d2.is_finite()) {
            return None;
        }
        let (q1, q2) = (p0 + t0 * d1, p1 - t1 * d2);
        let joint = q1.lerp(q2, d1 / (d1 + d2));
        let (w1, w2) = (joint - p0, p1 - joint);
        let (turn1, turn2) = (2.0 * t0.cross(w1), 2.0 * w2.cross(t1));
        // most pairs that are tried bend too tightly: seen here before any root is taken
        let tight = |turn: f64, w: Point| turn.abs() * radius > w.norm2() * (1.0 + 1e-9);
        if tight(turn1, w1) || tight(turn2, w2) {
            return None;
        }
        let middle = (q2 - q1).normalised()?;
        let (l1, l2) = (w1.norm(), w2.norm());
        if l1 < 1e-9 || l2 < 1e-9 || w1.dot(t0) < COS_HALF_TURN * l1 || w2.dot(t1) < COS_HALF_TURN * l2 {
            return None;
        }
        let first = Piece { from: p0, to: joint, curvature: turn1 / (l1 * l1), tangent: t0 };
        let second = Piece { from: joint, to: p1, curvature: turn2 / (l2 * l2), tangent: middle };
        let biarc = Biarc { first, second, middle };
        (biarc.min_radius() >= radius).then_some(biarc)
    }
}

impl Biarc {
    fn min_radius(&self) -> f64 {
        self.first.radius().min(self.second.radius())
    }

    /// How far a point lies beside the curve, mm.
    pub(super) fn deviation(&self, p: Point) -> f64 {
        if (p - self.second.from).dot(self.middle) < 0.0 {
            self.first.deviation(p)
        } else {
            self.second.deviation(p)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::pt;

    fn biarc(from: (Point, Point), to: (Point, Point), radius: f64) -> Option<Biarc> {
        Ends::new(from, to)?.joined(1.0, radius)
    }

    #[test]
    fn what_bends_tighter_is_none() {
        let quarter = |radius| biarc((pt(5.0, 0.0), pt(0.0, 1.0)), (pt(0.0, 5.0), pt(-1.0, 0.0)), radius);
        assert!(quarter(5.0 - 1e-12).is_some() && quarter(5.0 + 1e-12).is_none());
        assert!(quarter(6.0).is_none());
    }

    #[test]
    fn a_quarter_circle_comes_back_as_two_arcs_of_its_radius() {
        let b = biarc((pt(5.0, 0.0), pt(0.0, 1.0)), (pt(0.0, 5.0), pt(-1.0, 0.0)), 4.9).unwrap();
        assert!((b.min_radius() - 5.0).abs() < 1e-12, "{b:?}");
        assert!(b.deviation(pt(3.0, 4.0)) < 1e-12, "a point of the circle lies on the curve");
        assert!((b.deviation(pt(3.3, 4.4)) - 0.5).abs() < 1e-12, "half a millimetre outside");
    }

    #[test]
    fn a_straight_is_straight() {
        let b = biarc((pt(0.0, 0.0), pt(1.0, 0.0)), (pt(7.0, 0.0), pt(1.0, 0.0)), 1e6).unwrap();
        assert!(b.min_radius() > 1e9, "{b:?}");
        assert!((b.deviation(pt(3.0, 0.25)) - 0.25).abs() < 1e-12, "distance from a line");
    }
}

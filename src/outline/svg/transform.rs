//! Plane affine maps, and the `transform` attribute that writes them.

use super::page;
use crate::geom::{Point, pt, trig};
use std::str::FromStr as _;
use svgtypes::{Error, Length, LengthUnit, TransformListParser, TransformListToken as Token};

/// x' = a x + c y + e, y' = b x + d y + f: the six numbers of `matrix(…)`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Affine {
    pub(super) a: f64,
    pub(super) b: f64,
    pub(super) c: f64,
    pub(super) d: f64,
    pub(super) e: f64,
    pub(super) f: f64,
}

impl Affine {
    pub(super) const IDENTITY: Self = Self::new(1.0, 0.0, 0.0, 1.0, 0.0, 0.0);

    pub(super) const fn new(a: f64, b: f64, c: f64, d: f64, e: f64, f: f64) -> Self {
        Self { a, b, c, d, e, f }
    }

    pub(super) const fn shift(x: f64, y: f64) -> Self {
        Self::new(1.0, 0.0, 0.0, 1.0, x, y)
    }

    /// The map that applies `inner` first and then `self`.
    pub(super) fn of(self, inner: Self) -> Self {
        let x = self.vector(pt(inner.a, inner.b));
        let y = self.vector(pt(inner.c, inner.d));
        let o = self.point(pt(inner.e, inner.f));
        Self::new(x.x, x.y, y.x, y.y, o.x, o.y)
    }

    pub(super) fn point(self, p: Point) -> Point {
        self.vector(p) + pt(self.e, self.f)
    }

    pub(super) fn vector(self, v: Point) -> Point {
        pt(self.a * v.x + self.c * v.y, self.b * v.x + self.d * v.y)
    }
}

/// The map that a `transform` attribute writes: a list applied from right to
/// left (W3C SVG 1.1 2nd ed. 2011, 7.6).
pub(super) fn read(text: &str) -> Result<Affine, Error> {
    let mut whole = Affine::IDENTITY;
    for token in TransformListParser::from(text) {
        whole = whole.of(match token? {
            Token::Matrix { a, b, c, d, e, f } => Affine::new(a, b, c, d, e, f),
            Token::Translate { tx, ty } => Affine::shift(tx, ty),
            Token::Scale { sx, sy } => Affine::new(sx, 0.0, 0.0, sy, 0.0, 0.0),
            Token::Rotate { angle } => {
                let (s, c) = turn(angle);
                Affine::new(c, s, -s, c, 0.0, 0.0)
            }
            Token::SkewX { angle } => Affine::new(1.0, 0.0, trig::tan(angle.to_radians()), 1.0, 0.0, 0.0),
            Token::SkewY { angle } => Affine::new(1.0, trig::tan(angle.to_radians()), 0.0, 1.0, 0.0, 0.0),
        });
    }
    Ok(whole)
}

/// The place that a `transform-origin` in small letters names, user units; percentages and words
/// are of `size`, `bare` numbers are user units (W3C CSS Transforms 1, 6, for elements without a
/// box: from the origin of the view box, whatever its corner). `None` where it cannot be read.
pub(super) fn origin(text: &str, size: [f64; 2], bare: bool) -> Option<Point> {
    if text.trim() == "initial" {
        return Some(pt(0.0, 0.0));
    }
    let words: Vec<&str> = text.split([' ', '\t', '\n', '\r', ',']).filter(|w| !w.is_empty()).collect();
    let side = |word: &str, [low, high]: [&str; 2], whole: f64| -> Option<f64> {
        if word == "center" {
            return Some(whole * 0.5);
        }
        if word == low || word == high {
            return Some(if word == low { 0.0 } else { whole });
        }
        let length = Length::from_str(word).ok()?;
        if length.unit == LengthUnit::None && !bare && length.number.abs() > 0.0 {
            return None;
        }
        page::user(length, whole).filter(|v| v.is_finite())
    };
    let (across, up) = (["left", "right"], ["top", "bottom"]);
    let (x, y) = match words[..] {
        [y] if up.contains(&y) => ("center", y),
        [x] => (x, "center"),
        // words may come in either order; the third is a depth, which drawings have not
        [y, x] | [y, x, _] if up.contains(&y) && (x == "center" || across.contains(&x)) => (x, y),
        [y, x] | [y, x, _] if y == "center" && across.contains(&x) => (x, y),
        [x, y] | [x, y, _] => (x, y),
        _ => return None,
    };
    Some(pt(side(x, across, size[0])?, side(y, up, size[1])?))
}

/// Sine and cosine of an angle in degrees, exact at quarter turns: a drawing
/// turned upright must not carry 1e-17 of slope into every edge.
fn turn(degrees: f64) -> (f64, f64) {
    let quarters = degrees / 90.0;
    if quarters.fract().abs() > 0.0 {
        return trig::sin_cos(degrees.to_radians());
    }
    let q = quarters.rem_euclid(4.0);
    if q < 0.5 {
        (0.0, 1.0)
    } else if q < 1.5 {
        (1.0, 0.0)
    } else if q < 2.5 {
        (0.0, -1.0)
    } else {
        (-1.0, 0.0)
    }
}

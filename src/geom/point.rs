//! A point or a vector in the plane, mm.

use super::trig;
use std::ops::{Add, Mul, Neg, Sub};

/// A point in the part's plane, or the vector between two of them, mm.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Point {
    /// To the right, mm.
    pub x: f64,
    /// Up, mm.
    pub y: f64,
}

/// Short for [`Point::new`].
pub const fn pt(x: f64, y: f64) -> Point {
    Point { x, y }
}

impl Point {
    /// A point from its coordinates, mm.
    pub const fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }

    /// The unit vector at an angle, radians counter-clockwise from +x.
    pub fn unit(angle: f64) -> Self {
        let (s, c) = trig::sin_cos(angle);
        Self::new(c, s)
    }

    /// Scalar product.
    pub fn dot(self, o: Self) -> f64 {
        self.x * o.x + self.y * o.y
    }

    /// z of the vector product: positive when `o` lies counter-clockwise of `self`.
    pub fn cross(self, o: Self) -> f64 {
        self.x * o.y - self.y * o.x
    }

    /// Turn from this direction to another, radians in (-pi, pi], to the left positive.
    pub fn turn_to(self, o: Self) -> f64 {
        trig::atan2(self.cross(o), self.dot(o))
    }

    /// Squared length.
    pub fn norm2(self) -> f64 {
        self.dot(self)
    }

    /// Length.
    pub fn norm(self) -> f64 {
        self.norm2().sqrt()
    }

    /// Distance to another point.
    pub fn dist(self, o: Self) -> f64 {
        (o - self).norm()
    }

    /// Turned by 90 degrees counter-clockwise: the left-hand normal.
    pub fn left(self) -> Self {
        Self::new(-self.y, self.x)
    }

    /// Scaled to length one; `None` for the zero vector.
    pub fn normalised(self) -> Option<Self> {
        let n = self.norm();
        (n > 0.0).then(|| self * (1.0 / n))
    }

    /// The point a share `t` of the way to `o`.
    pub fn lerp(self, o: Self, t: f64) -> Self {
        self + (o - self) * t
    }

    /// Direction, radians in (-pi, pi].
    pub fn angle(self) -> f64 {
        trig::atan2(self.y, self.x)
    }

    /// Turned counter-clockwise about the origin, radians.
    pub fn turned(self, angle: f64) -> Self {
        self.turned_by(trig::sin_cos(angle))
    }

    /// The same by the sine and the cosine of an angle that many points are turned by.
    pub fn turned_by(self, (sin, cos): (f64, f64)) -> Self {
        Self::new(self.x * cos - self.y * sin, self.x * sin + self.y * cos)
    }

    /// Both coordinates are numbers.
    pub fn is_finite(self) -> bool {
        self.x.is_finite() && self.y.is_finite()
    }
}

impl Add for Point {
    type Output = Self;
    fn add(self, o: Self) -> Self {
        Self::new(self.x + o.x, self.y + o.y)
    }
}

impl Sub for Point {
    type Output = Self;
    fn sub(self, o: Self) -> Self {
        Self::new(self.x - o.x, self.y - o.y)
    }
}

impl Mul<f64> for Point {
    type Output = Self;
    fn mul(self, k: f64) -> Self {
        Self::new(self.x * k, self.y * k)
    }
}

impl Neg for Point {
    type Output = Self;
    fn neg(self) -> Self {
        Self::new(-self.x, -self.y)
    }
}

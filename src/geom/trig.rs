//! Trigonometry that gives the same bits on every platform.
//!
//! The standard library calls the platform's own routines, whose last bits
//! differ; the same job must give the same bytes everywhere.

pub use libm::{acos, asin, atan2, cos, exp, hypot, log as ln, pow, sin, tan};

/// Sine and cosine of an angle in radians.
pub fn sin_cos(angle: f64) -> (f64, f64) {
    (sin(angle), cos(angle))
}

/// The angle brought into (-pi, pi].
pub fn wrapped(angle: f64) -> f64 {
    use std::f64::consts::{PI, TAU};
    let mut a = angle % TAU;
    if a > PI {
        a -= TAU;
    } else if a <= -PI {
        a += TAU;
    }
    a
}

/// The angle brought into [0, 2 pi).
pub fn positive(angle: f64) -> f64 {
    use std::f64::consts::TAU;
    let a = angle % TAU;
    // of a turn smaller than rounding a whole one would be left
    if a < 0.0 { (a + TAU) % TAU } else { a }
}

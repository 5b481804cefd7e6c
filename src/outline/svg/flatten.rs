//! Curves as chords.

use super::transform::Affine;
use crate::geom::{Point, pt, trig};
use std::f64::consts::{PI, TAU};

/// Chords stay this close to the curve, mm. A tenth of the distance that a
/// course may keep from the line that a rule asks for (0.02 mm), so that the
/// outline adds nothing to it that shows; a hole of 10 mm becomes 111 chords,
/// its area low by 1 part in 2000.
pub(in crate::outline) const CHORD_MM: f64 = 0.002;

/// Most chords of one curve: a curve that needs more is far larger than any
/// part, and its coordinates are refused later.
const MOST_CHORDS: f64 = 100_000.0;

/// Points on a Bézier curve of degree 2 or 3, the first left out.
///
/// The number of equal steps follows from the second differences of the control
/// points, which bound the curve's second derivative (Wang, G., "The
/// subdivision method for finding the intersection between two Bézier curves or
/// surfaces", 1984): the bound is guaranteed, the number of chords not least.
pub(super) fn bezier(control: &[Point], out: &mut Vec<Point>) {
    let bend = control.windows(3).map(|w| (w[2] - w[1] - (w[1] - w[0])).norm()).fold(0.0, f64::max);
    // degree (degree - 1) / 8
    let factor = if control.len() == 4 { 0.75 } else { 0.25 };
    let n = (factor * bend / CHORD_MM).sqrt().ceil().clamp(1.0, MOST_CHORDS);
    let mut k = 1.0;
    while k < n {
        out.push(at(control, k / n));
        k += 1.0;
    }
    out.extend(control.last());
}

/// De Casteljau's construction.
fn at(control: &[Point], t: f64) -> Point {
    let mut p = [Point::default(); 4];
    let n = control.len();
    p[..n].copy_from_slice(control);
    for last in (1..n).rev() {
        for i in 0..last {
            p[i] = p[i].lerp(p[i + 1], t);
        }
    }
    p[0]
}

/// Points on the ellipse centre + cos(t) u + sin(t) v from `start` over `sweep`
/// radians; the first left out, the last included.
pub(in crate::outline) fn ellipse(
    centre: Point,
    u: Point,
    v: Point,
    start: f64,
    sweep: f64,
    out: &mut Vec<Point>,
) {
    // longest semi-axis, from the singular values of [u v]: the second
    // derivative is nowhere larger
    let (uu, vv, uv) = (u.norm2(), v.norm2(), u.dot(v));
    let longest = ((uu + vv + ((uu - vv) * (uu - vv) + 4.0 * uv * uv).sqrt()) * 0.5).sqrt();
    let step = (8.0 * CHORD_MM / longest.max(CHORD_MM)).sqrt().min(PI / 4.0);
    let n = (sweep.abs() / step).ceil().clamp(1.0, MOST_CHORDS);
    let mut k = 1.0;
    while k <= n {
        let (s, c) = trig::sin_cos(start + sweep * (k / n));
        out.push(centre + u * c + v * s);
        k += 1.0;
    }
}

/// An elliptical arc as path data writes it.
pub(super) struct EndpointArc {
    pub(super) from: Point,
    pub(super) to: Point,
    pub(super) rx: f64,
    pub(super) ry: f64,
    pub(super) turned_deg: f64,
    pub(super) large: bool,
    pub(super) sweep: bool,
}

impl EndpointArc {
    /// Points on the arc after `map`, the first left out. Endpoint to centre form
    /// and out-of-range radii as in W3C SVG 1.1 2nd ed. (2011), F.6.5 and F.6.6.
    pub(super) fn flatten(&self, map: Affine, out: &mut Vec<Point>) {
        let (mut rx, mut ry) = (self.rx.abs(), self.ry.abs());
        let half = (self.from - self.to) * 0.5;
        if !(rx > 0.0 && ry > 0.0) || half.norm2() <= 0.0 {
            // F.6.2: no radius: a straight line; no distance: nothing
            out.push(map.point(self.to));
            return;
        }
        let (sin, cos) = trig::sin_cos(self.turned_deg.to_radians());
        let h = pt(cos * half.x + sin * half.y, cos * half.y - sin * half.x);
        let lambda = (h.x / rx) * (h.x / rx) + (h.y / ry) * (h.y / ry);
        if lambda > 1.0 {
            rx *= lambda.sqrt();
            ry *= lambda.sqrt();
        }
        let (hx, hy) = (h.x / rx, h.y / ry);
        let n = hx * hx + hy * hy;
        let mut k = ((1.0 - n) / n).max(0.0).sqrt();
        if self.large == self.sweep {
            k = -k;
        }
        // centre in the unit circle's frame
        let c = pt(k * hy, -k * hx);
        let start = trig::atan2(hy - c.y, hx - c.x);
        let end = trig::atan2(-hy - c.y, -hx - c.x);
        let mut turn = (end - start) % TAU;
        if self.sweep && turn < 0.0 {
            turn += TAU;
        } else if !self.sweep && turn > 0.0 {
            turn -= TAU;
        }
        let (u, v) = (pt(cos * rx, sin * rx), pt(-sin * ry, cos * ry));
        let centre = self.from.lerp(self.to, 0.5) + u * c.x + v * c.y;
        let before = out.len();
        ellipse(map.point(centre), map.vector(u), map.vector(v), start, turn, out);
        // the last point as written, not as computed: the next piece starts there; ends so
        // far apart that no arc could be reckoned are told by their places
        out.truncate((out.len() - 1).max(before));
        out.push(map.point(self.to));
    }
}

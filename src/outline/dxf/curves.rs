//! Curves of entities as chords.

use crate::count::f64_of;
use crate::geom::{Point, pt, trig};
use crate::outline::svg::flatten::{self, CHORD_MM};
use std::f64::consts::TAU;

/// A map of the plane: x and y of a point from its columns and its shift.
#[derive(Clone, Copy, Debug)]
pub(super) struct Map {
    pub(super) u: Point,
    pub(super) v: Point,
    pub(super) shift: Point,
}

impl Map {
    /// A scale alone.
    pub(super) fn scaled(k: f64) -> Self {
        Self { u: pt(k, 0.0), v: pt(0.0, k), shift: Point::default() }
    }

    pub(super) fn vector(&self, p: Point) -> Point {
        self.u * p.x + self.v * p.y
    }

    pub(super) fn point(&self, p: Point) -> Point {
        self.vector(p) + self.shift
    }

    /// First `inner`, then this one.
    pub(super) fn of(&self, inner: &Self) -> Self {
        Self { u: self.vector(inner.u), v: self.vector(inner.v), shift: self.point(inner.shift) }
    }
}

/// Points of a drawing at most: with these the polygon kernel takes 1 GB of memory, and four
/// times as much with four times as many. A drawing of 100 MB has about as many, all lines.
pub(super) const MOST_POINTS: usize = 4_000_000;

/// An arc or ellipse from one parameter to another, radians, counter-clockwise, with its
/// first point.
pub(super) fn ellipse(map: &Map, centre: Point, [u, v]: [Point; 2], from: f64, sweep: f64) -> Vec<Point> {
    let (c, u, v) = (map.point(centre), map.vector(u), map.vector(v));
    let (sin, cos) = trig::sin_cos(from);
    let mut out = vec![c + u * cos + v * sin];
    flatten::ellipse(c, u, v, from, sweep, &mut out);
    out
}

/// How far round from one angle to another, radians: a whole turn where they are the same or
/// a turn apart, and where they are nearly so. Files have a turn with as few as seven digits,
/// rounded up as well as down, and no arc is as short as what is left of it then.
pub(super) fn sweep(from: f64, to: f64) -> f64 {
    /// What a turn loses in the digits of a file, radians.
    const LOST: f64 = 1e-6;
    /// And what one that is meant as such may be off, 6.2832 for instance.
    const ROUNDED: f64 = 1e-4;
    let sweep = (to - from).rem_euclid(TAU);
    let a_turn = ((to - from).abs() - TAU).abs() < ROUNDED;
    if !a_turn && (LOST..=TAU - LOST).contains(&sweep) { sweep } else { TAU }
}

/// The places of a polyline with bulges, each with the bulge of the piece that goes on from
/// it: the tangent of a quarter of its arc's angle, positive for a turn to the left. Ends early
/// where there are more than [`MOST_POINTS`].
pub(super) fn bulged(map: &Map, places: &[(Point, f64)], closed: bool) -> Vec<Point> {
    let Some(&(first, _)) = places.first() else { return Vec::new() };
    let mut out = vec![map.point(first)];
    let n = if closed { places.len() } else { places.len() - 1 };
    for k in 0..n {
        if out.len() > MOST_POINTS {
            break;
        }
        let ((a, bulge), (b, _)) = (places[k], places[(k + 1) % places.len()]);
        let half = (b - a) * 0.5;
        if bulge.abs() > 1e-9 && half.norm() > 0.0 {
            let angle = 4.0 * trig::atan2(bulge, 1.0);
            // the centre lies beside the middle by half the chord over tan(angle / 2)
            let centre = a + half + half.left() * ((1.0 - bulge * bulge) / (2.0 * bulge));
            let (u, v) = (a - centre, (a - centre).left());
            flatten::ellipse(map.point(centre), map.vector(u), map.vector(v), 0.0, angle, &mut out);
            // as written, not as computed
            out.pop();
        }
        out.push(map.point(b));
    }
    out
}

/// A rational B-spline.
pub(super) struct Spline {
    pub(super) degree: usize,
    pub(super) knots: Vec<f64>,
    /// Control points, mm, and their weights.
    pub(super) control: Vec<(Point, f64)>,
}

/// Most chords of one span of a spline.
const MOST_CHORDS: usize = 4096;

impl Spline {
    /// Chords along it, ended early where there are more than [`MOST_POINTS`]; `None` where its
    /// numbers make no spline.
    pub(super) fn flattened(&self) -> Option<Vec<Point>> {
        let (p, n) = (self.degree, self.control.len());
        let fits = (1..=12).contains(&p)
            && n > p
            && self.knots.len() == n + p + 1
            && self.knots.windows(2).all(|w| w[0] <= w[1])
            && self.control.iter().all(|(_, w)| *w > 0.0);
        if !fits || self.knots[p] >= self.knots[n] {
            return None;
        }
        let mut out = vec![self.at(self.knots[p], p)];
        for span in p..n {
            let (from, to) = (self.knots[span], self.knots[span + 1]);
            if to <= from {
                continue;
            }
            if out.len() > MOST_POINTS {
                break;
            }
            // halved until chords are near: looked at in their middles and beside them
            let mut parts = 1_usize;
            loop {
                let at = |k: usize, of: usize| {
                    let share = f64_of(k) / f64_of(of);
                    self.at(from + (to - from) * share, span)
                };
                let near = (0..parts).all(|k| {
                    let (a, b) = (at(k, parts), at(k + 1, parts));
                    [1, 2, 3].iter().all(|q| {
                        crate::geom::polyline::point_segment_distance(at(4 * k + q, 4 * parts), a, b)
                            <= CHORD_MM
                    })
                });
                if near || parts >= MOST_CHORDS {
                    out.extend((1..=parts).map(|k| at(k, parts)));
                    break;
                }
                parts *= 2;
            }
        }
        Some(out)
    }

    /// de Boor's construction in homogeneous coordinates.
    fn at(&self, t: f64, span: usize) -> Point {
        let p = self.degree;
        let mut d: Vec<(Point, f64)> =
            self.control[span - p..=span].iter().map(|(q, w)| (*q * *w, *w)).collect();
        for r in 1..=p {
            for j in (r..=p).rev() {
                let i = span - p + j;
                let (low, high) = (self.knots[i], self.knots[i + p + 1 - r]);
                let a = if high > low { (t - low) / (high - low) } else { 0.0 };
                d[j] = (d[j - 1].0 * (1.0 - a) + d[j].0 * a, d[j - 1].1 * (1.0 - a) + d[j].1 * a);
            }
        }
        d[p].0 * (1.0 / d[p].1)
    }
}

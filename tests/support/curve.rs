//! Lines and arcs of a course, measured by plain computation.

use super::plan_file::Segment;
use std::f64::consts::TAU;

pub(crate) fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    libm::hypot(b[0] - a[0], b[1] - a[1])
}

/// Distance from a point to a stretch of line, and where on it (0 to 1).
pub(crate) fn to_stretch(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> (f64, f64) {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let square = dx * dx + dy * dy;
    let t =
        if square > 0.0 { (((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / square).clamp(0.0, 1.0) } else { 0.0 };
    (distance(p, [a[0] + dx * t, a[1] + dy * t]), t)
}

/// A whole number of steps, at least one.
#[expect(clippy::cast_possible_truncation, reason = "rounded up and bounded just before")]
#[expect(clippy::cast_sign_loss, reason = "at least 1 just before")]
pub(crate) fn steps(x: f64) -> usize {
    x.ceil().clamp(1.0, 1e7) as usize
}

/// The cell that a coordinate falls into, 0 below zero.
#[expect(clippy::cast_possible_truncation, reason = "rounded down and bounded just before")]
#[expect(clippy::cast_sign_loss, reason = "not negative just before")]
pub(crate) fn cell(x: f64) -> usize {
    x.floor().clamp(0.0, 1e9) as usize
}

/// The signed sweep of an arc, radians: positive counter-clockwise.
pub(crate) fn sweep(from: [f64; 2], to: [f64; 2], centre: [f64; 2], ccw: bool) -> f64 {
    let start = libm::atan2(from[1] - centre[1], from[0] - centre[0]);
    let end = libm::atan2(to[1] - centre[1], to[0] - centre[0]);
    let mut d = end - start;
    if ccw {
        while d <= 1e-9 {
            d += TAU;
        }
    } else {
        while d >= -1e-9 {
            d -= TAU;
        }
    }
    d
}

impl Segment {
    pub(crate) fn start(&self) -> [f64; 2] {
        match *self {
            Self::Line([x, y, ..]) => [x, y],
            Self::Arc { from, .. } => from,
        }
    }

    pub(crate) fn end(&self) -> [f64; 2] {
        match *self {
            Self::Line([.., x, y]) => [x, y],
            Self::Arc { to, .. } => to,
        }
    }

    /// Radii at both ends; `None` for a line.
    pub(crate) fn radii(&self) -> Option<[f64; 2]> {
        match *self {
            Self::Line(_) => None,
            Self::Arc { from, to, centre, .. } => Some([distance(from, centre), distance(to, centre)]),
        }
    }

    pub(crate) fn length(&self) -> f64 {
        match *self {
            Self::Line(_) => distance(self.start(), self.end()),
            Self::Arc { from, to, centre, ccw } => {
                distance(from, centre) * sweep(from, to, centre, ccw).abs()
            }
        }
    }

    /// Place and direction at a share of the segment (0 to 1).
    pub(crate) fn at(&self, share: f64) -> ([f64; 2], [f64; 2]) {
        match *self {
            Self::Line([x0, y0, x1, y1]) => {
                let length = distance([x0, y0], [x1, y1]).max(1e-12);
                ([x0 + (x1 - x0) * share, y0 + (y1 - y0) * share], [(x1 - x0) / length, (y1 - y0) / length])
            }
            Self::Arc { from, to, centre, ccw } => {
                let turn = sweep(from, to, centre, ccw);
                let start = libm::atan2(from[1] - centre[1], from[0] - centre[0]);
                // from one end's radius to the other's, should they differ
                let r = distance(from, centre) * (1.0 - share) + distance(to, centre) * share;
                let (sin, cos) = libm::sincos(start + turn * share);
                let s = turn.signum();
                ([centre[0] + r * cos, centre[1] + r * sin], [-sin * s, cos * s])
            }
        }
    }
}

/// A course's centre line with lengths from its start.
#[derive(Clone, Debug)]
pub(crate) struct Line {
    segments: Vec<Segment>,
    /// Length up to each segment's start; one more for the end.
    upto: Vec<f64>,
}

impl Line {
    pub(crate) fn new(segments: &[Segment]) -> Self {
        let mut upto = vec![0.0];
        let mut sum = 0.0;
        for s in segments {
            sum += s.length();
            upto.push(sum);
        }
        Self { segments: segments.to_vec(), upto }
    }

    pub(crate) fn length(&self) -> f64 {
        self.upto.last().copied().unwrap_or(0.0)
    }

    /// Place and direction at a length from the start.
    pub(crate) fn at(&self, s: f64) -> ([f64; 2], [f64; 2]) {
        let s = s.clamp(0.0, self.length());
        let i = self.upto.partition_point(|&u| u <= s).clamp(1, self.segments.len()) - 1;
        let own = self.upto[i + 1] - self.upto[i];
        let share = if own > 0.0 { ((s - self.upto[i]) / own).clamp(0.0, 1.0) } else { 0.0 };
        self.segments[i].at(share)
    }

    /// Places no further than `step` apart along the line, segment ends among
    /// them: length from the start, place, direction.
    pub(crate) fn samples(&self, step: f64) -> Vec<(f64, [f64; 2], [f64; 2])> {
        let mut out = Vec::new();
        for (i, segment) in self.segments.iter().enumerate() {
            let own = self.upto[i + 1] - self.upto[i];
            let n = steps(own / step);
            for k in 0..n {
                let share = k as f64 / n as f64;
                let (p, d) = segment.at(share);
                out.push((self.upto[i] + own * share, p, d));
            }
        }
        if let Some(last) = self.segments.last() {
            let (p, d) = last.at(1.0);
            out.push((self.length(), p, d));
        }
        out
    }

    /// Corners of a polyline whose chords stay within `chord` of the line.
    pub(crate) fn chords(&self, chord: f64) -> Vec<[f64; 2]> {
        let mut out: Vec<[f64; 2]> = Vec::new();
        for segment in &self.segments {
            let n = match *segment {
                Segment::Line(_) => 1,
                Segment::Arc { from, to, centre, ccw } => {
                    let r = distance(from, centre).max(chord);
                    steps(sweep(from, to, centre, ccw).abs() / (2.0 * libm::acos(1.0 - chord / r)))
                }
            };
            for k in 0..n {
                out.push(segment.at(k as f64 / n as f64).0);
            }
        }
        if let Some(last) = self.segments.last() {
            out.push(last.end());
        }
        out
    }

    /// Where between two lengths the line passes nearest to a point: length and distance.
    pub(crate) fn nearest(&self, p: [f64; 2], from: f64, to: f64) -> (f64, f64) {
        let (from, to) = (from.clamp(0.0, self.length()), to.clamp(0.0, self.length()));
        let n = steps((to - from) / 0.1);
        let step = (to - from) / n as f64;
        let (mut best, mut gap) = (from, distance(p, self.at(from).0));
        for k in 1..=n {
            let s = from + step * k as f64;
            let d = distance(p, self.at(s).0);
            if d < gap {
                (best, gap) = (s, d);
            }
        }
        // the distance has one valley between the neighbours of the best place
        let (mut lo, mut hi) = ((best - step).max(from), (best + step).min(to));
        for _ in 0..60 {
            let (a, b) = (lo + (hi - lo) / 3.0, hi - (hi - lo) / 3.0);
            if distance(p, self.at(a).0) < distance(p, self.at(b).0) {
                hi = b;
            } else {
                lo = a;
            }
        }
        let s = 0.5 * (lo + hi);
        let d = distance(p, self.at(s).0);
        if d < gap { (s, d) } else { (best, gap) }
    }
}

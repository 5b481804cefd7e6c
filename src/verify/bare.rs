//! Bare ground of a layer, counted along lines across it: exact along each line,
//! one line every few hundredths of a millimetre.

use super::geometry::distance;
use super::ground::Near;
use super::plan::Rings;
use rayon::prelude::*;

/// Distance between two lines, mm: a tenth of a usual bead's width.
const STEP_MM: f64 = 0.05;

/// What places as written are off by, mm: beads side by side leave no seam, which a
/// line along it would take for bare ground over its whole length.
const WRITTEN_MM: f64 = 0.0006;

/// Lines at most.
const MOST_LINES: f64 = 4000.0;

/// A stretch of a line, from and to.
type Span = (f64, f64);

/// Area of a layer's outline under neither tow nor bead, mm2, and the middle of the
/// longest bare stretch. `o` is where the part stands.
pub(super) fn count(rings: &Rings, o: [f64; 2], laid: [&Near; 2]) -> (f64, Option<[f64; 2]>) {
    let (lo, hi) = rings.bounds();
    let step = STEP_MM.max((hi[1] - lo[1]) / MOST_LINES);
    let lines = Lines { low: lo[1], step, count: whole((hi[1] - lo[1]) / step) + 1 };
    let mut covered: Vec<Vec<Span>> = vec![Vec::new(); lines.count];
    for near in laid {
        // where the run of stretches began, and where it has come to
        let (mut began, mut before) = (None, None::<[f64; 2]>);
        for s in &near.stretches {
            let goes_on = before.is_some_and(|p| distance(p, s.a) < 1e-6);
            if !goes_on {
                began = Some(s.a);
            }
            let part = |p: [f64; 2]| [p[0] - o[0], p[1] - o[1]];
            let (a, b, half) = (part(s.a), part(s.b), 0.5 * s.width + WRITTEN_MM);
            let outside = (0..2).any(|k| a[k].max(b[k]) < lo[k] - half || a[k].min(b[k]) > hi[k] + half);
            if !outside {
                lines.band(a, b, half, &mut covered);
                if goes_on {
                    lines.disc(a, half, &mut covered);
                }
                // back where it began: a joint like the others
                if goes_on && began.is_some_and(|p| distance(p, s.b) < 1e-6) {
                    lines.disc(b, half, &mut covered);
                }
            }
            before = Some(s.b);
        }
    }
    let each: Vec<(f64, Span)> = covered
        .par_iter_mut()
        .enumerate()
        .map_init(Vec::new, |crossings, (k, spans)| {
            rings.crossings(lines.at(k), crossings);
            uncovered(crossings, spans)
        })
        .collect();
    let (mut sum, mut longest, mut at) = (0.0, 0.0, None);
    for (k, (bare, (from, to))) in each.into_iter().enumerate() {
        sum += bare * step;
        if to - from > longest {
            (longest, at) = (to - from, Some([0.5 * (from + to), lines.at(k)]));
        }
    }
    (sum, at)
}

/// Length of a line within the outline, which it crosses in these places, that no
/// span covers; and the longest bare stretch.
fn uncovered(crossings: &[f64], spans: &mut [Span]) -> (f64, Span) {
    spans.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let (mut sum, mut longest) = (0.0, (0.0, 0.0));
    let mut next = spans.iter().peekable();
    let mut reach = f64::NEG_INFINITY;
    for inside in crossings.chunks_exact(2) {
        let (mut x, end) = (inside[0].max(reach), inside[1]);
        let mut bare = |from: f64, to: f64| {
            if to > from {
                sum += to - from;
                if to - from > longest.1 - longest.0 {
                    longest = (from, to);
                }
            }
        };
        while let Some(s) = next.next_if(|s| s.0 < end) {
            bare(x, s.0);
            x = x.max(s.1);
        }
        bare(x, end);
        reach = x;
    }
    (sum, longest)
}

struct Lines {
    low: f64,
    step: f64,
    count: usize,
}

impl Lines {
    fn at(&self, k: usize) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "a few thousand lines")]
        let k = k as f64;
        self.low + (k + 0.5) * self.step
    }

    /// Lines between two heights.
    fn between(&self, low: f64, high: f64) -> std::ops::Range<usize> {
        let from = whole((low - self.low) / self.step - 0.5);
        from..whole((high - self.low) / self.step + 1.5).min(self.count)
    }

    /// A strip with square ends.
    fn band(&self, a: [f64; 2], b: [f64; 2], half: f64, covered: &mut [Vec<Span>]) {
        let length = distance(a, b);
        if length <= 0.0 {
            return;
        }
        let (dx, dy) = ((b[0] - a[0]) / length, (b[1] - a[1]) / length);
        let over = half * dx.abs();
        for k in self.between(a[1].min(b[1]) - over, a[1].max(b[1]) + over) {
            let rise = self.at(k) - a[1];
            // along the strip between its ends, across it between its sides
            let along = span(dx, rise * dy, 0.0, length);
            let across = span(-dy, rise * dx, -half, half);
            let (from, to) = (along.0.max(across.0), along.1.min(across.1));
            if to > from {
                covered[k].push((a[0] + from, a[0] + to));
            }
        }
    }

    /// A round joint.
    fn disc(&self, c: [f64; 2], radius: f64, covered: &mut [Vec<Span>]) {
        for k in self.between(c[1] - radius, c[1] + radius) {
            let rise = self.at(k) - c[1];
            let half = (radius * radius - rise * rise).max(0.0).sqrt();
            if half > 0.0 {
                covered[k].push((c[0] - half, c[0] + half));
            }
        }
    }
}

/// Where `slope * x + offset` lies between two bounds.
fn span(slope: f64, offset: f64, low: f64, high: f64) -> Span {
    if slope.abs() < 1e-12 {
        let everywhere = offset >= low && offset <= high;
        return if everywhere { (f64::NEG_INFINITY, f64::INFINITY) } else { (0.0, 0.0) };
    }
    let (p, q) = ((low - offset) / slope, (high - offset) / slope);
    (p.min(q), p.max(q))
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped; not-a-number is 0")]
fn whole(v: f64) -> usize {
    v.clamp(0.0, 1e7) as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::verify::ground::Stretch;

    fn near(points: &[[f64; 2]], width: f64) -> Near {
        let mut near = Near::new([-5.0, -5.0], [45.0, 45.0]);
        for w in points.windows(2) {
            near.add(Stretch { a: w[0], b: w[1], owner: 0, from: 0.0, width, line: 0 });
        }
        near
    }

    #[test]
    fn areas_are_those_of_closed_forms() {
        let square = vec![[0.0, 0.0], [20.0, 0.0], [20.0, 20.0], [0.0, 20.0]];
        let hole = vec![[8.0, 8.0], [8.0, 12.0], [12.0, 12.0], [12.0, 8.0]];
        let rings = Rings::new(&[square, hole]);
        let nothing = near(&[], 1.0);
        let (whole, at) = count(&rings, [0.0, 0.0], [&nothing, &nothing]);
        assert!((whole - 384.0).abs() < 1e-6, "all of it: {whole}");
        assert!(at.is_some_and(|p| p[1] < 8.0 || p[1] > 12.0), "where a line is longest: {at:?}");
        // a slanting strip off the hole: its own area
        let strip = near(&[[2.0, 2.0], [17.0, 5.0]], 2.0);
        let length = (15.0_f64 * 15.0 + 9.0).sqrt();
        let (bare, _) = count(&rings, [0.0, 0.0], [&strip, &nothing]);
        assert!((whole - bare - 2.0 * length).abs() < 0.02, "{bare}");
        // beads over it and a part that stands elsewhere
        let moved = |p: [f64; 2]| [p[0] + 15.0, p[1] + 10.0];
        let strip = near(&[moved([2.0, 2.0]), moved([17.0, 5.0])], 2.0);
        let over = near(&[moved([2.0, 2.0]), moved([17.0, 5.0])], 1.0);
        let (bare, _) = count(&rings, [15.0, 10.0], [&strip, &over]);
        assert!((whole - bare - 2.0 * length).abs() < 0.02, "laid twice, counted once: {bare}");
        // across the hole and out of the outline: what lies in both
        let cross = near(&[[-3.0, 10.0], [23.0, 10.0]], 2.0);
        let (bare, _) = count(&rings, [0.0, 0.0], [&cross, &nothing]);
        assert!((whole - bare - 2.0 * 16.0).abs() < 0.02, "{bare}");
        // two beads side by side along the lines, their seam on one of them: no ground between
        let pair = near(&[[2.0, 2.5247], [17.0, 2.5247]], 1.0);
        let beside = near(&[[2.0, 3.5253], [17.0, 3.5253]], 1.0);
        let (bare, _) = count(&rings, [0.0, 0.0], [&pair, &beside]);
        let one = near(&[[2.0, 3.025], [17.0, 3.025]], 2.0);
        let (same, _) = count(&rings, [0.0, 0.0], [&one, &nothing]);
        assert!((bare - same).abs() < 0.05, "a seam is no ground: {bare} against {same}");
        // a right corner with a round joint: two arms, less the square that both cover, and a quarter disc
        let bend = near(&[[2.0, 2.0], [2.0, 15.0], [6.0, 15.0]], 2.0);
        let (bare, _) = count(&rings, [0.0, 0.0], [&bend, &nothing]);
        let area = 2.0 * 13.0 + 2.0 * 4.0 - 1.0 + std::f64::consts::FRAC_PI_4;
        assert!((whole - bare - area).abs() < 0.05, "{} against {area}", whole - bare);
        // a triangle that returns to its start has three round joints, whichever it starts at
        let corners = [[2.0, 2.0], [7.0, 2.0], [2.0, 6.0]];
        let ring = |k: usize| [0, 1, 2, 3].map(|i: usize| corners[(i + k) % 3]);
        let each = [0, 1, 2].map(|k| count(&rings, [0.0, 0.0], [&near(&ring(k), 1.0), &nothing]).0);
        assert!(each.iter().all(|b| (b - each[0]).abs() < 1e-6), "{each:?}");
    }
}

//! What beads really cover, as drawn at their widths: flow says how much matrix
//! there is, this says where it is missing and where it lies on tow.

use super::Bead;
use crate::count::f64_of;
use crate::geom::{Area, Bounds, Point, polyline, trig};

/// Distance between the scan lines, mm: a fifth of a common bead.
const STEP_MM: f64 = 0.1;

/// Direction of the scan lines, rad: none in which people ask for rows, so that
/// lines do not fall into the seams between beads or miss them all.
const ASKEW: f64 = 0.6180;

/// Bends of less than this (its tangent) leave no gap to speak of on their outer
/// side.
const BEND: f64 = 0.05;

/// Areas counted along scan lines.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Cover {
    /// Where neither tow nor bead lies, mm2.
    pub bare: f64,
    /// Beads that lie on tow, mm2.
    pub over_tow: f64,
}

/// Counts along parallel lines, to about a thousandth of the outline.
pub(super) fn count(outline: &Area, strips: &Area, beads: &[Bead]) -> Cover {
    let (sin, cos) = trig::sin_cos(-ASKEW);
    let turn = |p: &Point| Point::new(p.x * cos - p.y * sin, p.x * sin + p.y * cos);
    let Some(bounds) = Bounds::of(outline.rings().flatten().map(turn)) else { return Cover::default() };
    let lines = ScanLines::over(bounds);
    let (mut outline_at, mut strips_at, mut beads_at) = (lines.empty(), lines.empty(), lines.empty());
    for (area, crossings) in [(outline, &mut outline_at), (strips, &mut strips_at)] {
        for ring in area.rings() {
            let ring: Vec<Point> = ring.iter().map(turn).collect();
            for (a, b) in polyline::ring_edges(&ring) {
                lines.cross(a, b, |k, x| crossings[k].push(x));
            }
        }
    }
    for b in beads {
        let mut line: Vec<Point> = b.points.iter().map(turn).collect();
        if b.closed {
            line.extend_from_within(..line.len().min(2));
        }
        let half = b.width_mm * 0.5;
        // a closed line's first edge comes again at its end, for the bend there
        let edges = if b.closed { b.points.len() } else { line.len().saturating_sub(1) };
        for w in line.windows(2).take(edges) {
            lines.band(w[0], w[1], half, |k, from, to| beads_at[k].push((from, to)));
        }
        for w in line.windows(3) {
            let (before, after) = (w[1] - w[0], w[2] - w[1]);
            if before.cross(after).abs() > BEND * before.dot(after) {
                lines.disc(w[1], half, |k, from, to| beads_at[k].push((from, to)));
            }
        }
    }
    let mut cover = Cover::default();
    for ((outline, strips), mut beads) in outline_at.into_iter().zip(strips_at).zip(beads_at) {
        let (outline, strips) = (spans(outline), spans(strips));
        cover.over_tow += common(&strips, &merged(&mut beads.clone())) * lines.step;
        beads.extend(strips);
        let full = merged(&mut beads);
        cover.bare += (outline.iter().map(|s| s.1 - s.0).sum::<f64>() - common(&outline, &full)) * lines.step;
    }
    cover
}

/// From and to along a line.
type Span = (f64, f64);

/// Horizontal lines over a box.
struct ScanLines {
    low: f64,
    step: f64,
    count: usize,
}

impl ScanLines {
    fn over(bounds: Bounds) -> Self {
        let height = bounds.hi.y - bounds.lo.y;
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a box within the grid's limits"
        )]
        let count = (height / STEP_MM).ceil().max(1.0) as usize;
        let step = height / f64_of(count);
        Self { low: bounds.lo.y + step * 0.5, step, count }
    }

    fn empty<T: Clone>(&self) -> Vec<Vec<T>> {
        vec![Vec::new(); self.count]
    }

    /// The lines between two ordinates, lower bound included.
    fn between(&self, low: f64, high: f64) -> impl Iterator<Item = (usize, f64)> + use<> {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the count")]
        let index = |y: f64| ((y - self.low) / self.step).ceil().clamp(0.0, self.count_f()) as usize;
        let (base, step) = (self.low, self.step);
        (index(low)..index(high)).map(move |k| (k, base + step * f64_of(k)))
    }

    fn count_f(&self) -> f64 {
        f64_of(self.count)
    }

    /// Where an edge crosses the lines.
    fn cross(&self, a: Point, b: Point, mut found: impl FnMut(usize, f64)) {
        let (a, b) = if a.y <= b.y { (a, b) } else { (b, a) };
        for (k, y) in self.between(a.y, b.y) {
            found(k, a.x + (b.x - a.x) * (y - a.y) / (b.y - a.y));
        }
    }

    /// What a straight band covers of each line.
    fn band(&self, a: Point, b: Point, half: f64, mut found: impl FnMut(usize, f64, f64)) {
        let Some(along) = (b - a).normalised() else { return };
        let aside = along.left() * half;
        let corners = [a - aside, b - aside, b + aside, a + aside];
        let low = corners.iter().map(|p| p.y).fold(f64::INFINITY, f64::min);
        let high = corners.iter().map(|p| p.y).fold(f64::NEG_INFINITY, f64::max);
        for (k, y) in self.between(low, high) {
            let mut reach = (f64::INFINITY, f64::NEG_INFINITY);
            for (p, q) in polyline::ring_edges(&corners) {
                if (p.y > y) != (q.y > y) {
                    let x = p.x + (q.x - p.x) * (y - p.y) / (q.y - p.y);
                    reach = (reach.0.min(x), reach.1.max(x));
                }
            }
            if reach.0 < reach.1 {
                found(k, reach.0, reach.1);
            }
        }
    }

    /// What a disc covers of each line.
    fn disc(&self, centre: Point, radius: f64, mut found: impl FnMut(usize, f64, f64)) {
        for (k, y) in self.between(centre.y - radius, centre.y + radius) {
            let half = (radius * radius - (y - centre.y) * (y - centre.y)).max(0.0).sqrt();
            found(k, centre.x - half, centre.x + half);
        }
    }
}

/// Crossings of closed rings, taken in pairs.
fn spans(mut crossings: Vec<f64>) -> Vec<Span> {
    crossings.sort_by(f64::total_cmp);
    crossings.chunks_exact(2).map(|c| (c[0], c[1])).collect()
}

/// Spans that may lie over each other, as spans that do not.
fn merged(spans: &mut [Span]) -> Vec<Span> {
    spans.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut out: Vec<Span> = Vec::with_capacity(spans.len());
    for s in spans {
        match out.last_mut() {
            Some(last) if s.0 <= last.1 => last.1 = last.1.max(s.1),
            _ => out.push(*s),
        }
    }
    out
}

/// Length that two lists of spans in order have in common.
fn common(a: &[Span], b: &[Span]) -> f64 {
    let (mut i, mut j, mut sum) = (0, 0, 0.0);
    while i < a.len() && j < b.len() {
        sum += (a[i].1.min(b[j].1) - a[i].0.max(b[j].0)).max(0.0);
        if a[i].1 < b[j].1 { i += 1 } else { j += 1 }
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::super::BeadKind;
    use super::*;
    use crate::geom::combine::ring_area;

    fn bead(width_mm: f64, closed: bool, points: &[(f64, f64)]) -> Bead {
        let points = points.iter().map(|(x, y)| Point::new(*x, *y)).collect();
        Bead { kind: BeadKind::Fill, width_mm, area_mm2: width_mm * 0.2, closed, points }
    }

    fn rectangle(x: f64, y: f64, width: f64, height: f64) -> Area {
        let corner = |dx: f64, dy: f64| Point::new(x + dx, y + dy);
        ring_area(&[corner(0.0, 0.0), corner(width, 0.0), corner(width, height), corner(0.0, height)])
    }

    #[test]
    fn counts_what_a_missing_row_leaves_and_what_lies_on_tow() {
        let outline = rectangle(0.0, 0.0, 20.0, 11.0);
        let strips = rectangle(0.0, 10.0, 20.0, 1.0);
        // twenty rows of half a millimetre, the seventh left out, the last too high
        let rows: Vec<Bead> = (0..20)
            .filter(|i| *i != 6)
            .map(|i| f64::from(i) * 0.5 + if i == 19 { 0.35 } else { 0.25 })
            .map(|y| bead(0.5, false, &[(0.0, y), (20.0, y)]))
            .collect();
        let found = count(&outline, &strips, &rows);
        assert!((found.bare - (10.0 + 2.0)).abs() < 0.25, "{found:?}");
        assert!((found.over_tow - 2.0).abs() < 0.15, "{found:?}");
    }

    #[test]
    fn bends_are_round_on_the_outside() {
        // a square ring of 1 mm on a square of 10 mm: bare are the inside and four
        // corners outside the round joins
        let ground = rectangle(0.0, 0.0, 10.0, 10.0);
        let ring = bead(1.0, true, &[(0.5, 0.5), (9.5, 0.5), (9.5, 9.5), (0.5, 9.5)]);
        let found = count(&ground, &Area::empty(), &[ring]);
        let corners = 4.0 * 0.25 * (1.0 - std::f64::consts::FRAC_PI_4);
        assert!((found.bare - (64.0 + corners)).abs() < 0.15, "{found:?}");
    }
}

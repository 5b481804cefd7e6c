//! A chain of pieces of changing width becomes beads of constant width.

use super::{Bead, BeadKind};
use crate::geom::{Point, polyline};

/// A chain shorter than this is no bead, mm.
pub(super) const SHORTEST_MM: f64 = 0.4;

/// Narrowest bead as a share of the nominal width.
const NARROWEST: f64 = 0.2;

/// Widest bead as a share of the nominal width; wider runs are laid side by side.
const WIDEST: f64 = 1.6;

/// How much the width may change within a run, as a share of the nominal width.
const CHANGE: f64 = 0.13;

/// Centre lines lose points that matter less than this, mm.
const STRAIGHT_MM: f64 = 0.01;

/// Chains this long are smoothed, in nominal widths: shorter ones are the corners of places.
const LONG: f64 = 4.0;

/// How often each point of a centre line is brought to the middle of its neighbours and itself:
/// the chordal axis goes to and fro between the triangles of either wall, and no head follows
/// that.
const SMOOTHED: usize = 3;

/// A stretch of the middle line and the area that it stands for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Piece {
    pub(super) from: Point,
    pub(super) to: Point,
    pub(super) area: f64,
}

struct Run {
    points: Vec<Point>,
    length: f64,
    area: f64,
}

impl Run {
    fn width(&self) -> f64 {
        if self.length > 0.0 { self.area / self.length } else { 0.0 }
    }

    fn join(&mut self, next: Self) {
        self.points.extend(next.points.into_iter().skip(1));
        self.length += next.length;
        self.area += next.area;
    }
}

/// Lays a connected chain of pieces; `atom` is the least length over which a
/// width is taken, mm.
pub(super) fn lay(pieces: &[Piece], atom: f64, width: f64, height_mm: f64, beads: &mut Vec<Bead>) {
    let total: f64 = pieces.iter().map(|p| p.from.dist(p.to)).sum();
    if total < SHORTEST_MM.min(width) {
        return;
    }
    let smooth = (total >= LONG * width).then(|| smoothed(pieces));
    let pieces = smooth.as_deref().unwrap_or(pieces);
    let mut atoms: Vec<Run> = Vec::new();
    let mut open = false;
    for p in pieces {
        let next = Run { points: vec![p.from, p.to], length: p.from.dist(p.to), area: p.area };
        match atoms.last_mut() {
            Some(last) if open => last.join(next),
            _ => atoms.push(next),
        }
        open = atoms.last().is_some_and(|a| a.length < atom);
    }
    if open
        && atoms.len() > 1
        && let Some(last) = atoms.pop()
        && let Some(before) = atoms.last_mut()
    {
        before.join(last);
    }
    let mut runs: Vec<Run> = Vec::new();
    for a in atoms {
        match runs.last_mut() {
            Some(last) if (last.width() - a.width()).abs() <= CHANGE * width => last.join(a),
            _ => runs.push(a),
        }
    }
    for run in runs {
        place(&run, width, height_mm, beads);
    }
}

fn place(run: &Run, width: f64, height_mm: f64, beads: &mut Vec<Bead>) {
    let points = polyline::simplified(&run.points, STRAIGHT_MM);
    let length = polyline::length(&points);
    if length < 1e-3 {
        return;
    }
    let wide = run.area / length;
    if wide < NARROWEST * width {
        return;
    }
    let mut passes = 1;
    let mut each = wide;
    // a few side by side at most: what is wider than that is a row's business
    while each > WIDEST * width && passes < 4 {
        passes += 1;
        each = wide / f64::from(passes);
    }
    // short and fat: the middle line says nothing about the shape
    let each_width = each.min(2.0 * WIDEST * width);
    for i in 0..passes {
        let aside = (f64::from(i) + 0.5) * each - wide * 0.5;
        let line = if passes == 1 { points.clone() } else { beside(&points, aside) };
        let along = polyline::length(&line);
        if along < 1e-3 {
            continue;
        }
        // the share of each pass is equal: its own length sets its width
        let own = (run.area / f64::from(passes) / along).min(each_width * 1.5);
        beads.push(Bead {
            kind: BeadKind::Fill,
            width_mm: own,
            area_mm2: super::rectangle_mm2(own, height_mm),
            closed: false,
            points: line,
        });
    }
}

/// A chain without its to and fro, from end to end: weights 1, 2, 1, which leave nothing of
/// what changes sign from point to point.
fn smoothed(pieces: &[Piece]) -> Vec<Piece> {
    let mut line: Vec<Point> = pieces.first().map(|p| p.from).into_iter().collect();
    line.extend(pieces.iter().map(|p| p.to));
    for _ in 0..SMOOTHED {
        let inner: Vec<Point> = line.windows(3).map(|w| (w[0] + w[1] * 2.0 + w[2]) * 0.25).collect();
        let last = line.len() - 1;
        line[1..last].copy_from_slice(&inner);
    }
    line.windows(2).zip(pieces).map(|(w, p)| Piece { from: w[0], to: w[1], area: p.area }).collect()
}

/// The line moved sideways, to the left when positive.
fn beside(points: &[Point], aside: f64) -> Vec<Point> {
    let n = points.len();
    (0..n)
        .map(|i| {
            let before = points[i.saturating_sub(1)];
            let after = points[(i + 1).min(n - 1)];
            let along = (after - before).normalised().unwrap_or(Point::new(1.0, 0.0));
            points[i] + along.left() * aside
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::count::f64_of;

    #[test]
    fn a_middle_line_that_goes_to_and_fro_becomes_a_straight_bead() {
        // gates of triangles from either wall, 0.05 mm beside the middle of a place 0.3 mm wide
        let at = |k: usize| Point::new(0.1 * f64_of(k), if k.is_multiple_of(2) { 0.05 } else { -0.05 });
        let pieces: Vec<Piece> =
            (0..40).map(|k| Piece { from: at(k), to: at(k + 1), area: 0.1 * 0.3 }).collect();
        let mut beads = Vec::new();
        lay(&pieces, 0.6, 0.5, 0.2, &mut beads);
        assert_eq!(beads.len(), 1, "one bead from end to end");
        let inner = beads[0].points.iter().filter(|p| (0.4..3.6).contains(&p.x));
        assert!(inner.clone().all(|p| p.y.abs() < 0.012), "{:?}", inner.collect::<Vec<_>>());
        assert!(beads[0].points.len() < 12, "{} points", beads[0].points.len());
        // no matrix is lost by it: width times length is the area of the place
        let length = polyline::length(&beads[0].points);
        assert!((beads[0].width_mm * length - 1.2).abs() < 1e-9, "{} x {length} mm", beads[0].width_mm);
        // a bend of the place is kept
        let at = |k: usize| crate::geom::Point::unit(0.05 * f64_of(k)) * 3.0;
        let bend: Vec<Piece> = (0..30).map(|k| Piece { from: at(k), to: at(k + 1), area: 0.045 }).collect();
        beads.clear();
        lay(&bend, 0.6, 0.5, 0.2, &mut beads);
        let off = beads[0].points.windows(2).map(|w| 3.0 - w[0].lerp(w[1], 0.5).norm()).fold(0.0, f64::max);
        assert!(off < 0.02, "{off} mm inside its arc");
    }
}

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

//! A layer drawn on a sheet: what lies where, at true width.

use super::Work;
use super::canvas::{CENTRE, Canvas, DASHED, Ink, Line, Pen};
use crate::geom::{Area, Bounds, Path, Point, combine, offset, polyline};
use crate::job::Job;
use crate::matrix::Bead;
use crate::reinforcement::LeftOut;

/// From the part's plane to the sheet.
#[derive(Clone, Copy, Debug)]
pub(super) struct View {
    /// The part's point that stands at `on_sheet`, mm.
    pub(super) centre: Point,
    /// Its place on the sheet, mm.
    pub(super) on_sheet: Point,
    /// mm on the sheet for one of the part.
    pub(super) scale: f64,
}

impl View {
    pub(super) fn of(self, p: Point) -> Point {
        let d = p - self.centre;
        Point::new(self.on_sheet.x + d.x * self.scale, self.on_sheet.y - d.y * self.scale)
    }

    /// Points on the sheet, without those that do not show.
    fn points(self, points: &[Point]) -> Vec<Point> {
        polyline::simplified(&points.iter().map(|p| self.of(*p)).collect::<Vec<_>>(), SHOWS_MM)
    }
}

/// What is less than this does not show on a sheet, mm: a tenth of the thinnest line.
const SHOWS_MM: f64 = 0.01;

/// How much of a layer is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Detail {
    /// All of it.
    Whole,
    /// Outline and courses only: a small picture.
    Small,
}

/// Widths of lines, mm: line group 0.5 of ISO 128-2, wide and narrow.
const WIDE_MM: f64 = 0.5;
/// Half as wide.
pub(super) const NARROW_MM: f64 = 0.25;
/// Edges of beads: fine, so that they stay behind the tow.
pub(super) const FINE_MM: f64 = 0.09;
/// Paper between neighbouring bands.
const GAP_MM: f64 = 0.12;

/// The box round the whole part, all layers.
pub(super) fn part_bounds(work: &Work) -> Option<Bounds> {
    work.outline.layers.iter().filter_map(|l| l.outline.bounds()).reduce(|a, b| Bounds {
        lo: Point::new(a.lo.x.min(b.lo.x), a.lo.y.min(b.lo.y)),
        hi: Point::new(a.hi.x.max(b.hi.x), a.hi.y.max(b.hi.y)),
    })
}

/// The outline of the layer below, where it shows beside this layer's own line at a scale.
pub(super) fn edges_below(work: &Work, index: usize, scale: f64) -> Option<&Area> {
    let layer = &work.outline.layers.get(index)?.outline;
    let below = &work.outline.layers.get(index.checked_sub(1)?)?.outline;
    if below == layer || below.is_empty() {
        return None;
    }
    // half the line of the outline hides it
    let hidden = 0.5 * WIDE_MM / scale;
    let beyond =
        |a: &Area, b: &Area| !combine::difference(a, &offset::grown(b, hidden, 0.1 * hidden)).is_empty();
    (beyond(below, layer) || beyond(layer, below)).then_some(below)
}

/// Draws layer `index` (from 0).
pub(super) fn draw(
    canvas: &mut Canvas,
    job: &Job,
    work: &Work,
    left_out: &[LeftOut],
    index: usize,
    view: View,
    detail: Detail,
) {
    let Some(layer) = work.outline.layers.get(index) else { return };
    let whole = detail == Detail::Whole;
    let shrink = if whole { 1.0 } else { 0.5 };
    let ring = |r: &[Point]| {
        let mut points = r.to_vec();
        points.extend(r.first());
        let mut points = view.points(&points);
        points.pop();
        Line { points, closed: true }
    };
    let outline: Vec<Line> = layer.outline.rings().map(ring).collect();
    canvas.items.push(super::canvas::Item::Fill { lines: outline.clone(), ink: Ink::Part });
    if whole {
        beads(canvas, work.beads.get(index).map_or(&[][..], |b| &b.beads), view);
    }
    courses(canvas, job, work, index, view, whole);
    if whole && let Some(below) = edges_below(work, index, view.scale) {
        canvas.stroke(
            below.rings().map(ring).collect(),
            Pen { width_mm: NARROW_MM, ink: Ink::Thin, dashes: DASHED },
        );
    }
    canvas.stroke(outline, Pen::full(WIDE_MM * shrink, Ink::Line));
    if whole {
        for (centre, radius) in layer.outline.rings().filter_map(polyline::circle) {
            centre_lines(canvas, view.of(centre), radius * view.scale);
        }
    }
    let mut places: Vec<(f64, Point)> = left_out
        .iter()
        .filter(|l| l.layer == layer.number)
        .filter_map(|l| l.mark().map(|[x, y]| (l.length_mm, view.of(Point::new(x, y)))))
        .collect();
    // crosses on top of each other tell nothing: the longest stands for its neighbours
    places.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut crosses: Vec<Point> = Vec::new();
    for (_, at) in places {
        if crosses.iter().all(|c| c.dist(at) > APART_MM * shrink) {
            crosses.push(at);
            cross(canvas, at, shrink);
        }
    }
}

/// Distance of two crosses at least, mm on paper.
const APART_MM: f64 = 2.8;

/// Beads as their edges, or as their centre lines where both edges would touch.
fn beads(canvas: &mut Canvas, beads: &[Bead], view: View) {
    // one pen for beads of one width: they hide each other's edges only where they lap
    let mut widths: Vec<f64> = beads.iter().map(|b| (b.width_mm * 50.0).round() / 50.0).collect();
    widths.sort_by(f64::total_cmp);
    widths.dedup();
    for width in widths {
        let lines: Vec<Line> = beads
            .iter()
            .filter(|b| ((b.width_mm * 50.0).round() / 50.0 - width).abs() < 1e-9)
            .map(|b| {
                let mut points = b.points.clone();
                if b.closed {
                    points.extend(b.points.first());
                }
                let mut points = view.points(&points);
                if b.closed {
                    points.pop();
                }
                Line { points, closed: b.closed }
            })
            .collect();
        let on_sheet = width * view.scale;
        if on_sheet < 4.0 * FINE_MM {
            canvas.stroke(lines, Pen::full(FINE_MM, Ink::Bead));
        } else {
            canvas.stroke(lines.clone(), Pen::full(on_sheet, Ink::Bead));
            canvas.stroke(lines, Pen::full(on_sheet - 2.0 * FINE_MM, Ink::Part));
        }
    }
}

/// Tow as bands at true width; where a course starts and where it is cut.
fn courses(canvas: &mut Canvas, job: &Job, work: &Work, index: usize, view: View, whole: bool) {
    let laid = work.program.courses.get(index).map_or(&[][..], Vec::as_slice);
    let width = job.tow.width_mm * view.scale;
    let gap = (GAP_MM).min(0.3 * width);
    let lines: Vec<Line> = laid
        .iter()
        .map(|l| match &l.course.trail {
            // a tow that trails lies elsewhere than the nozzle goes
            Some(trail) => Line { points: view.points(&trail.laid), closed: false },
            None => way(l.course.path(), view),
        })
        .collect();
    if whole {
        canvas.stroke(lines.clone(), Pen::full(width, Ink::Part));
    }
    canvas.stroke(lines, Pen::full(width - gap, Ink::Tow));
    if !whole {
        return;
    }
    let mut starts = Vec::new();
    let mut cuts = Vec::new();
    for l in laid {
        let path = l.course.path();
        if let Some(p) = path.start() {
            starts.push(dot(view.of(p), 0.3 * width));
        }
        cuts.extend(cut(path, l.cut_at_mm, view, width));
    }
    canvas.items.push(super::canvas::Item::Fill { lines: starts, ink: Ink::Part });
    canvas.stroke(cuts, Pen::full(0.18, Ink::Part));
    let trailed = laid.iter().filter(|l| l.course.trail.is_some());
    let ways: Vec<Line> = trailed.map(|l| way(l.course.path(), view)).collect();
    canvas.stroke(ways.clone(), Pen::full(2.4 * WAY_MM, Ink::Part));
    canvas.stroke(ways, Pen::full(WAY_MM, Ink::Line));
}

/// The nozzle's way.
fn way(path: &Path, view: View) -> Line {
    let mut points = view.points(&path.flatten(0.5 * SHOWS_MM / view.scale));
    if path.closed {
        points.pop();
    }
    Line { points, closed: path.closed }
}

/// The nozzle's way beside a tow that trails it: a line on paper of its own.
pub(super) const WAY_MM: f64 = 0.18;

/// A bar across a course where it is cut.
fn cut(path: &Path, at_mm: f64, view: View, width: f64) -> Option<Line> {
    let (p, t) = (view.of(path.point_at(at_mm)?), path.tangent_at(at_mm)?);
    let across = Point::new(t.y, t.x) * (0.5 * width);
    Some(Line { points: vec![p - across, p + across], closed: false })
}

/// A small full disc.
pub(super) fn dot(at: Point, radius: f64) -> Line {
    let points =
        (0..12).map(|k| at + Point::unit(f64::from(k) * std::f64::consts::PI / 6.0) * radius).collect();
    Line { points, closed: true }
}

/// A cross where tow is left out.
pub(super) fn cross(canvas: &mut Canvas, at: Point, scale: f64) {
    let r = 1.3 * scale;
    let lines = |r: f64| {
        [Point::new(r, r), Point::new(r, -r)]
            .map(|d| Line { points: vec![at - d, at + d], closed: false })
            .to_vec()
    };
    canvas.stroke(lines(r + 0.2 * scale), Pen::full(0.9 * scale, Ink::Part));
    canvas.stroke(lines(r), Pen::full(0.4 * scale, Ink::Line));
}

/// Centre lines of a round hole or boss.
fn centre_lines(canvas: &mut Canvas, at: Point, radius: f64) {
    let r = radius + 3.0;
    let lines = [Point::new(r, 0.0), Point::new(0.0, r)]
        .map(|d| Line { points: vec![at - d, at, at + d], closed: false });
    canvas.stroke(lines.to_vec(), Pen { width_mm: 0.18, ink: Ink::Thin, dashes: CENTRE });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::pt;

    #[test]
    fn up_in_the_part_is_up_on_the_sheet() {
        let view = View { centre: pt(1.0, 1.0), on_sheet: pt(100.0, 50.0), scale: 2.0 };
        assert_eq!(view.of(pt(2.0, 2.0)), pt(102.0, 48.0));
    }
}

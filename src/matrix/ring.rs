//! Closed beads inside a boundary.

use super::{CHORD_MM, SPECK_MM2};
use crate::geom::{Area, Point, combine, offset};

/// Corners up to a right angle stay with the area (that of a square lies 1.414
/// radii from the nearest disc's centre; chords fall a little short of a circle),
/// sharper ones lose their tip.
const CORNER: f64 = 1.45;

/// The parts of an area that a disc of the radius reaches, with their corners.
/// Unlike [`offset::opened`] it does not round a right angle.
pub(super) fn roomy(area: &Area, radius: f64) -> Area {
    let core = offset::shrunk(area, radius, CHORD_MM);
    if core.is_empty() {
        return core;
    }
    combine::intersection(area, &offset::grown(&core, radius * CORNER, CHORD_MM))
}

/// A wall of exactly two beads has two: a hair less than a width.
pub(super) const TOUCHING: f64 = 0.996;

/// What two passes leave between them must hold a bead, or the place is better
/// shared out evenly by wider ones.
pub(super) const FITTING: f64 = 1.25;

/// Closed beads of one width and what they leave.
#[derive(Debug, Default)]
pub(super) struct Rings {
    /// Centre lines; the first point is not repeated.
    pub(super) lines: Vec<Vec<Point>>,
    /// Inside the innermost.
    pub(super) inside: Area,
    /// Beside them, where the area is too narrow for them.
    pub(super) beside: Area,
}

impl Rings {
    /// All that they do not cover.
    pub(super) fn left(self) -> Area {
        combine::apart(vec![self.inside, self.beside])
    }
}

/// What a band may miss of the area it is laid in before it is looked for, mm2 and
/// as a share of the band: the tips of sharp corners, which hold no bead.
const MISSED: (f64, f64) = (SPECK_MM2, 2e-3);

/// Closed beads, the outermost half a width inside the boundary, the next `pitch`
/// further in, at most `most` deep. A line runs only where it keeps `apart` widths
/// from itself across the area.
pub(super) fn inwards(area: &Area, width: f64, pitch: f64, most: usize, apart: f64) -> Rings {
    let mut lines = Vec::new();
    let mut beside = Vec::new();
    let mut inside = area.clone();
    let mut step = width * 0.5;
    let reach = width * apart * 0.5;
    for _ in 0..most {
        let all = offset::shrunk(&inside, step, CHORD_MM);
        let core = offset::shrunk(&all, reach, CHORD_MM);
        if core.is_empty() {
            break;
        }
        let line = combine::intersection(&all, &offset::grown(&core, reach * CORNER, CHORD_MM));
        // shrinking the roomy part is shrinking the whole: what a disc cannot reach
        // is gone from both. A hair less than half a width apart is half a width
        let (within, depth) = if apart > 1.0 {
            (offset::shrunk(&line, width * 0.5, CHORD_MM), width * 0.5)
        } else {
            (core, reach)
        };
        let band = line.perimeter() * width;
        if inside.area() - within.area() - band > MISSED.0 + MISSED.1 * band {
            beside.push(combine::difference(&inside, &offset::grown(&line, width * 0.5, CHORD_MM)));
        }
        lines.extend(line.rings().map(<[Point]>::to_vec));
        inside = within;
        step = pitch - depth;
    }
    Rings { lines, inside, beside: combine::apart(beside) }
}

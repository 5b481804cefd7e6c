//! Closed beads inside a boundary.

use super::CHORD_MM;
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

/// Closed beads of one width and what they cover.
#[derive(Debug, Default)]
pub(super) struct Rings {
    /// Centre lines; the first point is not repeated.
    pub(super) lines: Vec<Vec<Point>>,
    covered: Vec<Area>,
}

impl Rings {
    /// The area less what the beads cover.
    pub(super) fn out_of(&self, area: &Area) -> Area {
        combine::difference(area, &combine::union_all(&self.covered))
    }
}

/// Closed beads, the outermost half a width inside the boundary, the next `pitch`
/// further in, at most `most` deep. A line runs only where it keeps `apart` widths
/// from itself across the area.
pub(super) fn inwards(area: &Area, width: f64, pitch: f64, most: usize, apart: f64) -> Rings {
    let mut rings = Rings::default();
    let mut step = width * 0.5;
    let mut within = area.clone();
    for _ in 0..most {
        within = roomy(&offset::shrunk(&within, step, CHORD_MM), width * apart * 0.5);
        if within.is_empty() {
            break;
        }
        rings.lines.extend(within.rings().map(<[Point]>::to_vec));
        // all places within half a width of the line
        let inner = offset::shrunk(&within, width * 0.5, CHORD_MM);
        rings.covered.push(combine::difference(&offset::grown(&within, width * 0.5, CHORD_MM), &inner));
        step = pitch;
    }
    rings
}

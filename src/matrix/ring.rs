//! Closed beads inside a boundary.

use super::CHORD_MM;
use crate::geom::{Area, Point, combine, offset};

/// Corners up to a right angle stay with the area (the corner of a square lies
/// this many radii from the nearest disc's centre), sharper ones lose their tip.
const CORNER: f64 = 1.42;

/// The parts of an area that a disc of the radius reaches, with their corners.
/// Unlike [`offset::opened`] it does not round a right angle.
pub(super) fn roomy(area: &Area, radius: f64) -> Area {
    let core = offset::shrunk(area, radius, CHORD_MM);
    if core.is_empty() {
        return core;
    }
    combine::intersection(area, &offset::grown(&core, radius * CORNER, CHORD_MM))
}

/// Centre lines of closed beads, the outermost half a width inside the boundary,
/// the next `pitch` further in, at most `most` of them. A line runs only where
/// it keeps a width from itself across the area.
pub(super) fn inwards(area: &Area, width: f64, pitch: f64, most: usize) -> Vec<Vec<Point>> {
    let mut lines = Vec::new();
    let mut step = width * 0.5;
    let mut within = area.clone();
    for _ in 0..most {
        // the last micrometres are left so that a wall of exactly two beads has two
        within = roomy(&offset::shrunk(&within, step, CHORD_MM), width * 0.498);
        if within.is_empty() {
            break;
        }
        lines.extend(within.rings().map(<[Point]>::to_vec));
        step = pitch;
    }
    lines
}

/// The area less the strips of closed beads.
pub(super) fn without(area: &Area, lines: &[Vec<Point>], width: f64) -> Area {
    let strips: Vec<Area> = lines.iter().map(|l| offset::strip(l, width, true, CHORD_MM)).collect();
    combine::difference(area, &combine::union_all(&strips))
}

//! Closed beads along boundaries.

use super::{Bead, BeadKind};
use crate::geom::{Area, combine, offset, polyline};

/// Sagitta of chords in bead areas, mm: beads are soft, their edges are not
/// better known than this.
pub(super) const CHORD_MM: f64 = 0.005;

/// Closed beads of one width, side by side, from every boundary of an area
/// inwards; as many as asked for, and only where a bead has its whole width: where
/// two passes would lie nearer than a width there is none.
pub(super) fn rings(
    area: &Area,
    count: usize,
    width: f64,
    pitch: f64,
    height: f64,
    kind: BeadKind,
) -> Vec<Bead> {
    let mut beads = Vec::new();
    let mut inset = 0.5 * width;
    for _ in 0..count {
        let core = offset::grown(area, -inset, CHORD_MM);
        // a hair less than half the width: passes that just touch are kept
        let lines = offset::opened(&core, 0.49 * width, CHORD_MM);
        if lines.is_empty() {
            break;
        }
        for ring in lines.rings() {
            let points = polyline::simplified_ring(ring, CHORD_MM);
            if polyline::ring_length(&points) > 2.0 * width {
                beads.push(Bead { kind, width_mm: width, area_mm2: width * height, closed: true, points });
            }
        }
        inset += pitch;
    }
    beads
}

/// What beads cover.
pub(super) fn cover(beads: &[Bead]) -> Area {
    let strips: Vec<Area> =
        beads.iter().map(|b| offset::strip(&b.points, b.width_mm, b.closed, CHORD_MM)).collect();
    combine::union_all(&strips)
}

//! Matrix beads: perimeters, then fill of exactly what tow leaves.
//!
//! Perimeters and solid fill are confined by their neighbours: their cross-section
//! is the rectangle width x height. Where `fill_fraction` leaves room beside them,
//! fill beads are flat with rounded sides ([`free_section`]). Wide room is filled
//! with parallel rows whose cells adapt to it ([`cells`]), narrow gaps with beads
//! along their middle ([`gaps`]); every bead's flow is the area it serves times
//! the height, so that a layer closes.

mod cells;
mod gaps;
mod perimeter;

use crate::geom::{Area, Point, combine, offset, polyline};
use crate::job::{BeadPlan, Fill};
use perimeter::CHORD_MM;

/// The beads of one layer and how its area closes.
#[derive(Clone, Debug, Default)]
pub struct LayerBeads {
    /// Perimeters first, then fill; the sequence reorders.
    pub beads: Vec<Bead>,
    /// Where the layer's area goes.
    pub areas: Areas,
}

/// One extruded run of matrix.
#[derive(Clone, Debug, PartialEq)]
pub struct Bead {
    /// What it is for.
    pub kind: BeadKind,
    /// Width, mm.
    pub width_mm: f64,
    /// Cross-section, mm2: flow per mm of path.
    pub area_mm2: f64,
    /// The last point joins the first (which is not repeated).
    pub closed: bool,
    /// Centre line, mm.
    pub points: Vec<Point>,
}

/// What a bead is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BeadKind {
    /// Along a boundary of the outline.
    Perimeter,
    /// Between perimeters and courses.
    Fill,
}

impl BeadKind {
    /// The word in the plan.
    pub fn word(self) -> &'static str {
        match self {
            Self::Perimeter => "perimeter",
            Self::Fill => "fill",
        }
    }
}

/// Where a layer's area goes, mm2: outline = tow + matrix + open + unfilled.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Areas {
    /// The cross-section.
    pub outline: f64,
    /// Under the strips of the courses.
    pub tow: f64,
    /// Under beads.
    pub matrix: f64,
    /// Left empty on purpose by `fill_fraction`.
    pub open: f64,
    /// Where no bead fits.
    pub unfilled: f64,
}

/// Cross-section of a flat bead with rounded sides, mm2: a rectangle between two
/// half discs of the height's diameter. A bead no wider than high is a disc's share.
pub fn free_section(width_mm: f64, height_mm: f64) -> f64 {
    let disc = std::f64::consts::PI * 0.25 * height_mm * height_mm;
    if width_mm <= height_mm {
        disc * width_mm / height_mm
    } else {
        height_mm * (width_mm - height_mm) + disc
    }
}

/// Gaps narrower than this share of a bead's width are not looked at.
const SLIT: f64 = 0.2;

/// Fills a layer: `outline` is its cross-section, `strips` what courses cover,
/// `layer_index` counts from 0 and picks the direction of parallel fill.
pub fn fill(
    outline: &Area,
    strips: &Area,
    plan: &BeadPlan,
    layer_index: usize,
    height_mm: f64,
) -> LayerBeads {
    let width = plan.bead_width_mm;
    let mut beads = perimeter::rings(outline, plan.perimeters, width, width, height_mm, BeadKind::Perimeter);
    let taken = combine::union(&perimeter::cover(&beads), strips);
    let rest = combine::simplified(&combine::difference(outline, &taken), CHORD_MM);
    let outline_area = outline.area();
    let tow = strips.area();
    let mut open = 0.0;
    match plan.fill {
        Fill::None => open = (outline_area - taken.area()).max(0.0),
        Fill::Parallel | Fill::Contour => {
            let share = plan.fill_fraction;
            // two rows or more fit where a disc of this radius does
            let wide = offset::opened(&rest, 0.75 * width, CHORD_MM);
            let narrow = combine::difference(&rest, &offset::grown(&wide, 2e-3, CHORD_MM));
            let mut narrow = offset::opened(&narrow, 0.5 * SLIT * width, CHORD_MM);
            let laid = if plan.fill == Fill::Parallel {
                let angles = &plan.fill_angles_deg;
                let angle = angles[layer_index % angles.len().max(1)].to_radians();
                cells::fill(&wide, angle, width, share, height_mm)
            } else {
                let rings =
                    perimeter::rings(&wide, usize::MAX, width, width / share, height_mm, BeadKind::Fill);
                if share >= 1.0 {
                    let left = combine::difference(&wide, &perimeter::cover(&rings));
                    narrow = combine::union(&narrow, &offset::opened(&left, 0.5 * SLIT * width, CHORD_MM));
                }
                rings
            };
            if share < 1.0 {
                open = (wide.area() - laid.iter().map(|b| b.area_mm2 * length(b)).sum::<f64>() / height_mm)
                    .max(0.0);
            }
            beads.extend(laid);
            if share > 0.0 {
                beads.extend(gaps::fill(&narrow, width, height_mm));
            }
        }
    }
    let mut matrix = beads.iter().map(|b| b.area_mm2 * length(b)).sum::<f64>() / height_mm;
    let room = outline_area - tow - open;
    if matrix > room && matrix > 0.0 {
        // beads that lap at corners: their flow shares the room
        let scale = room / matrix;
        for b in &mut beads {
            b.area_mm2 *= scale;
        }
        matrix = room;
    }
    let areas = Areas { outline: outline_area, tow, matrix, open, unfilled: room - matrix };
    LayerBeads { beads, areas }
}

/// Length of a bead's centre line, mm.
fn length(b: &Bead) -> f64 {
    if b.closed { polyline::ring_length(&b.points) } else { polyline::length(&b.points) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cross_sections_meet_the_closed_forms() {
        // a bead of 0.9 x 0.2 mm: rectangle 0.18, rounded 0.1714159 mm2
        assert!((free_section(0.9, 0.2) - 0.171_415_9).abs() < 1e-7, "{}", free_section(0.9, 0.2));
        assert!((free_section(0.2, 0.2) - 0.031_415_9).abs() < 1e-7, "a disc: {}", free_section(0.2, 0.2));
    }
}

//! Areas grown, shrunk, rounded, and the strips that paths cover.
//!
//! Round joins are chords of the true circle, inscribed: a grown area is at most
//! `chord_mm` short of the exact one, a shrunk one at most `chord_mm` too large.

use super::grid::{area_of, contours, shapes_of, whole};
use super::{Area, Point, trig};
use i_overlay::i_float::int::angle::Angle;
use i_overlay::mesh::int::arc::ArcOptions;
use i_overlay::mesh::int::outline::offset::IntOutlineOffset;
use i_overlay::mesh::int::stroke::offset::IntStrokeOffset;
use i_overlay::mesh::int::style::{IntLineCap, IntLineJoin, IntOutlineStyle, IntStrokeStyle};
use i_overlay::mesh::math::MathMode;

/// Between passes boundaries lose the points that do not matter at this
/// distance, mm: without it each pass doubles the points at reflex corners.
pub const TIDY_MM: f64 = 1e-3;

fn join(radius: f64, chord_mm: f64) -> ArcOptions {
    let share = (chord_mm / radius.abs().max(1e-9)).min(1.0);
    let step = 2.0 * trig::acos(1.0 - share);
    let max_step = Angle::from_radians(step.min(0.78)).unwrap_or(ArcOptions::MAX_STEP);
    ArcOptions { max_step, ..ArcOptions::default() }
}

/// The area grown by `distance` mm (shrunk when negative), corners round.
pub fn grown(area: &Area, distance: f64, chord_mm: f64) -> Area {
    if area.is_empty() {
        return Area::empty();
    }
    if distance == 0.0 {
        return area.clone();
    }
    let style = IntOutlineStyle::<i64>::new(whole(distance))
        .line_join(IntLineJoin::Round(join(distance, chord_mm)))
        .math(MathMode::Integer);
    match shapes_of(area).outline(&style) {
        Ok(shapes) => area_of(shapes),
        Err(e) => panic!("an area within the grid's limits could not be offset: {e}"),
    }
}

/// The area shrunk by `distance` mm and tidied.
pub fn shrunk(area: &Area, distance: f64, chord_mm: f64) -> Area {
    super::combine::simplified(&grown(area, -distance, chord_mm), TIDY_MM)
}

/// What a disc of the radius can reach without leaving the area: convex corners
/// come out with that radius, necks and specks narrower than two radii vanish.
pub fn opened(area: &Area, radius: f64, chord_mm: f64) -> Area {
    let core = shrunk(area, radius, chord_mm);
    super::combine::simplified(&grown(&core, radius, chord_mm), TIDY_MM)
}

/// The area with gaps narrower than two radii filled and reflex corners rounded.
pub fn closed(area: &Area, radius: f64, chord_mm: f64) -> Area {
    let fat = super::combine::simplified(&grown(area, radius, chord_mm), TIDY_MM);
    shrunk(&fat, radius, chord_mm)
}

/// The strip of the given width along a polyline: square ends, or a band
/// without ends when `closed` (the first point not repeated).
pub fn strip(points: &[Point], width: f64, closed: bool, chord_mm: f64) -> Area {
    let arc = join(width * 0.5, chord_mm);
    let style = IntStrokeStyle::<i64>::new(whole(width))
        .start_cap(IntLineCap::Butt)
        .end_cap(IntLineCap::Butt)
        .line_join(IntLineJoin::Round(arc))
        .math(MathMode::Integer);
    let mut rings = contours([points]);
    if closed && rings[0].len() > 1 && rings[0].first() == rings[0].last() {
        rings[0].pop();
    }
    match rings.stroke(&style, closed) {
        Ok(shapes) => area_of(shapes),
        Err(e) => panic!("a path within the grid's limits could not be widened: {e}"),
    }
}

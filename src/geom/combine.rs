//! Set operations on areas: the only place where polygons are made.

use super::grid::{self, area_of, contours, shapes_of};
use super::{Area, Point, Polygon, polyline, trig};
use i_overlay::core::fill_rule::FillRule as Rule;
use i_overlay::core::overlay::Overlay;
use i_overlay::core::overlay_rule::OverlayRule;

/// Which places count as inside when rings cross or nest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FillRule {
    /// Inside when a ray to infinity crosses an odd number of edges.
    EvenOdd,
    /// Inside when the winding number is not zero.
    NonZero,
    /// Inside when the winding number is at least one.
    Positive,
}

impl FillRule {
    fn kernel(self) -> Rule {
        match self {
            Self::EvenOdd => Rule::EvenOdd,
            Self::NonZero => Rule::NonZero,
            Self::Positive => Rule::Positive,
        }
    }
}

/// The area that some rings enclose. Rings may cross, touch and nest in any
/// order; coordinates must be finite and within [`grid::LIMIT_MM`].
pub fn enclosed<'a>(rings: impl IntoIterator<Item = &'a [Point]>, rule: FillRule) -> Area {
    let rings = contours(rings);
    let mut overlay = Overlay::<i64>::from_subj(&rings);
    area_of(overlay.overlay(OverlayRule::Subject, rule.kernel()))
}

/// The area inside one ring, whichever way it runs.
pub fn ring_area(ring: &[Point]) -> Area {
    enclosed([ring], FillRule::NonZero)
}

fn run(a: &Area, b: &Area, rule: OverlayRule) -> Area {
    let mut overlay = Overlay::<i64>::from_subj_and_clip(&shapes_of(a), &shapes_of(b));
    area_of(overlay.overlay(rule, Rule::NonZero))
}

/// What lies in either.
pub fn union(a: &Area, b: &Area) -> Area {
    if a.is_empty() {
        return b.clone();
    }
    if b.is_empty() {
        return a.clone();
    }
    run(a, b, OverlayRule::Union)
}

/// What lies in any of them.
pub fn union_all<'a>(areas: impl IntoIterator<Item = &'a Area>) -> Area {
    let rings: Vec<&[Point]> = areas.into_iter().flat_map(Area::rings).collect();
    if rings.is_empty() { Area::empty() } else { enclosed(rings, FillRule::Positive) }
}

/// What lies in both.
pub fn intersection(a: &Area, b: &Area) -> Area {
    if a.is_empty() || b.is_empty() {
        return Area::empty();
    }
    run(a, b, OverlayRule::Intersect)
}

/// What lies in `a` but not in `b`.
pub fn difference(a: &Area, b: &Area) -> Area {
    if a.is_empty() || b.is_empty() {
        return a.clone();
    }
    run(a, b, OverlayRule::Difference)
}

/// What lies in `a` but in none of some areas, which may overlap.
pub fn difference_all<'a>(a: &Area, areas: impl IntoIterator<Item = &'a Area>) -> Area {
    let clip = contours(areas.into_iter().flat_map(Area::rings));
    if a.is_empty() || clip.is_empty() {
        return a.clone();
    }
    let subject = contours(a.rings());
    let mut overlay = Overlay::<i64>::from_subj_and_clip(&subject, &clip);
    area_of(overlay.overlay(OverlayRule::Difference, Rule::Positive))
}

/// The area with fewer points: no boundary moves by more than `tolerance` mm,
/// rings that vanish are gone. Boundaries that were closer than that may cross by
/// as much; whatever operation comes next takes it for the point it is.
pub fn simplified(area: &Area, tolerance: f64) -> Area {
    let fewer = |ring: &[Point]| {
        let out = polyline::simplified_ring(ring, tolerance);
        let (was, is) = (polyline::signed_area(ring), polyline::signed_area(&out));
        (was * is > 0.0 && is.abs() > tolerance * tolerance).then_some(out)
    };
    let polygons = area.polygons().iter().filter_map(|p| {
        let outer = fewer(p.outer())?;
        Some(Polygon::trusted(outer, p.holes().iter().filter_map(|h| fewer(h)).collect()))
    });
    Area::trusted(polygons.collect())
}

/// The area without what is too small to matter: polygons below `least` mm2 or
/// narrower than `narrow` mm on average, and holes below `least`.
pub fn without_specks(area: &Area, least: f64, narrow: f64) -> Area {
    let matters = |p: &&Polygon| {
        let size = p.area();
        // a long thin polygon is as wide as its area over half its boundary
        size >= least && size >= narrow * 0.5 * p.rings().map(polyline::ring_length).sum::<f64>()
    };
    let kept = area.polygons().iter().filter(matters).map(|p| {
        let holes = p.holes().iter().filter(|h| polyline::signed_area(h).abs() >= least);
        Polygon::trusted(p.outer().to_vec(), holes.cloned().collect())
    });
    Area::trusted(kept.collect())
}

/// Areas that are known to lie apart, as one.
pub(crate) fn apart(areas: Vec<Area>) -> Area {
    Area::trusted(areas.into_iter().flat_map(Area::into_polygons).collect())
}

const _: () = assert!(grid::STEP_MM < 1e-3, "the grid must be finer than a written digit");

/// An area turned counter-clockwise about the origin, radians.
pub fn turned(area: &Area, angle: f64) -> Area {
    turned_rings(area.rings(), angle)
}

/// The same of rings that belong together: an outer one counter-clockwise, holes clockwise.
pub fn turned_rings<'a>(rings: impl Iterator<Item = &'a [Point]>, angle: f64) -> Area {
    let by = trig::sin_cos(angle);
    let rings: Vec<Vec<Point>> = rings.map(|r| r.iter().map(|p| p.turned_by(by)).collect()).collect();
    enclosed(rings.iter().map(Vec::as_slice), FillRule::Positive)
}

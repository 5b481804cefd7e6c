//! The integer grid under all polygon operations.
//!
//! Every polygon operation rounds its input to this grid, computes in whole
//! numbers, and gives its result on the grid. Origin and step are the same for
//! every job, so editing one corner of a part never re-rounds the rest.

use super::{Area, Point, Polygon, Ring};
use i_overlay::i_float::int::point::IntPoint;

/// Grid step, mm. A thousandth of the program's last written digit, so that
/// rounding here never shows there. Products of coordinates need more than 64 bits from 3 m
/// on: the kernel makes them in 128.
pub const STEP_MM: f64 = 1e-6;

/// Largest coordinate, mm: 100 m in whole steps leaves the kernel's products
/// far from overflow. Readers refuse parts beyond it.
pub const LIMIT_MM: f64 = 1e5;

pub(super) type Whole = IntPoint<i64>;
pub(super) type Shapes = Vec<Vec<Vec<Whole>>>;

/// The nearest grid coordinate. The caller keeps within [`LIMIT_MM`].
pub(super) fn whole(v: f64) -> i64 {
    debug_assert!(v.abs() <= LIMIT_MM * 10.0, "coordinate {v} mm is off the grid");
    #[expect(clippy::cast_possible_truncation, reason = "readers refuse coordinates beyond LIMIT_MM")]
    let w = (v / STEP_MM).round() as i64;
    w
}

pub(super) fn to_whole(p: Point) -> Whole {
    Whole::new(whole(p.x), whole(p.y))
}

#[expect(clippy::cast_precision_loss, reason = "grid coordinates stay below 2^53")]
pub(super) fn to_mm(p: Whole) -> Point {
    Point::new(p.x as f64 * STEP_MM, p.y as f64 * STEP_MM)
}

pub(super) fn contours<'a>(rings: impl IntoIterator<Item = &'a [Point]>) -> Vec<Vec<Whole>> {
    rings.into_iter().map(|r| r.iter().map(|p| to_whole(*p)).collect()).collect()
}

pub(super) fn shapes_of(area: &Area) -> Shapes {
    area.polygons().iter().map(|p| contours(p.rings())).collect()
}

pub(super) fn area_of(shapes: Shapes) -> Area {
    let ring = |r: Vec<Whole>| -> Ring { r.into_iter().map(to_mm).collect() };
    let mut polygons: Vec<Polygon> = shapes
        .into_iter()
        .filter_map(|shape| {
            let mut rings = shape.into_iter().map(ring);
            let outer = rings.next()?;
            Some(Polygon::trusted(outer, rings.collect()))
        })
        .collect();
    // the kernel's order depends on its sweep; ours only on the shapes
    polygons.sort_by(|a, b| {
        let key = |p: &Polygon| {
            p.outer()
                .iter()
                .fold(Point::new(f64::MAX, f64::MAX), |m, q| if (q.x, q.y) < (m.x, m.y) { *q } else { m })
        };
        let (p, q) = (key(a), key(b));
        p.x.total_cmp(&q.x).then(p.y.total_cmp(&q.y))
    });
    Area::trusted(polygons)
}

//! Polygons with holes, and areas made of several of them.

use super::{Point, polyline};

/// A closed ring of points; the first is not repeated at the end.
pub type Ring = Vec<Point>;

/// One connected region: an outer ring and the holes in it. Finite, at least
/// three points a ring, outer counter-clockwise, holes clockwise: made only
/// within [`super`], from rings that its kernel has put in order.
#[derive(Clone, Debug, PartialEq)]
pub struct Polygon {
    outer: Ring,
    holes: Vec<Ring>,
}

impl Polygon {
    /// From rings that the polygon kernel has already put in order.
    pub(super) fn trusted(outer: Ring, holes: Vec<Ring>) -> Self {
        Self { outer, holes }
    }

    /// The outer ring, counter-clockwise.
    pub fn outer(&self) -> &[Point] {
        &self.outer
    }

    /// The holes, each clockwise.
    pub fn holes(&self) -> &[Ring] {
        &self.holes
    }

    /// Outer ring first, then the holes.
    pub fn rings(&self) -> impl Iterator<Item = &[Point]> {
        std::iter::once(self.outer.as_slice()).chain(self.holes.iter().map(Vec::as_slice))
    }

    /// Area, mm2.
    pub fn area(&self) -> f64 {
        self.rings().map(polyline::signed_area).sum()
    }
}

/// A set of disjoint polygons, mm. Empty where nothing is.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Area {
    polygons: Vec<Polygon>,
}

/// Axis-parallel box, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// Lower left corner.
    pub lo: Point,
    /// Upper right corner.
    pub hi: Point,
}

impl Bounds {
    /// The box round some points; `None` for none.
    pub fn of(points: impl IntoIterator<Item = Point>) -> Option<Self> {
        points.into_iter().fold(None, |b, p| {
            Some(match b {
                None => Self { lo: p, hi: p },
                Some(b) => Self {
                    lo: Point::new(b.lo.x.min(p.x), b.lo.y.min(p.y)),
                    hi: Point::new(b.hi.x.max(p.x), b.hi.y.max(p.y)),
                },
            })
        })
    }

    /// Width (x) and height (y), mm.
    pub fn size(&self) -> Point {
        self.hi - self.lo
    }

    /// Middle of the box.
    pub fn centre(&self) -> Point {
        self.lo.lerp(self.hi, 0.5)
    }
}

impl Area {
    /// Nothing.
    pub const fn empty() -> Self {
        Self { polygons: Vec::new() }
    }

    /// From polygons that are known to be disjoint.
    pub(super) fn trusted(polygons: Vec<Polygon>) -> Self {
        Self { polygons }
    }

    /// The polygons.
    pub fn polygons(&self) -> &[Polygon] {
        &self.polygons
    }

    /// The polygons themselves.
    pub(super) fn into_polygons(self) -> Vec<Polygon> {
        self.polygons
    }

    /// Nothing is there.
    pub fn is_empty(&self) -> bool {
        self.polygons.is_empty()
    }

    /// Every ring, outer and inner.
    pub fn rings(&self) -> impl Iterator<Item = &[Point]> {
        self.polygons.iter().flat_map(Polygon::rings)
    }

    /// Area, mm2.
    pub fn area(&self) -> f64 {
        self.polygons.iter().map(Polygon::area).sum()
    }

    /// Length of all boundaries, mm.
    pub fn perimeter(&self) -> f64 {
        self.rings().map(polyline::ring_length).sum()
    }

    /// Box round everything; `None` when empty.
    pub fn bounds(&self) -> Option<Bounds> {
        Bounds::of(self.rings().flatten().copied())
    }

    /// Centre of gravity; `None` when empty.
    pub fn centroid(&self) -> Option<Point> {
        polyline::centroid(self.rings())
    }

    /// The point lies inside (even-odd over all rings; a point on the boundary
    /// may fall either way).
    pub fn contains(&self, p: Point) -> bool {
        self.rings().filter(|r| polyline::ring_contains(r, p)).count() % 2 == 1
    }

    /// Distance from the point to the nearest boundary, mm; infinite when empty.
    pub fn boundary_distance(&self, p: Point) -> f64 {
        self.rings()
            .flat_map(polyline::ring_edges)
            .map(|(a, b)| polyline::point_segment_distance(p, a, b))
            .fold(f64::INFINITY, f64::min)
    }

    /// Each polygon as an area of its own.
    pub fn split(&self) -> impl Iterator<Item = Area> + '_ {
        self.polygons.iter().map(|p| Area { polygons: vec![p.clone()] })
    }
}

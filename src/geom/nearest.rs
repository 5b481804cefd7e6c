//! Look-up of boundary pieces by place.

use super::{Area, Point, polyline};
use rstar::{AABB, PointDistance, RTree, RTreeObject};

/// A straight piece of some line, for look-up by place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge {
    /// Start, mm.
    pub a: Point,
    /// End, mm.
    pub b: Point,
}

impl RTreeObject for Edge {
    type Envelope = AABB<[f64; 2]>;
    fn envelope(&self) -> Self::Envelope {
        AABB::from_corners([self.a.x, self.a.y], [self.b.x, self.b.y])
    }
}

impl PointDistance for Edge {
    fn distance_2(&self, p: &[f64; 2]) -> f64 {
        let d = polyline::point_segment_distance(Point::new(p[0], p[1]), self.a, self.b);
        d * d
    }
}

/// Lines that can be asked how near they come to a point.
#[derive(Debug, Default)]
pub struct Lines {
    tree: RTree<Edge>,
    /// Largest x of the boundaries that it was made of.
    hi_x: f64,
}

impl Lines {
    /// The boundaries of an area.
    pub fn boundary(area: &Area) -> Self {
        let edges = area.rings().flat_map(polyline::ring_edges).map(|(a, b)| Edge { a, b }).collect();
        let hi_x = area.bounds().map_or(f64::NEG_INFINITY, |b| b.hi.x);
        Self { tree: RTree::bulk_load(edges), hi_x }
    }

    /// The point lies inside the area whose boundaries these are: as
    /// [`Area::contains`], looking only at the edges to the right of it.
    pub fn enclose(&self, p: Point) -> bool {
        if p.x > self.hi_x {
            return false;
        }
        let ray = AABB::from_corners([p.x, p.y], [self.hi_x + 1.0, p.y]);
        let crossed = self
            .tree
            .locate_in_envelope_intersecting(ray)
            .filter(|e| {
                (e.a.y > p.y) != (e.b.y > p.y)
                    && e.a.x + (p.y - e.a.y) / (e.b.y - e.a.y) * (e.b.x - e.a.x) > p.x
            })
            .count();
        crossed % 2 == 1
    }

    /// Adds an open polyline.
    pub fn add(&mut self, points: &[Point]) {
        for w in points.windows(2) {
            self.tree.insert(Edge { a: w[0], b: w[1] });
        }
    }

    /// Whether a straight piece comes nearer than `limit` mm to any line.
    pub fn nearer(&self, a: Point, b: Point, limit: f64) -> bool {
        let around = AABB::from_corners(
            [a.x.min(b.x) - limit, a.y.min(b.y) - limit],
            [a.x.max(b.x) + limit, a.y.max(b.y) + limit],
        );
        let side = |p: Point, q: Point, r: Point| (q - p).cross(r - p);
        let off = polyline::point_segment_distance;
        self.tree.locate_in_envelope_intersecting(around).any(|e| {
            let crosses =
                side(a, b, e.a) * side(a, b, e.b) < 0.0 && side(e.a, e.b, a) * side(e.a, e.b, b) < 0.0;
            // pieces that do not cross are nearest at an end of one of them
            crosses || off(e.a, a, b).min(off(e.b, a, b)).min(off(a, e.a, e.b)).min(off(b, e.a, e.b)) < limit
        })
    }

    /// The nearest point of any line and the direction of the line there; `None`
    /// when there is none.
    pub fn nearest(&self, p: Point) -> Option<(Point, Point)> {
        let e = self.tree.nearest_neighbor([p.x, p.y])?;
        let at = e.a.lerp(e.b, polyline::nearest_share(p, e.a, e.b));
        Some((at, (e.b - e.a).normalised()?))
    }

    /// Distance to the nearest line, mm; infinite when there is none.
    pub fn distance(&self, p: Point) -> f64 {
        self.tree
            .nearest_neighbor([p.x, p.y])
            .map_or(f64::INFINITY, |e| polyline::point_segment_distance(p, e.a, e.b))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::pt;

    #[test]
    fn boundaries_enclose_what_the_area_contains() {
        let ring: Vec<Point> = (0..60)
            .map(|k| {
                let t = f64::from(k) * std::f64::consts::TAU / 60.0;
                Point::unit(t) * (if k % 2 == 0 { 10.0 } else { 4.0 })
            })
            .collect();
        let hole = [pt(-1.0, -1.0), pt(1.0, -1.0), pt(1.0, 1.0), pt(-1.0, 1.0)];
        let area =
            crate::geom::combine::enclosed([&ring[..], &hole[..]], crate::geom::combine::FillRule::EvenOdd);
        let lines = Lines::boundary(&area);
        for i in 0..60 {
            for k in 0..60 {
                let p = pt(f64::from(i) * 0.37 - 11.0, f64::from(k) * 0.37 - 11.0);
                assert_eq!(lines.enclose(p), area.contains(p), "{p:?}");
            }
        }
    }

    #[test]
    fn the_nearest_line_answers() {
        let mut lines = Lines::default();
        assert!(lines.distance(pt(0.0, 0.0)).is_infinite(), "no line yet");
        lines.add(&[pt(0.0, 0.0), pt(10.0, 0.0)]);
        lines.add(&[pt(0.0, 3.0), pt(10.0, 3.0)]);
        assert!((lines.distance(pt(5.0, 2.0)) - 1.0).abs() < 1e-12, "the upper one");
        assert!((lines.distance(pt(13.0, -4.0)) - 5.0).abs() < 1e-12, "the end of the lower one");
        assert!(lines.nearer(pt(2.0, 1.0), pt(3.0, 4.0), 0.1), "through the upper one");
        assert!(lines.nearer(pt(2.0, 1.0), pt(3.0, 2.95), 0.1), "nearly up to it");
        assert!(!lines.nearer(pt(2.0, 1.0), pt(12.0, 2.0), 0.9), "between the two");
        assert!(!lines.nearer(pt(11.0, -1.0), pt(11.0, 4.0), 0.9), "past their ends");
    }
}

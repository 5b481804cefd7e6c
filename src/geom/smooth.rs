//! Shapes that a line of a least bend radius can go round.

use super::{Area, Bounds, Point, bend, combine, offset, polyline, trig};

/// The radius to work with when a boundary must keep `radius`, 1 % and 0.01 mm more:
/// chords of a few micrometres of sagitta are inscribed, and arcs fitted to them need
/// as much room again.
pub fn working_radius(radius: f64) -> f64 {
    radius * 1.01 + 0.01
}

/// A disc as a polygon, chords within `chord_mm`.
pub fn disc(centre: Point, radius: f64, chord_mm: f64) -> Area {
    combine::ring_area(&disc_ring(centre, radius, chord_mm))
}

fn disc_ring(centre: Point, radius: f64, chord_mm: f64) -> Vec<Point> {
    let step = 2.0 * trig::acos(1.0 - (chord_mm / radius).min(0.5));
    let n = (std::f64::consts::TAU / step).ceil().max(8.0);
    let mut ring = Vec::new();
    let mut k = 0.0;
    while k < n {
        ring.push(centre + Point::unit(std::f64::consts::TAU * k / n) * radius);
        k += 1.0;
    }
    ring
}

/// The convex hull of some points, counter-clockwise (Andrew's monotone chain).
pub fn hull(points: &[Point]) -> Vec<Point> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
    sorted.dedup();
    if sorted.len() < 3 {
        return sorted;
    }
    let half = |points: &mut dyn Iterator<Item = Point>| {
        let mut out: Vec<Point> = Vec::new();
        for p in points {
            while out.len() > 1
                && (out[out.len() - 1] - out[out.len() - 2]).cross(p - out[out.len() - 2]) <= 0.0
            {
                out.pop();
            }
            out.push(p);
        }
        out.pop();
        out
    };
    let mut ring = half(&mut sorted.iter().copied());
    ring.extend(half(&mut sorted.iter().rev().copied()));
    ring
}

/// A convex ring moved inwards by `distance`: empty where nothing is left.
/// Counter-clockwise in, counter-clockwise out.
fn convex_shrunk(ring: &[Point], distance: f64) -> Vec<Point> {
    let mut out = ring.to_vec();
    for (a, b) in polyline::ring_edges(ring) {
        let Some(d) = (b - a).normalised() else { continue };
        // how far a point lies inside the moved edge
        let depth = |p: Point| (p - a).dot(d.left()) - distance;
        let mut kept = Vec::with_capacity(out.len() + 1);
        for (p, q) in polyline::ring_edges(&out) {
            let (u, v) = (depth(p), depth(q));
            if u >= 0.0 {
                kept.push(p);
            }
            if (u >= 0.0) != (v >= 0.0) {
                kept.push(p.lerp(q, u / (u - v)));
            }
        }
        out = kept;
        if out.len() < 3 {
            return Vec::new();
        }
    }
    out
}

/// The smallest superset of a convex ring of the form core + disc of `radius`:
/// what a loop round the ring must enclose to bend no tighter than the radius.
/// The core is the ring moved inwards as far as its corners allow.
pub fn rounded_up(ring: &[Point], radius: f64) -> Area {
    let wide = working_radius(radius);
    let ring = hull(ring);
    let covers = |core: &[Point]| {
        ring.iter().all(|p| {
            polyline::ring_contains(core, *p)
                || polyline::ring_edges(core)
                    .any(|(a, b)| polyline::point_segment_distance(*p, a, b) <= wide + 1e-3)
        })
    };
    if let Some(b) = Bounds::of(ring.iter().copied()) {
        // a small hole shrinks to a point: the loop is a circle
        let c = b.centre();
        if ring.iter().all(|p| p.dist(c) <= wide + 1e-3) {
            return disc(c, wide, bend::PROPOSAL_CHORD_MM);
        }
    }
    let (mut lo, mut hi) = (0.0, wide);
    let mut core = ring.clone();
    for step in 0..12 {
        // the full radius first: a ring that is round enough stays as it is
        let t = if step == 0 { hi } else { 0.5 * (lo + hi) };
        let smaller = convex_shrunk(&ring, t);
        if !smaller.is_empty() && covers(&smaller) {
            core = smaller;
            lo = t;
            if step == 0 {
                break;
            }
        } else {
            hi = t;
        }
    }
    let core = combine::ring_area(&polyline::simplified_ring(&core, 2e-3));
    combine::simplified(&offset::grown(&core, wide, bend::PROPOSAL_CHORD_MM), offset::TIDY_MM)
}

/// Length of the boundary that bends tighter than `radius`, as a share: 0 for a
/// boundary that a line of that radius can follow.
pub fn tight_share(area: &Area, radius: f64) -> f64 {
    let mut tight = 0.0;
    for ring in area.rings() {
        let n = ring.len();
        for i in 0..n {
            let (p, q, r) = (ring[(i + n - 1) % n], ring[i], ring[(i + 1) % n]);
            let (a, b) = (q - p, r - q);
            let tau = trig::atan2(a.cross(b), a.dot(b));
            if bend::too_tight(tau, a.norm(), b.norm(), radius) {
                tight += 0.5 * (a.norm() + b.norm());
            }
        }
    }
    let total: f64 = area.rings().map(polyline::ring_length).sum();
    if total > 0.0 { tight / total } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::pt;

    fn ring(points: &[(f64, f64)]) -> Vec<Point> {
        points.iter().map(|(x, y)| pt(*x, *y)).collect()
    }

    #[test]
    fn a_small_hole_is_passed_at_the_radius() {
        let round = super::rounded_up(&super::disc_ring(pt(30.0, 20.0), 2.0, 0.004), 5.0);
        assert!((round.area() - 80.5).abs() < 2.0, "a concentric circle: {}", round.area());
        let fit = bend::fit(round.polygons()[0].outer(), true, 5.0, 0.02);
        assert!(fit.kinks.is_empty() && fit.pieces.len() == 1, "one loop");
    }

    #[test]
    fn a_square_is_rounded_up_by_the_closed_form() {
        // half side a, core half side a - R / sqrt 2
        let square = ring(&[(-6., -6.), (6., -6.), (6., 6.), (-6., 6.)]);
        let r = working_radius(5.0);
        let b = rounded_up(&square, 5.0).bounds().unwrap();
        let side = 6.0 - r / std::f64::consts::SQRT_2 + r;
        assert!((b.hi.x - side).abs() < 0.02, "{} against {side}", b.hi.x);
    }
}

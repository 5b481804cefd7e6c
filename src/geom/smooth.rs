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

/// The smallest circle that holds some points, as its centre and radius: grown point by point
/// (Welzl, *Smallest enclosing disks*, 1991, from memory, without the recursion).
pub(super) fn smallest_circle(points: &[Point]) -> Option<(Point, f64)> {
    let of_two = |p: Point, q: Point| (p.lerp(q, 0.5), 0.5 * p.dist(q));
    let of_three = |p: Point, q: Point, r: Point| {
        let (a, b) = (q - p, r - p);
        let double = 2.0 * a.cross(b);
        let to = (b.left() * a.dot(a) - a.left() * b.dot(b)) * (-1.0 / double);
        // three in a line: their ends are two of them, and hold the third
        (double.abs() > 1e-12).then(|| (p + to, to.norm()))
    };
    let holds = |(centre, radius): (Point, f64), p: Point| p.dist(centre) <= radius + 1e-9;
    let mut circle = (*points.first()?, 0.0);
    for (i, &p) in points.iter().enumerate() {
        if holds(circle, p) {
            continue;
        }
        circle = (p, 0.0);
        for (j, &q) in points[..i].iter().enumerate() {
            if holds(circle, q) {
                continue;
            }
            circle = of_two(p, q);
            for &r in &points[..j] {
                if !holds(circle, r) {
                    circle = of_three(p, q, r).unwrap_or(circle);
                }
            }
        }
    }
    Some(circle)
}

/// The smallest superset of a convex ring of the form core + disc of `radius`:
/// what a loop round the ring must enclose to bend no tighter than the radius.
/// The core is the ring moved inwards as far as its corners allow, and drawn together
/// lengthwise where it is too slender to be moved as far.
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
    // a small hole shrinks to a point: the loop is a circle
    let small = |b: &Bounds| b.size().x.max(b.size().y) <= 2.0 * (wide + 1e-3);
    let round = Bounds::of(ring.iter().copied()).filter(small).and_then(|_| smallest_circle(&ring));
    if let Some((centre, _)) = round.filter(|(_, radius)| *radius <= wide + 1e-3) {
        return disc(centre, wide, bend::PROPOSAL_CHORD_MM);
    }
    let (mut lo, mut hi) = (0.0, wide);
    let mut core = ring.clone();
    let mut slender = false;
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
            slender |= smaller.is_empty();
            hi = t;
        }
    }
    if slender && let Some(middle) = combine::ring_area(&ring).centroid() {
        // nothing is left of its width, but of its length: that may be drawn together yet
        let shorter = |share: f64| core.iter().map(|p| middle.lerp(*p, share)).collect::<Vec<_>>();
        let (mut least, mut most) = (0.0, 1.0);
        for _ in 0..12 {
            let share = 0.5 * (least + most);
            *(if covers(&shorter(share)) { &mut most } else { &mut least }) = share;
        }
        core = shorter(most);
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
            let tau = a.turn_to(b);
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
    fn a_slender_ring_is_rounded_up_no_further_than_its_ends() {
        // slots grown by 1.5 mm, longer than a circle of the radius
        for (long, wide) in [(14.0, 3.2), (20.0, 5.0), (30.0, 5.0)] {
            let (a, b) = (0.5 * long + 1.5, 0.5 * wide + 1.5);
            let slot =
                hull(&[disc_ring(pt(b - a, 0.0), b, 0.002), disc_ring(pt(a - b, 0.0), b, 0.002)].concat());
            let round = rounded_up(&slot, 8.0).bounds().unwrap();
            assert!(round.hi.x - a < 0.05, "{long} x {wide}: {} beyond its end", round.hi.x - a);
            assert!(round.lo.x + a > -0.05, "{long} x {wide}: {} beyond its end", -round.lo.x - a);
        }
    }

    #[test]
    fn what_is_rounded_up_turns_with_its_ring() {
        let triangle = ring(&[(0., 0.), (7., 0.), (0., 7.)]);
        let area = rounded_up(&triangle, 5.0).area();
        for k in 1..16 {
            let turned: Vec<Point> = triangle.iter().map(|p| p.turned(0.1 * f64::from(k))).collect();
            let round = rounded_up(&turned, 5.0);
            assert!(turned.iter().all(|p| round.boundary_distance(*p) < 2e-2 || round.contains(*p)), "{k}");
            let off = round.area() - area;
            assert!(off.abs() < 0.02, "turned by {k} tenths of a radian: {off} mm2 more");
        }
        // closed form: the circle over the hypotenuse is smaller than the least circle
        let least = std::f64::consts::PI * working_radius(5.0) * working_radius(5.0);
        assert!((area - least).abs() < 0.1, "{area} against {least}");
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

//! Areas whose whole boundary bends no tighter than a radius, on either side.
//!
//! No plain sequence of openings and closings gives that: an opening rounds
//! convex corners only and can leave a cusp where two of its pieces meet. So the
//! area is opened, a disc (a *plug*) is taken out of it wherever the boundary
//! still turns too tightly round the solid, and it is opened again: the opening
//! draws the run-in and run-out by itself and the boundary swings wide of the
//! corner. The area only shrinks, so it never leaves the part and must end.

use super::{Area, Bounds, Point, bend, combine, offset, polyline, trig};

/// Rounds of plugging before a boundary is left to the caller's gate. A cusp that
/// a neck leaves is plugged in the second round; more were never needed.
const ROUNDS: usize = 4;

/// The radius to work with when a boundary must keep `radius`: chords are
/// inscribed, and arcs fitted to them need some room.
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

/// A part of the area whose boundary bends no tighter than `radius` mm anywhere,
/// up to what [`bend::fit`] can ease. Arms narrower than two radii are gone.
pub fn bendable(area: &Area, radius: f64) -> Area {
    let chord = bend::PROPOSAL_CHORD_MM;
    let wide = working_radius(radius);
    // the area is kept as its core, what a disc's centre can reach: taking a
    // plug out of the area takes a disc of twice the radius out of the core, and
    // the core's arcs, which collapse to points when shrunk again, never are
    let mut core = offset::shrunk(area, wide, chord);
    let mut area = grown_back(&core, wide);
    for _ in 0..ROUNDS {
        let plugs: Vec<Vec<Point>> = area
            .rings()
            .flat_map(|r| plug_places(r, radius, wide))
            .map(|c| disc_ring(c, 2.0 * wide, chord))
            .collect();
        if plugs.is_empty() {
            break;
        }
        let plugs = combine::enclosed(plugs.iter().map(Vec::as_slice), combine::FillRule::NonZero);
        core = combine::simplified(&combine::difference(&core, &plugs), offset::TIDY_MM);
        area = grown_back(&core, wide);
    }
    area
}

fn grown_back(core: &Area, wide: f64) -> Area {
    combine::simplified(&offset::grown(core, wide, bend::PROPOSAL_CHORD_MM), offset::TIDY_MM)
}

/// Centres of the plugs that a ring needs. The area lies on the ring's left, so
/// what turns right turns round the solid.
fn plug_places(ring: &[Point], radius: f64, wide: f64) -> Vec<Point> {
    let n = ring.len();
    let mut runs: Vec<Vec<(usize, f64)>> = Vec::new();
    let mut last_end: Option<Point> = None;
    for i in 0..n {
        let (p, q, r) = (ring[(i + n - 1) % n], ring[i], ring[(i + 1) % n]);
        let (a, b) = (q - p, r - q);
        let tau = trig::atan2(a.cross(b), a.dot(b));
        if tau >= 0.0 || !bend::too_tight(tau, a.norm(), b.norm(), radius) {
            continue;
        }
        // turns that follow one another closely are one bend
        match (runs.last_mut(), last_end) {
            (Some(run), Some(end))
                if end.dist(q) < 0.35 * radius && run.last().is_some_and(|(k, _)| i - k <= 4) =>
            {
                run.push((i, tau));
            }
            _ => runs.push(vec![(i, tau)]),
        }
        last_end = Some(q);
    }
    // a bend that runs over the ring's first point
    if runs.len() > 1 {
        let first = ring[runs[0][0].0];
        let end = runs[runs.len() - 1].last().map(|(k, _)| *k);
        if let Some(k) = end
            && runs[0][0].0 + n - k <= 4
            && first.dist(ring[k]) < 0.35 * radius
        {
            let mut tail = runs.pop().unwrap_or_default();
            tail.append(&mut runs[0]);
            runs[0] = tail;
        }
    }
    runs.into_iter().map(|run| plug(ring, &run, radius, wide)).collect()
}

/// The plug for one bend: it touches the boundary in the middle of the bend from
/// the solid side. A bend all round a small hole gets it concentric.
fn plug(ring: &[Point], run: &[(usize, f64)], radius: f64, wide: f64) -> Point {
    let total: f64 = run.iter().map(|(_, t)| t.abs()).sum();
    let points = run.iter().map(|(i, _)| ring[*i]);
    if total > 3.0
        && let Some(b) = Bounds::of(points)
    {
        return b.centre();
    }
    let n = ring.len();
    let mut rest = total * 0.5;
    let mut at = run[0].0;
    for (i, t) in run {
        at = *i;
        rest -= t.abs();
        if rest <= 0.0 {
            break;
        }
    }
    let (p, q, r) = (ring[(at + n - 1) % n], ring[at], ring[(at + 1) % n]);
    let (a, b) = ((q - p).normalised(), (r - q).normalised());
    let along = match (a, b) {
        (Some(a), Some(b)) => (a + b).normalised().unwrap_or(a),
        (Some(d), None) | (None, Some(d)) => d,
        (None, None) => Point::new(1.0, 0.0),
    };
    debug_assert!(wide >= radius, "a plug must not be tighter than the bend");
    q - along.left() * wide
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
/// boundary that a tow can follow.
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

    fn all_rings_fit(area: &Area, radius: f64) {
        assert!(!area.is_empty(), "nothing is left");
        for r in area.rings() {
            let fit = bend::fit(r, true, radius, 0.02);
            assert!(fit.kinks.is_empty(), "kinks {:?}", fit.kinks);
            assert_eq!(fit.pieces.len(), 1, "one loop");
            assert!(fit.pieces[0].min_radius() >= radius, "radius {}", fit.pieces[0].min_radius());
        }
    }

    #[test]
    fn an_l_becomes_bendable_on_both_sides() {
        let l =
            combine::ring_area(&ring(&[(0., 0.), (60., 0.), (60., 25.), (25., 25.), (25., 60.), (0., 60.)]));
        let b = bendable(&l, 5.0);
        all_rings_fit(&b, 5.0);
        let outside = combine::difference(&b, &l).area();
        assert!(outside < offset::TIDY_MM * b.perimeter(), "it stays inside up to the tidying: {outside}");
        assert!(b.area() > 0.97 * l.area(), "little is given up: {}", b.area() / l.area());
    }

    #[test]
    fn small_holes_are_passed_at_the_radius() {
        let plate = ring(&[(0., 0.), (60., 0.), (60., 40.), (0., 40.)]);
        let hole = super::disc_ring(pt(30.0, 20.0), 2.0, 0.004);
        let area = combine::enclosed([plate.as_slice(), hole.as_slice()], combine::FillRule::EvenOdd);
        let b = bendable(&area, 5.0);
        all_rings_fit(&b, 5.0);
        let inner = combine::difference(&combine::ring_area(&plate), &b);
        assert!(inner.area() > 78.0, "the hole grew to the radius: {}", inner.area());
        let round = rounded_up(&super::disc_ring(pt(30.0, 20.0), 2.0, 0.004), 5.0);
        assert!((round.area() - 80.5).abs() < 2.0, "a concentric circle: {}", round.area());
    }

    #[test]
    fn a_window_with_sharp_corners_and_a_gear_become_bendable() {
        let plate = ring(&[(0., 0.), (80., 0.), (80., 60.), (0., 60.)]);
        let window = ring(&[(20., 20.), (60., 20.), (60., 40.), (20., 40.)]);
        let area = combine::enclosed([plate.as_slice(), window.as_slice()], combine::FillRule::EvenOdd);
        all_rings_fit(&bendable(&area, 5.0), 5.0);
        let mut gear = Vec::new();
        for i in 0..12 {
            let a = f64::from(i) * std::f64::consts::TAU / 12.0;
            for (da, r) in [(0.0, 40.0), (0.2, 60.0), (0.32, 60.0), (0.5, 40.0)] {
                gear.push(Point::unit(a + da) * r);
            }
        }
        let gear = combine::ring_area(&gear);
        all_rings_fit(&bendable(&gear, 5.0), 5.0);
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

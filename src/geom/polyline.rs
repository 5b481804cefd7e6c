//! Measures of open and closed runs of points.

use super::Point;

/// Length of an open polyline, mm.
pub fn length(points: &[Point]) -> f64 {
    points.windows(2).map(|w| w[0].dist(w[1])).sum()
}

/// Length round a ring, mm.
pub fn ring_length(ring: &[Point]) -> f64 {
    ring_edges(ring).map(|(a, b)| a.dist(b)).sum()
}

/// The edges of a ring, the closing one included.
pub fn ring_edges(ring: &[Point]) -> impl Iterator<Item = (Point, Point)> + '_ {
    (0..ring.len()).map(move |i| (ring[i], ring[(i + 1) % ring.len()]))
}

/// Area inside a ring, mm2; negative when it runs clockwise.
pub fn signed_area(ring: &[Point]) -> f64 {
    let Some(&o) = ring.first() else { return 0.0 };
    // relative to the first point: far from the origin the products would
    // otherwise lose the digits that matter
    ring_edges(ring).map(|(a, b)| (a - o).cross(b - o)).sum::<f64>() * 0.5
}

/// Centre of gravity of what rings enclose, holes turning the other way; `None` where they
/// enclose nothing.
pub fn centroid<'a>(rings: impl IntoIterator<Item = &'a [Point]>) -> Option<Point> {
    let mut rings = rings.into_iter().peekable();
    let o = *rings.peek()?.first()?;
    let (mut twice, mut sum) = (0.0, Point::default());
    for (a, b) in rings.flat_map(ring_edges) {
        // relative to one point, for the same reason as the area
        let (p, q) = (a - o, b - o);
        let cross = p.cross(q);
        twice += cross;
        sum = sum + (p + q) * cross;
    }
    (twice.abs() > 0.0).then(|| o + sum * (1.0 / (3.0 * twice)))
}

/// Centre and radius of a ring that is a circle but for its chords, mm.
pub fn circle(ring: &[Point]) -> Option<(Point, f64)> {
    /// Corners are off the circle by less than this share of its radius.
    const OFF: f64 = 0.02;
    /// Share of the circle that its chords enclose: a regular polygon of less than 12
    /// corners is no circle.
    const ENCLOSED: f64 = 0.95;
    let centre = centroid([ring])?;
    let away = |p: &Point| p.dist(centre);
    let least = ring.iter().map(away).fold(f64::INFINITY, f64::min);
    let radius = ring.iter().map(away).fold(0.0, f64::max);
    let enclosed = signed_area(ring).abs() / (std::f64::consts::PI * radius * radius);
    (radius - least < OFF * radius && enclosed > ENCLOSED).then_some((centre, radius))
}

/// The point lies inside the ring.
pub fn ring_contains(ring: &[Point], p: Point) -> bool {
    let mut inside = false;
    for (a, b) in ring_edges(ring) {
        if (a.y > p.y) != (b.y > p.y) {
            let x = a.x + (p.y - a.y) / (b.y - a.y) * (b.x - a.x);
            if x > p.x {
                inside = !inside;
            }
        }
    }
    inside
}

/// Share of the way from `a` to `b` at which the segment is nearest to `p`.
pub fn nearest_share(p: Point, a: Point, b: Point) -> f64 {
    let d = b - a;
    let n = d.norm2();
    if n > 0.0 { ((p - a).dot(d) / n).clamp(0.0, 1.0) } else { 0.0 }
}

/// Distance from a point to a straight segment, mm.
pub fn point_segment_distance(p: Point, a: Point, b: Point) -> f64 {
    p.dist(a.lerp(b, nearest_share(p, a, b)))
}

/// Points at most `step` mm apart along an open polyline; its own points kept.
pub fn densified(points: &[Point], step: f64) -> Vec<Point> {
    let mut out = Vec::with_capacity(points.len());
    for w in points.windows(2) {
        out.push(w[0]);
        let n = (w[0].dist(w[1]) / step).ceil();
        let mut k = 1.0;
        while k < n {
            out.push(w[0].lerp(w[1], k / n));
            k += 1.0;
        }
    }
    out.extend(points.last());
    out
}

/// An open polyline with fewer points, none further than `tolerance` mm from it
/// (Douglas & Peucker 1973).
///
/// Of points that are equally far off, as along a row of teeth, the middle one is kept: halves
/// are then halved again, where the last one would take off one tooth at a time. The stack is
/// ours, for the crate's is the thread's: a few thousand teeth overflow it.
pub fn simplified(points: &[Point], tolerance: f64) -> Vec<Point> {
    let Some(last) = points.len().checked_sub(1) else { return Vec::new() };
    let mut kept = vec![false; points.len()];
    (kept[0], kept[last]) = (true, true);
    let mut stack = vec![(0, last)];
    let mut off: Vec<f64> = Vec::new();
    while let Some((from, to)) = stack.pop() {
        let between = from + 1..to;
        off.clear();
        off.extend(between.clone().map(|k| point_segment_distance(points[k], points[from], points[to])));
        let most = off.iter().copied().fold(0.0, f64::max);
        if most <= tolerance {
            continue;
        }
        let as_far = between.filter(|k| off[k - from - 1] >= most - AS_FAR_MM);
        // two are as far from the middle: whichever sense the line is told in, the same one
        let by_place = |a: &usize, b: &usize| {
            let (p, q) = (points[*a], points[*b]);
            p.x.total_cmp(&q.x).then(p.y.total_cmp(&q.y))
        };
        let off_middle = |k: &usize| (2 * k).abs_diff(from + to);
        let Some(middle) = as_far.min_by(|a, b| off_middle(a).cmp(&off_middle(b)).then(by_place(a, b)))
        else {
            continue;
        };
        kept[middle] = true;
        stack.extend([(from, middle), (middle, to)]);
    }
    points.iter().zip(kept).filter(|(_, kept)| *kept).map(|(p, _)| *p).collect()
}

/// Points are equally far off a line where they differ by no more, mm: rounding does.
const AS_FAR_MM: f64 = 1e-9;

/// A ring with fewer points, none further than `tolerance` mm from it. The
/// result does not depend on which point the ring starts at: it is anchored at
/// the lowest leftmost point and at the point farthest from that one.
pub fn simplified_ring(ring: &[Point], tolerance: f64) -> Vec<Point> {
    if ring.len() < 4 {
        return ring.to_vec();
    }
    let by_place = |a: &usize, b: &usize| {
        let (p, q) = (ring[*a], ring[*b]);
        p.x.total_cmp(&q.x).then(p.y.total_cmp(&q.y))
    };
    let Some(i) = (0..ring.len()).min_by(by_place) else { return ring.to_vec() };
    let far = |k: &usize| ring[i].dist(ring[*k]);
    let Some(j) = (0..ring.len()).max_by(|a, b| far(a).total_cmp(&far(b)).then(by_place(a, b))) else {
        return ring.to_vec();
    };
    let walk = |from: usize, to: usize| -> Vec<Point> {
        let steps = (to + ring.len() - from) % ring.len();
        (0..=steps).map(|k| ring[(from + k) % ring.len()]).collect()
    };
    let mut out = simplified(&walk(i, j), tolerance);
    out.pop();
    out.extend(simplified(&walk(j, i), tolerance));
    out.pop();
    if out.len() < 3 { ring.to_vec() } else { out }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::pt;

    #[test]
    fn circles_are_known_from_squares_and_slots() {
        let round: Vec<Point> = (0..64)
            .map(|k| pt(3.0, 4.0) + Point::unit(f64::from(k) * std::f64::consts::PI / 32.0) * 5.0)
            .collect();
        let (centre, radius) = circle(&round).expect("a circle");
        assert!(centre.dist(pt(3.0, 4.0)) < 1e-9 && (radius - 5.0).abs() < 1e-9);
        let slot: Vec<Point> =
            round.iter().map(|p| pt(p.x + if p.x > 3.0 { 2.0 } else { 0.0 }, p.y)).collect();
        assert!(circle(&slot).is_none() && circle(&round[..10]).is_none());
        let few = |n: usize| (0..n).map(|k| round[k * 64 / n]).collect::<Vec<Point>>();
        assert!(circle(&few(8)).is_none() && circle(&few(16)).is_some(), "corners");
        let clockwise: Vec<Point> = round.iter().rev().copied().collect();
        assert!(circle(&clockwise).is_some(), "a hole");
    }

    #[test]
    fn thousands_of_equal_teeth_are_simplified_alike_from_either_side() {
        let teeth = 40_000_u32;
        let line: Vec<Point> =
            (0..=teeth).map(|k| pt(f64::from(k), if k % 2 == 0 { 0.0 } else { 0.5 })).collect();
        let kept = simplified(&line, 0.1);
        assert_eq!(kept.len(), line.len(), "every tooth stands out by more");
        let flat = simplified(&line, 0.6);
        assert_eq!(flat, [line[0], line[line.len() - 1]]);
        // a coarser row of teeth among fine ones: what is kept does not hang on the sense
        let wavy: Vec<Point> = (0..=2_000_u32)
            .map(|k| pt(f64::from(k), if k % 40 == 20 { 3.0 } else { 0.05 * f64::from(k % 2) }))
            .collect();
        let mut back: Vec<Point> = wavy.iter().rev().copied().collect();
        back = simplified(&back, 0.2);
        back.reverse();
        assert_eq!(simplified(&wavy, 0.2), back);
        for p in &wavy {
            let off = simplified(&wavy, 0.2)
                .windows(2)
                .map(|w| point_segment_distance(*p, w[0], w[1]))
                .fold(f64::INFINITY, f64::min);
            assert!(off <= 0.2, "{off} mm off at {p:?}");
        }
    }
}

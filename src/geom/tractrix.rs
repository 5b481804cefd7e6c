//! Where a point that is drawn along at a fixed distance goes, and where it has to be drawn to
//! go along a path.
//!
//! A point that trails another at distance d moves towards it: its path has the
//! leading point on its tangent, d ahead. So the path wanted of the follower gives
//! the leader's at once: leader = follower + d x tangent. On a circle of radius R
//! the leader is on one of sqrt(R^2 + d^2); behind a corner the follower's
//! distance from the new straight is d / cosh(s / d).

use super::{Path, Point, trig};

/// The path of a point that trails along `lead` at `distance` mm, from standing at
/// its first point: until the distance is reached it stays there. Exact along each
/// straight between two points: the angle a between the line to the leader and the
/// leader's way closes by tan(a / 2) = tan(a0 / 2) exp(-s / d). A point for each of
/// `lead` that differs from the one before it, and at its end the leader's last place,
/// where what trails comes to lie.
pub fn follow(lead: &[Point], distance: f64) -> Vec<Point> {
    followed(lead, distance, |_| true).unwrap_or_default()
}

/// The same, given up where a place is not `good`.
pub(super) fn followed(
    lead: &[Point],
    distance: f64,
    mut good: impl FnMut(Point) -> bool,
) -> Option<Vec<Point>> {
    let (Some(&first), Some(&last)) = (lead.first(), lead.last()) else { return Some(Vec::new()) };
    let mut out = Vec::with_capacity(lead.len() + 1);
    out.push(first);
    if !good(first) {
        return None;
    }
    let mut tail = first;
    for w in lead.windows(2) {
        let Some(way) = (w[1] - w[0]).normalised() else { continue };
        let mut from = w[0];
        let slack = distance - tail.dist(from);
        if slack > 1e-9 {
            // not yet tight: where along this straight does it become so
            let v = from - tail;
            let b = v.dot(way);
            let reach = -b + (b * b + distance * distance - v.norm2()).max(0.0).sqrt();
            if reach >= w[0].dist(w[1]) {
                out.push(tail);
                continue;
            }
            from = from + way * reach;
        }
        let Some(link) = (from - tail).normalised() else { continue };
        // half the follower's angle off straight behind, as a direction: 1 + cos, sin
        let (along, aside) = (1.0 + way.dot(link), way.cross(link));
        let aside = if along + aside.abs() > 1e-12 { aside } else { 1.0 };
        let closed = aside * trig::exp(-from.dist(w[1]) / distance);
        let n = along * along + closed * closed;
        let turn = if n > 0.0 {
            Point::new((along * along - closed * closed) / n, 2.0 * along * closed / n)
        } else {
            Point::new(1.0, 0.0)
        };
        tail = w[1] - (way * turn.x + way.left() * turn.y) * distance;
        if !good(tail) {
            return None;
        }
        out.push(tail);
    }
    out.push(last);
    Some(out)
}

/// Step at which a path is led, mm.
pub(super) const STEP_MM: f64 = 0.1;

/// The way of a leader whose follower at `distance` mm goes along `path`, taken as open:
/// points of path + distance x tangent. It begins at the path's own start and is led to
/// its end, the last `distance` of what trails lying straight. The way turns
/// by atan(distance / R) where a straight meets a bend of radius R.
pub fn lead(path: &Path, distance: f64) -> Vec<Point> {
    let end = (path.length() - distance).max(0.0);
    let mut out: Vec<Point> = path.start().into_iter().collect();
    let mut at = 0.0;
    for segment in &path.segments {
        let length = segment.length();
        let bent = segment.radius().is_finite();
        let n = if bent { (length / STEP_MM).ceil().max(1.0) } else { 1.0 };
        let mut k = 0.0;
        while k <= n {
            let s = length * k / n;
            if at + s > end {
                let s = end - at;
                if s >= 0.0 {
                    out.push(segment.point_at(s) + segment.tangent_at(s) * distance);
                }
                break;
            }
            out.push(segment.point_at(s) + segment.tangent_at(s) * distance);
            k += 1.0;
        }
        at += length;
        if at > end {
            break;
        }
    }
    out.dedup_by(|a, b| a.dist(*b) < 1e-6);
    out
}

/// The least radius, mm, that a point bends at which trails `distance` mm behind one that
/// goes along `path`; infinite where it goes straight.
///
/// The follower goes towards the leader: at an angle a between that and the leader's way it
/// bends by tan(a) / d, and a changes by the leader's own bend less sin(a) / d. On a line
/// or an arc a tends to one value from one side, so it is largest where pieces meet.
pub fn tightest_bend(path: &Path, distance: f64) -> f64 {
    let Some(start) = path.start() else { return f64::INFINITY };
    let mut most = 0.0_f64;
    // `None` until the follower is drawn along
    let mut angle: Option<f64> = None;
    for segment in &path.segments {
        let bend = match segment {
            super::Segment::Line { .. } => 0.0,
            super::Segment::Arc(a) if a.ccw => 1.0 / a.radius(),
            super::Segment::Arc(a) => -1.0 / a.radius(),
        };
        let length = segment.length();
        let steps = (length * STEPS / distance).ceil().max(1.0);
        let step = length / steps;
        let mut k = 1.0;
        while k <= steps {
            let s = k * step;
            k += 1.0;
            if let Some(a) = angle {
                let slope = |a: f64| bend - trig::sin(a) / distance;
                let first = slope(a);
                let second = slope(a + 0.5 * step * first);
                let third = slope(a + 0.5 * step * second);
                let fourth = slope(a + step * third);
                angle = Some(a + step / 6.0 * (first + 2.0 * second + 2.0 * third + fourth));
            } else if segment.point_at(s).dist(start) >= distance
                && let Some(link) = (segment.point_at(s) - start).normalised()
            {
                let way = segment.tangent_at(s);
                angle = Some(link.turn_to(way));
            } else {
                continue;
            }
            most = most.max(angle.map_or(0.0, f64::abs));
        }
    }
    if most > 1e-9 { distance / trig::tan(most.min(1.5)) } else { f64::INFINITY }
}

/// Steps of the reckoning over one distance: a hundredth of a per cent of the radius.
const STEPS: f64 = 20.0;
#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{Arc, Segment, pt};

    #[test]
    fn on_a_circle_the_follower_tends_to_the_closed_form() {
        for (r, d, form) in
            [(5.0, 1.0, 4.898_979), (5.0, 2.0, 4.582_576), (3.0, 1.0, 2.828_427), (2.4, 0.6, 2.323_790)]
        {
            let lead: Vec<Point> = (0..40_000).map(|k| Point::unit(f64::from(k) * 1e-3) * r).collect();
            let tail = follow(&lead, d);
            let last = tail[tail.len() - 2];
            assert!((last.norm() - form).abs() < 2e-6, "R {r}, d {d}: {} against {form}", last.norm());
        }
    }

    #[test]
    fn behind_a_corner_the_offset_is_the_closed_form() {
        for (s, form) in [(1.0, 0.648_054), (2.0, 0.265_802), (3.0, 0.099_328)] {
            let d = 1.7;
            let lead = [pt(-20.0, 0.0), pt(0.0, 0.0), pt(0.0, s * d)];
            let tail = follow(&lead, d);
            assert!((tail[2].x.abs() - form * d).abs() < 1e-5, "{s}: {} against {}", tail[2].x, form * d);
        }
    }

    #[test]
    fn the_tightest_bend_is_that_of_the_closed_forms_and_of_the_line_drawn() {
        let line = |a: Point, b: Point| Segment::Line { from: a, to: b };
        let arc =
            |from: Point, to: Point, centre: Point, ccw: bool| Segment::Arc(Arc { from, to, centre, ccw });
        for (r, d) in [(5.0, 1.0), (5.0, 2.0), (12.0, 3.0)] {
            let round = [
                arc(pt(r, 0.0), pt(-r, 0.0), pt(0.0, 0.0), true),
                arc(pt(-r, 0.0), pt(r, 0.0), pt(0.0, 0.0), true),
            ];
            // from rest on the circle itself the angle comes from below: the closed form
            let form = (r * r - d * d).sqrt();
            let found = tightest_bend(&Path::new(round.repeat(3), false), d);
            assert!((found - form).abs() < 2e-3 * form, "R {r}, d {d}: {found} against {form}");
            let straight = Path::new(vec![line(pt(0.0, 0.0), pt(30.0, 0.0))], false);
            assert!(tightest_bend(&straight, d).is_infinite(), "straight");
            // straight, a bow each way, straight: against circles through the places drawn
            let bow = Path::new(
                vec![
                    line(pt(-20.0, 0.0), pt(0.0, 0.0)),
                    arc(pt(0.0, 0.0), pt(r, r), pt(0.0, r), true),
                    arc(pt(r, r), pt(2.0 * r, 2.0 * r), pt(2.0 * r, r), false),
                    line(pt(2.0 * r, 2.0 * r), pt(2.0 * r + 20.0, 2.0 * r)),
                ],
                false,
            );
            let laid = follow(&bow.flatten(1e-6), d);
            let laid = &laid[..laid.len() - 1];
            let mut drawn = f64::INFINITY;
            for w in laid.windows(41).step_by(5) {
                let (a, b, c) = (w[0], w[20], w[40]);
                let area = (b - a).cross(c - a).abs();
                let sides = a.dist(b) * b.dist(c) * c.dist(a);
                if a.dist(c) > 0.02 && area > 0.0 {
                    drawn = drawn.min(sides / (2.0 * area));
                }
            }
            let found = tightest_bend(&bow, d);
            assert!((found - drawn).abs() < 0.02 * drawn, "R {r}, d {d}: {found}, drawn {drawn}");
        }
    }
}

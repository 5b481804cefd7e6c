//! The shortest way between two places within an area.

use super::nearest::Lines;
use super::{Area, Point, offset, polyline};

/// How coarsely corners are drawn that a way goes round, mm.
const COARSE_MM: f64 = 0.1;

/// A way keeps so far inside, mm: more than chords of its corners cut off.
const INSIDE_MM: f64 = 0.15;

/// The shortest way from one place to another within an area, both included: from corner to
/// corner of it, by the graph of those that see each other (Lozano-Perez & Wesley, Comm. ACM
/// 22 (1979) 560-570, from memory) and Dijkstra's search. It keeps [`INSIDE_MM`] off the edge,
/// or nearly. `None` where there is none.
pub(crate) fn way(area: &Area, from: Point, to: Point) -> Option<Vec<Point>> {
    let walls = Lines::boundary(area);
    let inner = offset::shrunk(area, INSIDE_MM, 0.1 * COARSE_MM);
    let mut places = vec![from, to];
    for ring in inner.rings() {
        places.extend(polyline::simplified_ring(ring, COARSE_MM));
    }
    let sees = |a: Point, b: Point| walls.enclose(a.lerp(b, 0.5)) && !walls.nearer(a, b, 0.1 * INSIDE_MM);
    // length of the shortest way to each place, where it comes from, and whether it is settled
    let mut reached: Vec<(f64, usize, bool)> = vec![(f64::INFINITY, 0, false); places.len()];
    reached[0].0 = 0.0;
    loop {
        let open = (0..places.len()).filter(|i| !reached[*i].2 && reached[*i].0.is_finite());
        let next = open.min_by(|a, b| reached[*a].0.total_cmp(&reached[*b].0))?;
        reached[next].2 = true;
        if next == 1 {
            break;
        }
        for other in 1..places.len() {
            let length = reached[next].0 + places[next].dist(places[other]);
            if !reached[other].2 && length < reached[other].0 && sees(places[next], places[other]) {
                (reached[other].0, reached[other].1) = (length, next);
            }
        }
    }
    let mut way = vec![to];
    let mut at = 1;
    while at != 0 {
        at = reached[at].1;
        way.push(places[at]);
    }
    way.reverse();
    Some(way)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{combine, pt, smooth};

    fn long(way: &[Point]) -> f64 {
        polyline::length(way)
    }

    #[test]
    fn straight_where_nothing_is_in_the_way_and_round_a_corner_where_something_is() {
        let angle = combine::ring_area(&[
            pt(0.0, 0.0),
            pt(40.0, 0.0),
            pt(40.0, 10.0),
            pt(10.0, 10.0),
            pt(10.0, 40.0),
            pt(0.0, 40.0),
        ]);
        let direct = way(&angle, pt(5.0, 2.0), pt(30.0, 8.0)).expect("there is one");
        assert_eq!(direct, [pt(5.0, 2.0), pt(30.0, 8.0)]);
        // past the corner at 10, 10
        let round = way(&angle, pt(35.0, 5.0), pt(5.0, 35.0)).expect("there is one");
        let form = 2.0 * pt(35.0, 5.0).dist(pt(10.0, 10.0));
        assert!((long(&round) - form).abs() < 0.5, "{} for {form}", long(&round));
        assert!(way(&angle, pt(5.0, 5.0), pt(60.0, 5.0)).is_none(), "outside");
    }

    #[test]
    fn round_a_disc_as_a_string_lies() {
        // two tangents and an arc: places 30 mm from the middle of a disc of 10 mm
        let frame = combine::ring_area(&[pt(-40.0, -40.0), pt(40.0, -40.0), pt(40.0, 40.0), pt(-40.0, 40.0)]);
        let area = combine::difference(&frame, &smooth::disc(pt(0.0, 0.0), 10.0, 0.004));
        let found = way(&area, pt(-30.0, 0.0), pt(30.0, 0.0)).expect("there is one");
        let tangent = (900.0_f64 - 100.0).sqrt();
        let arc = 10.0 * (std::f64::consts::PI - 2.0 * (tangent / 10.0).atan());
        let form = 2.0 * tangent + arc;
        assert!((long(&found) - form).abs() < 0.3, "{} for {form}", long(&found));
    }
}

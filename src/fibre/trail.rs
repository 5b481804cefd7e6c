//! Tow that trails the nozzle: where it lies, and how to lead it to where it should.

use super::course::Trail;
use super::room::Room;
use super::{Course, TRAIL_MM};
use crate::geom::tractrix::{self, Led};

/// Shares of the way out that are tried where the whole has no room: the nozzle
/// swings d^2 / 2 R out of a bend, which beside a wall may be too far.
const SHARES: [f64; 4] = [1.0, 0.75, 0.5, 0.25];

/// A course led so that its tow comes to lie on the course's own line, as nearly
/// as a way of legal radius and length that has room allows; what is left is in its
/// trail. A way back is another one, and so may its tow's place be, at its ends above
/// all: where it is not the same as nearly as matters, the course is laid in the better
/// sense alone.
pub(super) fn led(course: &Course, room: &Room<'_>, trail_mm: f64, radius: f64, shortest: f64) -> Course {
    let one_way = |c: &Course| led_one_way(c, room, trail_mm, radius, shortest);
    let mut there = one_way(course);
    let Some(back) = (!course.path().closed).then(|| course.reversed()).flatten() else { return there };
    let back = one_way(&back);
    // what lies within this is near enough; then the very ends count
    let off =
        |c: &Course| c.trail.as_ref().map_or((0.0, 0.0), |t| (t.off_mm.max(TRAIL_MM), t.off_anywhere_mm()));
    let ((along, anywhere), (along_back, anywhere_back)) = (off(&there), off(&back));
    if anywhere.max(anywhere_back) <= TRAIL_MM {
        there.back = Some(Box::new(back));
    } else if along_back < along || (along_back <= along && anywhere_back < anywhere) {
        return back;
    }
    there
}

fn led_one_way(course: &Course, room: &Room<'_>, trail_mm: f64, radius: f64, shortest: f64) -> Course {
    let wanted = course.path().clone();
    let with = |led: Led, mut course: Course| {
        course.trail = Some(Trail::of(wanted.clone(), trail_mm, led));
        course
    };
    let plain = tractrix::judged(&wanted, wanted.clone(), trail_mm);
    for share in SHARES {
        let mut led = tractrix::led(&wanted, share * trail_mm, radius);
        if !room.has_way(&led.path, &wanted, TRAIL_MM) {
            continue;
        }
        if share < 1.0 {
            led = tractrix::judged(&wanted, led.path, trail_mm);
            if led.off_mm >= plain.off_mm {
                break;
            }
        }
        if let Ok(made) =
            Course::new(course.region.clone(), course.rule, course.rank, led.path.clone(), radius, shortest)
        {
            return with(led, made);
        }
    }
    with(plain, course.clone())
}

#[cfg(test)]
mod tests {
    use super::super::room::Order;
    use super::*;
    use crate::geom::{Arc, Area, Path, Point, Segment, combine, pt, smooth};
    use crate::job::Rule;

    /// A ring of 8 mm radius in a disc that leaves its centre line this much room.
    fn ring_led(spare: f64) -> (Course, f64) {
        let order = Order {
            region: "test",
            rule: Rule::Contour,
            rank: 0,
            layer: 1,
            width: 1.0,
            spacing: 1.0,
            radius: 5.0,
            shortest: 20.0,
            deviation: 0.02,
            courses: None,
            angle: 0.0,
            few_cuts: false,
        };
        let disc: Area = combine::union_all([&smooth::disc(pt(0.0, 0.0), 8.5 + 0.012 + spare, 1e-4)]);
        let room = Room::new(order, &disc);
        let half = |from: Point, to: Point| Segment::Arc(Arc { from, to, centre: pt(0.0, 0.0), ccw: true });
        let path =
            Path::new(vec![half(pt(8.0, 0.0), pt(-8.0, 0.0)), half(pt(-8.0, 0.0), pt(8.0, 0.0))], true);
        let course = Course::new("test".into(), Rule::Contour, 0, path, 5.0, 20.0).expect("a legal ring");
        let led = led(&course, &room, 2.0, 5.0, 20.0);
        let far = led.path().flatten(1e-3).iter().map(|p| p.norm()).fold(0.0, f64::max);
        (led, far)
    }

    #[test]
    fn the_nozzle_swings_out_only_as_far_as_it_has_room() {
        // d^2 / 2 R: out by 0.246 mm where there is room
        let (free, far) = ring_led(0.5);
        assert!((far - 68.0_f64.sqrt()).abs() < 0.02, "out to {far} mm");
        assert!(free.trail.expect("it trails").off_mm < 0.05, "on its line");
        let (held, far) = ring_led(0.0);
        assert!(far < 8.0 + 0.05 + 0.02, "held at the wall: {far} mm");
        let off = held.trail.expect("it trails").off_mm;
        assert!((0.15..0.26).contains(&off), "what is left is told: {off} mm");
        let (_, far) = ring_led(0.15);
        assert!((8.05..8.2).contains(&far), "part of the way: {far} mm");
    }
}

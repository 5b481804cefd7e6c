//! Tow that trails the nozzle: where it lies, and how to lead it to where it should.

pub(super) mod loops;

use super::room::{LOOK_MM, Room};
use super::{Course, TRAIL_MM};
use crate::count::f64_of;
use crate::geom::leading::{self, Led};
use crate::geom::nearest::Lines;
use crate::geom::{Path, Point, trig};

/// Shares of the way out that are tried where the whole has no room: the nozzle
/// swings d^2 / 2 R out of a bend, which beside an edge of the part may be too far.
const SHARES: [f64; 4] = [1.0, 0.75, 0.5, 0.25];

/// What leading a course needs to know.
#[derive(Clone, Copy, Debug)]
pub(super) struct Leads {
    /// How far the tow trails, mm.
    pub(super) trail: f64,
    /// The least radius of the nozzle's bends and of the tow's, mm.
    pub(super) radius: f64,
    /// Courses whose tow would lie further off are not laid, mm.
    pub(super) most: f64,
    /// The shortest course, mm.
    pub(super) shortest: f64,
    /// How far ends of two courses keep from each other, mm.
    pub(super) apart: f64,
}

/// A course led so that its tow comes to lie on the course's own line, as nearly
/// as a way of legal radius and length that has room allows; what is left is in its
/// trail. A way back is another one, and so may its tow's place be, at its ends above
/// all: where it is not the same as nearly as matters, the course is laid in the better
/// sense alone. A closed course is led from its start, in its own sense where that is good
/// enough.
pub(super) fn led(course: &Course, over: &Lines, leads: Leads) -> Course {
    let mut there = led_one_way(course, over, leads);
    let closed = course.path().closed;
    if closed && good(&there, leads) {
        return there;
    }
    let Some(back) = course.reversed() else { return there };
    let back = led_one_way(&back, over, leads);
    if !closed && good(&there, leads) && good(&back, leads) {
        there.back = Some(Box::new(back));
    } else if cost(&back, leads) < cost(&there, leads) {
        return back;
    }
    there
}

/// What can be laid of a course that is led and whose tow lies astray: its line is parted where
/// the tow is furthest off it, each piece led by itself and parted again where it still is.
pub(super) fn parted(course: &Course, over: &Lines, leads: Leads) -> Vec<Course> {
    let mut kept = Vec::new();
    let mut todo = vec![(course.clone(), PARTS)];
    while let Some((course, parts)) = todo.pop() {
        let Some(trail) = course.trail.as_ref().filter(|t| t.astray(leads.most).is_some()) else {
            kept.push(course);
            continue;
        };
        if parts == 0 {
            continue;
        }
        let (line, [x, y]) = (&trail.wanted, trail.at_mm);
        let total = line.length();
        let from = |p: &Point| p.dist(Point::new(x, y));
        let nearest = line.places(NEAREST_MM).enumerate().min_by(|a, b| from(&a.1).total_cmp(&from(&b.1)));
        let at = nearest.map_or(0.0, |(k, _)| f64_of(k) * NEAREST_MM).min(total);
        // the bend comes out of reach of the tow behind the nozzle on either side
        let gap = leads.trail.max(leads.apart);
        let pieces = if line.closed {
            vec![line.restarted(at).between(gap, total - gap)]
        } else {
            vec![line.between(0.0, (at - gap).max(0.0)), line.between((at + gap).min(total), total)]
        };
        for mut piece in pieces {
            piece.closed = false;
            let new = course.relaid(piece, leads.radius, leads.shortest);
            todo.extend(new.ok().map(|new| (led(&new, over, leads), parts - 1)));
        }
    }
    kept
}

/// Parts a room's courses whose tow lies astray, and leaves out what of them does still.
pub(super) fn part_astray(room: &mut Room<'_>, over: &Lines, leads: Leads) {
    let mut kept = Vec::new();
    for course in std::mem::take(&mut room.courses) {
        match course.trail.as_ref().and_then(|t| Some((t.astray(leads.most)?, t.at_mm))) {
            Some((reason, [x, y])) => {
                let pieces = parted(&course, over, leads);
                let laid: f64 = pieces.iter().map(|p| p.wanted().length()).sum();
                room.leave_out(reason, course.wanted().length() - laid, Some(Point::new(x, y)));
                kept.extend(pieces);
            }
            None => kept.push(course),
        }
    }
    room.replace(kept);
}

/// How often a course is parted in turn, each time where it is worst: a loop with bad bends in a
/// dozen corners, one after the other. What is left of a line with more of them is told.
const PARTS: usize = 16;

/// Places along a line at which the nearest to a point is looked for, mm apart.
const NEAREST_MM: f64 = 0.1;

/// The tow of a course lies where it is wanted, in bends that it may have.
fn good(course: &Course, leads: Leads) -> bool {
    off(course) <= TRAIL_MM && cost(course, leads) <= off(course)
}

/// What distance and tight bends of a course's tow count together, mm.
fn cost(course: &Course, leads: Leads) -> f64 {
    off(course) + leading::tight_mm(course.least_radius_mm(), leads.radius)
}

/// How far the tow of a course lies off its line, mm.
pub(super) fn off(course: &Course) -> f64 {
    course.trail.as_ref().map_or(0.0, super::Trail::off_anywhere_mm)
}

/// The nozzle has room on a way: it is over what has this boundary, or no more than `off` mm
/// beside that or the line that is laid. Strips have walls, not the nozzle: where it swings out
/// of a bend it passes over beads.
fn has_way(over: &Lines, way: &Path, wanted: &leading::Wanted<'_>, off: f64) -> bool {
    !way.segments.is_empty()
        && way
            .places(LOOK_MM)
            .all(|p| wanted.distance(p) <= off || over.enclose(p) || over.distance(p) <= off)
}

fn led_one_way(course: &Course, over: &Lines, leads: Leads) -> Course {
    let wanted = leading::Wanted::new(course.path());
    let judged = |path| wanted.judged(path, leads.trail).held_to(leads.radius, leads.trail);
    let plain = std::cell::LazyCell::new(|| judged(course.path().clone()));
    let legal = |led: &Led| course.relaid(led.path.clone(), leads.radius, leads.shortest).is_ok();
    let shared = |share: f64, radius: f64| {
        let led = wanted.led(share * leads.trail, radius);
        let room = has_way(over, &led.path, &wanted, TRAIL_MM);
        room.then(|| if share < 1.0 || radius > leads.radius { judged(led.path) } else { led })
    };
    let mut best: Option<Led> = None;
    for share in SHARES {
        let Some(led) = shared(share, leads.radius) else { continue };
        if share < 1.0 && led.cost_mm() >= plain.cost_mm() {
            break;
        }
        if legal(&led) {
            best = Some(led);
            break;
        }
    }
    let mut best = best.unwrap_or_else(|| plain.clone());
    if best.tight > 0.0 {
        // behind a nozzle that bends no tighter than this no tow bends tighter than it may
        let wide = trig::hypot(leads.radius, leads.trail);
        let others = SHARES.iter().filter_map(|share| shared(*share, wide));
        let nearer = |led: &Led| led.off_anywhere_mm() <= leads.most && led.cost_mm() < best.cost_mm();
        if let Some(led) = others.into_iter().find(|led| nearer(led) && legal(led)) {
            best = led;
        }
    }
    course.drawn(leads.trail, best)
}

#[cfg(test)]
mod tests {
    use super::super::order::Order;
    use super::*;
    use crate::geom::{Arc, Area, Segment, combine, offset, pt, smooth};
    use crate::job::Rule;

    /// A ring of 8 mm radius in a disc that leaves its centre line this much room.
    fn ring_led(spare: f64) -> (Course, f64) {
        let order = Order::sample(Rule::Contour);
        let disc: Area = combine::union_all([&smooth::disc(pt(0.0, 0.0), 8.5 + 0.012 + spare, 1e-4)]);
        let room = Room::new(order, &disc);
        let half = |from: Point, to: Point| Segment::Arc(Arc { from, to, centre: pt(0.0, 0.0), ccw: true });
        let path =
            Path::new(vec![half(pt(8.0, 0.0), pt(-8.0, 0.0)), half(pt(-8.0, 0.0), pt(8.0, 0.0))], true);
        let course = Course::new("test".into(), Rule::Contour, 0, path, 5.0, 20.0).expect("a legal ring");
        let led = led(
            &course,
            room.walls(),
            Leads { trail: 2.0, radius: 5.0, most: 0.15, shortest: 20.0, apart: 1.05 },
        );
        let far = led.path().flatten(1e-3).iter().map(|p| p.norm()).fold(0.0, f64::max);
        (led, far)
    }

    #[test]
    fn a_course_is_parted_where_its_tow_would_lie_astray() {
        // a bend of 90 degrees between straights of 40 mm, and no room to swing out of it
        let line = |from, to| Segment::Line { from, to };
        let bend =
            Segment::Arc(Arc { from: pt(40.0, 0.0), to: pt(46.0, 6.0), centre: pt(40.0, 6.0), ccw: true });
        let straights = [line(pt(0.0, 0.0), pt(40.0, 0.0)), line(pt(46.0, 6.0), pt(46.0, 46.0))];
        let path = Path::new(vec![straights[0], bend, straights[1]], false);
        let strip = offset::strip(&path.flatten(0.002), 1.02, false, 0.002);
        let room = Room::new(Order::sample(Rule::Contour), &strip);
        let course = Course::new("test".into(), Rule::Contour, 0, path, 5.0, 20.0).expect("a legal course");
        let leads = Leads { trail: 3.0, radius: 5.0, most: 0.15, shortest: 20.0, apart: 1.05 };
        let led = led(&course, room.walls(), leads);
        assert!(off(&led) > 0.3, "{} mm off", off(&led));
        let pieces = parted(&led, room.walls(), leads);
        assert!(pieces.iter().all(|p| off(p) <= 0.15), "every piece lies where it is wanted");
        let mut lengths: Vec<f64> = pieces.iter().map(|p| p.wanted().length()).collect();
        lengths.sort_by(f64::total_cmp);
        assert!(lengths.len() == 2 && lengths[0] > 33.0 && lengths[1] < 44.0, "{lengths:?}");
        // nor are those laid that are too short
        let long = Leads { shortest: 50.0, ..leads };
        assert!(parted(&led, room.walls(), long).is_empty());
    }

    #[test]
    fn of_a_loop_with_many_bad_bends_every_straight_is_laid() {
        // a cross of four arms, 40 mm wide and 40 mm long, its twelve corners rounded by 6 mm
        let (a, b) = (20.0, 60.0);
        let quarter = [pt(a, a), pt(a, b), pt(-a, b)];
        let turned = |p: &Point, k: u32| (0..k).fold(*p, |p, _| p.left());
        let ring: Vec<Point> = (0..4).flat_map(|k| quarter.iter().map(move |p| turned(p, k))).collect();
        let cross = offset::opened(&offset::closed(&combine::ring_area(&ring), 6.0, 1e-3), 6.0, 1e-3);
        let fit = crate::geom::bend::fit(cross.polygons()[0].outer(), true, 5.5, 0.01);
        let [path] = fit.pieces.as_slice() else { panic!("{:?}", fit.kinks) };
        let strip = offset::strip(&path.flatten(0.002), 1.02, true, 0.002);
        let room = Room::new(Order::sample(Rule::Contour), &strip);
        let course = Course::new("test".into(), Rule::Contour, 0, path.clone(), 5.0, 20.0).expect("a loop");
        let leads = Leads { trail: 3.0, radius: 5.0, most: 0.15, shortest: 20.0, apart: 1.05 };
        let pieces = parted(&led(&course, room.walls(), leads), room.walls(), leads);
        assert!(pieces.iter().all(|p| off(p) <= 0.15), "every piece lies where it is wanted");
        // 28 mm and more are straight between two corners
        let lengths: Vec<f64> = pieces.iter().map(|p| p.wanted().length()).collect();
        assert_eq!(lengths.len(), 12, "{lengths:?}");
        assert!(lengths.iter().sum::<f64>() > 12.0 * 25.0, "{lengths:?}");
    }

    #[test]
    fn the_nozzle_swings_out_only_as_far_as_it_has_room() {
        // d^2 / 2 R: out by 0.246 mm where there is room, further where it begins and ends
        let (free, far) = ring_led(0.5);
        assert!((68.0_f64.sqrt() - 0.02..8.5).contains(&far), "out to {far} mm");
        assert!(free.trail.expect("it trails").off_anywhere_mm() < 0.09, "on its line");
        let (held, far) = ring_led(0.0);
        assert!(far < 8.0 + 0.05 + 0.02, "held at the wall: {far} mm");
        let off = held.trail.expect("it trails").off_anywhere_mm();
        assert!((0.15..0.3).contains(&off), "what is left is told: {off} mm");
        let (part, far) = ring_led(0.15);
        assert!((8.05..8.2).contains(&far), "part of the way: {far} mm");
        let between = part.trail.expect("it trails").off_anywhere_mm();
        assert!(between < off, "{between} mm, {off} mm without room");
    }
}

//! Closed courses round pins, as a pin-loaded loop.

use super::room::Room;
use crate::geom::nearest::Lines;
use crate::geom::{Area, Bounds, Path, Point, bend, combine, offset, polyline, smooth, trig};

/// Lays straps: each is the belt pulled tight round all pins, one spacing outside
/// the one before. Where a straight side would leave the room the belt is led
/// along the room's edge, pulled tight there too, and eased to the bend radius.
///
/// `pins` are the pins with the holes that they stand in. The order in which pins
/// are given does not matter; a pin inside the belt round the others is enclosed
/// without being touched.
pub(super) fn lay(room: &mut Room<'_>, pins: &[Area], clearance: f64) {
    let o = room.order;
    let chord = bend::PROPOSAL_CHORD_MM;
    let rounds = rounds(pins, clearance, &o);
    let first = first_belt(pins, clearance, &o);
    let most = o.courses.unwrap_or(10_000);
    // what belts may enclose: the room with its holes, so that they go round them
    let within = combine::union_all(
        &room.area.polygons().iter().map(|p| combine::ring_area(p.outer())).collect::<Vec<_>>(),
    );
    let mut belts: Vec<Area> = Vec::new();
    let mut size = 0.0;
    while belts.len() < most {
        #[expect(clippy::cast_precision_loss, reason = "a number of straps")]
        let out = belts.len() as f64 * (o.spacing + SPARE * o.deviation);
        let belt = combine::simplified(&offset::grown(&first, out, chord), offset::TIDY_MM);
        let inside = combine::intersection(&belt, &within).area();
        // once most of its length lies outside, a larger belt finds nothing
        if !belts.is_empty() && inside - size < 0.3 * o.spacing * belt.perimeter() {
            break;
        }
        size = inside;
        belts.push(belt);
    }
    // as many as close round all pins side by side: one more, led along the edge, would
    // push the others into the pins, or have no room to close
    let (mut whole, mut most) = (0, belts.len());
    let mut laid = room.clone();
    while whole < most {
        let tried = (whole + most).div_ceil(2);
        let closed = side_by_side(&belts[..tried], &rounds, &within, room).and_then(|paths| {
            let mut with = room.clone();
            paths.iter().for_each(|p| {
                with.lay_path(p);
            });
            let new = &with.courses[room.courses.len()..];
            (new.len() == tried && new.iter().all(|c| c.path().closed)).then_some(with)
        });
        match closed {
            Some(with) => (whole, laid) = (tried, with),
            None => most = tried - 1,
        }
    }
    *room = laid;
    // beyond them what finds room along the sides
    let told = room.left_out.len();
    let before = room.courses.len();
    for belt in &belts[whole..] {
        if let Some(ring) = outer(belt) {
            room.lay_where_free(&ring, true);
        }
    }
    room.left_out.truncate(told);
    let asked = o.courses.unwrap_or(whole.max(1));
    if asked > whole {
        let left = asked - whole;
        #[expect(clippy::cast_precision_loss, reason = "a number of straps")]
        let length = left as f64 * first.perimeter();
        let beyond: f64 = room.courses[before..].iter().map(super::Course::length_mm).sum();
        let at = first.rings().next().and_then(|r| r.first().copied());
        // what lies along the sides is laid, but no strap: a word about it in any case
        let given_up = (length - beyond).max(o.width);
        room.leave_out(&format!("no room for {left} of {asked} straps"), given_up, at);
    }
}

/// The ground of straps that all close, from the inside of the innermost to the
/// outside of the outermost: led along edges they have other ground than belts
/// that run straight. `None` where some do not close.
pub(super) fn ground(room: &Room<'_>) -> Option<Area> {
    let chord = bend::PROPOSAL_CHORD_MM;
    if !room.left_out.is_empty() || room.courses.iter().any(|c| !c.path().closed) {
        return None;
    }
    let mut enclosed: Vec<Area> =
        room.courses.iter().map(|c| combine::ring_area(&c.path().flatten(chord))).collect();
    enclosed.sort_by(|a, b| a.area().total_cmp(&b.area()));
    let half = 0.5 * room.order.width;
    let inner = offset::shrunk(enclosed.first()?, half, chord);
    Some(combine::difference(&offset::grown(enclosed.last()?, half, chord), &inner))
}

/// Belts led inside an area so that each keeps a spacing inside the next one out,
/// innermost first; `None` where one would not go round all pins any more, or
/// cannot be bent so.
fn side_by_side(belts: &[Area], rounds: &[Area], within: &Area, room: &Room<'_>) -> Option<Vec<Path>> {
    let o = &room.order;
    let chord = bend::PROPOSAL_CHORD_MM;
    // led along an edge, the outermost has it and the others keep inside
    let mut within = offset::shrunk(within, SPARE_EDGE * o.deviation, chord);
    let mut paths: Vec<Path> = Vec::new();
    for (k, belt) in belts.iter().enumerate().rev() {
        // a thousandth of a millimetre all round is the tidying's
        let trifle = 2.0 * offset::TIDY_MM * belt.perimeter();
        #[expect(clippy::cast_precision_loss, reason = "a number of straps")]
        let out = k as f64 * (o.spacing + SPARE * o.deviation);
        let held: Vec<Area> = rounds.iter().map(|r| offset::grown(r, out, chord)).collect();
        let ring = if combine::difference(belt, &within).area() < trifle {
            outer(belt)?
        } else {
            // straps further out may press it into what holds it by a hair; what then lies
            // outside the belt holds nothing, a line a little further in does
            let points: Vec<Point> = [HELD_TIGHTLY_MM, HELD_MM]
                .iter()
                .flat_map(|m| rounds.iter().filter_map(move |r| outer(&offset::grown(r, out - m, chord))))
                .flatten()
                .collect();
            let tight = led(belt, &within, &points)?;
            // round edges that no tow can follow it swings wide
            let corners = corners(&tight, o.radius);
            if corners.is_empty() {
                settled(tight, &within, &held)
            } else {
                let within = combine::difference_all(&within, &corners);
                settled(led(belt, &within, &points)?, &within, &held)
            }
        };
        let path = room.loop_along(&ring, &within)?;
        // the next one in keeps to this one as it is bent, not as it was asked for
        let enclosed = combine::ring_area(&path.flatten(chord));
        if held.iter().any(|r| combine::difference(r, &enclosed).area() > HELD_MM * r.perimeter()) {
            return None;
        }
        let inside = offset::shrunk(&enclosed, o.spacing, chord);
        within = combine::intersection(&within, &inside);
        paths.push(path);
    }
    paths.reverse();
    Some(paths)
}

/// How far a belt may cut into what holds it, mm: chords of both.
const HELD_MM: f64 = 0.03;

/// The same while it is pulled tight: what fitting leaves of a strap's room.
const HELD_TIGHTLY_MM: f64 = 0.006;

/// Room between straps beyond the spacing, in deviations: both are fitted.
const SPARE: f64 = 0.4;

/// Room between the outermost strap and the edge that it is led along, in
/// deviations: it is fitted to a line that was pulled tight along it.
const SPARE_EDGE: f64 = 0.1;

/// What the innermost strap's centre line encloses.
pub(super) fn first_belt(pins: &[Area], clearance: f64, o: &super::room::Order<'_>) -> Area {
    let round: Vec<Point> =
        rounds(pins, clearance, o).iter().flat_map(Area::rings).flatten().copied().collect();
    combine::ring_area(&smooth::hull(&round))
}

/// What the innermost strap's centre line goes round at each pin.
fn rounds(pins: &[Area], clearance: f64, o: &super::room::Order<'_>) -> Vec<Area> {
    let chord = bend::PROPOSAL_CHORD_MM;
    let start = clearance + 0.5 * o.width + 0.6 * o.deviation;
    let round = |p: &Area| outer(&offset::grown(p, start, chord)).map(|r| smooth::rounded_up(&r, o.radius));
    pins.iter().filter_map(round).collect()
}

/// The outer ring of the largest polygon.
fn outer(area: &Area) -> Option<Vec<Point>> {
    let part = area.polygons().iter().max_by(|a, b| a.area().total_cmp(&b.area()))?;
    Some(part.outer().to_vec())
}

/// Longest step between points of a belt that is pulled tight, mm.
const STEP_MM: f64 = 0.5;

/// Rounds of pulling tight: each shortens what the one before left.
const ROUNDS: usize = 40;

/// A belt led inside an area: its part there, pulled tight round the points that
/// hold it.
fn led(belt: &Area, within: &Area, held: &[Point]) -> Option<Vec<Point>> {
    let ring = outer(&combine::intersection(belt, within))?;
    let edge = Lines::boundary(within);
    let inside = |a: Point, b: Point| {
        let long = a.dist(b);
        let mut at = 0.0;
        while at < long {
            let p = a.lerp(b, at / long);
            let room = edge.distance(p);
            if room > 1e-3 && !edge.enclose(p) {
                return false;
            }
            // nothing nearer than the room can be in the way
            at += room.max(STEP_MM);
        }
        true
    };
    let mut closed = ring.clone();
    closed.push(ring[0]);
    let mut ring = polyline::densified(&closed, STEP_MM);
    ring.pop();
    let keeps = |a: Point, b: Point, between: &[Point]| {
        // the piece cut off must hold no pin
        let d = b - a;
        let mut piece = vec![a];
        piece.extend_from_slice(between);
        piece.push(b);
        let Some(bounds) = Bounds::of(piece.iter().copied()) else { return true };
        let outside = |p: Point| {
            p.x < bounds.lo.x - 0.01
                || p.y < bounds.lo.y - 0.01
                || p.x > bounds.hi.x + 0.01
                || p.y > bounds.hi.y + 0.01
        };
        held.iter().all(|p| {
            outside(*p) || d.cross(*p - a) >= -1e-6 || {
                // a point on the belt itself is held, too
                let on = |w: &[Point]| polyline::point_segment_distance(*p, w[0], w[1]) < 2e-3;
                !polyline::ring_contains(&piece, *p) && !piece.windows(2).any(on)
            }
        })
    };
    let mut tight = 0;
    for _ in 0..ROUNDS {
        let n = ring.len();
        if n < 8 {
            break;
        }
        // the first point of a round stays: another one each time
        ring.rotate_left(2 * n / 5);
        let mut out: Vec<Point> = vec![ring[0]];
        let mut i = 0;
        let mut shortened = false;
        while i < n {
            // farther and farther as long as nothing holds it, then back to where it was held
            let pulled = |j: usize| {
                let (a, b) = (ring[i], ring[j % n]);
                let between: Vec<Point> = (i + 1..j).map(|k| ring[k % n]).collect();
                (inside(a, b) && keeps(a, b, &between)).then(|| {
                    let along = between.iter().chain([&b]).fold((0.0, a), |(s, p), q| (s + p.dist(*q), *q)).0;
                    along - a.dist(b)
                })
            };
            let (mut next, mut held) = (i + 1, n + 1);
            let mut step = 1;
            while next + step < held {
                match pulled(next + step) {
                    Some(gain) => {
                        next += step;
                        shortened |= gain > 1e-7;
                        step *= 2;
                    }
                    None => held = next + step,
                }
                while step > 1 && next + step >= held {
                    step /= 2;
                }
            }
            out.extend(polyline::densified(&[ring[i], ring[next % n]], STEP_MM).into_iter().skip(1));
            i = next;
        }
        // back where it began
        out.pop();
        ring = out;
        // once from either side of the point that stays
        tight = if shortened { 0 } else { tight + 1 };
        if tight > 1 {
            break;
        }
    }
    let tidy = polyline::simplified_ring(&ring, 2e-3);
    (tidy.len() > 2).then_some(tidy)
}

/// Discs that a belt must go round so that it bends no more tightly than a radius
/// where it is pulled round an edge: each touches the edge from the far side.
fn corners(ring: &[Point], radius: f64) -> Vec<Area> {
    let n = ring.len();
    let radius = smooth::working_radius(radius);
    let turn = |i: usize| {
        let (a, b) = (ring[i] - ring[(i + n - 1) % n], ring[(i + 1) % n] - ring[i]);
        trig::atan2(a.cross(b), a.dot(b))
    };
    let mut out = Vec::new();
    let mut i = 0;
    while i < n {
        // belts run counter-clockwise: edges outside them make them turn to the right
        let mut bend = turn(i);
        if bend > -1e-3 {
            i += 1;
            continue;
        }
        let (first, mut last, mut along) = (i, i, 0.0);
        for k in i + 1..i + n {
            let step = ring[(k - 1) % n].dist(ring[k % n]);
            let here = turn(k % n);
            if here > -1e-3 || step > 0.5 * radius {
                break;
            }
            (along, bend, last) = (along + step, bend + here, k);
        }
        if -bend > SLIGHT && along < 0.9 * -bend * radius {
            let p = ring[(first + last) / 2 % n];
            let (before, after) = (ring[(first + n - 1) % n], ring[(last + 1) % n]);
            if let Some(forward) = (after - before).normalised() {
                out.push(smooth::disc(p - forward.left() * radius, radius, bend::PROPOSAL_CHORD_MM));
            }
        }
        i = last + 1;
    }
    out
}

/// Turns that fitting takes up by itself, radians.
const SLIGHT: f64 = 0.02;

/// Times that each point of a belt is drawn between its neighbours: what pulling
/// tight leaves is small and near.
const SETTLES: usize = 80;

/// A belt pulled tight by chords, drawn smooth between what holds it: the corners
/// of its chords would be bends that no tow follows.
fn settled(ring: Vec<Point>, within: &Area, held: &[Area]) -> Vec<Point> {
    let edge = Lines::boundary(within);
    let rounds: Vec<Lines> = held.iter().map(Lines::boundary).collect();
    let mut ring = evenly(&ring, STEP_MM);
    let n = ring.len();
    for _ in 0..SETTLES {
        let drawn = (0..n).map(|i| {
            let mut p = (ring[(i + n - 1) % n] + ring[(i + 1) % n]) * 0.25 + ring[i] * 0.5;
            for round in &rounds {
                if round.enclose(p) {
                    p = round.nearest(p).map_or(p, |(q, _)| q);
                }
            }
            if edge.enclose(p) { p } else { edge.nearest(p).map_or(p, |(q, _)| q) }
        });
        ring = drawn.collect();
    }
    polyline::simplified_ring(&ring, 5e-4)
}

/// Points of a ring one step apart, or a little less.
fn evenly(ring: &[Point], step: f64) -> Vec<Point> {
    let total = polyline::ring_length(ring);
    let step = total / (total / step).ceil().max(3.0);
    let mut out = Vec::new();
    // where the next point lies beyond the start of an edge
    let mut next = 0.0;
    for (a, b) in polyline::ring_edges(ring) {
        let long = a.dist(b);
        while next < long {
            out.push(a.lerp(b, next / long));
            next += step;
        }
        next -= long;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::room::Order;
    use super::*;
    use crate::geom::pt;
    use crate::job::Rule;
    use std::f64::consts::PI;

    fn order(courses: usize) -> Order<'static> {
        Order { radius: 6.0, courses: Some(courses), ..Order::sample(Rule::Strap) }
    }

    fn pins(at: &[(f64, f64, f64)]) -> Vec<Area> {
        at.iter().map(|(x, y, r)| smooth::disc(pt(*x, *y), *r, 0.004)).collect()
    }

    #[test]
    fn round_two_equal_pins_a_race_track_of_the_closed_form() {
        // 2 L + 2 pi R with R = pin + clearance + half the width and deviation
        let plate = combine::ring_area(&[pt(0.0, 0.0), pt(120.0, 0.0), pt(120.0, 60.0), pt(0.0, 60.0)]);
        let mut room = Room::new(order(4), &plate);
        lay(&mut room, &pins(&[(30.0, 30.0, 8.0), (80.0, 30.0, 8.0)]), 1.0);
        assert_eq!(room.courses.len(), 4, "four straps: {:?}", room.left_out);
        for (k, c) in room.courses.iter().enumerate() {
            let r = 8.0 + 1.0 + 0.5 + 0.012 + k as f64;
            assert!(c.path().closed, "closed");
            let r = r + k as f64 * 0.008;
            assert!((c.length_mm() - (100.0 + 2.0 * PI * r)).abs() < 0.15, "{k}: {}", c.length_mm());
        }
    }

    #[test]
    fn one_strap_too_many_costs_none_of_the_others() {
        // between pins of 5 mm with 1 mm round them and a wall at 16 mm there are 10 mm
        let plate = combine::ring_area(&[pt(0.0, 0.0), pt(120.0, 0.0), pt(120.0, 32.0), pt(0.0, 32.0)]);
        let whole = |courses: Option<usize>| {
            let mut room = Room::new(Order { courses, ..order(0) }, &plate);
            lay(&mut room, &pins(&[(20.0, 16.0, 5.0), (100.0, 16.0, 5.0)]), 1.0);
            let round = |c: &&super::super::Course| {
                c.path().closed && c.path().flatten(0.01).iter().any(|p| p.x > 106.0)
            };
            room.courses.iter().filter(round).count()
        };
        let most = (1..40).take_while(|n| whole(Some(*n)) == *n).count();
        assert!((9..=10).contains(&most), "{most}");
        for more in [1, 2, 5, 20] {
            assert_eq!(whole(Some(most + more)), most, "{more} more than fit");
        }
        assert_eq!(whole(None), most, "as many as fit");
    }

    #[test]
    fn pins_in_any_order_and_one_between_the_others() {
        let plate = combine::ring_area(&[pt(0.0, 0.0), pt(120.0, 0.0), pt(120.0, 90.0), pt(0.0, 90.0)]);
        let at =
            [(30.0, 25.0, 6.0), (90.0, 60.0, 6.0), (90.0, 25.0, 6.0), (30.0, 60.0, 6.0), (60.0, 40.0, 6.0)];
        let mut lengths = Vec::new();
        for turn in 0..at.len() {
            let mut at = at.to_vec();
            at.rotate_left(turn);
            let mut room = Room::new(order(2), &plate);
            lay(&mut room, &pins(&at), 1.0);
            assert_eq!(room.courses.len(), 2, "{:?}", room.left_out);
            lengths.push(room.courses[0].length_mm());
        }
        // the rectangle of the outer four
        let form = 2.0 * (60.0 + 35.0) + 2.0 * PI * 7.512;
        assert!(lengths.iter().all(|l| (l - form).abs() < 0.15), "{lengths:?} against {form}");
    }

    #[test]
    fn straps_swing_wide_round_sharp_edges_of_a_waist() {
        // the narrower the waist the sharper the turn at its corners; room is always enough
        for half in [3.0, 3.5, 4.0, 4.5, 5.0, 5.5, 6.0, 6.5] {
            let ring = [
                pt(0.0, 0.0),
                pt(40.0, 0.0),
                pt(40.0, 20.0 - half),
                pt(80.0, 20.0 - half),
                pt(80.0, 0.0),
                pt(120.0, 0.0),
                pt(120.0, 40.0),
                pt(80.0, 40.0),
                pt(80.0, 20.0 + half),
                pt(40.0, 20.0 + half),
                pt(40.0, 40.0),
                pt(0.0, 40.0),
            ];
            let mut room = Room::new(order(1), &combine::ring_area(&ring));
            lay(&mut room, &pins(&[(20.0, 20.0, 5.0), (100.0, 20.0, 5.0)]), 1.0);
            let closed = room.courses.iter().filter(|c| c.path().closed).count();
            assert_eq!(closed, 1, "waist of {} mm: {:?}", 2.0 * half, room.left_out);
            assert!(room.courses.iter().all(|c| c.path().min_radius() >= 6.0));
        }
    }

    #[test]
    fn a_waist_is_followed_within_the_bend_radius() {
        // two heads of 44 mm joined by a waist of 20 mm with wide fillets
        let mut ring = Vec::new();
        for k in 0..=200 {
            let x = 150.0 * f64::from(k) / 200.0;
            ring.push(pt(x, 35.0 - (16.0 + 6.0 * crate::geom::trig::cos(2.0 * PI * x / 150.0))));
        }
        for k in (0..=200).rev() {
            let x = 150.0 * f64::from(k) / 200.0;
            ring.push(pt(x, 35.0 + (16.0 + 6.0 * crate::geom::trig::cos(2.0 * PI * x / 150.0))));
        }
        // eight fit between the pins and the edge round them
        for courses in [3, 8] {
            let mut room = Room::new(order(courses), &combine::ring_area(&ring));
            lay(&mut room, &pins(&[(22.0, 35.0, 10.0), (128.0, 35.0, 10.0)]), 1.0);
            assert_eq!(room.courses.len(), courses, "{:?}", room.left_out);
            for c in &room.courses {
                assert!(c.path().closed && c.path().min_radius() >= 6.0, "{} mm", c.length_mm());
                let waist = c.path().flatten(0.01).iter().filter(|p| (p.x - 75.0).abs() < 5.0).count();
                assert!(waist > 0, "it passes the waist");
                assert!(
                    !c.path().flatten(0.01).iter().any(|p| p.dist(pt(22.0, 35.0)) < 11.45),
                    "round the pin"
                );
            }
            let ground = ground(&room).expect("they all close").area();
            let tow: f64 = room.courses.iter().map(super::super::Course::length_mm).sum();
            assert!((0.93..=1.001).contains(&(tow / ground)), "{tow} mm of 1 mm tow on {ground} mm2");
        }
    }
}

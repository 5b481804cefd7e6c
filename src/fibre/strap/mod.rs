//! Closed courses round pins, as a pin-loaded loop.

mod taut;

use super::order::Order;
use super::room::Room;
use crate::count::f64_of;
use crate::geom::nearest::Lines;
use crate::geom::{Area, Path, Point, bend, combine, offset, shortest, smooth};
use crate::reinforcement::Reason;
use taut::{corners, led, outer, settled};

/// Lays straps: each is the belt pulled tight round all pins, one spacing outside
/// the one before. Where a straight side would leave the room the belt is led
/// along the room's edge, pulled tight there too, and eased to the bend radius.
///
/// `pins` are the pins with the holes that they stand in, `part` what the part has inside its
/// perimeters. The order in which pins are given does not matter; a pin inside the belt round
/// the others is enclosed without being touched.
///
/// Where not all that are asked for close, other ways are tried for them, and that is taken in
/// which most do: apart from each other along the shortest ways between the pins, and round
/// holes in the way.
pub(super) fn lay(room: &mut Room<'_>, pins: &[Area], clearance: f64, part: &Area) {
    let o = room.order;
    let rounds = rounds(pins, clearance, &o);
    // what belts may enclose: the room with its holes, so that they go round them
    let within = combine::union_all(
        &room.area.polygons().iter().map(|p| combine::ring_area(p.outer())).collect::<Vec<_>>(),
    );
    let all = |found: &Closing<'_>| o.courses.is_some_and(|n| found.whole >= n);
    let mut best: Option<Closing<'_>> = None;
    for (straps, between) in bridges(&rounds, &within, &o) {
        // no more than so many pass beside what lies between
        if best.as_ref().is_some_and(|b| b.whole >= straps) {
            continue;
        }
        let mut goes_round = [rounds.as_slice(), &between].concat();
        // what is gone round may bring another hole into the way
        for _ in 0..MOST_CROSSED {
            if best.as_ref().is_some_and(all) {
                break;
            }
            let found = closing(room, &goes_round, &within);
            let crossed = if all(&found) { Vec::new() } else { crossed(room, &found, part) };
            if best.as_ref().is_none_or(|b| found.whole > b.whole) {
                best = Some(found);
            }
            if crossed.is_empty() {
                break;
            }
            goes_round.extend(crossed);
        }
    }
    let enough = |found: &Closing<'_>| all(found) || (o.courses.is_none() && found.whole > 0);
    if !best.as_ref().is_some_and(enough) {
        // an arm too narrow for discs of the bend radius may have a hole to go round
        let beside = beside_the_way(room, &rounds, &within, part);
        for n in 1..=beside.len() {
            let found = closing(room, &[rounds.as_slice(), &beside[..n]].concat(), &within);
            if best.as_ref().is_none_or(|b| found.whole > b.whole) {
                best = Some(found);
            }
        }
    }
    let Some(Closing { first, belts, whole, laid }) = best else { return };
    *room = laid;
    let told = room.told();
    let before = room.courses.len();
    for belt in &belts[whole..] {
        if let Some(ring) = outer(belt) {
            room.lay_where_free(&ring, true);
        }
    }
    room.forget_since(told);
    // of what finds room beyond them that is kept which a pin holds
    let kept = |(i, c): (usize, super::Course)| (i < before || wraps(&c, &rounds, o.spacing)).then_some(c);
    let courses = std::mem::take(&mut room.courses).into_iter().enumerate().filter_map(kept).collect();
    room.replace(courses);
    let asked = o.courses.unwrap_or(whole.max(1));
    if asked > whole {
        let left = asked - whole;
        let length = f64_of(left) * first.perimeter();
        let beyond: f64 = room.courses[before..].iter().map(super::Course::length_mm).sum();
        let at = first.rings().next().and_then(|r| r.first().copied());
        // what goes round single pins is laid, but no strap: a word about it in any case
        let given_up = (length - beyond).max(o.width);
        room.leave_out(Reason::Straps { missing: left, asked }, given_up, at);
    }
}

/// Times that straps are tried once more round holes that they crossed.
const MOST_CROSSED: usize = 3;

/// An open course turns about a pin: it hangs on that, and does not just lie along a side.
/// It does so where it is nearest to the pin, round its corners too, and not where another
/// hole bends it further on.
fn wraps(course: &super::Course, rounds: &[Area], spacing: f64) -> bool {
    let line = course.path().flatten(bend::PROPOSAL_CHORD_MM);
    rounds.iter().filter_map(Area::centroid).any(|middle| {
        let nearest = line.iter().map(|p| p.dist(middle)).fold(f64::INFINITY, f64::min);
        let far = std::f64::consts::SQRT_2 * nearest + spacing;
        let turns = line.windows(3).filter(|w| w[1].dist(middle) <= far).map(|w| {
            let (a, b) = (w[1] - w[0], w[2] - w[1]);
            a.turn_to(b)
        });
        turns.sum::<f64>().abs() >= WRAPS
    })
}

/// Turn about a pin from which on a course hangs on it, radians: a third of a half turn, as
/// much as straps round three pins make about each.
const WRAPS: f64 = std::f64::consts::FRAC_PI_3;

/// All pins stand in one piece of what a belt has inside the part.
fn holds_together(belt: &Area, rounds: &[Area]) -> bool {
    let outside = |part: &Area, r: &Area| combine::difference(r, part).area();
    belt.split().any(|part| rounds.iter().all(|r| outside(&part, r) < HELD_MM * r.perimeter()))
}

/// What straps may go round besides their pins: nothing, where pins stand together in what
/// their belt has inside the part. Else, where the straight way from one pin to another leaves
/// the part, discs of the bend radius along the shortest way inside it, deep enough for so many
/// straps to pass on either side as are told with them: for all that are asked for first, or for
/// as many as that is possible. Without them both sides of a belt would be pulled to the same edge.
fn bridges(rounds: &[Area], within: &Area, o: &Order<'_>) -> Vec<(usize, Vec<Area>)> {
    if holds_together(&combine::intersection(&belt(rounds), within), rounds) {
        return vec![(usize::MAX, Vec::new())];
    }
    let radius = smooth::working_radius(o.radius);
    let middles: Vec<Point> = rounds.iter().filter_map(Area::centroid).collect();
    let between = |straps: usize| {
        let deep = radius + f64_of(straps) * stride(o);
        let ground = offset::shrunk(within, deep, bend::PROPOSAL_CHORD_MM);
        // from each to each: pins are listed in any order
        let pairs = middles.iter().enumerate().flat_map(|(i, a)| middles[..i].iter().map(move |b| (*b, *a)));
        let ways: Vec<_> = pairs.map(|(a, b)| shortest::way(&ground, a, b)).collect::<Option<_>>()?;
        let corners = ways.iter().flat_map(|way| &way[1..way.len() - 1]);
        Some((straps, corners.map(|p| smooth::disc(*p, radius, bend::PROPOSAL_CHORD_MM)).collect()))
    };
    let most = o.courses.unwrap_or(MOST_BRIDGED).min(MOST_BRIDGED);
    let Some(first) = (1..=most).rev().find_map(between) else { return vec![(usize::MAX, Vec::new())] };
    let shallower = std::iter::successors(Some(first.0 / 2), |n| Some(n / 2)).take_while(|n| *n > 0);
    std::iter::once(first).chain(shallower.filter_map(between)).collect()
}

/// Straps that discs between pins are made for at most.
const MOST_BRIDGED: usize = 12;

/// Straps that close round all pins side by side, as many as do.
struct Closing<'a> {
    /// What the innermost of those asked for encloses.
    first: Area,
    /// All that are asked for.
    belts: Vec<Area>,
    /// So many of these close.
    whole: usize,
    laid: Room<'a>,
}

fn closing<'a>(room: &Room<'a>, rounds: &[Area], within: &Area) -> Closing<'a> {
    let o = room.order;
    let chord = bend::PROPOSAL_CHORD_MM;
    let first = belt(rounds);
    let most = o.courses.unwrap_or(10_000);
    let mut belts: Vec<Area> = Vec::new();
    let mut size = 0.0;
    while belts.len() < most {
        let out = f64_of(belts.len()) * stride(&o);
        let belt = combine::simplified(&offset::grown(&first, out, chord), offset::TIDY_MM);
        let inside = combine::intersection(&belt, within).area();
        // where a number is not asked for: once hardly any of it lies inside, not even round a
        // pin, a larger belt finds nothing
        if o.courses.is_none() && !belts.is_empty() && inside - size < FOUND * o.spacing * belt.perimeter() {
            break;
        }
        size = inside;
        // what lies round the pins of a larger one leaves the ground: it cannot close
        let last = combine::difference(within, &belt).is_empty();
        belts.push(belt);
        if last {
            break;
        }
    }
    // as many as close round all pins side by side: one more, led along the edge, would
    // push the others into the pins, or have no room to close
    let (mut whole, mut most) = (0, belts.len());
    let mut laid = room.clone();
    // all that are asked for first; else one, two, four, and so on between: few take little time
    let mut tried = if o.courses.is_some() { most } else { 1 };
    while whole < most {
        let closed = SPARES_BETWEEN.iter().find_map(|spare| {
            let paths = side_by_side(&belts[..tried], rounds, within, room, *spare)?;
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
        tried = (2 * whole).max(1);
        if tried > most {
            tried = (whole + most).div_ceil(2);
        }
    }
    Closing { first, belts, whole, laid }
}

/// Share of a belt's strip that lies inside the part from which on a larger one is looked at: a
/// half turn round the smaller pin of a long link.
const FOUND: f64 = 0.03;

/// Holes of the part, as where centre lines may not lie round each. What lies round other tow,
/// too, is none: a strap that goes round another one's pins is not what is asked for.
fn holes(room: &Room<'_>, part: &Area) -> Vec<Area> {
    let own: Vec<Area> =
        part.polygons().iter().flat_map(|p| p.holes()).map(|h| combine::ring_area(h)).collect();
    let round_one = |hole: &Area| {
        let within = |own: &&Area| combine::intersection(own, hole).area() > 0.5 * own.area();
        own.iter().filter(within).count() == 1
    };
    let holes = room.area.polygons().iter().flat_map(|p| p.holes());
    holes.map(|hole| combine::ring_area(hole)).filter(round_one).collect()
}

/// A hole as what a strap goes round.
fn gone_round(hole: &Area, o: &Order<'_>) -> Option<Area> {
    let round = smooth::rounded_up(&outer(hole)?, o.radius);
    Some(offset::grown(&round, o.outside(), bend::PROPOSAL_CHORD_MM))
}

/// Holes nearest to the shortest ways between the pins where these do not stand together in
/// what their belt has inside the part, as what a strap goes round, the nearest first.
fn beside_the_way(room: &Room<'_>, rounds: &[Area], within: &Area, part: &Area) -> Vec<Area> {
    let o = room.order;
    if holds_together(&combine::intersection(&belt(rounds), within), rounds) {
        return Vec::new();
    }
    let middles: Vec<Point> = rounds.iter().filter_map(Area::centroid).collect();
    let ground = offset::shrunk(within, 0.5 * o.width, bend::PROPOSAL_CHORD_MM);
    let pairs = middles.iter().enumerate().flat_map(|(i, a)| middles[..i].iter().map(move |b| (*b, *a)));
    let mut ways = Lines::default();
    pairs.filter_map(|(a, b)| shortest::way(&ground, a, b)).for_each(|way| ways.add(&way));
    let round = |hole: Area| {
        let middle = hole.centroid()?;
        let pin = rounds.iter().any(|r| r.contains(middle));
        let far = ways.distance_within(middle, BESIDE_RADII * o.radius);
        (!pin && far.is_finite()).then(|| gone_round(&hole, &o)).flatten().map(|round| (far, round))
    };
    let mut found: Vec<(f64, Area)> = holes(room, part).into_iter().filter_map(round).collect();
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    found.into_iter().take(MOST_BESIDE).map(|(_, round)| round).collect()
}

/// How far from a way a hole may lie that a strap goes round for want of discs along it, radii: a
/// strap round it has both its sides within twice that.
const BESIDE_RADII: f64 = 2.0;

/// Holes beside the way that are gone round at most.
const MOST_BESIDE: usize = 3;

/// Holes of the part that the line of the innermost belt crosses, or that of the first which
/// does not close, as what a strap goes round.
fn crossed(room: &Room<'_>, found: &Closing<'_>, part: &Area) -> Vec<Area> {
    let o = room.order;
    let failing = found.belts.get(found.whole).into_iter().chain([&found.first]);
    let failing: Vec<&Area> = failing.collect();
    let crosses = |hole: &Area| {
        failing.iter().any(|belt| {
            let outside = combine::difference(hole, belt).area();
            outside > HELD_MM && outside < hole.area() - HELD_MM
        })
    };
    holes(room, part).iter().filter(|hole| crosses(hole)).filter_map(|hole| gone_round(hole, &o)).collect()
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
/// cannot be bent so. `spare` is kept between them beyond the spacing, in deviations.
fn side_by_side(
    belts: &[Area],
    rounds: &[Area],
    within: &Area,
    room: &Room<'_>,
    spare: f64,
) -> Option<Vec<Path>> {
    let o = &room.order;
    let chord = bend::PROPOSAL_CHORD_MM;
    // led along an edge, the outermost has it and the others keep inside
    let mut within = offset::shrunk(within, SPARE_EDGE * o.deviation, chord);
    let mut paths: Vec<Path> = Vec::new();
    for (k, belt) in belts.iter().enumerate().rev() {
        // a thousandth of a millimetre all round is the tidying's
        let trifle = 2.0 * offset::TIDY_MM * belt.perimeter();
        let out = f64_of(k) * stride(o);
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
                settled(&tight, &within, &held, o.radius)
            } else {
                let within = combine::difference_all(&within, &corners);
                settled(&led(belt, &within, &points)?, &within, &held, o.radius)
            }
        };
        let path = room.loop_along(&ring, &within)?;
        // the next one in keeps to this one as it is bent, not as it was asked for
        let enclosed = combine::ring_area(&path.flatten(chord));
        if held.iter().any(|r| combine::difference(r, &enclosed).area() > HELD_MM * r.perimeter()) {
            return None;
        }
        let inside = offset::shrunk(&enclosed, o.spacing + spare * o.deviation, chord);
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

/// From one strap to the next, mm.
fn stride(o: &Order<'_>) -> f64 {
    if o.snug { o.spacing } else { o.spacing + SPARE * o.deviation }
}

/// Room between straps beyond the spacing, in deviations: both are fitted.
const SPARE: f64 = 0.4;

/// What of it is kept where a strap is led along the next one out, in deviations: it is
/// fitted to a line that was pulled tight along that one. Where straps fill a waist from
/// edge to edge there is nothing to keep.
const SPARES_BETWEEN: [f64; 2] = [0.2, 0.0];

/// Room between the outermost strap and the edge that it is led along, in
/// deviations: it is fitted to a line that was pulled tight along it.
const SPARE_EDGE: f64 = 0.1;

/// What the innermost strap's centre line encloses.
pub(super) fn first_belt(pins: &[Area], clearance: f64, o: &Order<'_>) -> Area {
    belt(&rounds(pins, clearance, o))
}

/// The belt pulled tight round all of some.
fn belt(rounds: &[Area]) -> Area {
    let round: Vec<Point> = rounds.iter().flat_map(Area::rings).flatten().copied().collect();
    combine::ring_area(&smooth::hull(&round))
}

/// What the innermost strap's centre line goes round at each pin.
fn rounds(pins: &[Area], clearance: f64, o: &Order<'_>) -> Vec<Area> {
    let chord = bend::PROPOSAL_CHORD_MM;
    let start = o.first(clearance);
    let round = |p: &Area| outer(&offset::grown(p, start, chord)).map(|r| smooth::rounded_up(&r, o.radius));
    pins.iter().filter_map(round).collect()
}

#[cfg(test)]
mod tests {
    use super::super::order::Order;
    use super::*;
    use crate::geom::{polyline, pt};
    use crate::job::Rule;
    use rayon::prelude::*;
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
        lay(&mut room, &pins(&[(30.0, 30.0, 8.0), (80.0, 30.0, 8.0)]), 1.0, &Area::empty());
        assert_eq!(room.courses.len(), 4, "four straps: {:?}", room.left_out);
        for (k, c) in room.courses.iter().enumerate() {
            let r = 8.0 + 1.0 + 0.5 + 0.012 + k as f64;
            assert!(c.path().closed, "closed");
            let r = r + k as f64 * 0.008;
            assert!((c.length_mm() - (100.0 + 2.0 * PI * r)).abs() < 0.15, "{k}: {}", c.length_mm());
        }
    }

    #[test]
    fn straps_asked_for_without_end_are_those_that_reach_the_part() {
        // "as many as go", as people write it
        let plate = combine::ring_area(&[pt(0.0, 0.0), pt(120.0, 0.0), pt(120.0, 32.0), pt(0.0, 32.0)]);
        let at = pins(&[(20.0, 16.0, 5.0), (100.0, 16.0, 5.0)]);
        let straps = |n: usize| {
            let mut room = Room::new(order(n), &plate);
            lay(&mut room, &at, 1.0, &Area::empty());
            let lengths: Vec<f64> = room.courses.iter().map(super::super::Course::length_mm).collect();
            let found = closing(&Room::new(order(n), &plate), &rounds(&at, 1.0, &order(n)), &plate);
            (found.belts.len(), lengths)
        };
        let [(few, some), (most, all)] = [100, 2000].map(straps);
        // the corner furthest from a pin is 25.6 mm away
        assert!(few == most && most < 30, "{few} and {most} belts");
        assert_eq!(some, all);
    }

    #[test]
    fn what_passes_a_hole_between_the_pins_hangs_on_neither() {
        let at = pins(&[(20.0, 30.0, 4.0), (80.0, 30.0, 4.0)]);
        let rounds = rounds(&at, 1.0, &order(1));
        let kept = |points: &[Point]| {
            let fit = bend::fit(points, false, 6.0, 0.02);
            let [path] = fit.pieces.as_slice() else { panic!("{:?}", fit.kinks) };
            let course = super::super::Course::new("t".into(), Rule::Strap, 0, path.clone(), 6.0, 20.0);
            wraps(&course.expect("a legal course"), &rounds, 1.0)
        };
        let arc = |middle: Point, r: f64, from: f64, to: f64| {
            let n = 200_u32;
            (0..=n).map(move |k| middle + Point::unit(from + (to - from) * f64::from(k) / f64::from(n)) * r)
        };
        // a half turn about a pin, 12 mm off it, and over a third of one
        let (pin, up) = (pt(20.0, 30.0), 0.5 * PI);
        assert!(kept(&arc(pin, 18.0, up, up + PI).collect::<Vec<_>>()));
        assert!(kept(&arc(pin, 18.0, 2.0, 3.2).collect::<Vec<_>>()));
        // half of that about it, and as much again where a hole in mid-span bends it
        let (on, off) = (arc(pin, 18.0, up + 0.6, up), arc(pt(50.0, 34.0), 14.0, up, up - 0.6));
        let side: Vec<Point> = on.chain(off).collect();
        assert!(!kept(&side), "most of its turn lies far from the pin");
    }

    #[test]
    fn one_strap_too_many_costs_none_of_the_others() {
        // between pins of 5 mm with 1 mm round them and a wall at 16 mm there are 10 mm
        let plate = combine::ring_area(&[pt(0.0, 0.0), pt(120.0, 0.0), pt(120.0, 32.0), pt(0.0, 32.0)]);
        let whole = |courses: Option<usize>| {
            let mut room = Room::new(Order { courses, ..order(0) }, &plate);
            lay(&mut room, &pins(&[(20.0, 16.0, 5.0), (100.0, 16.0, 5.0)]), 1.0, &Area::empty());
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
            lay(&mut room, &pins(&at), 1.0, &Area::empty());
            assert_eq!(room.courses.len(), 2, "{:?}", room.left_out);
            lengths.push(room.courses[0].length_mm());
        }
        // the rectangle of the outer four
        let form = 2.0 * (60.0 + 35.0) + 2.0 * PI * 7.512;
        assert!(lengths.iter().all(|l| (l - form).abs() < 0.15), "{lengths:?} against {form}");
    }

    /// Two heads of 40 x 40 mm joined by a waist with sharp corners, so wide.
    fn sharply_waisted(waist: f64) -> Area {
        let half = 0.5 * waist;
        combine::ring_area(&[
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
        ])
    }

    /// The nearest that courses come to one another and to themselves, mm; on one course
    /// only places further apart along it than a half turn count.
    fn nearest(courses: &[super::super::Course], radius: f64) -> f64 {
        let lines: Vec<Vec<(f64, Point)>> = courses
            .iter()
            .map(|c| {
                let places = (0..400).map(|k| c.length_mm() * f64::from(k) / 400.0);
                places.filter_map(|s| Some((s, c.path().point_at(s)?))).collect()
            })
            .collect();
        let mut least = f64::INFINITY;
        let mut before = Lines::default();
        for (c, line) in courses.iter().zip(&lines) {
            for (s, p) in line {
                for (t, q) in line {
                    let along = (s - t).abs();
                    if along.min(c.length_mm() - along) > PI * radius {
                        least = least.min(p.dist(*q));
                    }
                }
                least = least.min(before.distance(*p));
            }
            before.add(&c.path().flatten(1e-3));
        }
        least
    }

    #[test]
    fn as_many_straps_as_have_room_swing_round_the_sharp_edges_of_a_waist() {
        // each side of the waist holds so many, with what fitting takes between them
        let room_for = |waist: f64, width: f64| {
            (1..=6)
                .take_while(|n| {
                    let n = f64::from(*n);
                    n * width + (n - 1.0) * 0.4 * 0.02 < 0.5 * waist - 0.005
                })
                .count()
        };
        let tows = [(0.9, 4.0), (1.0, 6.0), (1.2, 5.0), (1.5, 8.0)];
        let mut asked = Vec::new();
        for (k, waist) in (10..=40).map(|k| (k, 0.5 * k as f64)) {
            let (width, radius) = tows[k % 4];
            let most = room_for(waist, width);
            asked.push((waist, width, radius, most));
            if k % 4 == 1 {
                asked.push((waist, width, radius, 1 + (k / 4) % most));
            }
        }
        let missed: Vec<String> = asked
            .par_iter()
            .filter_map(|&(waist, width, radius, straps)| {
                let o = Order { width, spacing: width, radius, ..order(straps) };
                let mut room = Room::new(o, &sharply_waisted(waist));
                lay(&mut room, &pins(&[(20.0, 20.0, 5.0), (100.0, 20.0, 5.0)]), 1.0, &Area::empty());
                let of = format!("{straps} of {width} mm, R {radius}, through {waist} mm");
                for c in &room.courses {
                    assert!(c.path().min_radius() >= radius, "{of}: bends at {}", c.path().min_radius());
                    let line = c.path().flatten(0.01);
                    let off = line.iter().map(|p| p.dist(pt(20.0, 20.0)).min(p.dist(pt(100.0, 20.0))));
                    let off = off.fold(f64::INFINITY, f64::min);
                    assert!(off > 6.0 + 0.5 * width - 0.05, "{of}: {off} mm from a pin's middle");
                }
                let near = nearest(&room.courses, radius);
                assert!(near > width - 0.021, "{of}: {near} mm from strap to strap");
                let round = |c: &&super::super::Course| {
                    let line = c.path().flatten(0.01);
                    c.path().closed && line.iter().any(|p| p.x < 14.0) && line.iter().any(|p| p.x > 106.0)
                };
                let closed = room.courses.iter().filter(round).count();
                (closed != straps || room.courses.len() != straps)
                    .then(|| format!("{of}: {closed}, {:?}", room.left_out))
            })
            .collect();
        assert!(missed.is_empty(), "{} of {}: {missed:#?}", missed.len(), asked.len());
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
            lay(&mut room, &pins(&[(22.0, 35.0, 10.0), (128.0, 35.0, 10.0)]), 1.0, &Area::empty());
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

    #[test]
    fn round_pins_at_the_tips_of_a_bent_arm_straps_are_led_along_both_edges() {
        // an arm of 24 mm, bent by a quarter round 30 mm: the line between its pins leaves it
        for courses in [1, 2, 3] {
            let arm = combine::difference(
                &smooth::disc(pt(0.0, 0.0), 54.0, 0.004),
                &smooth::disc(pt(0.0, 0.0), 30.0, 0.004),
            );
            let legs = |x: f64, y: f64| {
                combine::ring_area(&[pt(x, y), pt(x + 24.0, y), pt(x + 24.0, y + 40.0), pt(x, y + 40.0)])
            };
            let quarter = combine::ring_area(&[pt(0.0, 0.0), pt(60.0, 0.0), pt(60.0, 60.0), pt(0.0, 60.0)]);
            let lying = combine::ring_area(&[pt(-40.0, 30.0), pt(0.0, 30.0), pt(0.0, 54.0), pt(-40.0, 54.0)]);
            let arm = combine::union_all(&[combine::intersection(&arm, &quarter), legs(30.0, -40.0), lying]);
            let mut room = Room::new(Order { radius: 5.0, ..order(courses) }, &arm);
            lay(&mut room, &pins(&[(42.0, -25.0, 4.0), (-25.0, 42.0, 4.0)]), 1.0, &Area::empty());
            let closed = room.courses.iter().filter(|c| c.path().closed).count();
            assert_eq!((closed, room.courses.len()), (courses, courses), "{:?}", room.left_out);
            for c in &room.courses {
                let ring = c.path().flatten(0.01);
                for (x, y) in [(42.0, -25.0), (-25.0, 42.0)] {
                    assert!(polyline::ring_contains(&ring, pt(x, y)), "round the pin at {x}, {y}");
                }
                assert!(c.path().min_radius() >= 5.0, "{}", c.path().min_radius());
            }
        }
    }

    /// A bar so wide between eyes of 14 and 9 mm, 120 mm apart, with holes of 7 and 4 mm.
    fn tie_bar(across: f64) -> Area {
        let half = 0.5 * across;
        let bar = combine::ring_area(&[pt(20.0, -half), pt(140.0, -half), pt(140.0, half), pt(20.0, half)]);
        let disc = |x: f64, r: f64| smooth::disc(pt(x, 0.0), r, 0.004);
        let whole =
            offset::closed(&combine::union_all(&[bar, disc(20.0, 14.0), disc(140.0, 9.0)]), 8.0, 0.004);
        offset::shrunk(&combine::difference_all(&whole, &[disc(20.0, 7.0), disc(140.0, 4.0)]), 1.0, 0.004)
    }

    #[test]
    fn along_a_bar_narrower_than_its_eyes_straps_lie_side_by_side() {
        for across in [10.0, 12.0, 15.0, 17.0, 19.0] {
            let part = tie_bar(across);
            let order = Order { width: 0.6, spacing: 0.6, radius: 4.0, ..order(3) };
            let mut room = Room::new(order, &part);
            lay(&mut room, &pins(&[(20.0, 0.0, 7.0), (140.0, 0.0, 4.0)]), 1.0, &part);
            let closed = room.courses.iter().filter(|c| c.path().closed).count();
            assert_eq!((closed, room.courses.len()), (3, 3), "{across} mm across: {:?}", room.left_out);
        }
    }

    #[test]
    fn without_a_number_as_many_close_as_do_with_any() {
        let part = tie_bar(12.0);
        let closed = |courses: Option<usize>| {
            let order = Order { width: 0.6, spacing: 0.6, radius: 4.0, courses, ..order(1) };
            let mut room = Room::new(order, &part);
            lay(&mut room, &pins(&[(20.0, 0.0, 7.0), (140.0, 0.0, 4.0)]), 1.0, &part);
            for c in room.courses.iter().filter(|c| !c.path().closed) {
                // what is open hangs on a pin
                let near = |x: f64, r: f64| c.path().places(0.5).any(|p| p.dist(pt(x, 0.0)) < r);
                assert!(near(20.0, 14.0) || near(140.0, 9.0), "{:?}", c.path().start());
            }
            room.courses.iter().filter(|c| c.path().closed).count()
        };
        let most = (1..=8).map(|n| closed(Some(n))).max();
        assert_eq!(Some(closed(None)), most);
        assert_eq!((1..=3).map(|n| closed(Some(n))).collect::<Vec<_>>(), [1, 2, 3]);
    }

    #[test]
    fn a_strap_that_another_one_lies_across_goes_round_no_pins_but_its_own() {
        let plate = combine::ring_area(&[pt(0.0, 0.0), pt(110.0, 0.0), pt(110.0, 90.0), pt(0.0, 90.0)]);
        let at = [(18.0, 18.0, 5.0), (92.0, 72.0, 5.0), (18.0, 72.0, 5.0), (92.0, 18.0, 5.0)];
        let holes = pins(&at);
        let part = combine::difference_all(&plate, &holes);
        let order = Order { shortest_loop: 20.0, ..order(2) };
        let mut first = Room::new(order, &part);
        lay(&mut first, &holes[..2], 1.0, &part);
        assert!(first.courses.len() == 2 && first.courses.iter().all(|c| c.path().closed));
        let tow = first.courses.iter().map(|c| offset::strip(&c.path().flatten(0.01), 1.0, true, 0.01));
        let mut second = Room::new(order, &combine::difference_all(&part, &tow.collect::<Vec<_>>()));
        lay(&mut second, &holes[2..], 1.0, &part);
        assert!(second.courses.iter().all(|c| !c.path().closed), "the first lies across");
        assert!(
            second.left_out.iter().any(|l| l.reason == Reason::Straps { missing: 2, asked: 2 }),
            "{:?}",
            second.left_out
        );
        for c in &second.courses {
            let strays = c
                .path()
                .places(0.5)
                .filter(|p| p.dist(pt(18.0, 18.0)) < 12.0 || p.dist(pt(92.0, 72.0)) < 12.0);
            assert_eq!(strays.count(), 0, "round a pin of the other strap");
        }
    }

    #[test]
    fn pins_of_a_branched_part_may_be_listed_in_any_order() {
        // three arms of 22 mm from one middle: every straight way between two pins leaves the part
        let tip = |k: u32, r: f64| pt(0.0, 0.0) + Point::unit(PI * (0.5 + 2.0 * f64::from(k) / 3.0)) * r;
        let arm = |k: u32| {
            let side = (tip(k, 1.0)).left() * 11.0;
            combine::ring_area(&[-side, side, tip(k, 50.0) + side, tip(k, 50.0) - side])
        };
        let arms: Vec<Area> =
            (0..3).flat_map(|k| [arm(k), smooth::disc(tip(k, 50.0), 11.0, 0.004)]).collect();
        let part = offset::closed(&combine::union_all(&arms), 8.0, 0.004);
        let at = |k: u32| (tip(k, 50.0).x, tip(k, 50.0).y, 4.0);
        let mut lengths: Vec<Vec<f64>> = Vec::new();
        for order_of_pins in [[0, 1, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0], [0, 2, 1]] {
            let mut room = Room::new(Order { radius: 5.0, ..order(2) }, &part);
            lay(&mut room, &pins(&order_of_pins.map(at)), 1.0, &Area::empty());
            assert!(room.courses.iter().all(|c| c.path().closed), "{order_of_pins:?}: {:?}", room.left_out);
            lengths.push(room.courses.iter().map(super::super::Course::length_mm).collect());
        }
        for other in &lengths {
            assert_eq!(other.len(), 2, "{lengths:?}");
            assert!(other.iter().zip(&lengths[0]).all(|(a, b)| (a - b).abs() < 0.1), "{lengths:?}");
        }
    }

    #[test]
    fn open_courses_are_kept_where_they_turn_about_a_pin() {
        // a leg at a right angle: belts too wide to close find room along its outer edge
        let bar = |x0: f64, y0: f64, x1: f64, y1: f64| {
            combine::ring_area(&[pt(x0, y0), pt(x1, y0), pt(x1, y1), pt(x0, y1)])
        };
        let leg = combine::union_all(&[bar(0.0, 0.0, 90.0, 30.0), bar(0.0, 0.0, 30.0, 90.0)]);
        let part = offset::closed(&offset::opened(&leg, 6.0, 0.004), 8.0, 0.004);
        let at = [(75.0, 15.0), (15.0, 75.0)];
        for courses in [Some(12), None] {
            let mut room = Room::new(Order { radius: 5.0, courses, ..order(1) }, &part);
            lay(&mut room, &pins(&at.map(|(x, y)| (x, y, 5.0))), 1.0, &part);
            let turn = |c: &super::super::Course, (x, y): (f64, f64)| -> f64 {
                let arcs = c.path().segments.iter().filter(|s| s.radius().is_finite());
                let about = arcs.filter(|s| s.point_at(0.5 * s.length()).dist(pt(x, y)) < 18.0);
                about.map(|s| s.length() / s.radius()).sum()
            };
            let open: Vec<_> = room.courses.iter().filter(|c| !c.path().closed).collect();
            for c in &open {
                let most = at.map(|pin| turn(c, pin)).into_iter().fold(0.0, f64::max);
                assert!(most > 1.0, "{courses:?}: turns by {most} from {:?}", c.path().start());
            }
            assert!(room.courses.len() > open.len(), "{courses:?}: some close");
        }
        // two heads: what is too wide for the waist between them hangs on either pin
        let at = [(20.0, 20.0), (100.0, 20.0)];
        let mut room = Room::new(order(13), &sharply_waisted(20.0));
        lay(&mut room, &pins(&at.map(|(x, y)| (x, y, 5.0))), 1.0, &sharply_waisted(20.0));
        for (x, y) in at {
            let about = |c: &&super::super::Course| c.path().places(1.0).all(|p| p.dist(pt(x, y)) < 30.0);
            let open = room.courses.iter().filter(|c| !c.path().closed).filter(about).count();
            assert!(open > 1, "{open} courses hang on the pin at {x}, of {}", room.courses.len());
        }
    }

    #[test]
    fn a_hole_in_the_way_of_a_side_is_gone_round_like_a_pin() {
        // it stands on the line that is tangent to both pins
        let plate = combine::ring_area(&[pt(0.0, 0.0), pt(120.0, 0.0), pt(120.0, 60.0), pt(0.0, 60.0)]);
        let hole = smooth::disc(pt(55.0, 37.0), 5.0, 0.004);
        let part = combine::difference(&plate, &hole);
        let mut room = Room::new(order(2), &part);
        lay(&mut room, &pins(&[(30.0, 30.0, 8.0), (80.0, 30.0, 8.0)]), 1.0, &part);
        assert_eq!(room.courses.len(), 2, "{:?}", room.left_out);
        for c in &room.courses {
            let ring = c.path().flatten(0.01);
            let encloses = |x, y| polyline::ring_contains(&ring, pt(x, y));
            assert!(c.path().closed && encloses(55.0, 41.9) && encloses(30.0, 30.0) && encloses(80.0, 30.0));
        }
    }

    #[test]
    fn in_an_arm_too_narrow_for_bends_along_it_a_strap_goes_round_the_hole_in_its_middle() {
        // a bent lever of 30 mm: no disc of 12 mm has room for tow of 2 mm at either side
        let line = [pt(-60.0, -35.0), pt(0.0, 0.0), pt(60.0, -35.0)];
        let body = offset::closed(
            &offset::grown(&offset::strip(&line, 22.0, false, 0.004), 4.0, 0.004),
            20.0,
            0.004,
        );
        let ends = [line[0], line[2]].map(|p| smooth::disc(p, 15.0, 0.004));
        let body = combine::union_all(&[body, ends[0].clone(), ends[1].clone()]);
        let holes = [(line[0], 6.0), (line[1], 7.0), (line[2], 6.0)].map(|(p, r)| smooth::disc(p, r, 0.004));
        let part = offset::shrunk(&combine::difference_all(&body, &holes), 1.0, 0.004);
        let order = Order { width: 2.0, spacing: 2.0, radius: 12.0, closes: true, ..order(1) };
        let mut room = Room::new(order, &part);
        lay(&mut room, &[holes[0].clone(), holes[2].clone()], 1.0, &part);
        let [strap] = room.courses.as_slice() else { panic!("{:?}", room.left_out) };
        let ring = strap.path().flatten(0.01);
        assert!(strap.path().closed && line.iter().all(|p| polyline::ring_contains(&ring, *p)));
    }
}

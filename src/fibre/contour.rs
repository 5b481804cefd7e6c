//! Closed courses parallel to the shape's boundaries, outer and inner.

use super::along::SWING_SHARES;
use super::order::Order;
use super::room::Room;
use super::{spiral, unidirectional};
use crate::count::f64_of;
use crate::geom::followable::followable;
use crate::geom::{Area, Path, Point, combine, hatch, offset, polyline, pt, trig};
use crate::reinforcement::Reason;
use rayon::prelude::*;
use std::f64::consts::PI;

/// Rounds at most: no shape is deeper than this many courses.
const ROUNDS: usize = 2_000;

/// Lays rings from the boundaries inwards, one round of courses along every
/// boundary at a time: first along the shape's own, then along the edges of what
/// the rounds before left, each one spacing from what it follows.
///
/// Corners are passed in bends of the radius, on the inside or swinging wide
/// ([`crate::geom::swing::eased`]); where a place is too narrow for both its edges
/// the longer course has it and the other is interrupted; where a loop cannot be
/// closed its sides are laid as open courses.
///
/// Where the shape is to be filled, the order of boundaries matters: loops round
/// every small hole leave wedges between them. So it is also tried with courses
/// that follow the outer boundary alone, and the hole that is largest, but for a course
/// or a few along every other boundary that tow can follow, before what they leave is
/// served as above, and with straight courses in places narrower than a bend; what covers
/// most is laid, closed courses rather than open ones.
pub(super) fn lay(room: &mut Room<'_>) {
    let o = room.order;
    let rings = room.area.rings().count();
    let numbered = o.courses.is_some();
    let leads = if numbered || rings < 2 { &LEADS[..1] } else { &LEADS[..] };
    // every boundary at once is what is asked for: it is tried with each way past corners, and
    // where that is all that is tried with lines that keep less near, too, which are laid sooner
    let way = Way {
        lead: Lead::Every,
        swing: SWING_SHARES[0],
        lean: false,
        tight: true,
        closes: numbered,
        necks: false,
        evened: false,
    };
    let mut ways: Vec<Way> = leads.iter().map(|&lead| Way { lead, ..way }).collect();
    // swings that leave necks to others are longer, and leave more bare beside corners
    let lean = Way { lean: true, closes: true, ..way };
    let necks = if numbered { Vec::new() } else { necks(room) };
    if numbered {
        ways.splice(..0, SWING_SHARES.map(|swing| Way { swing, tight: false, ..way }));
    } else {
        // lines that keep less near pass other corners; where a corner was passed only once
        // more, a fill covers less as a rule
        ways.extend([
            Way { swing: SWING_SHARES[1], ..way },
            Way { tight: false, ..way },
            Way { closes: true, ..way },
            lean,
        ]);
        if !necks.is_empty() {
            ways.extend([Way { necks: true, ..way }, Way { necks: true, closes: true, ..way }]);
        }
    }
    let laid = |way: Way| {
        let mut tried = room.empty_copy();
        tried.order.swing = way.swing;
        tried.order.lean = way.lean;
        tried.order.tight = way.tight;
        tried.order.closes = way.closes;
        if way.necks {
            lay_necks(&mut tried, &necks);
        }
        if !follow(&mut tried, way.lead) {
            return None;
        }
        let mut rest = tried.rest();
        if way.evened {
            // as much further in as the edge may have been moved out
            let by = EVEN * o.deviation;
            let even = followable(&combine::simplified(&rest, by), o.radius);
            rest = offset::shrunk(&even, by, crate::geom::bend::PROPOSAL_CHORD_MM);
        }
        serve(&mut tried, &rest, 0);
        if way.evened && !numbered {
            let rest = tried.rest();
            serve(&mut tried, &rest, 0);
        }
        Some((worth_closed(&tried), tried))
    };
    // where every course asked for is closed nothing more can be had
    let first = o.courses.and_then(|_| laid(ways.remove(0)));
    let whole = first.as_ref().is_some_and(|(_, tried)| all_closed(tried));
    let others: Vec<_> = if whole { Vec::new() } else { ways.into_par_iter().filter_map(laid).collect() };
    let mut best: Option<(f64, Room<'_>)> = None;
    for tried in first.into_iter().chain(others) {
        if best.as_ref().is_none_or(|b| tried.0 > b.0) {
            best = Some(tried);
        }
    }
    // swings that leave necks free, and an edge that is too rough to be followed as it is: only
    // where more courses close so, since what is joined or crossed straight is another shape
    let closed = |room: &Room<'_>| room.courses.iter().filter(|c| c.path().closed).count();
    let so_far = best.as_ref().map_or(0, |b| closed(&b.1));
    let last = match (numbered, whole) {
        (true, true) => &[][..],
        (true, false) => &[lean, Way { evened: true, ..way }],
        (false, _) if so_far == 0 => &[Way { evened: true, closes: true, ..way }],
        (false, _) => &[],
    };
    let last: Vec<_> = last.par_iter().filter_map(|&way| laid(way)).collect();
    for tried in last {
        let more = best.as_ref().is_none_or(|b| closed(&tried.1) > closed(&b.1));
        if more && best.as_ref().is_none_or(|b| tried.0 > b.0) {
            best = Some(tried);
        }
    }
    if let Some((_, best)) = best {
        *room = best;
    }
    tell_unserved(room);
}

/// All that were asked for by number are there and closed.
fn all_closed(room: &Room<'_>) -> bool {
    let rings = room.area.rings().count();
    room.order.courses.is_some_and(|n| room.courses.len() == n * rings)
        && room.courses.iter().all(|c| c.path().closed)
}

/// One of the ways in which a shape is tried.
#[derive(Clone, Copy)]
struct Way {
    lead: Lead,
    /// See [`Order::swing`] and what follows it there.
    swing: f64,
    lean: bool,
    tight: bool,
    closes: bool,
    /// Necks are filled with straight courses before anything else is laid.
    necks: bool,
    /// Rings follow what is left of the shape without teeth and round notches that are too tight.
    evened: bool,
}

/// How far the edge of an area that is evened may be moved to have fewer corners, as a share of
/// the deviation: edges drawn with many rough points turn at every one of them.
const EVEN: f64 = 0.3;

/// Which boundary is followed first, past all others but for so many courses along each
/// of them that tow can follow: ends lie there, and not at a rim.
#[derive(Clone, Copy)]
enum Lead {
    /// All of them at once.
    Every,
    /// The outer boundary.
    Outer { rims: usize },
    /// The largest hole, or holes.
    Hole { rims: usize },
}

/// What is tried. Where the corners of a rim are far from what is followed, more courses
/// along it cover more; where they are near, fewer do.
const LEADS: [Lead; 5] = [
    Lead::Every,
    Lead::Outer { rims: 1 },
    Lead::Outer { rims: 3 },
    Lead::Hole { rims: 1 },
    Lead::Hole { rims: 3 },
];

/// Tow laid, less what its cuts cost.
fn worth(room: &Room<'_>) -> f64 {
    let cut = CUT_OF_A_RING * room.order.shortest;
    room.courses.iter().map(|c| c.length_mm() - cut).sum()
}

/// The same, where open courses count [`OPEN`] of their tow, or [`OPEN_OF_SOME`], and where
/// a number of courses is asked for only tow that lies as deep as these go: a way that swings
/// round a hole deep inside the part is no course along its rim.
fn worth_closed(room: &Room<'_>) -> f64 {
    let o = room.order;
    let share = if o.courses.is_some() { OPEN_OF_SOME } else { OPEN };
    let cut = CUT_OF_A_RING * o.shortest;
    let deepest = o.courses.map(|n| (f64_of(n) - 0.5) * o.spacing);
    let asked = |path: &Path| {
        let Some(deepest) = deepest else { return path.length() };
        let (mut all, mut asked) = (0_u32, 0_u32);
        for p in path.places(LOOK_MM) {
            all += 1;
            asked += u32::from(room.walls().distance_within(p, deepest).is_finite());
        }
        path.length() * f64::from(asked) / f64::from(all.max(1))
    };
    let worth = |path: &Path| asked(path) * if path.closed { 1.0 } else { share } - cut;
    // what will have to be given up counts nothing
    let lone = spiral::lone_short(room);
    let kept = || room.courses.iter().enumerate().filter(|(i, _)| !lone.contains(i)).map(|(_, c)| c.path());
    let all: f64 = kept().map(worth).sum();
    if kept().any(|path| path.closed) { all } else { all * NONE_CLOSED }
}

/// What a layout in which no course closes at all is worth of that: rows are another rule.
const NONE_CLOSED: f64 = 0.9;

/// Places along a course at which it is asked how deep it lies, mm apart.
const LOOK_MM: f64 = 1.0;

/// What tow of open courses counts against that of closed ones, which are what is asked
/// for: only they carry load round a hole and along a whole rim. Courses led along one large
/// hole to the plate's edges cover some per cent more than rings, and close nowhere.
const OPEN: f64 = 0.94;

/// The same where a number of courses is asked for and not that the shape be filled: pieces
/// of them are what is left of closed ones that found no room.
const OPEN_OF_SOME: f64 = 0.5;

/// What a cut costs between layouts of rings, in shortest pieces: it decides only where
/// they lay nearly as much tow.
pub(crate) const CUT_OF_A_RING: f64 = 0.25;

/// A hole as large as this share of the largest leads like it: of equal holes one would
/// have rings and the others not.
const AS_LARGE: f64 = 0.98;

/// Courses side by side along one boundary of every part, to its middle. Gives whether
/// this is another layout than those of the leads before it.
fn follow(room: &mut Room<'_>, lead: Lead) -> bool {
    let o = room.order;
    let (of_hole, most) = match lead {
        Lead::Every => return true,
        Lead::Outer { rims } => (false, rims),
        Lead::Hole { rims } => (true, rims),
    };
    let (mut led, mut rims): (Vec<Area>, Vec<Area>) = (Vec::new(), Vec::new());
    for part in room.area.polygons() {
        let largest = part.holes().iter().map(|h| polyline::ring_length(h)).fold(0.0, f64::max);
        if of_hole && part.holes().is_empty() {
            continue;
        }
        let outside = (!of_hole, combine::ring_area(part.outer()));
        let holes = part.holes().iter().map(|hole| {
            let leads = of_hole && polyline::ring_length(hole) >= AS_LARGE * largest;
            (leads, outside_of(room, hole))
        });
        for (leads, edge) in std::iter::once(outside).chain(holes) {
            if leads { led.push(edge) } else { rims.push(edge) }
        }
    }
    for round in 0..most {
        let before = room.courses.len();
        for rim in &mut rims {
            let path = room.lay_whole(rim);
            *rim = path.and_then(|path| beside(o, rim, &path).into_iter().next()).unwrap_or_default();
        }
        if round > 0 && room.courses.len() == before {
            return false;
        }
    }
    // in turn, so that holes of one size share the ground between them; a neck that is full
    // parts what it joins
    for _ in 0..ROUNDS {
        let mut next = Vec::new();
        for edge in &led {
            let before = room.courses.len();
            if let Some(path) = room.lay_edge(edge).filter(|_| room.courses.len() > before) {
                next.extend(beside(o, edge, &path));
            }
        }
        if next.is_empty() {
            break;
        }
        led = next;
    }
    !room.courses.is_empty()
}

/// What a course along an edge leaves inside it, the largest part first: the next one follows
/// that, eased as it is.
fn beside(o: Order<'_>, edge: &Area, path: &Path) -> Vec<Area> {
    let chord = crate::geom::bend::PROPOSAL_CHORD_MM;
    let strip = offset::strip(&path.flatten(chord), 2.0 * o.spacing, true, chord);
    let rest = combine::simplified(&combine::difference(edge, &strip), 0.5 * offset::TIDY_MM);
    // not the wedges that its bends leave
    let broad = |a: &Area| a.area() >= 0.25 * o.spacing * a.perimeter();
    let mut parts: Vec<Area> = rest.split().filter(broad).collect();
    parts.sort_by(|a, b| b.area().total_cmp(&a.area()));
    parts
}

/// Places narrower than a bend that are worth a course: of loops round what they join only few
/// pass them, since they swing wide at their corners.
fn necks(room: &Room<'_>) -> Vec<Area> {
    let o = room.order;
    let chord = crate::geom::bend::PROPOSAL_CHORD_MM;
    let broad = offset::opened(&room.area, 0.5 * o.radius, chord);
    // a hair wider than what opening takes off curved edges
    let narrow = combine::difference(&room.area, &offset::grown(&broad, 2.0 * chord, chord));
    narrow.split().filter(|n| n.area() >= 0.5 * o.spacing * o.shortest).collect()
}

/// Straight courses in necks.
fn lay_necks(room: &mut Room<'_>, necks: &[Area]) {
    let o = room.order;
    for neck in necks {
        let Some(&angle) = directions(neck).first() else { continue };
        let Some(b) = combine::turned(neck, -angle).bounds() else { continue };
        // as far beyond it at either end as the shortest course needs
        let on = (0.5 * (o.shortest - (b.hi.x - b.lo.x))).max(0.0) + o.width;
        let (lo, hi) = (b.lo.x - on, b.hi.x + on);
        let along = combine::ring_area(&[pt(lo, b.lo.y), pt(hi, b.lo.y), pt(hi, b.hi.y), pt(lo, b.hi.y)]);
        let part = combine::intersection(&room.area, &combine::turned(&along, angle));
        unidirectional::lay_best(room, &part, &[angle]);
    }
}

/// What lies outside of a hole: following it inwards is following the hole outwards.
fn outside_of(room: &Room<'_>, hole: &[Point]) -> Area {
    let Some(b) = room.area.bounds() else { return Area::empty() };
    let far = b.hi.dist(b.lo) + 10.0 * room.order.radius;
    let frame = combine::ring_area(&[
        pt(b.lo.x - far, b.lo.y - far),
        pt(b.hi.x + far, b.lo.y - far),
        pt(b.hi.x + far, b.hi.y + far),
        pt(b.lo.x - far, b.hi.y + far),
    ]);
    combine::difference(&frame, &combine::ring_area(hole))
}

/// A round of courses along the edges of each place, and so on in what it leaves;
/// straight courses instead where rounds would serve the place badly: as in the
/// middle of a shape narrower than two radii, where loops cannot close.
fn serve(room: &mut Room<'_>, area: &Area, round: usize) {
    let most = room.order.courses.unwrap_or(ROUNDS).min(ROUNDS);
    for place in area.split() {
        let before = room.courses.len();
        let straight = if fills(room) { straight_worth(room, &place) } else { 0.0 };
        let told = (room.told(), room.short.len());
        let worth_before = worth(room);
        if round < most && place.perimeter() >= room.order.least(true) && room.lay_along(&place) > 0.0 {
            let rest = room.rest_of(&place, before);
            let loops = room.courses[before..].iter().any(|c| c.path().closed);
            serve(room, &rest, round + 1);
            if round == 0 && loops {
                continue;
            }
        } else {
            fill(room, &place);
            continue;
        }
        let gained = worth(room) - worth_before;
        if straight * RATHER > gained {
            let mut other = room.back_to(before, told);
            fill(&mut other, &place);
            if (worth(&other) - worth_before) * RATHER > gained {
                *room = other;
            }
        }
    }
}

/// Rounds are what is asked for: straight courses must give more by this share.
const RATHER: f64 = 0.95;

/// The shape is to be filled.
fn fills(room: &Room<'_>) -> bool {
    let o = room.order;
    o.courses.is_none() && o.spacing <= 1.5 * o.width
}

/// Directions in which straight courses are tried, in radians from 0 to pi: along the longest
/// edges of a place, and all round.
fn directions(place: &Area) -> Vec<f64> {
    let mut edges: Vec<(f64, f64)> = place
        .rings()
        .flat_map(polyline::ring_edges)
        .map(|(a, b)| (a.dist(b), trig::atan2(b.y - a.y, b.x - a.x)))
        .collect();
    edges.sort_by(|a, b| b.0.total_cmp(&a.0));
    let steps = (0..12).map(|k| PI * f64::from(k) / 12.0);
    let mut out: Vec<f64> = Vec::new();
    for angle in edges.iter().take(3).map(|e| e.1).chain(steps) {
        let angle = angle.rem_euclid(PI);
        let same = |other: &f64| trig::wrapped(2.0 * (angle - other)).abs() < SAME_RAD;
        if !out.iter().any(same) {
            out.push(angle);
        }
    }
    out
}

/// Rows that differ by no more run in one direction, radians.
const SAME_RAD: f64 = 1e-6;

/// What straight courses alone, without turns, would be worth in a place.
fn straight_worth(room: &Room<'_>, place: &Area) -> f64 {
    let o = room.order;
    let cut = CUT_OF_A_RING * room.order.shortest;
    directions(place)
        .into_iter()
        .map(|angle| {
            let rows = hatch::rows_amid(place, angle, o.spacing);
            let lengths = rows.iter().flat_map(|r| &r.spans).map(|(a, b)| b - a);
            lengths.filter(|l| *l >= o.shortest).map(|l| l - cut).sum()
        })
        .fold(0.0, f64::max)
}

/// Straight courses in a place.
fn fill(room: &mut Room<'_>, place: &Area) {
    let o = room.order;
    if fills(room) && place.area() >= 0.5 * o.spacing * o.shortest {
        unidirectional::lay_best(room, place, &directions(place));
    }
}

/// Sagitta of chords where nothing is laid by them, mm.
const COARSE_MM: f64 = 0.02;

/// Reports what no course reached, as tow that would have filled it.
pub(super) fn tell_unserved(room: &mut Room<'_>) {
    let o = room.order;
    let most = o.courses.unwrap_or(ROUNDS).min(ROUNDS);
    if o.courses.is_some() && all_closed(room) {
        return;
    }
    let chord = COARSE_MM;
    // the ground of strips, not only where their middle lines may lie
    let half = 0.5 * o.width;
    let mut band = offset::grown(&room.area, half, chord);
    let mut tow_on_a_mm2 = 1.0 / o.spacing;
    if most < ROUNDS {
        // hardly beyond the innermost middle line: lines that were eased leave slivers there
        let depth = (f64_of(most) - 1.0) * o.spacing + 0.1 * o.width;
        band = combine::difference(&band, &offset::shrunk(&room.area, depth, chord));
        tow_on_a_mm2 = f64_of(most) / (half + depth);
    }
    let strips: Vec<Area> = room
        .courses
        .iter()
        .map(|c| {
            offset::strip(&c.path().flatten(chord), o.spacing * 1.02 + 2.0 * chord, c.path().closed, chord)
        })
        .collect();
    let rest = combine::difference_all(&band, &strips);
    for a in rest.split() {
        let length = a.area() * tow_on_a_mm2;
        if length > o.width {
            let at = a.polygons()[0].outer()[0];
            // along a piece of ground half its edge is as long as a course can be, unless it winds
            let reason = if (0.5 * a.perimeter()).max(length) < o.shortest {
                Reason::TooShort { shortest_mm: o.shortest }
            } else {
                Reason::NothingFits { radius_mm: o.asked_radius, shortest_mm: o.shortest }
            };
            room.leave_out(reason, length, Some(at));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::smooth;
    use crate::job::Rule;

    fn order() -> Order<'static> {
        Order::sample(Rule::Contour)
    }

    #[test]
    fn a_whole_number_of_rings_fits_between_round_walls() {
        let centre = pt(50.0, 50.0);
        for (inner, outer) in [(13.0, 35.0), (9.0, 17.0), (30.0, 47.0)] {
            let area =
                combine::difference(&smooth::disc(centre, outer, 1e-3), &smooth::disc(centre, inner, 1e-3));
            let mut room = Room::new(order(), &area);
            lay(&mut room);
            // closed form: as many as the wall is wide, a width apart each
            let mut radii: Vec<f64> = Vec::new();
            for c in &room.courses {
                assert!(c.path().closed, "round the middle");
                let places = (0..100).filter_map(|k| c.path().point_at(c.length_mm() * f64::from(k) / 100.0));
                radii.push(places.map(|p| p.dist(centre)).sum::<f64>() / 100.0);
            }
            radii.sort_by(f64::total_cmp);
            assert!((radii.len() as f64 - (outer - inner)).abs() < 0.1, "{} rings", radii.len());
            // between rings from either side lies what all of them have drifted
            let mut off: Vec<f64> = radii.windows(2).map(|w| (w[1] - w[0] - 1.0).abs()).collect();
            off.sort_by(f64::total_cmp);
            assert!(
                off[off.len() - 2] < 0.8e-3,
                "{} mm off where they follow each other",
                off[off.len() - 2]
            );
            let drift = radii[radii.len() - 1] - radii[0] - (outer - inner - 1.0);
            assert!(drift.abs() < 5e-3, "{drift} mm");
        }
    }

    #[test]
    fn courses_that_are_missing_are_told_at_their_length() {
        // round the hole no tow of 60 mm radius can be led
        let plate = combine::ring_area(&[pt(0.0, 0.0), pt(100.0, 0.0), pt(100.0, 60.0), pt(0.0, 60.0)]);
        let (middle, r) = (pt(50.0, 30.0), 20.0);
        let area = combine::difference(&plate, &smooth::disc(middle, r, 1e-3));
        for n in [1, 3] {
            let order =
                Order { courses: Some(n), width: 0.6, spacing: 0.6, radius: 60.0, closes: true, ..order() };
            let mut room = Room::new(order, &area);
            lay(&mut room);
            let at_hole =
                room.left_out.iter().filter(|l| l.at_mm.is_some_and(|[x, y]| pt(x, y).dist(middle) < 25.0));
            let told: f64 = at_hole.map(|l| l.length_mm).sum();
            let form: f64 = (0..n).map(|k| 2.0 * PI * (r + 0.3 + 0.6 * f64_of(k))).sum();
            assert!((told - form).abs() < 0.1 * form, "{n} courses: {told} mm told of {form}");
        }
    }

    #[test]
    fn whatever_is_followed_a_closed_course_runs_along_every_boundary_that_tow_can_follow() {
        let plate = |w: f64, h: f64| combine::ring_area(&[pt(0.0, 0.0), pt(w, 0.0), pt(w, h), pt(0.0, h)]);
        for (w, h, holes) in [
            // rings round the hole alone would cover most of these
            (90.0, 60.0, &[(45.0, 30.0, 15.0)][..]),
            (90.0, 50.0, &[(30.0, 25.0, 12.0)][..]),
            (110.0, 40.0, &[(25.0, 20.0, 8.0), (80.0, 20.0, 10.0)][..]),
            // 2 mm: no tow of 5 mm radius can follow it
            (100.0, 60.0, &[(40.0, 30.0, 14.0), (85.0, 30.0, 2.0)][..]),
        ] {
            let mut area = plate(w, h);
            for &(x, y, r) in holes {
                area = combine::difference(&area, &smooth::disc(pt(x, y), r, 1e-3));
            }
            let mut room = Room::new(order(), &area);
            lay(&mut room);
            // furthest that a closed course is from a boundary anywhere, 0 where it follows it
            let off = |from: &dyn Fn(Point) -> f64| {
                let far = |c: &super::super::Course| {
                    let places =
                        (0..=200).filter_map(|k| c.path().point_at(c.length_mm() * f64::from(k) / 200.0));
                    places.map(from).fold(0.0, f64::max)
                };
                room.courses.iter().filter(|c| c.path().closed).map(far).fold(f64::INFINITY, f64::min)
            };
            let rim = off(&|p| p.x.min(w - p.x).min(p.y).min(h - p.y));
            // a bend of R stays (sqrt 2 - 1) R from a square corner, (1 - 1 / sqrt 2) R from its sides
            assert!(rim < 0.5 + 0.32 * 5.0, "{w} x {h}: {rim} mm off the rim");
            for &(x, y, r) in holes.iter().filter(|h| h.2 > 5.0) {
                let hole = off(&|p| p.dist(pt(x, y)) - r);
                assert!(hole < 0.55, "{w} x {h}: {hole} mm off the hole at {x}");
            }
        }
    }

    #[test]
    fn of_a_number_of_courses_those_along_the_boundaries_count() {
        // a lug with two bolt holes beside its rim: courses that swing round these inside the
        // part are longer than what lies along the rim
        let rect = |x: f64, y: f64| [pt(0.0, 0.0), pt(x, 0.0), pt(x, y), pt(0.0, y)];
        let body = combine::union_all(&[
            combine::ring_area(&rect(70.0, 52.0)),
            smooth::disc(pt(35.0, 50.0), 28.0, 1e-3),
        ]);
        let holes = [(35.0, 50.0, 19.5), (12.0, 7.0, 3.2), (58.0, 7.0, 3.2)];
        let holes: Vec<Area> = holes.iter().map(|h| smooth::disc(pt(h.0, h.1), h.2, 1e-3)).collect();
        let inside = offset::shrunk(&combine::difference_all(&body, &holes), 1.0, 1e-3);
        let order = Order { courses: Some(2), width: 1.5, spacing: 1.5, radius: 8.0, ..order() };
        let mut room = Room::new(order, &inside);
        lay(&mut room);
        let places = || room.courses.iter().flat_map(|c| c.path().places(0.5));
        let deep = places().filter(|p| room.walls().distance(*p) > 2.0 * 1.5).count();
        let share = deep as f64 / places().count() as f64;
        assert!(share < 0.05, "{:.1} % of the tow lies inside the part", 100.0 * share);
    }

    #[test]
    fn loops_that_could_not_be_kept_count_for_nothing() {
        // a link whose loops round the smaller eye are too short by themselves: where only one
        // is laid round it, none can be
        let disc = |x: f64, r: f64| smooth::disc(pt(x, 17.0), r, 1e-3);
        let hull = |discs: [Area; 2]| {
            let points: Vec<Point> = discs.iter().flat_map(|d| d.polygons()[0].outer().to_vec()).collect();
            combine::ring_area(&smooth::hull(&points))
        };
        let body = hull([disc(17.0, 17.0), disc(96.0, 14.0)]);
        let window = hull([disc(42.0, 6.5), disc(72.0, 6.5)]);
        let part = combine::difference_all(&body, &[disc(17.0, 6.0), disc(96.0, 5.0), window]);
        let inside = offset::shrunk(&part, 1.0, 1e-3);
        let order =
            Order { width: 0.6, spacing: 0.6, radius: 4.0, shortest: 43.0, shortest_loop: 0.0, ..order() };
        let mut room = Room::new(order, &inside);
        lay(&mut room);
        assert!(!spiral::short_loops(&room).is_empty(), "the first loop round the eye is 39.6 mm long");
        assert_eq!(spiral::lone_short(&room), [0_usize; 0], "each has another to be wound with");
    }

    #[test]
    fn rims_close_in_both_arms_of_a_yoke() {
        let rect = |x: [f64; 2], y: [f64; 2]| {
            combine::ring_area(&[pt(x[0], y[0]), pt(x[1], y[0]), pt(x[1], y[1]), pt(x[0], y[1])])
        };
        let disc = |x: f64, y: f64, r: f64| smooth::disc(pt(x, y), r, 2e-3);
        let bend = combine::intersection(
            &combine::difference(&disc(55.0, 100.0, 50.0), &disc(55.0, 100.0, 30.0)),
            &rect([0.0, 110.0], [0.0, 100.0]),
        );
        let body = combine::union_all(&[
            bend,
            rect([5.0, 25.0], [99.9, 150.0]),
            rect([85.0, 105.0], [99.9, 150.0]),
            disc(15.0, 150.0, 15.0),
            disc(95.0, 150.0, 15.0),
            rect([45.0, 65.0], [20.0, 60.0]),
            disc(55.0, 18.0, 15.0),
        ]);
        let body = offset::shrunk(&offset::grown(&body, 8.0, 2e-3), 8.0, 2e-3);
        let inside = offset::shrunk(&body, 1.0, 2e-3);
        let order = Order { courses: Some(3), width: 1.5, spacing: 1.5, radius: 7.0, ..order() };
        let mut room = Room::new(order, &inside);
        lay(&mut room);
        let closed = room.courses.iter().filter(|c| c.path().closed).count();
        assert_eq!((closed, room.courses.len()), (3, 3), "one outline, three rings");
    }

    /// A square of 60 mm whose corners are rounded by 6 mm, each drawn with so many chords.
    fn rounded_square(chords: u32) -> Area {
        let mut ring = Vec::new();
        for (x, y, from) in [(54.0, 54.0, 0.0), (6.0, 54.0, 0.5), (6.0, 6.0, 1.0), (54.0, 6.0, 1.5)] {
            for k in 0..=chords {
                let t = std::f64::consts::PI * (from + 0.5 * f64::from(k) / f64::from(chords));
                ring.push(pt(x, y) + crate::geom::Point::unit(t) * 6.0);
            }
        }
        combine::ring_area(&ring)
    }

    #[test]
    fn a_ring_keeps_to_corners_a_little_too_tight_however_they_are_drawn() {
        for chords in [9, 12, 16, 18, 20, 24, 30, 36, 48, 64] {
            let inside = offset::shrunk(&rounded_square(chords), 1.0, 0.004);
            let mut room = Room::new(Order { courses: Some(1), ..order() }, &inside);
            lay(&mut room);
            let [ring] = room.courses.as_slice() else { panic!("{chords}: {} courses", room.courses.len()) };
            assert!(ring.path().closed, "{chords}: round all corners");
            let line = ring.path().flatten(0.01);
            for corner in [pt(0.0, 0.0), pt(60.0, 0.0), pt(60.0, 60.0), pt(0.0, 60.0)] {
                let off = line.iter().map(|p| p.dist(corner)).fold(f64::INFINITY, f64::min);
                // closed form: the bend of 5 mm that touches both walls of the corner, the
                // middle line's 4.5 mm, 1.5 mm inside the outline, and what its place costs
                let form = std::f64::consts::SQRT_2 * 1.5 + 5.0 * (std::f64::consts::SQRT_2 - 1.0);
                assert!((off - form).abs() < 0.2, "{chords}: {off} mm from the corner, not {form}");
            }
        }
    }

    #[test]
    fn a_bar_that_is_a_whole_number_of_widths_across_holds_that_number() {
        // 12 mm, 20 widths of 0.6 mm: rings can be closed to 4 mm from the edge, the middle is
        // filled with straight courses beside lines that were eased
        let discs = [7.0, 83.0].map(|x| smooth::disc(pt(x, 7.0), 7.0, 0.002));
        let bar = combine::ring_area(&[pt(7.0, 0.0), pt(83.0, 0.0), pt(83.0, 14.0), pt(7.0, 14.0)]);
        let inside =
            offset::shrunk(&combine::union_all(&[bar, discs[0].clone(), discs[1].clone()]), 1.0, 0.002);
        let mut room = Room::new(Order { width: 0.6, spacing: 0.6, radius: 4.0, ..order() }, &inside);
        lay(&mut room);
        let across = |x: f64| -> usize {
            let lines = room.courses.iter().map(|c| c.path().flatten(0.01));
            lines.map(|l| l.windows(2).filter(|w| (w[0].x < x) != (w[1].x < x)).count()).sum()
        };
        assert_eq!([25.0, 45.0, 65.0].map(across), [20; 3], "tows across the bar");
    }

    /// Rings, each from its corners.
    fn shapes() -> [(&'static str, Area, f64); 3] {
        let bar = |ring: &[(f64, f64)]| {
            combine::ring_area(&ring.iter().map(|(x, y)| pt(*x, *y)).collect::<Vec<_>>())
        };
        let corner = bar(&[(0., 0.), (70., 0.), (70., 22.), (25., 22.), (25., 60.), (0., 60.)]);
        let square = bar(&[(0., 0.), (50., 0.), (50., 50.), (0., 50.)]);
        let eye = |r: f64| smooth::disc(pt(25.0, 50.0), r, 2e-3);
        let lug = combine::difference(&combine::union_all(&[square, eye(25.0)]), &eye(9.0));
        let foot = bar(&[(0., 0.), (70., 0.), (70., 5.), (58., 52.), (10., 47.), (0., 7.)]);
        [("corner", corner, 6.0), ("lug", lug, 6.0), ("foot", foot, 8.0)]
    }

    /// An area with every point somewhere else.
    fn mapped(area: &Area, to: impl Fn(Point) -> Point) -> Area {
        let of = |ring: &[Point]| combine::ring_area(&ring.iter().map(|p| to(*p)).collect::<Vec<_>>());
        let rings: Vec<Area> = area.rings().map(of).collect();
        combine::difference_all(&rings[0], &rings[1..])
    }

    fn laid_in(area: &Area, order: Order<'static>) -> (usize, usize, f64) {
        let mut room = Room::new(order, &offset::shrunk(area, 1.0, 0.002));
        lay(&mut room);
        let closed = room.courses.iter().filter(|c| c.path().closed).count();
        (closed, room.courses.len(), room.courses.iter().map(super::super::Course::length_mm).sum())
    }

    #[test]
    fn mirror_images_have_the_same_closed_courses_and_those_that_fit_are_closed() {
        for (name, area, radius) in shapes() {
            let rings = area.rings().count();
            // deeper in the corner's arms nothing can turn round
            for n in 1..=4 {
                let order = Order { courses: Some(n), radius, closes: true, ..order() };
                for (way, image) in [
                    ("as it is", area.clone()),
                    ("left for right", mapped(&area, |p| pt(-p.x, p.y))),
                    ("upside down", mapped(&area, |p| pt(p.x, -p.y))),
                    ("turned", mapped(&area, |p| p.turned(0.4))),
                ] {
                    let (closed, all, _) = laid_in(&image, order);
                    assert_eq!((closed, all), (n * rings, n * rings), "{n} in the {name}, {way}");
                }
            }
        }
    }

    #[test]
    fn a_fill_is_the_same_wherever_the_part_lies() {
        for (name, area, radius) in shapes() {
            let order = Order { radius, ..order() };
            let (closed, all, tow) = laid_in(&area, order);
            for (x, y) in [(0.5, 0.5), (0.37, 0.21), (120.25, -33.75)] {
                let moved = laid_in(&mapped(&area, |p| p + pt(x, y)), order);
                assert_eq!((moved.0, moved.1), (closed, all), "{name} moved by {x}, {y}");
                assert!((moved.2 - tow).abs() < 5e-3 * tow, "{name}: {} mm, not {tow}", moved.2);
            }
        }
    }

    #[test]
    fn a_number_of_courses_runs_into_the_tips_of_a_jaw() {
        // an open spanner: across its tips' roots every course would close, and leave them bare
        let disc = |x: f64, r: f64| smooth::disc(pt(x, 22.0), r, 2e-3);
        let hull = |points: Vec<Point>| combine::ring_area(&smooth::hull(&points));
        let shank = hull(vec![
            pt(36.0, 17.0),
            pt(36.0, 27.0),
            pt(150.0, 16.0),
            pt(152.0, 16.0),
            pt(152.0, 28.0),
            pt(150.0, 28.0),
        ]);
        let mouth = [disc(21.0, 9.0).polygons()[0].outer().to_vec(), vec![pt(-5.0, 13.0), pt(-5.0, 31.0)]];
        let body = combine::union_all(&[disc(22.0, 21.0), shank, disc(166.0, 17.0)]);
        let body = combine::difference(&body, &hull(mouth.concat()));
        let body = offset::closed(&offset::opened(&body, 1.0, 2e-3), 7.0, 2e-3);
        let inside = combine::difference(&offset::shrunk(&body, 1.0, 2e-3), &disc(166.0, 12.7));
        let order =
            Order { courses: Some(3), radius: 4.0, width: 0.9, spacing: 0.9, closes: true, ..order() };
        let mut room = Room::new(order, &inside);
        lay(&mut room);
        let tips = |p: Point| p.x < 9.0;
        let strips: Vec<Area> = room
            .courses
            .iter()
            .map(|c| offset::strip(&c.path().flatten(0.01), 0.9, c.path().closed, 0.01))
            .collect();
        let reached = strips.iter().flat_map(Area::rings).flatten().copied().filter(|p| tips(*p)).count();
        assert!(reached > 0, "no tow in the tips of the jaw");
    }

    #[test]
    fn a_fill_closes_where_a_corner_comes_after_too_short_a_leg() {
        // a foot whose upright edges are shorter than a bend
        let foot = [(0., 0.), (70., 0.), (70., 5.), (62., 50.), (8., 50.), (0., 5.)];
        let foot = combine::ring_area(&foot.map(|(x, y)| pt(x, y)));
        let (closed, all, _) = laid_in(&foot, Order { radius: 8.0, ..order() });
        assert!(closed >= 5, "{closed} of {all} closed");
    }

    /// Three eyes joined by two bars, 4 and 2 mm wide between the walls.
    fn three_eyes() -> Area {
        let disc = |x: f64, r: f64| smooth::disc(pt(x, 25.0), r, 2e-3);
        let bar = |x0, x1, half| {
            combine::ring_area(&[
                pt(x0, 25.0 - half),
                pt(x1, 25.0 - half),
                pt(x1, 25.0 + half),
                pt(x0, 25.0 + half),
            ])
        };
        let body = combine::union_all(&[
            disc(20.0, 20.0),
            disc(75.0, 14.0),
            disc(122.0, 18.0),
            bar(30.0, 70.0, 3.0),
            bar(80.0, 110.0, 2.0),
        ]);
        let part = combine::difference_all(&body, &[disc(20.0, 8.0), disc(75.0, 6.0), disc(122.0, 7.0)]);
        offset::shrunk(&part, 1.0, 2e-3)
    }

    #[test]
    fn necks_with_sharp_corners_are_full() {
        let order = Order { width: 0.6, spacing: 0.6, radius: 4.0, ..order() };
        let mut room = Room::new(order, &three_eyes());
        lay(&mut room);
        let across = |x: f64| -> usize {
            let lines = room.courses.iter().map(|c| c.path().flatten(0.01));
            lines.map(|l| l.windows(2).filter(|w| (w[0].x < x) != (w[1].x < x)).count()).sum()
        };
        // 6 and 3 widths across
        assert_eq!([45.0, 55.0, 95.0, 100.0].map(across), [6, 6, 3, 3]);
    }

    #[test]
    fn a_rim_closes_through_necks_with_sharp_corners() {
        let order =
            Order { courses: Some(1), width: 0.6, spacing: 0.6, radius: 4.0, closes: true, ..order() };
        let mut room = Room::new(order, &three_eyes());
        lay(&mut room);
        let longest = room.courses.iter().filter(|c| c.path().closed).map(super::super::Course::length_mm);
        // round three eyes: more than the length of the part there and back
        assert!(longest.fold(0.0, f64::max) > 2.0 * 130.0, "no closed course runs all round");
    }

    #[test]
    fn two_equal_pads_joined_by_a_neck_are_laid_alike() {
        let bar = |x0, y0, x1, y1| combine::ring_area(&[pt(x0, y0), pt(x1, y0), pt(x1, y1), pt(x0, y1)]);
        let pad = |x0: f64| offset::opened(&bar(x0, 0.0, x0 + 38.0, 38.0), 4.0, 0.004);
        let joined = combine::union_all(&[pad(0.0), bar(30.0, 17.0, 130.0, 21.0), pad(120.0)]);
        let holes = [19.0, 139.0].map(|x| smooth::disc(pt(x, 19.0), 6.0, 0.004));
        let plate = combine::difference_all(&offset::closed(&joined, 6.0, 0.004), &holes);
        let mut room = Room::new(Order { width: 0.6, spacing: 0.6, radius: 4.0, ..order() }, &plate);
        lay(&mut room);
        let tow = |own: &dyn Fn(Point) -> bool| -> f64 {
            let each = room.courses.iter().flat_map(|c| c.path().places(0.5).filter(|p| own(*p)));
            each.map(|_| 0.5).sum()
        };
        let (left, right) = (tow(&|p| p.x < 38.0), tow(&|p| p.x > 120.0));
        assert!((left - right).abs() < 0.02 * left, "{left} and {right} mm");
    }
}

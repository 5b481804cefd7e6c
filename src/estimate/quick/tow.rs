//! How much tow a layer's regions take, by areas: bands instead of courses.

use super::{CHORD_MM, ROUGH_MM};
use crate::count::f64_of;
use crate::fibre::{CUT_OF_A_RING, Directions, SPIRAL_MARGIN};
use crate::geom::{Area, Point, combine, hatch, offset, polyline, smooth};
use crate::job::{Job, Region, Rule};
use crate::reinforcement::{LayerTasks, Target, Task};
use std::collections::HashMap;
use std::f64::consts::{PI, TAU};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};

/// Tow in a layer.
#[derive(Clone, Debug, Default)]
pub(super) struct Tow {
    /// Length of all courses, mm.
    pub(super) length_mm: f64,
    /// How many.
    pub(super) courses: f64,
    /// Ground that regions have for themselves: courses, and what lies open
    /// between them.
    pub(super) taken: Area,
}

impl Tow {
    fn add(&mut self, length_mm: f64, courses: f64) {
        self.length_mm += length_mm;
        self.courses += courses;
    }
}

/// What the rules ask of one region.
struct Ask<'a> {
    region: &'a Region,
    width: f64,
    spacing: f64,
    radius: f64,
    shortest: f64,
    /// From a hole's edge to the first strip.
    clearance: f64,
}

/// The tow of a layer, region by region in the order of laying. Each has what
/// those before it left.
pub(super) fn tow(job: &Job, tasks: &LayerTasks, round: &HoopsRound) -> Tow {
    let mut tow = Tow::default();
    let Some(map) = &job.map else { return tow };
    for task in &tasks.tasks {
        let region = &map.regions[task.region];
        let ask = Ask {
            region,
            width: job.tow.width_mm,
            spacing: region.spacing_mm,
            // between two loops a spiral bends a little tighter than they do
            radius: region.min_bend_radius_mm * if region.may_wind() { SPIRAL_MARGIN } else { 1.0 },
            shortest: job.printer.shortest_course_mm(),
            clearance: job.beads.perimeters_mm(),
        };
        let within = task.target.within();
        let free = combine::simplified(&combine::difference(within, &tow.taken), ROUGH_MM);
        let before = tow.length_mm;
        let band = match (&task.target, region.rule) {
            (Target::Area(_), Rule::Unidirectional) => rows(&ask, task, &free, &mut tow),
            (Target::Area(_), Rule::Steered) => steered(&ask, &free, &mut tow),
            (Target::Area(_), _) => contour(&ask, &free, &mut tow),
            (Target::Holes { holes, .. }, _) => {
                let bands: Vec<Area> = holes.iter().map(|h| hoops(&ask, h, &free, round, &mut tow)).collect();
                combine::union_all(&bands)
            }
            // a strap lies close to the shortest belt round its pins
            (Target::Pins { pins, .. }, _) => {
                let corners: Vec<Point> = pins.iter().flat_map(Area::rings).flatten().copied().collect();
                straps(&ask, task, &combine::ring_area(&smooth::hull(&corners)), &free, &mut tow)
            }
        };
        if tow.length_mm > before {
            tow.taken = combine::union(&tow.taken, &combine::simplified(&band, ROUGH_MM));
        }
    }
    tow
}

/// The area shrunk, with few points.
fn shrunk(area: &Area, distance_mm: f64) -> Area {
    combine::simplified(&offset::grown(area, -distance_mm, CHORD_MM), ROUGH_MM)
}

/// The area with convex corners of the radius, in few points: what a loop along its
/// edge can go round.
fn eased(area: &Area, radius: f64) -> Area {
    if wide(area, radius) { area.clone() } else { shrunk(&shrunk(area, radius), -radius) }
}

/// A disc of the radius rolls all round inside: the edge is convex and nowhere bends
/// tighter.
fn wide(area: &Area, radius: f64) -> bool {
    area.rings().all(convex) && smooth::tight_share(area, radius) <= 0.0
}

fn convex(ring: &[Point]) -> bool {
    corners(ring).all(|[a, b, c]| (b - a).cross(c - b) >= 0.0)
}

/// Each corner of a ring between those beside it.
fn corners(ring: &[Point]) -> impl Iterator<Item = [Point; 3]> + '_ {
    let n = ring.len();
    (0..n).map(move |i| [ring[i], ring[(i + 1) % n], ring[(i + 2) % n]])
}

/// Rings from every boundary, or from the outer one alone where that lays more.
fn contour(ask: &Ask<'_>, area: &Area, tow: &mut Tow) -> Area {
    let mut laid = Tow::default();
    let band = rings(ask, area, &mut laid);
    // loops round several small holes leave wedges between them: rings lead past instead
    let passed = |h: &crate::geom::Ring| polyline::ring_length(h) + PI * ask.width < loop_mm(ask);
    let holes = || area.polygons().iter().flat_map(|p| p.holes());
    if ask.region.courses.is_none() && holes().next().is_some() {
        let mut outer = Tow::default();
        outer_rings(ask, area, &mut outer);
        let worth = |t: &Tow| t.length_mm - 0.25 * ask.shortest * t.courses;
        if holes().filter(|h| passed(h)).count() > 2 || worth(&outer) > worth(&laid) {
            laid = outer;
        }
    }
    tow.add(laid.length_mm, laid.courses);
    band
}

/// How much longer than the shortest course a loop is at least, as a share. Found on
/// the bench set.
const LOOP: f64 = 1.2;

/// Length that a loop has at least.
fn loop_mm(ask: &Ask<'_>) -> f64 {
    (LOOP * ask.shortest).max(0.95 * TAU * ask.radius)
}

/// Rings inwards from every boundary of an area, a few at a time. In corners each
/// is shorter by what the bend rounds off; places too narrow for a loop, or with
/// loops too short, take courses side by side.
fn rings(ask: &Ask<'_>, area: &Area, tow: &mut Tow) -> Area {
    let least = loop_mm(ask);
    let mut left = f64_of(ask.region.courses.unwrap_or(100_000));
    let mut rest = area.clone();
    let mut step = 1.0_f64;
    let before = (tow.length_mm, tow.courses);
    // tow when rounds end there and straight courses fill the rest
    let mut straight_from: Vec<(f64, f64)> = Vec::new();
    while left > 0.5 && !rest.is_empty() {
        let ways = shrunk(&rest, 0.5 * ask.width);
        // each boundary bends by itself: holes are looked at apart from the edge round them
        let filled: Vec<Area> = ways.polygons().iter().map(|p| combine::ring_area(p.outer())).collect();
        let plain = ways.polygons().len() == rest.polygons().len()
            && rest.polygons().iter().all(|p| convex(p.outer()))
            && filled.iter().all(|f| f.perimeter() >= least && wide(f, ask.radius));
        let (loops, whole) = if plain {
            (combine::apart(filled.clone()), rest.clone())
        } else {
            let loops = filled.iter().flat_map(|f| {
                let long = |p: &Area| p.perimeter() >= least;
                eased(f, ask.radius).split().filter(long).collect::<Vec<_>>()
            });
            let loops = combine::apart(loops.collect());
            let whole = combine::intersection(&offset::grown(&loops, 0.5 * ask.width, CHORD_MM), &rest);
            for piece in combine::difference(&rest, &whole).split() {
                narrow(ask, &piece, 2.0 * left, tow);
            }
            // edges of both that nearly coincide are slow to move
            (loops, combine::simplified(&whole, ROUGH_MM))
        };
        if loops.is_empty() {
            // courses side by side have all of it
            rest = Area::empty();
            break;
        }
        let mut count = step.min(left);
        let within = |n: f64| shrunk(&whole, n * ask.spacing);
        let mut inner = within(count);
        while inner.is_empty() && count > 1.0 {
            count = (0.5 * count).floor();
            inner = within(count);
        }
        let long = |a: &Area| -> (f64, f64) {
            let rings = a.rings().map(polyline::ring_length).filter(|l| *l >= least);
            rings.fold((0.0, 0.0), |(sum, n), l| (sum + l, n + 1.0))
        };
        let holes =
            ways.polygons().iter().zip(&filled).flat_map(|(p, f)| p.holes().iter().map(move |h| (h, f)));
        let (outer_mm, outer) = holes
            .map(|(hole, edge)| uninterrupted(ask, hole, edge))
            .filter(|l| *l >= least)
            .fold(long(&loops), |(sum, n), l| (sum + l, n + 1.0));
        let (inner_mm, inner_n) = long(&inner);
        let (length, courses) = if count < 1.5 {
            (outer_mm, outer)
        } else {
            (0.5 * count * (outer_mm + inner_mm), 0.5 * count * (outer + inner_n))
        };
        // two edges of a narrow place share what lies between them
        let room_mm = (whole.area() - inner.area()) / ask.width;
        let share = (room_mm / length.max(1e-9)).min(1.0);
        tow.add(length * share, courses * share);
        rest = inner;
        left -= count;
        step = (step * 1.6).ceil();
        if ask.region.courses.is_none() {
            let (length, courses) = straight(ask, &rest);
            straight_from.push((tow.length_mm + length, tow.courses + courses));
        }
    }
    let cut = if ask.region.few_cuts { CUT_WHERE_FEW } else { CUT_OF_A_RING } * ask.shortest;
    let worth = |t: &(f64, f64)| t.0 - before.0 - cut * (t.1 - before.1);
    if let Some(best) = straight_from.into_iter().max_by(|a, b| worth(a).total_cmp(&worth(b)))
        && worth(&best) * RATHER > worth(&(tow.length_mm, tow.courses))
    {
        (tow.length_mm, tow.courses) = best;
    }
    if ask.region.courses.is_some() { combine::difference(area, &rest) } else { area.clone() }
}

/// Length and number of straight courses in the direction that gives most.
fn straight(ask: &Ask<'_>, rest: &Area) -> (f64, f64) {
    let free = shrunk(rest, 0.5 * ask.width);
    let laid = |k: u32| {
        let rows = hatch::rows(&free, PI * f64::from(k) / 12.0, ask.spacing, 0.5 * ask.spacing);
        let lengths = rows.iter().flat_map(|r| &r.spans).map(|(a, b)| b - a + 2.0 * END * ask.width);
        lengths.filter(|l| *l >= ask.shortest).fold((0.0, 0.0), |(sum, n), l| (sum + l, n + 1.0))
    };
    (0..12).map(laid).max_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or_default()
}

/// What a cut costs where few are asked for, in shortest pieces: found by holding this
/// estimate against what is laid on the bench set.
const CUT_WHERE_FEW: f64 = 0.6;

/// Rounds are what is asked for: straight courses must give more by this share.
const RATHER: f64 = 0.97;

/// Share of the ground that nested rings cover at most.
const FULL: f64 = 0.97;

/// How much longer than the shortest course a place must be, as a share: neighbours
/// and eased corners take a part of it. Found on the bench set.
const LONGER: f64 = 1.3;

/// Length of a course along a hole: where it would come too near to the one along
/// the outer edge, that one has the place.
fn uninterrupted(ask: &Ask<'_>, hole: &[Point], edge: &Area) -> f64 {
    let mut ring = hole.to_vec();
    ring.push(hole[0]);
    let ring = polyline::densified(&ring, 2.0 * ask.width);
    let near = ring[1..].iter().filter(|p| edge.boundary_distance(**p) < ask.width).count();
    polyline::ring_length(hole) * (1.0 - f64_of(near) / f64_of(ring.len() - 1))
}

/// Rings along the outer edge alone, past all holes.
fn outer_rings(ask: &Ask<'_>, area: &Area, tow: &mut Tow) {
    let filled: Vec<Area> = area.polygons().iter().map(|p| combine::ring_area(p.outer())).collect();
    let mut edge = combine::union_all(&filled);
    let mut step = 1.0_f64;
    while !edge.is_empty() {
        // the middle one of so many
        let inwards = 0.5 * (step - 1.0) * ask.spacing;
        let core = shrunk(&edge, inwards + 0.5 * ask.width + ask.radius);
        let band = combine::difference(
            &offset::grown(&core, ask.radius + 0.5 * ask.width, CHORD_MM),
            &offset::grown(&core, ask.radius - 0.5 * ask.width, CHORD_MM),
        );
        for piece in combine::intersection(&band, area).split() {
            let length = piece.area() / ask.width;
            if length >= LONGER * ask.shortest {
                tow.add(step * length, step);
            }
        }
        edge = shrunk(&edge, step * ask.spacing);
        step = (step + 1.0).min(3.0);
    }
    // the last few may be counted where one fits
    tow.length_mm = tow.length_mm.min(FULL * area.area() / ask.spacing);
}

/// Courses side by side along a place too narrow for loops.
fn narrow(ask: &Ask<'_>, piece: &Area, most: f64, tow: &mut Tow) {
    if 0.5 * piece.perimeter() < LONGER * ask.shortest || piece.area() < 0.8 * ask.width * ask.shortest {
        return;
    }
    // where a course finds its whole width
    for way in shrunk(piece, 0.48 * ask.width).split() {
        let long = 0.5 * way.perimeter();
        if long >= LONGER * ask.shortest {
            // where courses end beside each other some ground is lost, the more the shorter they are
            let share = 1.0 - LOST_AT_ENDS * ask.shortest / long;
            let beside = 1.0 + share * way.area() / (long * ask.spacing);
            tow.add(long * beside.min(most), beside.min(most));
        }
    }
}

/// Ground in narrow places that courses beside the first one lose, in shortest courses along
/// each: nearly two fifths where they are hardly longer than that. Found on the bench set.
const LOST_AT_ENDS: f64 = 0.5;

/// Hoops round a hole, one after the other as they are laid: what of each lies in
/// the room in pieces that can be laid, until one of them finds nothing.
fn hoops(ask: &Ask<'_>, hole: &Area, room: &Area, round: &HoopsRound, tow: &mut Tow) -> Area {
    // the first one touches the wall: chords of both take from its room
    let free = shrunk(room, 0.5 * ask.width - CHORD_MM - ROUGH_MM);
    let around = round.hole(ask, hole);
    let mut last = None;
    let (mut whole, mut innermost_mm) = (0.0, 0.0);
    for k in 0..ask.region.courses.unwrap_or(MOST_HOOPS) {
        let Some(hoop) = around.hoop(k, ask, hole) else { break };
        let pieces = hoop.within(&free);
        let (length, courses) =
            pieces.iter().filter(|l| **l >= ask.shortest).fold((0.0, 0.0), |(sum, n), l| (sum + l, n + 1.0));
        if length <= 0.0 && (ask.region.courses.is_none() || pieces.is_empty()) {
            break;
        }
        tow.add(length, courses);
        if pieces == [hoop.length_mm] {
            if whole < 0.5 {
                innermost_mm = hoop.length_mm;
            }
            whole += 1.0;
        }
        last = Some(hoop);
    }
    if ask.region.may_wind() && whole > 1.0 && innermost_mm > 2.0 * WAY_OVER * ask.spacing {
        // the outermost ends where the one inside it comes over
        tow.add(-WAY_OVER * ask.spacing, 1.0 - whole);
    }
    last.map_or_else(Area::empty, |h| combine::intersection(h.ground(ask, hole), room))
}

/// Length over which a spiral goes from one hoop to the next, in spacings: the
/// shortest that is tried when it is wound, on hoops at least twice as long.
const WAY_OVER: f64 = 18.0;

/// More hoops than fit into any part.
const MOST_HOOPS: usize = 10_000;

/// Hoops of all layers: a hole goes through many of them.
#[derive(Default)]
pub(super) struct HoopsRound(Mutex<HashMap<Vec<u64>, Arc<Hoops>>>);

impl HoopsRound {
    /// The hoops round a hole under a region's rules.
    fn hole(&self, ask: &Ask<'_>, hole: &Area) -> Arc<Hoops> {
        let rules = [ask.clearance, ask.width, ask.spacing, ask.radius];
        let points = hole.rings().flatten().flat_map(|p| [p.x, p.y]);
        let key = rules.into_iter().chain(points).map(f64::to_bits).collect();
        locked(&self.0).entry(key).or_default().clone()
    }
}

/// Hoops round one hole, from the innermost on, as many as were asked for.
#[derive(Default)]
struct Hoops(Mutex<Vec<Arc<Hoop>>>);

impl Hoops {
    fn hoop(&self, index: usize, ask: &Ask<'_>, hole: &Area) -> Option<Arc<Hoop>> {
        let mut hoops = locked(&self.0);
        while hoops.len() <= index {
            let around = match hoops.last() {
                Some(inner) => offset::grown(&inner.around, ask.spacing, CHORD_MM),
                None => {
                    let edge = offset::grown(hole, ask.clearance + 0.5 * ask.width, CHORD_MM);
                    smooth::rounded_up(edge.polygons().first()?.outer(), ask.radius)
                }
            };
            hoops.push(Arc::new(Hoop::new(combine::simplified(&around, ROUGH_MM), ask.width)?));
        }
        hoops.get(index).cloned()
    }
}

/// Nothing is left half done where another thread ended early.
fn locked<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A hoop, whatever room there is for it.
struct Hoop {
    /// What lies within its middle.
    around: Area,
    /// Places along it; the first one is repeated.
    line: Vec<Point>,
    length_mm: f64,
    ground: OnceLock<Area>,
}

impl Hoop {
    fn new(around: Area, step: f64) -> Option<Self> {
        let ring = around.polygons().first()?.outer();
        let mut line = ring.to_vec();
        line.push(ring[0]);
        let (line, length_mm) = (polyline::densified(&line, step), polyline::ring_length(ring));
        Some(Self { around, line, length_mm, ground: OnceLock::new() })
    }

    /// Ground from the hole to this hoop's outer edge.
    fn ground(&self, ask: &Ask<'_>, hole: &Area) -> &Area {
        self.ground.get_or_init(|| {
            combine::difference(&offset::grown(&self.around, 0.5 * ask.width, CHORD_MM), hole)
        })
    }

    /// Lengths of the pieces that lie in an area; one of the whole length where all
    /// of it does.
    fn within(&self, area: &Area) -> Vec<f64> {
        let line = &self.line;
        let inside: Vec<bool> = line[1..].iter().map(|p| area.contains(*p)).collect();
        let n = inside.len();
        let Some(first) = inside.iter().position(|i| !i) else { return vec![self.length_mm] };
        let mut pieces = Vec::new();
        let mut length = 0.0;
        // once round from a place that lies outside
        for k in 1..=n {
            let i = (first + k) % n;
            if inside[i] {
                length += line[i].dist(line[i + 1]);
            } else if length > 0.0 {
                pieces.push(length);
                length = 0.0;
            }
        }
        pieces
    }
}

/// Straps round a hull of pins, side by side as far as the room goes. Where others have
/// parted their ground none closes.
fn straps(ask: &Ask<'_>, task: &Task, pins: &Area, room: &Area, tow: &mut Tow) -> Area {
    let round = (pins.area() / PI).sqrt();
    let inner = ask.clearance.max(ask.radius - round - 0.5 * ask.width);
    let reach = room.bounds().map_or(0.0, |b| b.size().norm());
    let count = ask.region.courses.map_or(reach / ask.spacing, f64_of);
    let most = (count - 1.0).max(0.0) * ask.spacing + ask.width;
    let pins = combine::simplified(pins, ROUGH_MM);
    let band = combine::difference(
        &offset::grown(&pins, inner + most, CHORD_MM),
        &offset::grown(&pins, inner, CHORD_MM),
    );
    // straps that go round all pins are led along the edge where they would leave the part
    let filled = |room: &Area| {
        let outer: Vec<Area> = room.polygons().iter().map(|p| combine::ring_area(p.outer())).collect();
        combine::union_all(&outer)
    };
    let whole_in = |filled: &Area| {
        let mut whole = 0.0;
        while whole < count {
            // bends lie round pins, straight sides between them
            let belt = offset::grown(&pins, inner + whole * ask.spacing + ask.width, CHORD_MM);
            if !belt.rings().flatten().all(|p| filled.contains(*p)) {
                break;
            }
            whole += 1.0;
        }
        whole
    };
    let mut led = Area::empty();
    let within = filled(room);
    let whole = whole_in(&within);
    if whole > 0.0 {
        let wide = (whole - 1.0) * ask.spacing + ask.width;
        let beyond = combine::difference(&offset::grown(&pins, inner + wide, CHORD_MM), &within);
        led = offset::grown(&beyond, wide, CHORD_MM);
    }
    let ground = combine::union(&band, &led);
    let free = combine::intersection(&ground, room);
    let alone = combine::intersection(&ground, task.target.within());
    if enclosed_mm2(&free) < 0.5 * enclosed_mm2(&alone) {
        // one that weaves waits for the layer where it has its turn; of others no more than
        // would close pass between a pin and the part's edge
        let close = whole_in(&filled(task.target.within()));
        let count = if close > 0.0 { close } else { count };
        return if task.waits { Area::empty() } else { held(ask, &pins, inner, count, room, tow) };
    }
    for piece in free.split() {
        // a sliver where the band only grazes the room is no course
        let length = piece.area() * count.max(1.0) / most;
        if length >= ask.shortest {
            let one = 0.5 * piece.perimeter();
            let courses = (length / one).round().max(1.0);
            if ask.region.may_wind() && whole > 1.0 && courses > 1.0 && one > 2.0 * WAY_OVER * ask.spacing {
                tow.add(length - WAY_OVER * ask.spacing, 1.0);
            } else {
                tow.add(length, courses);
            }
        }
    }
    free
}

/// The largest area that a hole of some area has, mm2: what rings of tow go round.
fn enclosed_mm2(area: &Area) -> f64 {
    let holes = area.polygons().iter().flat_map(|p| p.holes());
    holes.map(|h| combine::ring_area(h).area()).fold(0.0, f64::max)
}

/// What is laid of straps that do not close: the pieces that a pin holds.
fn held(ask: &Ask<'_>, pins: &Area, inner: f64, count: f64, room: &Area, tow: &mut Tow) -> Area {
    let wide = (count - 1.0).max(0.0) * ask.spacing + ask.width;
    let grown = |by: f64| offset::grown(pins, inner + by, CHORD_MM);
    let band = combine::intersection(&combine::difference(&grown(wide), &grown(0.0)), room);
    let middle = grown(0.5 * wide);
    let bends = || middle.rings().flat_map(corners).map(|[a, b, c]| (b, (b - a).turn_to(c - b)));
    let mut kept = Vec::new();
    for piece in band.split() {
        let turn: f64 = bends().filter(|(at, _)| piece.contains(*at)).map(|(_, turn)| turn).sum();
        let length = piece.area() * count.max(1.0) / wide;
        if turn >= HELD && length >= ask.shortest * count.max(1.0) {
            tow.add(length, count.max(1.0));
            kept.push(piece);
        }
    }
    combine::union_all(&kept)
}

/// Turn about a pin from which on a piece of a strap hangs on it, radians: as straps are laid.
const HELD: f64 = PI / 3.0;

/// Parallel rows. Those too short to be cut and laid are laid where turns join
/// them, less what turns take from their ends: the shorter, the less is left.
fn rows(ask: &Ask<'_>, task: &Task, area: &Area, tow: &mut Tow) -> Area {
    let inner = shrunk(area, 0.5 * ask.width);
    let saving = 1.0 / (1.0 + ask.shortest / CUTS_MM);
    // long rows are joined where that is asked for, short ones for want of length
    let few = |length: f64| ask.region.turns && (ask.region.few_cuts || length < LONG * ask.shortest);
    let angle = task.angle_deg.to_radians();
    for place in inner.split() {
        let rows = hatch::rows(&place, angle, ask.spacing, 0.5 * ask.spacing);
        // a turn between two rows of a place needs its two radii across
        let turns = ask.region.turns && f64_of(rows.len()) * ask.spacing > 2.0 * ask.radius + ask.spacing;
        for (from, to) in rows.into_iter().flat_map(|r| r.spans) {
            // the strip's ends are square: they reach a little further than its middle's room
            let length = to - from + 2.0 * END * ask.width;
            let cuts = if few(length) { saving } else { 1.0 };
            if length >= ask.shortest {
                tow.add(length, cuts);
            } else if turns {
                let joined = (length - TURNED * ask.radius).max(0.0);
                tow.add(joined, cuts * joined / ask.shortest);
            }
        }
    }
    area.clone()
}

/// What turns take from a row that they join, both its ends together, in bend radii:
/// its corners, and where it ends at the bend of a turn round it. Found on the bench
/// set and on plates of short rows.
const TURNED: f64 = 2.3;

/// Turns save cuts, the more the longer a piece must be: half of them where it must
/// be this long, mm. Found on the bench set.
const CUTS_MM: f64 = 80.0;

/// Rows from this many shortest courses on are long. Found on the bench set.
const LONG: f64 = 4.0;

/// How much further a row reaches than the room of its middle, as a share of the
/// tow's width: half a width where the boundary stands square, less elsewhere.
const END: f64 = 0.3;

/// Courses along a direction field: what would lie side by side, less the gaps
/// where the field fans out.
fn steered(ask: &Ask<'_>, area: &Area, tow: &mut Tow) -> Area {
    let (Some(field), Some(b)) = (&ask.region.field, area.bounds()) else { return Area::empty() };
    let field = Directions::new(field);
    let step = (0.04 * b.size().norm()).max(0.5);
    let (mut fan, mut places) = (0.0, 0.0);
    let mut seeds = Vec::new();
    let mut y = b.lo.y + 0.5 * step;
    while y < b.hi.y {
        let mut x = b.lo.x + 0.5 * step;
        while x < b.hi.x {
            let p = Point::new(x, y);
            if area.contains(p) {
                let left = Point::unit(field.at(p)).left() * (0.5 * step);
                // directions have no sense: the smaller turn of two
                let mut turn = field.at(p + left) - field.at(p - left);
                turn -= PI * (turn / PI).round();
                fan += turn.abs() / step;
                places += 1.0;
                seeds.push(p);
            }
            x += step;
        }
        y += step;
    }
    let long = area.area().sqrt();
    let gaps = if places > 0.0 { (FANS * fan / places * long).min(0.4) } else { 0.0 };
    let ends = (END_LOSS * ask.shortest / long).min(0.4);
    // lines of the field run as far as the ground goes; of the courses beside each
    // other some find no room for so long
    let apart = (seeds.len() / TRACED).max(1);
    let mut traced: Vec<f64> = seeds.iter().step_by(apart).map(|p| run(&field, area, *p, step)).collect();
    let all = f64_of(traced.len().max(1));
    // where they are too short to be laid the ground stays open
    traced.retain(|l| *l >= ask.shortest);
    let served = f64_of(traced.len()) / all;
    let length = area.area() / ask.spacing * served * (1.0 - gaps - ends);
    let run = traced.iter().sum::<f64>() / f64_of(traced.len().max(1));
    tow.add(length, length * (1.0 / run.max(ask.shortest) + 1.0 / BROKEN_MM));
    area.clone()
}

/// Lines of a field that are followed.
const TRACED: usize = 60;

/// How far a line of the field through a place runs within the area, both ways, mm.
fn run(field: &Directions, area: &Area, from: Point, step: f64) -> f64 {
    let mut length = 0.0;
    for sense in [1.0, -1.0] {
        let mut at = from;
        let mut along = Point::unit(field.at(from)) * sense;
        for _ in 0..MOST_STEPS {
            // half a step ahead, so that lines do not drift out of their bends
            let next = Point::unit(field.at(at + along * (0.5 * step)));
            // directions have no sense: on with the one that turns less
            along = if next.dot(along) < 0.0 { next * -1.0 } else { next };
            at = at + along * step;
            if !area.contains(at) {
                // the edge lies somewhere within the step
                length += 0.5 * step;
                break;
            }
            length += step;
        }
    }
    length
}

/// Steps along a line of the field, each way: more than its ground is long in all.
const MOST_STEPS: usize = 100;

/// Share of the ground that gaps take where directions turn by a radian over the
/// ground's size, square to the courses. Found on the bench set.
const FANS: f64 = 0.035;

/// Share that uneven ends take, in shortest courses over the ground's size.
const END_LOSS: f64 = 0.16;

/// A course along a line of the field is broken once in so much tow, mm: its neighbours
/// close in on it or turn away. Found on the bench set and on plates and brackets of 50
/// to 280 mm.
const BROKEN_MM: f64 = 280.0;

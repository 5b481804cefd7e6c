//! One region of a layer: the rule that lays it, and what is done with its courses
//! whatever the rule.

use super::along::SWING_SHARES;
use super::order::Order;
use super::room::Room;
use super::unidirectional;
use super::{Course, TRAIL_MOST, contour, ends, hoop, spiral, steered, strap, trail, trails};
use crate::count::f64_of;
use crate::geom::nearest::Lines;
use crate::geom::{Area, Point, Polygon, bend, combine, offset};
use crate::job::{Job, Region, Rule};
use crate::reinforcement::{Target, Task, hoops_between};

/// What a task finds in its layer.
pub(super) struct Place<'a> {
    /// The strips must lie here.
    pub(super) within: &'a Area,
    /// The same less what is laid already.
    pub(super) free: &'a Area,
    /// The outline less its perimeters.
    pub(super) inside: &'a Area,
    /// What other regions laid.
    pub(super) others: &'a [Course],
    /// The boundary of what the nozzle may pass over.
    pub(super) over: &'a Lines,
}

/// A task's courses.
pub(super) struct Laid<'a> {
    pub(super) room: Room<'a>,
    /// Where strips may lie.
    pub(super) layable: Area,
    /// Strips of the loops that spirals were wound from.
    pub(super) wound_loops: Vec<Area>,
    /// Cuts that turns and spirals saved.
    pub(super) saved: usize,
    /// Points inside the loops that were too short to be laid by themselves and could not be
    /// wound either.
    unwound: Vec<Point>,
    /// Such loops were wound.
    wound_short: bool,
}

impl Laid<'_> {
    fn length_mm(&self) -> f64 {
        self.room.courses.iter().map(Course::length_mm).sum()
    }

    /// Closed courses.
    fn loops(&self) -> usize {
        self.room.courses.iter().filter(|c| c.path().closed).count()
    }

    /// The better of two where spirals are asked for: fewer loops that are in none, then more
    /// tow.
    fn or_more_wound(self, other: Self) -> Self {
        let fewer = other.loops().cmp(&self.loops());
        if fewer.then(self.length_mm().total_cmp(&other.length_mm())).is_lt() { other } else { self }
    }

    /// The better of two where few cuts are asked for: one without more of them, and then more
    /// tow less what cuts may cost.
    fn or_fewer_cuts(self, other: Self) -> Self {
        let pieces = f64_of(self.room.courses.len());
        let more = other.length_mm() - self.length_mm();
        let cuts = f64_of(other.room.courses.len()) - pieces;
        let worth = more > CUT_OF_A_LOOP * cuts * self.length_mm() / pieces.max(1.0);
        if cuts <= 0.0 && worth { other } else { self }
    }
}

/// What closed courses may be laid.
#[derive(Clone, Copy)]
enum Loops<'a> {
    /// Those that can be cut and laid.
    Long,
    /// All: what is too short is wound with its neighbours to a spiral that is not.
    All,
    /// All but those too short round these points.
    AllBut(&'a [Point]),
}

/// What a cut may cost where few are asked for, as a share of a mean course, between
/// ways of laying loops: half of what it may cost where rows are joined, for a way that
/// saves few cuts gives up whole loops. Found on the bench set.
const CUT_OF_A_LOOP: f64 = 0.06;

/// How closed courses are bent, and which are wound into spirals.
#[derive(Clone, Copy)]
struct Winding {
    /// How much wider than asked for loops are bent: between loops a spiral bends tighter
    /// than they do, a little where they run straight, more where they are round throughout.
    wider: f64,
    /// Every chain of loops is wound, or only what is too short to be laid by itself.
    all: bool,
}

impl Winding {
    /// Loops as they are asked for.
    const NONE: Self = Self { wider: 1.0, all: false };

    const fn all(wider: f64) -> Self {
        Self { wider, all: true }
    }
}

/// The ways of winding in which a region is laid, the first and those that are tried beside it.
fn windings(region: &Region) -> (Winding, &'static [Winding]) {
    const LITTLE: Winding = Winding::all(1.02);
    const WELL: Winding = Winding::all(spiral::MARGIN);
    if region.spiral {
        (WELL, &[LITTLE])
    } else if region.may_wind() {
        (Winding::NONE, &[LITTLE, WELL])
    } else {
        (Winding::NONE, &[])
    }
}

/// What trailing tow of a region is led within.
pub(super) fn leads_of(job: &Job, region: &Region) -> trail::Leads {
    trail::Leads {
        trail: job.tow.trail_mm,
        radius: region.min_bend_radius_mm,
        most: TRAIL_MOST * job.tow.width_mm,
        shortest: job.printer.shortest_course_mm(),
        apart: ENDS_APART * job.tow.width_mm,
    }
}

/// How far ends of a course that is parted keep from each other, widths: a hair more than what
/// courses keep.
const ENDS_APART: f64 = 1.05;

/// Lays what a task asks for, in the way of those tried that serves it best.
pub(super) fn lay<'a>(
    job: &Job,
    region: &'a Region,
    task: &Task,
    field: Option<&super::Directions>,
    place: &Place<'_>,
) -> Laid<'a> {
    let lay =
        |winding: Winding, loops: Loops<'_>| lay_wound(job, region, task, field, place, (winding, loops));
    let way = |winding: Winding| {
        let mut all = lay(winding, Loops::All);
        if !all.unwound.is_empty() && !winding.all {
            // loops that are hardly wider than tow can bend leave no way over from one to the next
            let wider = lay(Winding { wider: spiral::MARGIN, all: false }, Loops::All);
            if wider.unwound.len() < all.unwound.len() && wider.length_mm() > all.length_mm() {
                all = wider;
            }
        }
        if !all.unwound.is_empty() {
            // they stood in the way of other courses, which went round them
            all = lay(winding, Loops::AllBut(&all.unwound));
        }
        if !all.unwound.is_empty() || (all.wound_short && region.courses.is_none()) {
            // what is to be filled is filled in the way that covers more
            let long = lay(winding, Loops::Long);
            if !all.unwound.is_empty() || long.length_mm() > all.length_mm() {
                return long;
            }
        }
        all
    };
    let (first, others) = windings(region);
    let mut best = way(first);
    let mut loops = best.loops();
    for &winding in others {
        // without loops, or when each is in a spiral, wider ones save no more cuts
        if loops == 0 && !region.spiral {
            break;
        }
        let wound = way(winding);
        loops = wound.loops();
        best = if region.spiral { best.or_more_wound(wound) } else { best.or_fewer_cuts(wound) };
    }
    best
}

/// Lays a task with loops that are to be wound, bent so much wider, or not.
fn lay_wound<'a>(
    job: &Job,
    region: &'a Region,
    task: &Task,
    field: Option<&super::Directions>,
    place: &Place<'_>,
    (winding, loops): (Winding, Loops<'_>),
) -> Laid<'a> {
    let order = order_of(job, region, task, (winding, loops));
    let mut room = Room::new(order, place.free);
    if let Loops::AllBut(points) = loops {
        room.unwound = points.to_vec();
    }
    let mut layable = layable(&task.target, place.free, &order, job);
    let mut saved = 0;
    let mut wound_loops = Vec::new();
    match (&task.target, region.rule) {
        (Target::Area(_), Rule::Unidirectional) => saved += unidirectional::lay(&mut room),
        (Target::Area(_), Rule::Steered) => {
            if let Some(field) = field {
                saved += steered::lay(&mut room, field);
            }
        }
        (Target::Area(_), _) => contour::lay(&mut room),
        (Target::Holes { holes, bodies, .. }, rule) => {
            for (k, hole) in holes.iter().enumerate() {
                let lay = |room: &mut Room<'_>| {
                    hoop::lay(room, hole, job.beads.perimeters_mm(), rule != Rule::Hoop, winding.all);
                };
                snugly_if_more(&mut room, |room| match bodies.get(k) {
                    Some(body) => room.only_in(body, lay),
                    None => lay(room),
                });
            }
            if order.courses.is_none() {
                // filled as far as it goes: what of loops lies outside was not asked for
                room.left_out.clear();
                contour::tell_unserved(&mut room);
            }
        }
        (Target::Pins { pins, .. }, _) => {
            snugly_if_more(&mut room, |room| {
                strap::lay(room, pins, job.beads.perimeters_mm(), place.inside);
            });
            if let Some(ground) = strap::ground(&room) {
                layable = combine::intersection(place.free, &ground);
            }
        }
    }
    // ends of spirals stay where loops were: led on they would leave the round
    ends::lead_on(&mut room, place.within, place.inside, place.others, region.min_bend_radius_mm);
    let mut unwound = Vec::new();
    let wound_short = !spiral::short_loops(&room).is_empty();
    if winding.all {
        let (fewer, strips) = spiral::wind(&mut room, winding.wider);
        saved += fewer;
        wound_loops = strips;
    }
    if wound_short {
        wound_loops.extend(spiral::wind_short(&mut room, winding.wider));
        unwound = spiral::give_up_short_loops(&mut room);
    }
    if trails(job.tow.trail_mm, region.min_bend_radius_mm) {
        let leads = leads_of(job, region);
        // loops are led from where they begin, which is settled with the layers beside
        let led = |c: &Course| if c.path().closed { c.clone() } else { trail::led(c, place.over, leads) };
        room.courses = room.courses.iter().map(led).collect();
        trail::part_astray(&mut room, place.over, leads);
    }
    Laid { room, layable, wound_loops, saved, unwound, wound_short }
}

/// Lays loops, and where not as many close as are asked for once more as near to what they go
/// round as they may lie; what closes more stays.
fn snugly_if_more<'a>(room: &mut Room<'a>, lay: impl Fn(&mut Room<'a>)) {
    let before = room.clone();
    lay(room);
    let closed = |room: &Room<'_>| room.courses.iter().filter(|c| c.path().closed).count();
    let made = closed(room).saturating_sub(closed(&before));
    if room.order.courses.is_none_or(|asked| made >= asked) {
        return;
    }
    let mut snug = before;
    snug.order.snug = true;
    lay(&mut snug);
    if closed(&snug) > closed(room) {
        snug.order.snug = false;
        *room = snug;
    }
}

/// What a region asks for in a layer.
fn order_of<'a>(
    job: &Job,
    region: &'a Region,
    task: &Task,
    (winding, loops): (Winding, Loops<'_>),
) -> Order<'a> {
    let shortest = job.printer.shortest_course_mm();
    let winds = !matches!(region.rule, Rule::Unidirectional | Rule::Steered) && !matches!(loops, Loops::Long);
    Order {
        region: &region.name,
        rule: region.rule,
        rank: task.rank,
        width: job.tow.width_mm,
        spacing: region.spacing_mm,
        // between two loops a spiral bends a little tighter than they do
        radius: region.min_bend_radius_mm * winding.wider,
        asked_radius: region.min_bend_radius_mm,
        shortest,
        shortest_loop: if winds { 0.0 } else { shortest },
        deviation: job.courses.deviation_mm,
        swing: SWING_SHARES[0],
        lean: false,
        tight: true,
        closes: region.courses.is_some() || matches!(region.rule, Rule::Hoop | Rule::Strap),
        snug: false,
        courses: region.courses,
        angle: task.angle_deg.to_radians(),
        few_cuts: region.few_cuts,
        turns: region.turns,
    }
}

/// Where strips of a region may lie: all that is free, or as deep as the courses
/// asked for go.
fn layable(target: &Target, free: &Area, order: &Order<'_>, job: &Job) -> Area {
    let Some(courses) = order.courses else { return free.clone() };
    let chord = bend::PROPOSAL_CHORD_MM;
    // ten thousand courses a metre apart are off the grid, and none is deeper than the ground
    let extent = free.bounds().map_or(0.0, |b| b.hi.dist(b.lo));
    let depth = (f64_of(courses) * order.spacing).min(2.0 * extent);
    match target {
        Target::Area(area) => {
            let mut bands = bands_along(area, depth, order);
            if combine::difference(area, free).area() > order.width * order.width {
                // courses run along the edges of what is laid before, too, but not between its tows
                let broad = offset::opened(free, 0.49 * order.width, chord);
                bands.extend(bands_along(&broad, depth, order));
            }
            combine::intersection(free, &combine::union_all(&bands))
        }
        Target::Holes { holes, .. } => {
            let band = |h: &Area| {
                let [inner, outer] =
                    hoops_between(h, job.beads.perimeters_mm(), order.width, order.radius, depth);
                combine::difference(&outer, &inner)
            };
            let bands: Vec<Area> = holes.iter().map(band).collect();
            combine::intersection(free, &combine::union_all(&bands))
        }
        Target::Pins { pins, .. } => {
            let first = strap::first_belt(pins, job.beads.perimeters_mm(), order);
            let inner = offset::shrunk(&first, 0.5 * order.width, chord);
            let outer = offset::grown(&first, depth - 0.5 * order.width, chord);
            combine::intersection(free, &combine::difference(&outer, &inner))
        }
    }
}

/// What lies within a depth of the boundaries of an area.
fn bands_along(area: &Area, depth: f64, order: &Order<'_>) -> Vec<Area> {
    let chord = bend::PROPOSAL_CHORD_MM;
    let outer = area.polygons().iter().map(|p| {
        let outer = combine::ring_area(p.outer());
        combine::difference(&outer, &offset::shrunk(&outer, depth, chord))
    });
    let holes = area.polygons().iter().flat_map(|p| p.holes()).map(|h| {
        let hole = combine::ring_area(h);
        let line = offset::grown(&hole, 0.5 * order.width, chord);
        let led = |p: &Polygon| bend::fit(p.outer(), true, order.radius, order.fit()).kinks.is_empty();
        if line.polygons().iter().all(led) {
            offset::grown(&hole, depth, chord)
        } else {
            // as near to it as tow can be led round it
            let [inner, outer] = hoops_between(&hole, 0.0, order.width, order.radius, depth);
            combine::difference(&outer, &inner)
        }
    });
    outer.chain(holes).collect()
}

//! Courses: one uncut run of tow each.
//!
//! A rule proposes lines; one gate ([`crate::geom::bend::fit`], then
//! [`Course::new`]) makes them tangent lines and arcs that keep the bend radius,
//! or leaves them out and says so.

mod along;
mod contour;
pub mod course;
mod cover;
mod ends;
mod ground;
mod hoop;
mod nests;
mod order;
pub mod quality;
mod reach;
mod room;
mod runs;
mod spiral;
mod stagger;
mod steered;
mod strap;
mod task;
mod trail;
mod unidirectional;
mod worth;

pub(crate) use contour::CUT_OF_A_RING;
pub use course::{Course, CourseFault, Trail};
pub use cover::RegionCover;
pub use quality::RegionQuality;
pub(crate) use spiral::MARGIN as SPIRAL_MARGIN;
pub(crate) use steered::Directions;

use crate::diagnostic::{Diagnostic, Notes, counted};
use crate::geom::nearest::Lines;
use crate::geom::{Area, Point, combine, smooth};
use crate::job::{Job, Rule};
use crate::outline::Outline;
use crate::reinforcement::{LayerTasks, LeftOut, Reason, Target, Task};
use ground::Ground;
use order::Order;
use rayon::prelude::*;
use room::Room;
use std::sync::Arc;

/// The courses of one layer.
#[derive(Clone, Debug, Default)]
pub struct LayerCourses {
    /// In no particular order; the sequence decides.
    pub courses: Vec<Course>,
    /// What was asked for and could not be laid.
    pub left_out: Vec<LeftOut>,
    /// Cuts that turns saved: rows laid less courses made of them.
    pub cuts_saved: usize,
    /// The strips that the courses cover, mm.
    pub strips: Area,
    /// How well each region is served, in the order in which they are laid.
    pub quality: Vec<RegionQuality>,
}

/// Where laying lies in a whole run, as shares of its time: only for what is shown.
const WITHIN: [f64; 2] = [0.05, 0.6];

/// Lays every layer. Layers that ask for the same are laid once and copied; the
/// ends of their closed courses are then staggered.
pub fn lay(notes: &mut Notes, job: &Job, outline: &Outline, tasks: &[LayerTasks]) -> Vec<LayerCourses> {
    let (firsts, kind_of) = kinds(outline, tasks);
    // asked for in many layers, made ready once
    let fields: Vec<Option<Directions>> = job
        .map
        .iter()
        .flat_map(|map| &map.regions)
        .map(|r| r.field.as_deref().map(Directions::new))
        .collect();
    let progress = &notes.progress;
    progress.stage(WITHIN, firsts.len());
    let laid: Vec<Kind<'_>> = firsts
        .par_iter()
        .map(|&i| {
            let layer = lay_layer(job, &fields, &tasks[i], &outline.layers[i].outline);
            progress.step();
            layer
        })
        .collect();
    let copied = |(i, &k): (usize, &usize)| {
        let mut layer = laid.get(k).map(|(layer, _)| layer.clone()).unwrap_or_default();
        let number = outline.layers[i].number;
        layer.left_out.iter_mut().for_each(|l| l.layer = number);
        layer.quality.iter_mut().for_each(|q| q.layer = number);
        layer.left_out.extend(tasks[i].left_out.iter().cloned());
        layer
    };
    let mut layers: Vec<LayerCourses> = kind_of.iter().enumerate().map(copied).collect();
    let trail_mm = trailing(job).then_some(job.tow.trail_mm);
    let mut close = stagger::stagger(&mut layers, job.courses.end_stagger_mm, trail_mm);
    if trail_mm.is_some() {
        for (layer, reached) in lead_loops(job, outline, &mut layers, &kind_of, &laid) {
            match close.iter_mut().find(|s| s.0 == layer) {
                Some(found) => found.1 = found.1.min(reached),
                None => close.push((layer, reached)),
            }
        }
    }
    tell_close_ends(notes, job, outline, &close);
    layers
}

/// A layer as it is laid for all that ask for the same.
type Kind<'a> = (LayerCourses, Vec<Ground<'a>>);

/// The first layer of each kind, those that ask for the same, and each layer's place among them.
fn kinds(outline: &Outline, tasks: &[LayerTasks]) -> (Vec<usize>, Vec<usize>) {
    let mut firsts: Vec<usize> = Vec::new();
    let kind_of = (0..tasks.len())
        .map(|i| {
            let same = |&k: &usize| {
                tasks[k].inside == tasks[i].inside
                    && tasks[k].tasks == tasks[i].tasks
                    && outline.layers[k].outline == outline.layers[i].outline
            };
            firsts.iter().position(same).unwrap_or_else(|| {
                firsts.push(i);
                firsts.len() - 1
            })
        })
        .collect();
    (firsts, kind_of)
}

/// Leads all layers' loops, whose tow trails. Gives the layers whose ends then lie nearer to
/// those below than they are to, with how near.
fn lead_loops(
    job: &Job,
    outline: &Outline,
    layers: &mut [LayerCourses],
    kind_of: &[usize],
    laid: &[Kind<'_>],
) -> Vec<(usize, f64)> {
    let (loops, parted, close) = trail::loops::led(job, layers, kind_of, laid);
    let grounds = kind_of.iter().map(|&k| laid.get(k).map_or(&[][..], |(_, g)| g.as_slice()));
    let grounds: Vec<&[Ground<'_>]> = grounds.collect();
    layers.par_iter_mut().zip(&grounds).zip(loops).enumerate().for_each(|(i, ((layer, grounds), led))| {
        let parted = (kind_of[i], &parted);
        trail::loops::land(job, layer, grounds, led, parted, outline.layers[i].number);
    });
    close
}

/// Warns of the layers whose ends of closed courses lie nearer to those below than they are to,
/// at the nearest.
fn tell_close_ends(notes: &mut Notes, job: &Job, outline: &Outline, close: &[(usize, f64)]) {
    let Some((i, reached)) = close.iter().min_by(|a, b| a.1.total_cmp(&b.1)) else { return };
    notes.push(
        Diagnostic::warning(
            "ends-close",
            format!(
                "in {}, ends of closed courses lie nearer than {} mm to ends in the layer below; the nearest {reached:.2} mm",
                counted(close.len(), "layer"),
                job.courses.end_stagger_mm
            ),
        )
        .in_part(outline.layers[*i].number, outline.layers[*i].z_top_mm(), None)
        .help("a loop shorter than three times the distance has no room for it; lower `[build] end_stagger_mm` or lay fewer hoops"),
    );
}

/// Whether a course of a task closes where nothing else is laid. Not for fields of directions.
pub(crate) fn closes_alone(job: &Job, task: &Task, inside: &Area) -> bool {
    let Some(region) = job.map.as_ref().and_then(|map| map.regions.get(task.region)) else { return false };
    let within = task.target.within();
    let over = Lines::boundary(inside);
    let place = task::Place { within, free: within, inside, others: &[], over: &over };
    task::lay(job, region, task, None, &place).room.courses.iter().any(closes)
}

/// A course that is wound of closed ones is closed, too.
fn closes(course: &Course) -> bool {
    course.wanted().closed || course.is_spiral()
}

/// A strap that weaves does not close, but would if it were its turn.
fn waits(job: &Job, task: &Task, laid: &[Course], inside: &Area) -> bool {
    let strap = matches!(task.target, Target::Pins { .. });
    strap && task.waits && !laid.iter().any(closes) && closes_alone(job, task, inside)
}

fn lay_layer<'a>(
    job: &'a Job,
    fields: &'a [Option<Directions>],
    tasks: &LayerTasks,
    outline: &Area,
) -> Kind<'a> {
    let mut layer = LayerCourses::default();
    let mut grounds = Vec::new();
    let Some(map) = &job.map else { return (layer, grounds) };
    let width = job.tow.width_mm;
    let over = Arc::new(if trailing(job) { Lines::boundary(outline) } else { Lines::default() });
    // strips end square; what is laid later keeps a tow's width from the ends too
    let mut blocked: Vec<Area> = Vec::new();
    let mut covered: Vec<Area> = Vec::new();
    for task in &tasks.tasks {
        let region = &map.regions[task.region];
        let within = task.target.within();
        let free = combine::difference_all(within, covered.iter().chain(&blocked));
        let field = fields.get(task.region).and_then(Option::as_ref);
        let place =
            task::Place { within, free: &free, inside: &tasks.inside, others: &layer.courses, over: &over };
        let task::Laid { mut room, mut layable, wound_loops, saved, .. } =
            task::lay(job, region, task, field, &place);
        if waits(job, task, &room.courses, &tasks.inside) {
            // a strap that another one has parted ties no pin to another: where it has its turn in
            // the next layer, its pieces would only lie in the way of others
            room.replace(Vec::new());
            room.left_out.clear();
            room.leave_out(Reason::NotItsTurn, 0.0, first_corner(within));
            layable = Area::default();
        }
        layer.cuts_saved += saved;
        blocked.extend(wound_loops);
        let order = room.order;
        let leads = task::leads_of(job, region);
        if room.courses.is_empty() && room.left_out.is_empty() {
            tell_nothing_laid(&mut room, within, &free);
        }
        for c in &room.courses {
            if !c.path().closed {
                let ends = [c.wanted().start(), c.wanted().end()];
                blocked.extend(ends.into_iter().flatten().map(|p| smooth::disc(p, 0.5 * width, 0.02)));
            }
        }
        let reach = reach::Reach {
            width,
            shortest: order.shortest,
            rows: (region.rule == Rule::Unidirectional)
                .then_some(reach::Rows { angle: order.angle, turns: order.turns.then_some(order.radius) }),
        };
        let given_up_mm = room.left_out.iter().map(|l| l.length_mm).sum::<f64>() + 0.0;
        let mut ground = Ground {
            order,
            over: Arc::clone(&over),
            leads,
            reachable: reach.of(&layable),
            layable,
            field,
            courses: room.courses.len(),
            given_up_mm,
            measured: None,
        };
        if trails(leads.trail, leads.radius) && room.courses.iter().any(|c| c.path().closed) {
            let strips: Vec<Area> = room.courses.iter().map(|c| ground::strip(c, width)).collect();
            covered.push(combine::union_all(&strips));
        } else {
            let (measured, mine) = ground.measure(&room.courses, given_up_mm);
            covered.push(mine.clone());
            ground.measured = Some((measured, mine));
        }
        grounds.push(ground);
        layer.courses.append(&mut room.courses);
        layer.left_out.append(&mut room.left_out);
    }
    ground::finish(&mut layer, grounds.iter().filter_map(|g| g.measured.clone()).collect());
    (layer, grounds)
}

/// A region never yields nothing without a word.
fn tell_nothing_laid(room: &mut Room<'_>, within: &Area, free: &Area) {
    let Order { width, asked_radius: radius_mm, shortest: shortest_mm, .. } = room.order;
    // the shape is not too small where others have its ground
    let reason = if combine::difference(within, free).area() > width * width {
        Reason::NothingFits { radius_mm, shortest_mm }
    } else {
        Reason::TooSmall { radius_mm, shortest_mm }
    };
    room.leave_out(reason, within.perimeter().max(width), first_corner(within));
}

/// A place at which an area is told.
fn first_corner(area: &Area) -> Option<Point> {
    area.rings().next().and_then(|r| r.first().copied())
}

/// Some region's tow lies beside the nozzle's way.
fn trailing(job: &Job) -> bool {
    job.map.iter().flat_map(|m| &m.regions).any(|r| trails(job.tow.trail_mm, r.min_bend_radius_mm))
}

/// Tow that trails by so much lies beside the nozzle's way, by d^2 / 2 R in its
/// tightest bend: more than rounding.
fn trails(trail_mm: f64, radius: f64) -> bool {
    trail_mm * trail_mm > 2.0 * radius * TRAIL_LEAST_MM
}

/// What is nothing beside a nozzle's way, mm.
const TRAIL_LEAST_MM: f64 = 1e-3;

/// Courses whose trailing tow would lie further than this off the line wanted are not
/// laid: it would lie on its neighbours. A share of the tow's width. A ring of the
/// least radius leaves 0.11 mm with R 8 mm and 2 mm of trail, 0.20 mm with 3 mm, see
/// [`crate::geom::leading::Wanted::led`].
const TRAIL_MOST: f64 = 0.25;

/// How far tow may lie off the line wanted before its strip is taken from where it
/// lies and the course is told, mm.
pub const TRAIL_MM: f64 = 0.05;

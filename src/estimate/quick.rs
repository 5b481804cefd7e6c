//! The estimate from areas and lengths, without planning layers.
//!
//! Courses are counted by the rings and rows that their rules would begin with;
//! neither is fitted, cut or ordered. Beads are the area that tow leaves over
//! their width. Layers that ask for the same are looked at once. What is not
//! looked at: joints of rows, left-out tow in tight places, the order of the
//! work. `tests/quick_estimate.rs` holds it against whole plans.

use super::{Estimate, TimeSplit, f64_of, share_of, to};
use crate::geom::{Area, combine, hatch, offset, smooth};
use crate::job::{Fill, Head, Job, Region, Rule};
use crate::motion;
use crate::outline::{Layer, Outline};
use crate::reinforcement::{LayerTasks, Target, Task};
use crate::sequence::{self, Move, Program};

/// Accuracy of areas here, mm: a thousandth of what a figure may be wrong by.
const CHORD_MM: f64 = 0.05;

/// How far the quick estimate lies from the plan on the bench set, as shares,
/// rounded up. Fibre length is furthest off where many courses are cut short or
/// left out; most jobs lie within 5 % in all three. Parts with less than some 5 m
/// of tow are not in the set: single courses decide there.
pub const WITHIN: Within = Within { fibre_length: 0.30, matrix_volume: 0.10, time: 0.15 };

/// Shares by which figures may be wrong.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Within {
    /// Of the fibre length.
    pub fibre_length: f64,
    /// Of the matrix volume.
    pub matrix_volume: f64,
    /// Of the build time.
    pub time: f64,
}

/// How far a boundary may be moved to make it simpler, mm: far below a bead.
const SIMPLE_MM: f64 = 0.02;

/// Patches below so many squares of a bead's width are chips.
const CHIP: f64 = 4.0;

/// What one layer comes to.
#[derive(Clone, Copy, Debug, Default)]
struct Sketch {
    tow_mm: f64,
    courses: f64,
    strips_mm2: f64,
    outline_mm2: f64,
    matrix_mm2: f64,
    open_mm2: f64,
    bead_s: f64,
    /// Lifts and travels of the matrix head.
    matrix_travel_s: f64,
    /// Lifts and travels of the fibre head.
    fibre_travel_s: f64,
}

/// Estimates a job whose regions were placed.
pub fn quick(job: &Job, outline: &Outline, tasks: &[LayerTasks]) -> Estimate {
    let turns = job.beads.fill_angles_deg.len().max(1);
    let mut kinds: Vec<(usize, Sketch)> = Vec::new();
    let mut sketches: Vec<Sketch> = Vec::with_capacity(outline.layers.len());
    for (i, (layer, task)) in outline.layers.iter().zip(tasks).enumerate() {
        let known = kinds.iter().find(|(k, _)| {
            k % turns == i % turns
                && outline.layers[*k].height_mm.total_cmp(&layer.height_mm).is_eq()
                && tasks[*k].tasks == task.tasks
                && outline.layers[*k].outline == layer.outline
        });
        let sketch = match known {
            Some((_, s)) => *s,
            None => {
                let s = sketch(job, layer, task, i);
                kinds.push((i, s));
                s
            }
        };
        sketches.push(sketch);
    }
    add_up(job, outline, &sketches)
}

fn sketch(job: &Job, layer: &Layer, tasks: &LayerTasks, index: usize) -> Sketch {
    let mut s = Sketch { outline_mm2: layer.outline.area(), ..Sketch::default() };
    let (strips, lengths) = tow(job, tasks);
    s.tow_mm = lengths.iter().sum();
    s.courses = f64_of(lengths.len());
    s.strips_mm2 = strips.area();
    beads(job, layer, tasks, &strips, index, &mut s);
    s.fibre_travel_s = s.courses * lifted(job, typical(&layer.outline) * 0.5);
    s
}

/// Length scale of an area, mm: the way between two places in it.
fn typical(area: &Area) -> f64 {
    area.bounds().map_or(0.0, |b| b.size().norm() * 0.5)
}

/// A travel over laid material, s: up, across, down.
fn lifted(job: &Job, distance_mm: f64) -> f64 {
    let l = &job.printer.limits;
    let z =
        motion::alone(job.printer.clearance.travel_lift_mm, l.axis_speed_mm_s[2], l.z_mm_s2, l.jerk_mm_s3);
    2.0 * z + motion::alone(distance_mm, l.travel_mm_s, l.travel_mm_s2, l.jerk_mm_s3)
}

/// The strips of a layer's courses, and the courses' lengths, mm.
fn tow(job: &Job, tasks: &LayerTasks) -> (Area, Vec<f64>) {
    let mut strips = Area::empty();
    let mut lengths = Vec::new();
    let Some(map) = &job.map else { return (strips, lengths) };
    let simple = |area: &Area| combine::simplified(area, SIMPLE_MM);
    for task in &tasks.tasks {
        let region = &map.regions[task.region];
        let laid = match (&task.target, region.rule) {
            (Target::Area(a), Rule::Unidirectional) => {
                rows(job, region, task, &combine::difference(&simple(a), &strips), &mut lengths)
            }
            (Target::Area(a), _) => {
                rings(job, region, &combine::difference(&simple(a), &strips), &mut lengths)
            }
            (Target::Holes { holes, room }, _) => {
                let room = combine::difference(&simple(room), &strips);
                let mut laid = Area::empty();
                for hole in holes {
                    laid = combine::union(&laid, &hoops(job, region, &simple(hole), &room, &mut lengths));
                }
                laid
            }
            // a strap lies close to the shortest belt round its pins
            (Target::Pins { pins, room }, _) => {
                let corners: Vec<_> = pins.iter().flat_map(Area::rings).flatten().copied().collect();
                let belt = combine::ring_area(&smooth::hull(&corners));
                hoops(job, region, &belt, &combine::difference(&simple(room), &strips), &mut lengths)
            }
        };
        strips = combine::union(&strips, &laid);
    }
    (strips, lengths)
}

/// Rings inwards from every boundary of an area. Where no loop can bend, open
/// courses follow the edges: the length is much the same.
fn rings(job: &Job, region: &Region, area: &Area, lengths: &mut Vec<f64>) -> Area {
    let (width, shortest) = (job.tow.width_mm, job.printer.shortest_course_mm());
    let mut middle = offset::shrunk(area, 0.5 * width, CHORD_MM);
    let mut laid: Vec<Area> = Vec::new();
    let most = region.courses.unwrap_or(usize::MAX);
    let mut count = 0;
    while count < most && !middle.is_empty() {
        for part in middle.split() {
            let band = combine::difference(
                &offset::grown(&part, 0.5 * width, CHORD_MM),
                &offset::shrunk(&part, 0.5 * width, CHORD_MM),
            );
            // two edges of a narrow place share a band
            let share = band.area() / width / part.perimeter().max(1e-9);
            let long = part.rings().map(|r| crate::geom::polyline::ring_length(r) * share);
            let before = lengths.len();
            lengths.extend(long.filter(|l| *l >= shortest));
            if lengths.len() > before {
                laid.push(band);
            }
        }
        middle = offset::shrunk(&middle, region.spacing_mm, CHORD_MM);
        count += 1;
    }
    combine::union_all(&laid)
}

/// Hoops round a hole, as far as the room goes.
fn hoops(job: &Job, region: &Region, hole: &Area, room: &Area, lengths: &mut Vec<f64>) -> Area {
    let (width, shortest) = (job.tow.width_mm, job.printer.shortest_course_mm());
    let clearance = job.beads.bead_width_mm * f64_of(job.beads.perimeters);
    let radius = (hole.area() / std::f64::consts::PI).sqrt();
    let start = (clearance + 0.5 * width).max(region.min_bend_radius_mm - radius);
    let most = region.courses.unwrap_or(usize::MAX);
    let mut laid: Vec<Area> = Vec::new();
    let mut count = 0;
    while count < most {
        let middle = start + f64_of(count) * region.spacing_mm;
        let band = combine::difference(
            &offset::grown(hole, middle + 0.5 * width, CHORD_MM),
            &offset::grown(hole, middle - 0.5 * width, CHORD_MM),
        );
        let free = combine::intersection(&band, room);
        let mut any = false;
        for piece in free.split() {
            let length = piece.area() / width;
            // a sliver where the band only grazes the room is no course
            if length >= shortest {
                lengths.push(length);
                laid.push(piece);
                any = true;
            }
        }
        if !any && (region.courses.is_none() || free.area() < 1e-3) {
            break;
        }
        count += 1;
    }
    combine::union_all(&laid)
}

/// Parallel rows; those too short to cut and lay are left out.
fn rows(job: &Job, region: &Region, task: &Task, area: &Area, lengths: &mut Vec<f64>) -> Area {
    let (width, shortest) = (job.tow.width_mm, job.printer.shortest_course_mm());
    let inner = offset::shrunk(area, 0.5 * width, CHORD_MM);
    let angle = task.angle_deg.to_radians();
    let mut laid: Vec<Area> = Vec::new();
    let along = crate::geom::Point::unit(angle);
    let half = along.left() * (0.5 * width);
    for row in hatch::rows(&inner, angle, region.spacing_mm, 0.5 * region.spacing_mm) {
        for (from, to) in row.spans {
            // the strip's ends are square: they reach a little further than its middle's room
            let (a, b) = (
                hatch::to_plane(from, row.offset, angle) - along * (END * width),
                hatch::to_plane(to, row.offset, angle) + along * (END * width),
            );
            if a.dist(b) >= shortest {
                lengths.push(a.dist(b));
                laid.push(combine::ring_area(&[a - half, b - half, b + half, a + half]));
            }
        }
    }
    combine::union_all(&laid)
}

/// How much further a row reaches than the room of its middle, as a share of the
/// tow's width: half a width where the boundary stands square, less elsewhere.
const END: f64 = 0.3;

/// Beads: perimeters, one bead along the ground that tow leaves, rows in it.
fn beads(job: &Job, layer: &Layer, tasks: &LayerTasks, strips: &Area, index: usize, s: &mut Sketch) {
    let plan = &job.beads;
    let (width, height) = (plan.bead_width_mm, layer.height_mm);
    let l = &job.printer.limits;
    let mut lifts = 0.0;
    let speed = |area_mm2: f64| job.bead_speed_mm_s(area_mm2);
    let full = speed(width * height);
    let outline = combine::simplified(&layer.outline, SIMPLE_MM);
    let mut rim_mm = 0.0;
    for k in 0..plan.perimeters {
        let ring = offset::shrunk(&outline, width * (f64_of(k) + 0.5), CHORD_MM);
        rim_mm += ring.perimeter();
        lifts += f64_of(ring.rings().count());
    }
    let rim_mm2 = rim_mm * width;
    // chips between courses hold a bead each at most: they count as area, not as rings
    let rest = combine::difference(&combine::simplified(&tasks.inside, SIMPLE_MM), strips);
    let fraction = if plan.fill == Fill::None { 0.0 } else { plan.fill_fraction.clamp(0.0, 1.0) };
    let solid = fraction >= 1.0;
    s.bead_s += rim_mm / full * BRAKING;
    s.matrix_mm2 = rim_mm2.min(s.outline_mm2);
    if fraction > 0.0 {
        let mut fill_mm2 = rest.area();
        let pitch = width / fraction;
        let mut ground = combine::without_specks(&rest, CHIP * width * width, 0.25 * width);
        let chips_mm2 = fill_mm2 - ground.area();
        s.bead_s += chips_mm2 / width / full * SLOTS;
        lifts += chips_mm2 / width / SLOT_MM;
        if solid {
            // the bead along the edge
            let edge = offset::shrunk(&ground, 0.5 * width, CHORD_MM);
            s.bead_s += edge.perimeter() / full * BRAKING;
            lifts += f64_of(edge.rings().count()) * APART;
            let inside = offset::shrunk(&ground, width, CHORD_MM);
            let beside = (ground.area() - inside.area() - edge.perimeter() * width).max(0.0);
            // slots beside it are followed at their own width
            s.bead_s += beside / width / full * SLOTS;
            lifts += beside / width / SLOT_MM;
            ground = inside;
        }
        let angle = match plan.fill_angles_deg.len() {
            0 => 0.0,
            n => plan.fill_angles_deg[index % n].to_radians(),
        };
        if plan.fill == Fill::Contour {
            let mut area = offset::shrunk(&ground, 0.5 * width, CHORD_MM);
            let mut laid = 0.0;
            while !area.is_empty() {
                s.bead_s += area.perimeter() / full * BRAKING;
                laid += area.perimeter() * width;
                lifts += f64_of(area.rings().count()) * APART;
                area = offset::shrunk(&area, pitch, CHORD_MM);
            }
            if solid {
                let beside = (ground.area() - laid).max(0.0);
                s.bead_s += beside / width / full * SLOTS;
                lifts += beside / width / SLOT_MM;
            }
        } else {
            let within = if solid { ground } else { offset::shrunk(&ground, 0.5 * width, CHORD_MM) };
            let hop = motion::alone(pitch, l.travel_mm_s, l.travel_mm_s2, l.jerk_mm_s3);
            for row in hatch::rows(&within, angle, pitch, 0.5 * pitch) {
                for (from, to) in row.spans {
                    s.bead_s += motion::alone(to - from, full, l.work_mm_s2, l.jerk_mm_s3);
                    s.matrix_travel_s += hop;
                }
            }
            lifts += f64_of(within.polygons().len()) * ISLANDS;
        }
        if !solid {
            // beads apart have rounded sides
            fill_mm2 *= fraction * crate::matrix::rounded_mm2(width, height)
                / crate::matrix::rectangle_mm2(width, height);
        }
        s.matrix_mm2 += fill_mm2;
    }
    s.open_mm2 = if solid { 0.0 } else { (s.outline_mm2 - s.strips_mm2 - s.matrix_mm2).max(0.0) };
    if solid {
        s.matrix_mm2 = s.outline_mm2 - s.strips_mm2;
    }
    s.matrix_travel_s += lifts * lifted(job, typical(&layer.outline) * 0.25);
}

/// Time of a bead that follows a boundary over its length at full speed: it brakes
/// at corners and in tight bends. Found on the bench set.
const BRAKING: f64 = 1.12;

/// The same for beads in slots beside them: short, and each ends at rest.
const SLOTS: f64 = 1.6;

/// Length of beads in a slot from one lift to the next, mm: most hang together.
const SLOT_MM: f64 = 40.0;

/// Share of the rings that a lift leads to: from others it is a short hop.
const APART: f64 = 0.4;

/// Travels that each patch of rows costs: the rows do not all hang together.
const ISLANDS: f64 = 2.0;

fn add_up(job: &Job, outline: &Outline, sketches: &[Sketch]) -> Estimate {
    let p = &job.printer;
    let copies = f64_of(job.copies);
    let sum = |f: &dyn Fn(&Sketch, &Layer) -> f64| -> f64 {
        sketches.iter().zip(&outline.layers).map(|(s, l)| f(s, l)).sum::<f64>() * copies + 0.0
    };
    let fibre_length_mm = sum(&|s, _| s.tow_mm);
    let courses = sum(&|s, _| s.courses);
    let matrix_volume_mm3 = sum(&|s, l| s.matrix_mm2 * l.height_mm);
    let outline_volume = sum(&|s, l| (s.outline_mm2 - s.open_mm2) * l.height_mm);
    let strip_volume = sum(&|s, l| s.tow_mm * job.tow.width_mm * l.height_mm);
    let turns = turns(sketches);
    let head_changes = f64_of(turns.len().saturating_sub(1));
    let matrix_turns = f64_of(turns.iter().filter(|t| t.0 == Head::Matrix).count());
    let purge_volume_mm3 = matrix_turns * p.purge.matrix_volume_mm3;
    let course_s = course_s(job);
    let purge_s = {
        let line = p.purge.matrix_line_mm.max(1e-3);
        line / job.bead_speed_mm_s(p.purge.matrix_volume_mm3 / line) + lifted(job, line)
    };
    let seconds = |turn: &Turn| -> f64 {
        let layers = turn.1.iter().map(|&i| {
            let s = &sketches[i];
            if turn.0 == Head::Matrix {
                s.bead_s + s.matrix_travel_s
            } else {
                s.tow_mm / job.course_speed_mm_s() + s.courses * (course_s + p.times.cut_s) + s.fibre_travel_s
            }
        });
        layers.sum::<f64>() * copies
    };
    let machine = machine(job, &turns, &seconds);
    let time_s = TimeSplit {
        fibre: fibre_length_mm / job.course_speed_mm_s() + courses * course_s,
        matrix: sum(&|s, _| s.bead_s),
        travel: sum(&|s, _| s.matrix_travel_s + s.fibre_travel_s),
        cutting: courses * p.times.cut_s,
        other: machine.other + matrix_turns * purge_s,
        ..machine
    };
    let tow_volume = fibre_length_mm * job.tow.area_mm2;
    let solid = tow_volume + matrix_volume_mm3;
    let (matrix_mass_g, tow_mass_g) =
        (matrix_volume_mm3 * job.matrix.density_g_cm3 * 1e-3, tow_volume * job.tow.density_g_cm3 * 1e-3);
    let fibre_volume = fibre_length_mm * job.tow.fibre_area_mm2;
    Estimate {
        fibre_length_mm: to(3, fibre_length_mm),
        courses: count(courses),
        cuts: count(courses),
        cuts_saved: 0,
        head_changes: count(head_changes),
        matrix_volume_mm3: to(3, matrix_volume_mm3),
        purge_volume_mm3: to(3, purge_volume_mm3),
        matrix_mass_g: to(5, matrix_mass_g),
        tow_mass_g: to(5, tow_mass_g),
        part_mass_g: to(5, (matrix_mass_g + tow_mass_g) / copies),
        fibre_volume_fraction: share_of(fibre_volume, solid),
        local_fibre_volume_fraction: to(5, job.tow.fibre_area_mm2 / job.tow.area_mm2),
        strip_fibre_volume_fraction: share_of(fibre_volume, strip_volume),
        printed_porosity: if outline_volume > 0.0 { to(5, 1.0 - solid / outline_volume) } else { 0.0 },
        time_s: time_s.in_hundredths(),
    }
}

/// A head's turn, and the layers that it works in.
type Turn = (Head, Vec<usize>);

/// The heads' turns: each layer goes on with the head that ended the one below.
fn turns(sketches: &[Sketch]) -> Vec<Turn> {
    let mut turns: Vec<Turn> = Vec::new();
    for (i, s) in sketches.iter().enumerate() {
        let mut heads: Vec<Head> = Vec::new();
        if s.matrix_mm2 > 0.0 {
            heads.push(Head::Matrix);
        }
        if s.courses > 0.0 {
            heads.push(Head::Fibre);
        }
        if heads.last() == turns.last().map(|t| &t.0) {
            heads.reverse();
        }
        for head in heads {
            match turns.last_mut() {
                Some(last) if last.0 == head => last.1.push(i),
                _ => turns.push((head, vec![i])),
            }
        }
    }
    turns
}

/// Time on the first and last places of a course above that of its length at full
/// speed, s: the tow is fed to the nozzle, and it starts and stops.
fn course_s(job: &Job) -> f64 {
    let (speed, l) = (job.course_speed_mm_s(), &job.printer.limits);
    motion::alone(job.printer.cutter_to_nozzle_mm, speed, l.work_mm_s2, l.jerk_mm_s3)
        + 2.0 * speed / l.work_mm_s2
}

/// What the machine does beside laying: its start and end, head changes and waits
/// for heat, by the clock of whole programs over turns in which nothing moves.
fn machine(job: &Job, turns: &[Turn], seconds: &dyn Fn(&Turn) -> f64) -> TimeSplit {
    let mut program = Program::default();
    let mut idle = 0.0;
    for turn in turns {
        let temperature_c = match turn.0 {
            Head::Matrix => job.matrix.process_temperature_c,
            Head::Fibre => job.tow.process_temperature_c,
        };
        let dwell = seconds(turn);
        idle += dwell;
        // in two: a head may be heated again half way through a turn
        program.moves.extend([
            Move::Select(turn.0),
            Move::HeatWait { head: turn.0, temperature_c },
            Move::Dwell(0.5 * dwell),
            Move::Dwell(0.5 * dwell),
        ]);
    }
    let (_, times) = super::time(job, &program);
    let program = sequence::preheat(job, program, &times);
    let (split, _) = super::time(job, &program);
    TimeSplit { other: split.other - idle, ..split }
}

fn count(v: f64) -> usize {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a number of courses")]
    let n = v.round().clamp(0.0, 1e12) as usize;
    n
}

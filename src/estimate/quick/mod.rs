//! The estimate from areas and lengths, without planning layers.
//!
//! Tow is counted by bands: what rings, hoops and straps cover together over their
//! spacing, less what bends round off in corners and what is too narrow or too short
//! for a course; rows are counted one by one. No course is fitted, cut or put in
//! order. Beads are the area that tow leaves over their width. Layers that ask for
//! the same are looked at once. `tests/quick_estimate.rs` holds it against whole
//! plans.

mod beads;
mod tow;

use super::{Estimate, Sums, TimeSplit};
use crate::count::f64_of;
use crate::geom::Area;
use crate::job::{Head, Job};
use crate::motion;
use crate::outline::{Layer, Outline};
use crate::reinforcement::LayerTasks;
use crate::sequence::{self, Move, Program};
use rayon::prelude::*;
use tow::{HoopsRound, Tow};

/// Accuracy of areas here, mm: a thousandth of what a figure may be wrong by.
const CHORD_MM: f64 = 0.08;

/// How far the quick estimate lies from the plan on the bench set, as shares,
/// rounded up. Fibre length is furthest off where the shape is to be filled with
/// rings and pieces must be long; courses are where rings run out at a boundary.
pub const WITHIN: Within =
    Within { fibre_length: 0.10, mass: 0.04, time: 0.10, courses_least_times: 0.6, courses_most_times: 2.5 };

/// Shares by which figures may be wrong, and how many times as many courses a plan may
/// have.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Within {
    /// Of the fibre length.
    pub fibre_length: f64,
    /// Of the mass of a part.
    pub mass: f64,
    /// Of the build time.
    pub time: f64,
    /// A plan has at least so many times the courses and cuts told.
    pub courses_least_times: f64,
    /// And at most so many times.
    pub courses_most_times: f64,
}

/// How far a boundary may be moved to make it simpler, those of a part before regions are
/// placed too, mm: far below a bead.
pub const ROUGH_MM: f64 = 0.03;

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
    let alike = |&k: &usize, i: usize| {
        tasks[k].tasks == tasks[i].tasks && outline.layers[k].outline == outline.layers[i].outline
    };
    // tow is the same whichever way the beads beside it run
    let mut laid: Vec<usize> = Vec::new();
    let mut kinds: Vec<(usize, usize)> = Vec::new();
    let kind_of: Vec<usize> = (0..outline.layers.len())
        .map(|i| {
            let tow = laid.iter().position(|k| alike(k, i)).unwrap_or_else(|| {
                laid.push(i);
                laid.len() - 1
            });
            let height_mm = outline.layers[i].height_mm;
            let like = |&(k, of): &(usize, usize)| {
                of == tow
                    && k % turns == i % turns
                    && outline.layers[k].height_mm.total_cmp(&height_mm).is_eq()
            };
            kinds.iter().position(like).unwrap_or_else(|| {
                kinds.push((i, tow));
                kinds.len() - 1
            })
        })
        .collect();
    let round = HoopsRound::default();
    let tows: Vec<Tow> = laid.par_iter().map(|&i| tow::tow(job, &tasks[i], &round)).collect();
    let of_kind: Vec<Sketch> =
        kinds.par_iter().map(|&(i, tow)| sketch(job, &outline.layers[i], &tasks[i], &tows[tow], i)).collect();
    let sketches: Vec<Sketch> = kind_of.iter().map(|&k| of_kind[k]).collect();
    add_up(job, outline, &sketches)
}

fn sketch(job: &Job, layer: &Layer, tasks: &LayerTasks, tow: &Tow, index: usize) -> Sketch {
    let mut s = Sketch { outline_mm2: layer.outline.area(), ..Sketch::default() };
    s.tow_mm = tow.length_mm;
    s.courses = tow.courses;
    s.strips_mm2 = s.tow_mm * job.tow.width_mm;
    beads::beads(job, layer, tasks, &tow.taken, index, &mut s);
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

fn add_up(job: &Job, outline: &Outline, sketches: &[Sketch]) -> Estimate {
    let p = &job.printer;
    let copies = f64_of(job.copies);
    let sum = |f: &dyn Fn(&Sketch, &Layer) -> f64| -> f64 {
        sketches.iter().zip(&outline.layers).map(|(s, l)| f(s, l)).sum::<f64>() * copies + 0.0
    };
    let fibre_length_mm = sum(&|s, _| s.tow_mm);
    let courses = sum(&|s, _| s.courses);
    let matrix_volume_mm3 = sum(&|s, l| s.matrix_mm2 * l.height_mm);
    let room_mm3 = sum(&|s, l| (s.outline_mm2 - s.open_mm2) * l.height_mm);
    let open_mm3 = sum(&|s, l| s.open_mm2 * l.height_mm);
    let strip_volume_mm3 = sum(&|s, l| s.tow_mm * job.tow.width_mm * l.height_mm);
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
    Sums {
        fibre_length_mm,
        courses: count(courses),
        cuts_saved: None,
        head_changes: count(head_changes),
        matrix_volume_mm3,
        purge_volume_mm3,
        strip_volume_mm3,
        room_mm3,
        open_mm3,
        height_mm: super::height_of(outline),
        time_s,
    }
    .figures(job)
}

/// A head's turn, and the layers that it works in.
type Turn = (Head, Vec<usize>);

/// The heads' turns, as the program takes them.
fn turns(sketches: &[Sketch]) -> Vec<Turn> {
    let work = |s: &Sketch| {
        let matrix = (s.matrix_mm2 > 0.0).then_some(Head::Matrix);
        matrix.into_iter().chain((s.courses > 0.0).then_some(Head::Fibre)).collect()
    };
    let work: Vec<Vec<Head>> = sketches.iter().map(work).collect();
    let mut turns: Vec<Turn> = Vec::new();
    for (i, heads) in sequence::in_turn(&work).into_iter().enumerate() {
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
        let temperature_c = job.temperature_c(turn.0);
        let dwell = seconds(turn);
        idle += dwell;
        program.moves.extend([Move::Select(turn.0), Move::HeatWait { head: turn.0, temperature_c }]);
        // in pieces: heat is set between two of them, before a purge of nothing
        let pieces = count(dwell / PIECE_S).clamp(2, MOST_PIECES);
        for _ in 0..pieces {
            program.moves.extend([Move::PurgeStart, Move::PurgeEnd, Move::Dwell(dwell / f64_of(pieces))]);
        }
    }
    let (_, split, _) = super::heated(job, program);
    TimeSplit { other: split.other - idle, ..split }
}

/// Length of a piece of a turn, s: a wait for heat is wrong by no more.
const PIECE_S: f64 = 2.0;

/// Pieces of a turn at most.
const MOST_PIECES: usize = 1000;

fn count(v: f64) -> usize {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a number of courses")]
    let n = v.round().clamp(0.0, 1e12) as usize;
    n
}

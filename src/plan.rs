//! One whole run: a job becomes a program and a plan.

mod warnings;

use crate::diagnostic::{Diagnostic, Notes, Outcome, Progress};
use crate::estimate::Estimate;
use crate::geom::{Area, combine};
use crate::job::Job;
use crate::reinforcement::LeftOut;
use crate::report::Work;
use crate::{estimate, fibre, gcode, job, matrix, outline, plan_file, reinforcement, sequence};
use rayon::prelude::*;
use std::path::Path;

/// What a run gives.
#[derive(Debug)]
pub struct Planned {
    /// The job as it was resolved.
    pub job: Job,
    /// The program, `NAME.gcode`.
    pub program: String,
    /// The plan, `NAME.plan.json`.
    pub plan: String,
    /// Figures of the whole program.
    pub estimate: Estimate,
    /// Tow that the map asks for and that is not laid.
    pub left_out: Vec<LeftOut>,
    /// What the stages made, for pictures and the report.
    pub work: Work,
    /// How well each region is served over all its layers.
    pub cover: Vec<fibre::RegionCover>,
}

/// Plans a job. Nothing is written.
///
/// Errors: whatever the stages find wrong with the job and the files it names.
pub fn plan(notes: &mut Notes, path: &Path) -> Outcome<Planned> {
    let laid = lay(notes, path)?;
    let (program, seconds, estimate) = laid.in_order(laid.job.copies)?;
    let Laid { job, outline, angles_deg, courses, beads, left_out } = laid;
    let facts = gcode::Facts {
        inputs: job.inputs.clone(),
        layers: outline.layers.len(),
        fibre_length_mm: estimate.fibre_length_mm,
        seconds: estimate.time_s.total,
    };
    let text = gcode::write(&job, &program, &facts)?;
    let plan = plan_file::json(&job, &outline, &program, &courses, &beads, &estimate, &text.cut);
    let cover = fibre::RegionCover::over_layers(&courses);
    let work = Work { outline, beads, program, seconds, angles_deg };
    Ok(Planned { job, program: text.program, plan, estimate, left_out, work, cover })
}

/// Every layer laid and filled, not yet in order.
#[derive(Debug)]
pub struct Laid {
    /// The job as it was resolved.
    pub job: Job,
    /// The part as layers.
    pub outline: outline::Outline,
    /// Directions asked for in each layer: a region's rank, degrees.
    pub angles_deg: Vec<Vec<(usize, f64)>>,
    /// The courses of each layer.
    pub courses: Vec<fibre::LayerCourses>,
    /// The beads of each layer.
    pub beads: Vec<matrix::LayerBeads>,
    /// Tow that the map asks for and that is not laid.
    pub left_out: Vec<LeftOut>,
}

/// Reads a job, lays its courses and fills its layers.
///
/// Errors: as [`plan`], but for the bed and the reach of the heads.
pub fn lay(notes: &mut Notes, path: &Path) -> Outcome<Laid> {
    let (job, outline, tasks) = placed(notes, path)?;
    let mut courses = fibre::lay(notes, &job, &outline, &tasks);
    for layer in &mut courses {
        layer.left_out = LeftOut::summed(std::mem::take(&mut layer.left_out));
    }
    warnings::empty_layers(notes, &outline);
    warnings::thin_layers(notes, &job, &outline, &courses);
    warnings::sparse_strips(notes, &job, &outline, &courses);
    warnings::unsupported(notes, &job, &outline, &courses);
    let beads = beads(&notes.progress, &job, &outline, &courses);
    warnings::unfilled(notes, &outline, &beads);
    warnings::lapping(notes, &outline, &beads);
    let left_out: Vec<LeftOut> = courses.iter().flat_map(|c| c.left_out.iter().cloned()).collect();
    warnings::spirals(notes, &job, &courses);
    warnings::open_straps(notes, &job, &outline, &tasks, &courses, &left_out);
    warnings::bent_straps(notes, &job, &outline, &courses);
    warnings::off_direction(notes, &job, &courses);
    warnings::open_hoops(notes, &job, &tasks, &courses);
    warnings::empty_regions(notes, &job, &tasks, &courses, &left_out);
    warnings::left_out(notes, &left_out);
    warnings::laid(notes, &job, &courses);
    nothing_laid(&outline, &courses, &beads)?;
    let angles_deg = tasks.iter().map(|t| t.tasks.iter().map(|t| (t.rank, t.angle_deg)).collect()).collect();
    Ok(Laid { job, outline, angles_deg, courses, beads, left_out })
}

impl Laid {
    /// The whole program of so many copies on a bed, the seconds of each of its
    /// moves, and its figures.
    ///
    /// Errors: `bed-full`, `out-of-reach`.
    pub fn in_order(&self, copies: usize) -> Outcome<(sequence::Program, Vec<f64>, Estimate)> {
        let job = &Job { copies, ..self.job.clone() };
        let (courses, beads) = (&self.courses, &self.beads);
        let program = sequence::order(job, &self.outline, courses, beads)?;
        let (program, split, seconds) = estimate::heated(job, program);
        let cuts_saved = courses.iter().map(|c| c.cuts_saved).sum::<usize>() * copies;
        let estimate = estimate::of(job, &self.outline, &program, beads, cuts_saved, split);
        Ok((program, seconds, estimate))
    }
}

/// A job whose regions are placed in every layer, before any work on them.
///
/// Errors: whatever is wrong with the job and the files that it names.
pub fn placed(
    notes: &mut Notes,
    path: &Path,
) -> Outcome<(Job, outline::Outline, Vec<reinforcement::LayerTasks>)> {
    placed_within(notes, path, 0.0)
}

/// As [`placed`], with boundaries moved by up to `tolerance_mm` where that leaves
/// fewer points: for figures, not for programs.
///
/// Errors: as [`placed`].
pub fn placed_within(
    notes: &mut Notes,
    path: &Path,
    tolerance_mm: f64,
) -> Outcome<(Job, outline::Outline, Vec<reinforcement::LayerTasks>)> {
    let mut job = job::read(notes, path)?;
    let (mut outline, input) = outline::read(notes, &job.outline, job.layer_height_mm)?;
    job.inputs.push(input);
    if tolerance_mm > 0.0 {
        simplify(&mut outline, tolerance_mm);
    }
    // before the work, not after it: a wrong unit makes parts of a thousand layers
    sequence::fits(&job, &outline)?;
    let tasks = reinforcement::place(&job, &outline)?;
    warnings::sections(notes, &job, &outline, &tasks)?;
    warnings::bodies(notes, &outline);
    warnings::fields_elsewhere(notes, &job, &tasks);
    warnings::pins(notes, &job, &outline, &tasks);
    warnings::meets_alone(notes, &job, &tasks);
    Ok((job, outline, tasks))
}

/// Layers with fewer points. A layer that differs from the one below by less than
/// that becomes the same: sections of upright walls differ in their points alone.
fn simplify(outline: &mut outline::Outline, tolerance_mm: f64) {
    let mut below: Option<Area> = None;
    for layer in &mut outline.layers {
        let simple = combine::simplified(&layer.outline, tolerance_mm);
        let same = below.take().filter(|b| near(b, &simple, tolerance_mm));
        layer.outline = same.unwrap_or(simple);
        below = Some(layer.outline.clone());
    }
}

/// Both have the same rings, box and area, nearly.
fn near(a: &Area, b: &Area, tolerance_mm: f64) -> bool {
    let boxes = a.bounds().zip(b.bounds());
    a.rings().count() == b.rings().count()
        && (a.area() - b.area()).abs() < 0.1 * tolerance_mm * a.perimeter()
        && boxes.is_none_or(|(a, b)| a.lo.dist(b.lo).max(a.hi.dist(b.hi)) < tolerance_mm)
}

/// Fills every layer. Layers that are alike, in outline, strips, height and the
/// direction whose turn it is, are filled once and copied.
fn beads(
    progress: &Progress,
    job: &Job,
    outline: &outline::Outline,
    courses: &[fibre::LayerCourses],
) -> Vec<matrix::LayerBeads> {
    let layers = &outline.layers;
    let angles = job.beads.fill_angles_deg.len().max(1);
    let alike = |a: usize, b: usize| {
        a % angles == b % angles
            && layers[a].height_mm.total_cmp(&layers[b].height_mm).is_eq()
            && layers[a].outline == layers[b].outline
            && courses[a].strips == courses[b].strips
    };
    let mut kinds: Vec<usize> = Vec::new();
    let kind_of: Vec<usize> = (0..layers.len())
        .map(|i| {
            kinds.iter().position(|&k| alike(k, i)).unwrap_or_else(|| {
                kinds.push(i);
                kinds.len() - 1
            })
        })
        .collect();
    progress.stage(FILLED, kinds.len());
    let filled: Vec<matrix::LayerBeads> = kinds
        .par_iter()
        .map(|&i| {
            let layer = &layers[i];
            let beads = matrix::fill(&layer.outline, &courses[i].strips, &job.beads, i, layer.height_mm);
            progress.step();
            beads
        })
        .collect();
    progress.stage([FILLED[1], 1.0], 1);
    kind_of.into_iter().map(|k| filled[k].clone()).collect()
}

/// Refuses a part in which no layer holds a course or a bead: a program that only
/// heats and homes is no answer.
fn nothing_laid(
    outline: &outline::Outline,
    courses: &[fibre::LayerCourses],
    beads: &[matrix::LayerBeads],
) -> Outcome<()> {
    if courses.iter().any(|c| !c.courses.is_empty()) || beads.iter().any(|b| !b.beads.is_empty()) {
        return Ok(());
    }
    let [x, y, _] = outline.size_mm();
    Err(Diagnostic::error(
        "nothing-laid",
        format!("no course and no bead fits anywhere in the part, which measures {x:.3} x {y:.3} mm"),
    )
    .help("check `[part] unit` for a file that carries none, the size of the drawing, and `[matrix]`")
    .into())
}

/// Where filling lies in a whole run, as shares of its time: behind the courses.
const FILLED: [f64; 2] = [0.6, 0.9];

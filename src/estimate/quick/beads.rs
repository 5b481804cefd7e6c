//! How long beads take, by areas and edges.

use super::{Sketch, lifted, typical};
use crate::count::f64_of;
use crate::geom::{Area, combine, hatch, polyline};
use crate::job::{Fill, Job};
use crate::motion;
use crate::outline::Layer;
use crate::reinforcement::LayerTasks;
use std::f64::consts::TAU;

/// Beads of a layer: perimeters, one bead along the ground that tow leaves, rows
/// in it, and beads in the gaps between courses.
pub(super) fn beads(
    job: &Job,
    layer: &Layer,
    tasks: &LayerTasks,
    taken: &Area,
    index: usize,
    s: &mut Sketch,
) {
    let plan = &job.beads;
    let (width, height) = (plan.bead_width_mm, layer.height_mm);
    let l = &job.printer.limits;
    let full = job.bead_speed_mm_s(width * height);
    let mut lifts = 0.0;
    let mut rim_mm = 0.0;
    for k in 0..plan.perimeters {
        let inwards = width * (f64_of(k) + 0.5);
        // parallel curves: a whole turn shorter outside, a whole turn longer round a hole
        for part in layer.outline.polygons() {
            rim_mm += (polyline::ring_length(part.outer()) - TAU * inwards).max(0.0);
            rim_mm += part.holes().iter().map(|h| polyline::ring_length(h) + TAU * inwards).sum::<f64>();
            lifts += 1.0 + f64_of(part.holes().len());
        }
    }
    s.bead_s += rim_mm / full * BRAKING;
    s.matrix_mm2 = (rim_mm * width).min(s.outline_mm2);
    let fraction = if plan.fill == Fill::None { 0.0 } else { plan.fill_fraction.clamp(0.0, 1.0) };
    let rounded = crate::matrix::rounded_mm2(width, height) / crate::matrix::rectangle_mm2(width, height);
    let solid = fraction >= crate::matrix::FULL_GROUND;
    let fill_mm2 = (tasks.inside.area() - s.strips_mm2).max(0.0);
    if fraction > 0.0 {
        let ground = combine::without_specks(
            &combine::difference(&tasks.inside, taken),
            CHIP * width * width,
            0.25 * width,
        );
        let (ground_mm2, edge_mm) = (ground.area(), ground.perimeter());
        let slots_mm2 = (fill_mm2 - ground_mm2).max(0.0);
        // beads that lie apart meet as many slots fewer
        let pitch = if solid { width } else { width * rounded / fraction };
        s.bead_s += slots_mm2 / pitch / full * SLOTS;
        lifts += slots_mm2 / pitch / SLOT_MM;
        let mut rows_mm2 = ground_mm2;
        if solid {
            // the bead along the edge; where both edges are one bead apart they share it
            let edge = edge_mm.min(ground_mm2 / width);
            s.bead_s += edge / full * BRAKING;
            lifts += f64_of(ground.rings().count()) * APART;
            rows_mm2 = (ground_mm2 - edge * width).max(0.0);
        }
        if plan.fill == Fill::Contour {
            s.bead_s += rows_mm2 / pitch / full * BRAKING;
            lifts += f64_of(ground.rings().count()) * APART * (rows_mm2 / edge_mm.max(1.0) / pitch);
        } else if rows_mm2 > 0.0 {
            let angle = match plan.fill_angles_deg.len() {
                0 => 0.0,
                n => plan.fill_angles_deg[index % n].to_radians(),
            };
            // rows over all of the ground, each as much shorter as the edge bead takes
            let share = rows_mm2 / ground_mm2;
            let hop = motion::alone(pitch, l.travel_mm_s, l.travel_mm_s2, l.jerk_mm_s3);
            for (from, to) in
                hatch::rows(&ground, angle, pitch, 0.5 * pitch).into_iter().flat_map(|r| r.spans)
            {
                let long = (to - from) * share;
                s.bead_s += motion::alone(long, full, l.work_mm_s2, l.jerk_mm_s3);
                s.matrix_travel_s += hop * share;
            }
            lifts += f64_of(ground.polygons().len()) * ISLANDS;
        }
    }
    s.open_mm2 = (1.0 - fraction) * fill_mm2;
    // what no bead fits in is not known
    s.matrix_mm2 = (s.outline_mm2 - s.strips_mm2 - s.open_mm2).max(0.0);
    s.matrix_travel_s += lifts * lifted(job, typical(&layer.outline) * 0.25);
}

/// Patches below so many squares of a bead's width are chips.
const CHIP: f64 = 4.0;

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

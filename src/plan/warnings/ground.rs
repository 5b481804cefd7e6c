//! Warns of beads and tow that no layer below carries.

use crate::diagnostic::{Diagnostic, Notes};
use crate::fibre::{Course, LayerCourses};
use crate::geom::nearest::Lines;
use crate::geom::{Area, Bounds, Point, combine, hatch, offset, polyline, pt};
use crate::job::{Fill, Job};
use crate::outline::Outline;
use rayon::prelude::*;
use std::borrow::Cow;

/// Warns, once for the whole part, of layers that reach further over the one below them than a
/// bead is wide, and of tow over ground that is left open. The first layer lies on the bed; what
/// lies on a layer without outline is told by `layer-empty`. Sparse fill counts as ground; where
/// nothing is filled, perimeters and tow are all that carries.
pub(in crate::plan) fn unsupported(
    notes: &mut Notes,
    job: &Job,
    outline: &Outline,
    courses: &[LayerCourses],
) {
    let layers = &outline.layers;
    let mut hanging: Vec<Hanging> =
        (1..layers.len()).into_par_iter().filter_map(|i| Hanging::of(job, outline, courses, i)).collect();
    hanging.sort_by(|a, b| {
        b.tow_mm.total_cmp(&a.tow_mm).then(b.area_mm2.total_cmp(&a.area_mm2)).then(a.layer.cmp(&b.layer))
    });
    let Some((worst, others)) = hanging.split_first() else { return };
    let layer = &layers[worst.layer];
    let tow = |mm: f64| if mm > 0.0 { format!(" and {} of tow", super::tow(mm)) } else { String::new() };
    let mut message = format!(
        "{:.1} mm2 of layer {}{} lie over nothing, beyond what is laid in the layer below; the largest place, of {:.1} mm2, is about x {:.2} y {:.2} mm",
        worst.area_mm2,
        layer.number,
        tow(worst.tow_mm),
        worst.largest_mm2,
        worst.at.x,
        worst.at.y
    );
    if !others.is_empty() {
        let named: Vec<String> =
            others.iter().take(MOST_NAMED).map(|h| layers[h.layer].number.to_string()).collect();
        let more = others.len().saturating_sub(MOST_NAMED);
        let named = match named.as_slice() {
            _ if more > 0 => format!("layers {} and {more} more", named.join(", ")),
            [one] => format!("layer {one}"),
            [some @ .., last] => format!("layers {} and {last}", some.join(", ")),
            [] => String::new(),
        };
        message.push_str(&format!(
            "; so do parts of {named}, in all {:.1} mm2{}",
            hanging.iter().map(|h| h.area_mm2).sum::<f64>(),
            tow(hanging.iter().map(|h| h.tow_mm).sum())
        ));
    }
    let help = if job.beads.fill == Fill::None {
        "with `[matrix] fill = \"none\"` nothing carries tow but perimeters and tow: fill the layers below, or lay tow in them first"
    } else {
        "what hangs sags, and tow drawn over it leaves its line: turn the part over, divide it and join the pieces, or stand a block that is taken out afterwards under the place"
    };
    notes.push(
        Diagnostic::warning("unsupported", message)
            .in_part(layer.number, layer.z_top_mm(), Some([worst.at.x, worst.at.y]))
            .help(help),
    );
}

/// Layers that the warning names beside the worst.
const MOST_NAMED: usize = 5;

/// What reaches over by more than a bead's width has to be twice this wide there, in bead widths:
/// a step of one bead is half as long again across a corner.
const MORE: f64 = 0.25;

/// Tow under tension spans what is left open in its way as far as this, mm: rows of one layer
/// carry those across them in the next.
const SPAN_MM: f64 = 10.0;

/// Accuracy of round joins, mm.
const CHORD_MM: f64 = 0.02;

/// Tow is looked at in pieces of this length, mm.
const PIECE_MM: f64 = 0.5;

/// What a layer reaches over.
struct Hanging {
    /// Its index.
    layer: usize,
    area_mm2: f64,
    largest_mm2: f64,
    /// A place in the largest.
    at: Point,
    tow_mm: f64,
}

impl Hanging {
    fn of(job: &Job, outline: &Outline, courses: &[LayerCourses], index: usize) -> Option<Self> {
        let (layer, below) = (&outline.layers[index].outline, &outline.layers[index - 1].outline);
        let open = job.beads.fill == Fill::None || job.beads.fill_fraction <= 0.0;
        if below.is_empty() || layer == below && !open {
            return None;
        }
        let width = job.beads.bead_width_mm;
        let mut places = Area::empty();
        if layer != below {
            let beyond = combine::difference(&laid(job, layer, courses.get(index), open), below);
            // a bead whose middle lies half its width off the edge leans on its neighbour: slopes
            // of meshes are made of such steps, which are longer across corners
            let leaning = offset::grown(below, width, CHORD_MM);
            let far = offset::grown(&combine::difference(&beyond, &leaning), -MORE * width, CHORD_MM);
            // all that hangs about these places, up to the edge of what carries
            let back = (1.0 + MORE) * width + CHORD_MM;
            places = combine::intersection(&beyond, &offset::grown(&far, back, CHORD_MM));
        }
        if places.is_empty() && !open {
            return None;
        }
        let ground = laid(job, below, courses.get(index - 1), open);
        let carried = Lines::boundary(&offset::grown(&ground, 0.5 * job.tow.width_mm, CHORD_MM));
        let span = if open { SPAN_MM } else { 0.0 };
        let runs: Vec<(f64, Point)> = courses
            .get(index)
            .map_or(&[][..], |c| &c.courses)
            .iter()
            .flat_map(|course| free_runs(course, &carried))
            .filter(|run| run.0 > span)
            .collect();
        // an empty sum is -0
        let tow_mm = runs.iter().map(|run| run.0).sum::<f64>() + 0.0;
        let largest = places.split().max_by(|a, b| a.area().total_cmp(&b.area()));
        let (largest_mm2, at) = match largest.and_then(|a| Some((a.area(), within(&a)?))) {
            Some(place) => place,
            None => {
                let (mm, at) = runs.into_iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
                (mm * job.tow.width_mm, at)
            }
        };
        let area_mm2 = places.area().max(tow_mm * job.tow.width_mm);
        Some(Self { layer: index, area_mm2, largest_mm2, at, tow_mm })
    }
}

/// Stretches of a course beyond what carries: how long each is and where its middle lies.
fn free_runs(course: &Course, carried: &Lines) -> Vec<(f64, Point)> {
    let points = match &course.trail {
        Some(trail) => polyline::densified(&trail.laid, PIECE_MM),
        None => polyline::densified(&course.path().flatten(CHORD_MM), PIECE_MM),
    };
    let pieces: Vec<&[Point]> = points.windows(2).collect();
    let free = |piece: &[Point]| !carried.enclose(piece[0].lerp(piece[1], 0.5));
    let stretches = pieces.chunk_by(|a, b| free(a) == free(b)).filter(|run| free(run[0]));
    stretches
        .map(|run| {
            let length = run.iter().map(|piece| piece[0].dist(piece[1])).sum();
            (length, run[run.len() / 2][0])
        })
        .collect()
}

/// What is laid in a layer, where nothing is filled (`open`) perimeters and tow alone.
fn laid<'a>(job: &Job, outline: &'a Area, courses: Option<&LayerCourses>, open: bool) -> Cow<'a, Area> {
    if !open {
        return Cow::Borrowed(outline);
    }
    let rim = job.beads.perimeters_mm();
    let rings = combine::difference(outline, &offset::grown(outline, -rim, CHORD_MM));
    Cow::Owned(courses.map_or_else(|| rings.clone(), |c| combine::union(&rings, &c.strips)))
}

/// A place inside an area: the middle of the longest of some rows across it.
fn within(area: &Area) -> Option<Point> {
    let Bounds { lo, hi } = area.bounds()?;
    let pitch = (hi.y - lo.y) / 8.0;
    let rows = hatch::rows_amid(area, 0.0, pitch);
    let spans =
        rows.iter().flat_map(|r| r.spans.iter().map(|s| (s.1 - s.0, pt(s.0.midpoint(s.1), r.offset))));
    spans.max_by(|a, b| a.0.total_cmp(&b.0)).map(|s| s.1)
}

//! Warnings about straps: pins that stand elsewhere, loops that stay open, sides that are bent.

use super::regions::{first_served, laid_across, named};
use crate::diagnostic::{Diagnostic, Notes, counted};
use crate::fibre;
use crate::geom::path::Segment;
use crate::geom::{Bounds, Point, polyline, pt};
use crate::job::{Job, Meets, Region, Shape};
use crate::outline::Outline;
use crate::reinforcement::{LayerTasks, LeftOut, Reason};

/// Warns of pins of straps that stand in none of the holes that their layer has, or in one
/// that they do not fit.
pub(in crate::plan) fn pins(notes: &mut Notes, job: &Job, outline: &Outline, layers: &[LayerTasks]) {
    for (index, region) in job.map.iter().flat_map(|m| &m.regions).enumerate() {
        let Shape::Pins(pins) = &region.shape else { continue };
        let asked = |t: &LayerTasks| t.tasks.iter().any(|t| t.region == index);
        let first = outline.layers.iter().zip(layers).find(|(_, t)| asked(t)).map(|(l, _)| l);
        let Some(layer) = first else { continue };
        let holes: Vec<&Vec<Point>> = layer.outline.polygons().iter().flat_map(|p| p.holes()).collect();
        for (number, &[x, y, r]) in (1..).zip(pins) {
            let at = pt(x, y);
            let d = match holes.iter().find(|h| polyline::ring_contains(h, at)) {
                Some(hole) => off_hole(region, number, [x, y, r], hole),
                None => in_no_hole(region, [x, y, r], &holes),
            };
            notes.warnings.extend(d.map(|d| d.at(&region.written.source, region.written.shape.clone(), "")));
        }
    }
}

fn in_no_hole(region: &Region, [x, y, r]: [f64; 3], holes: &[&Vec<Point>]) -> Option<Diagnostic> {
    let at = pt(x, y);
    // the hole whose edge is nearest
    let away = |h: &Vec<Point>| edge_distance(h, at);
    let nearest = holes.iter().min_by(|a, b| away(a).total_cmp(&away(b)))?;
    let b = Bounds::of(nearest.iter().copied())?;
    let message = format!(
        "the pin of radius {r} mm at x {x:.2} y {y:.2} mm of region `{}` stands in no hole; the nearest is about x {:.2} y {:.2} mm",
        region.name,
        b.centre().x,
        b.centre().y
    );
    Some(
        Diagnostic::warning("pin-in-no-hole", message)
            .help("straps are laid round the pin as it is given; one that is drilled in later is well so"),
    )
}

/// A pin in a round hole that is not where it is, or not as large.
fn off_hole(region: &Region, number: usize, [x, y, r]: [f64; 3], hole: &[Point]) -> Option<Diagnostic> {
    let (centre, radius) = polyline::circle(hole)?;
    let off = centre.dist(pt(x, y));
    if off.max((radius - r).abs()) <= OFF_HOLE_MM {
        return None;
    }
    let message = format!(
        "pin {number} of region `{}`, of radius {r} mm at x {x:.2} y {y:.2} mm, stands in a hole of radius {radius:.2} mm at x {:.2} y {:.2} mm",
        region.name, centre.x, centre.y
    );
    Some(Diagnostic::warning("pin-off-hole", message).help(format!(
        "as the hole is: [{:.2}, {:.2}, {radius:.2}]; straps go round the pin and its hole, whichever stands out",
        centre.x, centre.y
    )))
}

/// A pin may be off its hole by this, mm: less than a tow is wide.
const OFF_HOLE_MM: f64 = 0.5;

/// Warns, by name, of straps of which none goes round its pins.
pub(in crate::plan) fn open_straps(
    notes: &mut Notes,
    job: &Job,
    outline: &Outline,
    layers: &[LayerTasks],
    courses: &[fibre::LayerCourses],
    left_out: &[LeftOut],
) {
    for (index, region) in job.map.iter().flat_map(|m| &m.regions).enumerate() {
        let mut mine = courses.iter().flat_map(|l| &l.courses).filter(|c| c.region == region.name);
        let closes = mine.any(|c| c.wanted().closed || c.is_spiral());
        let open = |l: &&LeftOut| {
            l.region == region.name
                && match l.reason {
                    Reason::Straps { missing, asked } => missing == asked,
                    // it waited for a turn in which it does not close either
                    Reason::NotItsTurn => !closes,
                    _ => false,
                }
        };
        let numbers: Vec<usize> = left_out.iter().filter(open).map(|l| l.layer).collect();
        if numbers.is_empty() {
            continue;
        }
        let message = format!(
            "in {} no strap of region `{}` goes all the way round its pins: what is laid there turns about single pins, if anything, and ties none to another",
            counted(numbers.len(), "layer"),
            region.name
        );
        let all = outline.layers.iter().zip(layers.iter().zip(courses));
        let there = all.filter(|(l, _)| numbers.contains(&l.number)).map(|(_, there)| there);
        let across = laid_across(job, there, index);
        let asked = layers.iter().filter(|l| l.tasks.iter().any(|t| t.region == index)).count();
        if region.meets == Meets::Weave && !across.is_empty() && closes && numbers.len() < asked {
            // it has its turn in other layers, as was asked for
            continue;
        }
        let weaves = |name: &String| {
            let named = |r: &&Region| r.name == *name;
            job.map.iter().flat_map(|m| &m.regions).find(named).is_some_and(|r| r.meets == Meets::Weave)
        };
        let fewer = if region.courses == Some(1) { "" } else { "fewer straps, " };
        notes.push(Diagnostic::warning("strap-open", message).help(if across.is_empty() {
            format!("does every pin stand where it is meant, in its hole or on its boss? Else {fewer}a smaller bend radius or one perimeter less make room")
        } else if region.meets == Meets::Weave && across.iter().all(weaves) {
            format!(
                "it weaves with {}: each has its turn in one layer of as many as weave together, so put all of them into {} or more",
                named(&across),
                counted(across.len() + 1, "layer")
            )
        } else {
            first_served(&across)
        }));
    }
}

/// Warns, by name, of straps that are led round a hole in which none of their pins stands.
pub(in crate::plan) fn bent_straps(
    notes: &mut Notes,
    job: &Job,
    outline: &Outline,
    courses: &[fibre::LayerCourses],
) {
    for region in job.map.iter().flat_map(|m| &m.regions) {
        let Shape::Pins(pins) = &region.shape else { continue };
        let innermost = |l: &fibre::LayerCourses| {
            let closed = l.courses.iter().filter(|c| c.region == region.name && c.wanted().closed);
            closed.min_by(|a, b| a.length_mm().total_cmp(&b.length_mm())).cloned()
        };
        let mut there = outline.layers.iter().zip(courses);
        let first = there.find_map(|(layer, l)| Some((layer, innermost(l)?)));
        let Some((layer, course)) = first else { continue };
        let holes = layer.outline.polygons().iter().flat_map(|p| p.holes());
        let holes: Vec<(Point, &[Point])> =
            holes.filter_map(|h| Some((polyline::centroid([h.as_slice()])?, h.as_slice()))).collect();
        // the innermost strap lies next to what it goes round
        let beside = job.beads.perimeters_mm() + region.spacing_mm;
        let mut bent = vec![0.0; holes.len()];
        for segment in &course.wanted().segments {
            let Segment::Arc(arc) = segment else { continue };
            let middle = arc.point_at(0.5 * arc.length());
            // what the strap goes round there lies on the inside of its bend, close beside it:
            // round a hole smaller than its bends it keeps off by as much
            let inside = |centre: Point| (centre - middle).dot(arc.centre - middle) > 0.0;
            let near = holes.iter().enumerate().filter(|(_, (centre, _))| inside(*centre));
            let near = near.filter_map(|(i, (_, ring))| {
                let off = edge_distance(ring, middle);
                let radius = (polyline::signed_area(ring).abs() / std::f64::consts::PI).sqrt();
                let close = beside + (arc.radius() - radius).max(0.0);
                (off <= close).then_some((i, off))
            });
            // or it follows the part's own edge
            let edges = layer.outline.polygons().iter().map(|p| edge_distance(p.outer(), middle));
            let pin = pins.iter().map(|&[x, y, r]| middle.dist(pt(x, y)) - r);
            let other = edges.chain(pin).fold(f64::INFINITY, f64::min);
            if let Some((i, _)) = near.filter(|(_, d)| *d < other).min_by(|a, b| a.1.total_cmp(&b.1)) {
                bent[i] += arc.sweep().to_degrees();
            }
        }
        let own = |ring: &[Point]| pins.iter().any(|&[x, y, _]| polyline::ring_contains(ring, pt(x, y)));
        let foreign =
            holes.iter().zip(bent).filter(|((_, ring), degrees)| *degrees >= BENT_DEG && !own(ring));
        let most = foreign.max_by(|a, b| a.1.total_cmp(&b.1));
        let Some(((at, _), degrees)) = most else { continue };
        let message = format!(
            "straps of region `{}` are bent by {degrees:.0} deg round the hole at x {:.2} y {:.2} mm, in which none of their pins stands: pulled, they press on its edge",
            region.name, at.x, at.y
        );
        notes.push(
            Diagnostic::warning("strap-bent", message)
                .at(&region.written.source, region.written.shape.clone(), "")
                .help(format!(
                    "{} straight; where it is meant so, name the hole as a pin",
                    if region.courses == Some(1) {
                        "the hole or a pin elsewhere leaves their sides"
                    } else {
                        "fewer `courses`, or the hole elsewhere, leave their sides"
                    }
                )),
        );
    }
}

/// Bends round a hole below this are such as fitting makes, degrees.
const BENT_DEG: f64 = 5.0;

/// How far a place is from a ring.
fn edge_distance(ring: &[Point], at: Point) -> f64 {
    polyline::ring_edges(ring)
        .map(|(a, b)| polyline::point_segment_distance(at, a, b))
        .fold(f64::INFINITY, f64::min)
}

//! What a plan warns of: tow that is not laid or lies badly, ground left bare.

mod ground;
mod regions;
mod straps;

pub(super) use ground::unsupported;
pub(super) use regions::{empty_regions, meets_alone, off_direction, open_hoops, spirals};
pub(super) use straps::{bent_straps, open_straps, pins};

use crate::diagnostic::{Diagnostic, Notes, Outcome, Severity, counted};
use crate::fibre;
use crate::geom::{Bounds, pt};
use crate::job::{self, Job};
use crate::reinforcement::{LayerTasks, LeftOut, Reason, Target};
use crate::{matrix, outline};

/// Share of a layer's outline that may stay bare before it is warned about: one
/// hundredth, less the thousandth by which counting may be out.
const MOST_UNFILLED: f64 = 0.009;

/// Share of a layer's tow that beads may lie on before it is warned about.
const MOST_LAPPING: f64 = 0.01;

/// Warns of tow that wrinkles in its bends, and of trailing tow that could not be
/// led to where it is wanted.
pub(super) fn laid(notes: &mut Notes, job: &Job, courses: &[fibre::LayerCourses]) {
    // as the tow lies, which may be tighter than the line wanted
    let strain = |c: &fibre::Course| 0.5 * job.tow.width_mm / c.least_radius_mm();
    if let Some(most) = job.tow.wrinkle_strain {
        let over: Vec<&fibre::Course> =
            courses.iter().flat_map(|l| &l.courses).filter(|c| strain(c) > most).collect();
        if let Some(worst) = over.iter().max_by(|a, b| strain(a).total_cmp(&strain(b))) {
            let d = Diagnostic::warning(
                "tow-wrinkles",
                format!(
                    "the tow's edge is strained by more than its {:.3} in the bends of {}: the worst {:.3}, at a radius of {:.2} mm in region `{}`",
                    most,
                    counted(over.len(), "course"),
                    strain(worst),
                    worst.least_radius_mm(),
                    worst.region
                ),
            );
            // a tenth up: the radius told keeps below it
            let least = (5.0 * job.tow.width_mm / most).ceil() / 10.0;
            notes.push(d.help(format!("`min_bend_radius_mm = {least:.1}` in the regions keeps below it")));
        }
    }
    let trails = || courses.iter().flat_map(|l| &l.courses).filter_map(|c| c.trail.as_ref().map(|t| (c, t)));
    let off: Vec<_> = trails().filter(|(_, t)| t.off_anywhere_mm() > fibre::TRAIL_MM).collect();
    let worst = off.iter().max_by(|a, b| a.1.off_anywhere_mm().total_cmp(&b.1.off_anywhere_mm()));
    if let Some((c, t)) = worst {
        let ends = off.iter().filter(|(_, t)| t.off_mm <= fibre::TRAIL_MM).count();
        let d = Diagnostic::warning(
            "trail-off",
            format!(
                "in {} the tow, which trails the nozzle by {} mm, comes to lie more than {} mm off the line wanted, in {} of them at the end alone; the worst {:.2} mm, in region `{}`, at x {:.2} y {:.2} mm",
                counted(off.len(), "course"),
                job.tow.trail_mm,
                fibre::TRAIL_MM,
                if ends == 0 { "none".to_owned() } else { ends.to_string() },
                t.off_anywhere_mm(),
                c.region,
                t.at_mm[0],
                t.at_mm[1]
            ),
        );
        notes
            .push(d.help("the plan has each course as laid; a larger `min_bend_radius_mm` brings it nearer"));
    }
    trailing_bends(notes, job, courses);
}

/// Warns where trailing tow comes to lie in tighter bends than it is meant to.
fn trailing_bends(notes: &mut Notes, job: &Job, courses: &[fibre::LayerCourses]) {
    let asked = |c: &fibre::Course| {
        let region = job.map.iter().flat_map(|m| &m.regions).find(|r| r.name == c.region);
        region.map_or(job.tow.min_bend_radius_mm, |r| r.min_bend_radius_mm)
    };
    let share = |c: &fibre::Course| c.least_radius_mm() / asked(c);
    let tighter: Vec<&fibre::Course> =
        courses.iter().flat_map(|l| &l.courses).filter(|c| c.trail.is_some() && share(c) < TIGHTER).collect();
    let Some(worst) = tighter.iter().min_by(|a, b| share(a).total_cmp(&share(b))) else { return };
    let message = format!(
        "in {} the tow, which trails the nozzle by {} mm, comes to lie in a bend tighter than asked for; the tightest {:.2} mm where {:.2} mm are asked, in region `{}`",
        counted(tighter.len(), "course"),
        job.tow.trail_mm,
        worst.least_radius_mm(),
        asked(worst),
        worst.region
    );
    notes.push(Diagnostic::warning("trail-bends", message).help(
        "the nozzle keeps the radius all along; where that matters ask for a somewhat larger `min_bend_radius_mm`",
    ));
}

/// Share of the least radius below which a bend that trailing tow lies in is told: two
/// hundredths are borne where the nozzle's way is looked for, and a hair more is not worth a word.
const TIGHTER: f64 = 0.975;

/// Warns where beads leave more bare than is tolerable: by flow, or as drawn.
pub(super) fn unfilled(notes: &mut Notes, outline: &outline::Outline, beads: &[matrix::LayerBeads]) {
    let share = |b: &matrix::LayerBeads| {
        let a = &b.areas;
        // what stays open on purpose is bare too
        if a.outline > 0.0 { (a.unfilled.max(b.cover.bare - a.open) / a.outline).min(1.0) } else { 0.0 }
    };
    if let Some((worst, share, number)) = worst_over(MOST_UNFILLED, beads.iter().map(share)) {
        let layer = &outline.layers[worst];
        notes.push(
            Diagnostic::warning(
                "unfilled",
                format!(
                    "beads leave {:.2} % of layer {} bare, more than {:.1} %{}",
                    share * 100.0,
                    layer.number,
                    MOST_UNFILLED * 100.0,
                    of_such(number),
                ),
            )
            .in_part(layer.number, layer.z_top_mm(), None)
            .help("pressing has to close these gaps; a narrower `[matrix] bead_width_mm` often fills more of them, in more time"),
        );
    }
}

/// Warns where beads lie on more of the tow than is tolerable.
pub(super) fn lapping(notes: &mut Notes, outline: &outline::Outline, beads: &[matrix::LayerBeads]) {
    let share = |b: &matrix::LayerBeads| if b.areas.tow > 0.0 { b.cover.over_tow / b.areas.tow } else { 0.0 };
    if let Some((worst, share, number)) = worst_over(MOST_LAPPING, beads.iter().map(share)) {
        let layer = &outline.layers[worst];
        notes.push(
            Diagnostic::warning(
                "lapping",
                format!(
                    "beads lie on {:.2} % of the tow in layer {}, more than {:.0} %{}",
                    share * 100.0,
                    layer.number,
                    MOST_LAPPING * 100.0,
                    of_such(number),
                ),
            )
            .in_part(layer.number, layer.z_top_mm(), None)
            .help(
                "matrix on tow stands higher than the layer; a narrower `[matrix] bead_width_mm` laps less",
            ),
        );
    }
}

/// Whether beads and tow have the section that layers need whose heights are known only since
/// the outline was read: an error where the height is the job's own, a warning where it is the
/// file's.
///
/// Errors: `bead-section`, `layer-too-thin`.
pub(super) fn sections(
    notes: &mut Notes,
    job: &Job,
    outline: &outline::Outline,
    tasks: &[LayerTasks],
) -> Outcome<()> {
    let (width, key) = (job.beads.bead_width_mm, "`[matrix] bead_width_mm`");
    let thickest = outline.layers.iter().max_by(|a, b| a.height_mm.total_cmp(&b.height_mm));
    if let Some(layer) = thickest.filter(|l| width + crate::job::SAME_HEIGHT_MM < l.height_mm) {
        let height = layer.height_mm;
        let message = format!("a bead of {width} mm is narrower than a layer is high, {height:.3} mm");
        let d = if job.brought(height) { Diagnostic::warning } else { Diagnostic::error };
        let d = d("bead-section", message).in_part(layer.number, layer.z_top_mm(), None);
        let d = d.help(format!("a bead lies flat: make {key} at least {height:.3} mm"));
        if d.severity == Severity::Error {
            return Err(d.into());
        }
        notes.push(d);
    }
    let laid = outline.layers.iter().zip(tasks).filter(|(_, t)| !t.tasks.is_empty());
    let own = laid.map(|(l, _)| l).find(|l| !job.brought(l.height_mm));
    match own.and_then(|l| Some((l, job::layer_fit(&job.tow, l.height_mm)?))) {
        Some((l, d)) if d.severity == Severity::Error => Err(d.in_part(l.number, l.z_top_mm(), None).into()),
        _ => Ok(()),
    }
}

/// Warns where layers are too thin for the tow whose heights were not known when the job was
/// read: most are the file's own, and whether to press tow flatter is for the user to decide.
pub(super) fn thin_layers(
    notes: &mut Notes,
    job: &Job,
    outline: &outline::Outline,
    courses: &[fibre::LayerCourses],
) {
    let told = |l: &outline::Layer| !job.brought(l.height_mm) && !job::may_bring_layers(&job.outline.typed);
    let laid = outline.layers.iter().zip(courses).filter(|(l, c)| !c.courses.is_empty() && !told(l));
    let thinnest = laid.map(|(l, _)| l).min_by(|a, b| a.height_mm.total_cmp(&b.height_mm));
    if let Some(layer) = thinnest
        && let Some(mut d) = job::layer_fit(&job.tow, layer.height_mm)
    {
        d.severity = Severity::Warning;
        notes.push(d.in_part(layer.number, layer.z_top_mm(), None));
    }
}

/// Warns where a strip of tow is more pore than tow before pressing: the layer is more than twice
/// as high as the tow's section is over its width.
pub(super) fn sparse_strips(
    notes: &mut Notes,
    job: &Job,
    outline: &outline::Outline,
    courses: &[fibre::LayerCourses],
) {
    let tow = &job.tow;
    let solid_mm = tow.area_mm2 / tow.width_mm;
    let laid = outline.layers.iter().zip(courses).filter(|(_, c)| !c.courses.is_empty());
    let pores = |l: &outline::Layer| 1.0 - solid_mm / l.height_mm;
    let mut over = laid.map(|(l, _)| l).filter(|l| pores(l) > MOST_PORES);
    let Some(first) = over.next() else { return };
    let number = 1 + over.clone().count();
    let highest =
        over.fold(first, |a, b| if b.height_mm > a.height_mm + job::SAME_HEIGHT_MM { b } else { a });
    let message = format!(
        "a strip of tow is {:.0} % pore as printed, more than {:.0} %: a section of {} mm2 in a strip of {} x {:.3} mm, in layer {}{}",
        pores(highest) * 100.0,
        MOST_PORES * 100.0,
        tow.area_mm2,
        tow.width_mm,
        highest.height_mm,
        highest.number,
        of_such(number)
    );
    // a layer as high as the tow is stated holds it as it is
    let (from, to) = (solid_mm.max(tow.height_mm), solid_mm / (1.0 - MOST_PORES));
    let (from, to) = ((from * 1000.0 - 1e-6).ceil() / 1000.0, (to * 1000.0 + 1e-6).floor() / 1000.0);
    let own = job.brought(highest.height_mm);
    let what = if own { "layers of the outline file" } else { "`[build] layer_height_mm`" };
    notes.push(
        Diagnostic::warning("strips-porous", message)
            .in_part(highest.number, highest.z_top_mm(), None)
            .help(if from <= to {
                format!("{what} of {from} to {to} mm, near the lower end, leave less for pressing to close; or take a thicker tow")
            } else {
                let full = 100.0 * tow.area_mm2 / (tow.width_mm * tow.height_mm);
                format!("the tow's section fills {full:.0} % of its `width_mm` x `height_mm`, so that no height of layers helps: is `area_mm2` right?")
            }),
    );
}

/// Share of a strip of tow that may be pore before it is warned about: from here on it is more
/// pore than tow, and pressed it is less than half as high.
const MOST_PORES: f64 = 0.5;

/// Warns of layers without outline below others: what lies on them hangs in the air.
pub(super) fn empty_layers(notes: &mut Notes, outline: &outline::Outline) {
    let Some(last) = outline.layers.iter().rposition(|l| !l.outline.is_empty()) else { return };
    let mut empty = outline.layers[..last].iter().filter(|l| l.outline.is_empty());
    if let Some(first) = empty.next() {
        let others = empty.count();
        let more =
            if others > 0 { format!(" and {} above it", counted(others, "layer")) } else { String::new() };
        let message = format!("layer {} is empty{more}: what is laid over it hangs in the air", first.number);
        let d = Diagnostic::warning("layer-empty", message).in_part(first.number, first.z_top_mm(), None);
        notes.push(d.help(
            "heights follow each other without gaps: those of a drawing's groups stand in `data-z-mm`, a layered file has its own",
        ));
    }
}

/// Warns of an outline of several bodies that nothing holds together.
pub(super) fn bodies(notes: &mut Notes, outline: &outline::Outline) {
    let bodies = outline.bodies();
    let [_, .., least] = bodies.as_slice() else { return };
    let message = format!(
        "the outline is {} that nothing holds together; the smallest, of {:.1} mm2 in {}, lies about x {:.2} y {:.2} mm",
        format_args!("{} bodies", bodies.len()),
        least.area_mm2,
        if least.first_layer == least.last_layer {
            format!("layer {}", least.first_layer)
        } else {
            format!("layers {} to {}", least.first_layer, least.last_layer)
        },
        least.at.x,
        least.at.y
    );
    notes.push(Diagnostic::warning("outline-apart", message).help(
        "all of them are planned as one part; several parts on a bed are `[build] copies`, what was left in a drawing by mistake wants erasing",
    ));
}

/// Warns of steered regions that no point of their field lies in: directions are then
/// those of points far off.
pub(super) fn fields_elsewhere(notes: &mut Notes, job: &Job, layers: &[LayerTasks]) {
    for (index, region) in job.map.iter().flat_map(|m| &m.regions).enumerate() {
        let (Some(field), Some((typed, span))) = (&region.field, &region.written.field) else { continue };
        let tasks = layers.iter().flat_map(|l| &l.tasks).filter(|t| t.region == index);
        let areas = tasks.filter_map(|t| match &t.target {
            Target::Area(a) => a.bounds(),
            Target::Holes { .. } | Target::Pins { .. } => None,
        });
        let Some(b) = Bounds::of(areas.flat_map(|b| [b.lo, b.hi])) else { continue };
        // how far a coordinate lies outside of a range
        let beyond = |v: f64, lo: f64, hi: f64| (lo - v).max(v - hi).max(0.0);
        let off = |[x, y]: [f64; 2]| pt(beyond(x, b.lo.x, b.hi.x), beyond(y, b.lo.y, b.hi.y)).norm();
        let Some(nearest) = field.samples.iter().map(|s| off(s.at_mm)).min_by(f64::total_cmp) else {
            continue;
        };
        if nearest > 0.0 {
            let message = format!(
                "no point of the field `{typed}` lies in region `{}`, which spans x {:.1} to {:.1} and y {:.1} to {:.1} mm: the nearest is {nearest:.1} mm off",
                region.name, b.lo.x, b.hi.x, b.lo.y, b.hi.y
            );
            notes.push(
                Diagnostic::warning("field-elsewhere", message)
                    .at(&region.written.source, span.clone(), "")
                    .help("a field counts in mm in the coordinates of the outline"),
            );
        }
    }
}

/// One warning for everything left out: the regions that lose most, how much and why.
pub(super) fn left_out(notes: &mut Notes, left_out: &[LeftOut]) {
    let left_out: Vec<&LeftOut> = left_out.iter().filter(|l| l.is_missing()).collect();
    if left_out.is_empty() {
        return;
    }
    let total: f64 = left_out.iter().map(|l| l.length_mm).sum();
    let mut sums: Vec<(&str, Reason, f64)> = Vec::new();
    for l in &left_out {
        match sums.iter_mut().find(|s| s.0 == l.region && s.1.is_as(&l.reason)) {
            Some(sum) => {
                sum.1 = sum.1.worse(l.reason);
                sum.2 += l.length_mm;
            }
            None => sums.push((&l.region, l.reason, l.length_mm)),
        }
    }
    // of equals the first stays first
    sums.sort_by(|a, b| b.2.total_cmp(&a.2));
    let told = sums.iter().take(MOST_SUMS);
    let mut parts: Vec<String> =
        told.map(|(region, reason, mm)| format!("{} in region `{region}`, {reason}", tow(*mm))).collect();
    let rest: f64 = sums.iter().skip(MOST_SUMS).map(|s| s.2).sum();
    if sums.len() > MOST_SUMS {
        parts.push(format!("and {} elsewhere or for other reasons", tow(rest)));
    }
    let message = format!(
        "{} of tow that the map asks for are not laid in each part, in {}: {}",
        tow(total),
        counted(left_out.len(), "place"),
        parts.join("; ")
    );
    notes.push(
        Diagnostic::warning("left-out", message)
            .help("the plan's left_out list has each place, length and reason"),
    );
}

/// Sums that the warning names, the largest.
const MOST_SUMS: usize = 3;

/// A length of tow, short ones in mm.
fn tow(mm: f64) -> String {
    if mm < 1000.0 { format!("{mm:.0} mm") } else { format!("{:.1} m", mm / 1000.0) }
}

fn of_such(layers: usize) -> String {
    if layers == 1 { String::new() } else { format!(" (the worst of {layers} such layers)") }
}

/// Index and value of the largest share over the limit, and how many are over it.
fn worst_over(limit: f64, shares: impl Iterator<Item = f64>) -> Option<(usize, f64, usize)> {
    let over: Vec<(usize, f64)> = shares.enumerate().filter(|s| s.1 > limit).collect();
    over.iter().max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0))).map(|w| (w.0, w.1, over.len()))
}

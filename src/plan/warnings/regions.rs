//! Warnings that name a region: what it asks for and does not get.

use crate::diagnostic::{Diagnostic, Notes, counted};
use crate::fibre;
use crate::geom::{Area, combine, offset};
use crate::job::{Job, Meets, Rule};
use crate::reinforcement::{LayerTasks, LeftOut, Reason, Target, ground};

/// Warns, by name, of regions that are to be wound into spirals of which none came about.
pub(in crate::plan) fn spirals(notes: &mut Notes, job: &Job, courses: &[fibre::LayerCourses]) {
    for region in job.map.iter().flat_map(|m| &m.regions).filter(|r| r.spiral) {
        let of_layer = |l: &fibre::LayerCourses| {
            let mine = l.courses.iter().filter(|c| c.region == region.name);
            mine.fold((0, true), |(n, closed), c| (n + 1, closed && c.wanted().closed))
        };
        let layers: Vec<(usize, bool)> = courses.iter().map(of_layer).filter(|(n, _)| *n > 0).collect();
        if layers.iter().any(|(n, _)| *n > 1) && layers.iter().all(|(_, closed)| *closed) {
            let message = format!(
                "region `{}` asks for spirals, its {} closed courses are laid one by one: no way from one to the next was found that keeps the bend radius and a tow's width from both",
                region.name,
                layers.iter().map(|l| l.0).sum::<usize>()
            );
            let d = Diagnostic::warning("spiral-not-wound", message);
            notes.push(d.help("a way over takes a length of its own: fewer and longer courses, or a smaller bend radius; `spiral = false` lays them a little closer"));
        }
    }
}

/// Mean angle off the direction asked for from which on it is warned about, degrees: by the
/// fourth power of the cosine (laminate theory) 6 % of the stiffness along it are lost there,
/// and more where tow lies further off than in the mean.
const MOST_OFF_DEG: f64 = 10.0;

/// Warns of regions whose tow lies far off the direction that it is to have.
pub(in crate::plan) fn off_direction(notes: &mut Notes, job: &Job, courses: &[fibre::LayerCourses]) {
    for region in job.map.iter().flat_map(|m| &m.regions) {
        let mine = courses.iter().flat_map(|l| &l.quality).filter(|q| q.region == region.name);
        let (mut sum, mut length, mut worst) = (0.0, 0.0, (0.0, 0));
        for (q, angle) in mine.filter_map(|q| Some((q, q.angle?))) {
            sum += angle.mean_deg * q.length_mm;
            length += q.length_mm;
            if angle.mean_deg > worst.0 {
                worst = (angle.mean_deg, q.layer);
            }
        }
        if length <= 0.0 || sum <= MOST_OFF_DEG * length {
            continue;
        }
        let message = format!(
            "tow of region `{}` lies {:.0} deg off the direction asked for in the mean, {:.0} deg in layer {}",
            region.name,
            sum / length,
            worst.0,
            worst.1
        );
        let help = match region.rule {
            Rule::Unidirectional => {
                "turns that join short rows take much of it: `turns = false` lays straight rows alone, a direction along the part has longer ones"
            }
            _ => {
                "the field turns more tightly than tow can bend, or leads into places too small for a course: smooth it, or lay these places by another rule"
            }
        };
        notes.push(Diagnostic::warning("angle-off", message).help(help));
    }
}

/// Warns, by name, of hoops and contours asked for by number of which none closes.
pub(in crate::plan) fn open_hoops(
    notes: &mut Notes,
    job: &Job,
    layers: &[LayerTasks],
    courses: &[fibre::LayerCourses],
) {
    for (index, region) in job.map.iter().flat_map(|m| &m.regions).enumerate() {
        if region.courses.is_none() || !matches!(region.rule, Rule::Hoop | Rule::Contour) {
            continue;
        }
        let mine = || courses.iter().flat_map(|l| &l.courses).filter(|c| c.region == region.name);
        if mine().next().is_none() || mine().any(goes_round) {
            continue;
        }
        let message = format!(
            "no course of region `{}` closes in any layer: what is laid, {}, goes round nothing",
            region.name,
            counted(mine().count(), "piece")
        );
        let there = layers.iter().zip(courses);
        let there = there.filter(|(_, l)| l.courses.iter().any(|c| c.region == region.name));
        let across = laid_across(job, there, index);
        notes.push(
            Diagnostic::warning("hoop-open", message)
                .at(&region.written.source, region.written.shape.clone(), "")
                .help(if across.is_empty() {
                    let fewer = if region.courses == Some(1) { "" } else { "fewer `courses`, " };
                    format!("{fewer}one perimeter less or a smaller bend radius make room")
                } else {
                    first_served(&across)
                }),
        );
    }
}

/// A closed course, or a spiral: it turns all the way round.
fn goes_round(course: &fibre::Course) -> bool {
    // a spiral's last turn runs out on its way round
    const NEARLY: f64 = 0.95;
    let path = course.wanted();
    path.closed || path.turned().abs() >= NEARLY * std::f64::consts::TAU
}

/// Names of the regions whose tow is laid before another one's in some layers, on its ground;
/// none where it would not close without them either.
pub(super) fn laid_across<'a>(
    job: &Job,
    layers: impl Iterator<Item = (&'a LayerTasks, &'a fibre::LayerCourses)>,
    index: usize,
) -> Vec<String> {
    let Some(map) = &job.map else { return Vec::new() };
    let mut names: Vec<String> = Vec::new();
    // most layers are like the one below
    let mut below: Option<&LayerTasks> = None;
    for (layer, laid) in layers {
        if below.replace(layer).is_some_and(|b| b.tasks == layer.tasks) {
            continue;
        }
        let Some(k) = layer.tasks.iter().position(|t| t.region == index) else { continue };
        let own = ground(job, &map.regions[index], &layer.tasks[k], false);
        for before in &layer.tasks[..k] {
            let region = &map.regions[before.region];
            let has_tow = || laid.courses.iter().any(|c| c.region == region.name);
            if !names.contains(&region.name)
                && has_tow()
                && overlap(&own, &ground(job, region, before, false))
            {
                if names.is_empty() && !fibre::closes_alone(job, &layer.tasks[k], &layer.inside) {
                    return names;
                }
                names.push(region.name.clone());
            }
        }
    }
    names
}

/// What to do where others have the ground.
pub(super) fn first_served(names: &[String]) -> String {
    format!(
        "across its way lies what is laid before it, of {}: give this one the higher `priority`, or other layers; `meets = \"weave\"` in both gives each its turn",
        named(names)
    )
}

/// Regions by name, in words.
pub(super) fn named(names: &[String]) -> String {
    let told: Vec<String> = names.iter().take(MOST_NAMES).map(|n| format!("`{n}`")).collect();
    let more = names.len().saturating_sub(MOST_NAMES);
    match told.as_slice() {
        _ if more > 0 => format!("regions {} and {}", told.join(", "), counted(more, "other")),
        [many @ .., last] if !many.is_empty() => format!("regions {} and {last}", many.join(", ")),
        _ => format!("region {}", told.join(", ")),
    }
}

/// Regions named in one line.
const MOST_NAMES: usize = 4;

/// Warns, by name, of regions that want to share ground with others that do not.
pub(in crate::plan) fn meets_alone(notes: &mut Notes, job: &Job, layers: &[LayerTasks]) {
    let Some(map) = &job.map else { return };
    for (index, region) in map.regions.iter().enumerate() {
        let word = match region.meets {
            Meets::Priority => continue,
            Meets::Butt => "butt",
            Meets::Weave => "weave",
        };
        let mut others: Vec<String> = Vec::new();
        let mut alone = true;
        let mut below: Option<&LayerTasks> = None;
        for layer in layers {
            if below.replace(layer).is_some_and(|b| b.tasks == layer.tasks) {
                continue;
            }
            let Some(task) = layer.tasks.iter().find(|t| t.region == index) else { continue };
            let own = ground(job, region, task, false);
            // ground that was parted between two lies side by side
            let beside = offset::grown(&own, 0.5 * job.tow.width_mm, ROUGH_MM);
            for other in layer.tasks.iter().filter(|t| t.region != index) {
                let with = &map.regions[other.region];
                if with.meets == region.meets {
                    alone = alone && !overlap(&beside, &ground(job, with, other, false));
                } else if !others.contains(&with.name) && overlap(&own, &ground(job, with, other, false)) {
                    others.push(with.name.clone());
                }
            }
            if !alone {
                break;
            }
        }
        if let (true, Some(other)) = (alone, others.first()) {
            let who = match others.len() - 1 {
                0 => format!("region `{other}`, which it overlaps, does not"),
                more => format!("region `{other}` and {}, which it overlaps, do not", counted(more, "other")),
            };
            let message =
                format!("region `{}` says `meets = \"{word}\"`, {who}: they meet by priority", region.name);
            notes.push(
                Diagnostic::warning("meets-alone", message)
                    .at(&region.written.source, region.written.meets.clone(), "")
                    .help(format!("write `meets = \"{word}\"` in both, or take it out")),
            );
        }
    }
}

/// Both have ground that a piece of tow would cover.
fn overlap(a: &Area, b: &Area) -> bool {
    combine::intersection(a, b).area() > LEAST_MM2
}

/// Chords of areas that are only compared, mm.
const ROUGH_MM: f64 = 0.02;

/// Common ground below this is rounding, mm2.
const LEAST_MM2: f64 = 0.05;

/// Warns, by name, of regions that get no tow in any layer.
pub(in crate::plan) fn empty_regions(
    notes: &mut Notes,
    job: &Job,
    layers: &[LayerTasks],
    courses: &[fibre::LayerCourses],
    left_out: &[LeftOut],
) {
    for (index, region) in job.map.iter().flat_map(|m| &m.regions).enumerate() {
        if courses.iter().flat_map(|l| &l.courses).any(|c| c.region == region.name) {
            continue;
        }
        let mine = left_out.iter().filter(|l| l.region == region.name);
        let most = mine.max_by(|a, b| a.length_mm.total_cmp(&b.length_mm));
        let why = most.map_or("it lies in no layer of the part".to_owned(), |l| l.reason.to_string());
        let trails = most.is_some_and(|l| matches!(l.reason, Reason::Astray { .. }));
        let d = Diagnostic::warning(
            "region-empty",
            format!("region `{}` gets no tow in any layer: {why}", region.name),
        );
        let asked = || layers.iter().filter(|l| l.tasks.iter().any(|t| t.region == index));
        notes.push(if trails {
            d.help(format!(
                "the tow's `trail_mm` is {} mm: measure it, mostly it is below 3 mm; else a tow or a nozzle that trails less, or wider bends: no hoop so near to its hole, a larger `min_bend_radius_mm`",
                job.tow.trail_mm
            ))
        } else if asked().next().is_some() && asked().all(|l| taken_by_perimeters(job, l, index)) {
            let deep = job.beads.perimeters_mm();
            d.help(format!(
                "perimeters leave no room: {} of {} mm take {deep:.2} mm from every boundary; fewer `[matrix] perimeters` or a smaller `bead_width_mm` leave more",
                job.beads.perimeters, job.beads.bead_width_mm
            ))
        } else {
            let own = job.tow.min_bend_radius_mm;
            let d = if region.min_bend_radius_mm > own {
                d.help(format!(
                    "its `min_bend_radius_mm` is {} mm, the tow's own {own} mm: tighter bends need less room",
                    region.min_bend_radius_mm
                ))
            } else {
                d
            };
            let file = job.inputs.iter().find(|i| i.role == "job").map_or("JOB.toml", |i| i.file.as_str());
            let layer = most.map_or(1, |l| l.layer);
            d.help(format!(
                "`towpath picture {file} --layer {layer} --out layer.png` shows the room that it has; `towpath explain left-out` what each reason asks for"
            ))
        });
    }
}

/// What perimeters leave of a layer, or of a region in it, has no room for a tow.
fn taken_by_perimeters(job: &Job, layer: &LayerTasks, index: usize) -> bool {
    let none = |a: &Area| a.area() < LEAST_MM2;
    let mut mine = layer.tasks.iter().filter(|t| t.region == index);
    job.beads.perimeters > 0
        && (mine.any(|t| matches!(&t.target, Target::Area(a) if none(a)))
            || none(&offset::shrunk(&layer.inside, 0.5 * job.tow.width_mm, ROUGH_MM)))
}

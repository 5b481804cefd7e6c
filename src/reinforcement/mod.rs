//! What to lay where: the map's regions resolved in every layer.

mod left_out;
mod meets;
mod parted;
mod shape;

pub use left_out::{LeftOut, Reason};
pub(crate) use meets::ground;

use crate::diagnostic::{Diagnostic, Faults, Outcome};
use crate::geom::{Area, offset, smooth};
use crate::job::{Job, Layers, Map, Meets, Region, Rule, SAME_HEIGHT_MM, Shape};
use crate::outline::{Layer, Outline};
use std::collections::BTreeMap;
use std::sync::Arc;

/// What is asked of one layer.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LayerTasks {
    /// The outline less its perimeters: fibre stays inside.
    pub inside: Area,
    /// In the order in which they are laid: higher priority first.
    pub tasks: Vec<Task>,
    /// Regions that find nothing to be laid in here.
    pub left_out: Vec<LeftOut>,
}

/// One region in one layer.
#[derive(Clone, Debug, PartialEq)]
pub struct Task {
    /// Index of the region in the map.
    pub region: usize,
    /// Place of the region among the map's by priority, 0 first, whatever its turn is here.
    pub rank: usize,
    /// Where.
    pub target: Target,
    /// Direction of unidirectional courses, degrees.
    pub angle_deg: f64,
    /// It weaves, another one that it weaves with is laid before it here, and in some other
    /// layer it is laid before all of them.
    pub waits: bool,
}

/// Where a task applies.
#[derive(Clone, Debug, PartialEq)]
pub enum Target {
    /// Inside an area.
    Area(Area),
    /// Round some holes, each given as the filled hole, inside an area.
    Holes {
        /// The holes, filled.
        holes: Vec<Area>,
        /// The body of the part that each is in: nothing in another one goes round it. Empty
        /// where the part is one body.
        bodies: Vec<Arc<Area>>,
        /// Where courses may lie.
        room: Area,
    },
    /// Round pins, inside an area.
    Pins {
        /// Each pin, with the hole that it stands in less what perimeters take.
        pins: Vec<Area>,
        /// Where courses may lie.
        room: Area,
    },
}

impl Target {
    /// Where its strips must lie.
    pub fn within(&self) -> &Area {
        match self {
            Self::Area(area) => area,
            Self::Holes { room, .. } | Self::Pins { room, .. } => room,
        }
    }
}

/// Resolves a map for every layer.
///
/// Errors, all found: `layer-missing`, `layers-empty`, `shape-outside`,
/// `hole-missing`, `id-missing`, `rule-shape`.
pub fn place(job: &Job, outline: &Outline) -> Outcome<Vec<LayerTasks>> {
    let margin = job.beads.perimeters_mm();
    let mut layers: Vec<LayerTasks> = Vec::with_capacity(outline.layers.len());
    for (i, l) in outline.layers.iter().enumerate() {
        // most layers are like the one below
        let inside = match layers.last() {
            Some(below) if outline.layers[i - 1].outline == l.outline => below.inside.clone(),
            _ => offset::shrunk(&l.outline, margin, CHORD_MM),
        };
        layers.push(LayerTasks { inside, ..Default::default() });
    }
    let Some(map) = &job.map else { return Ok(layers) };
    let mut faults = Vec::new();
    for (rank, index) in laying_order(map).into_iter().enumerate() {
        if let Err(mut f) = place_region(map, index, rank, outline, &mut layers) {
            faults.append(&mut f.0);
        }
    }
    // most layers are like the one below, and part their ground as it does
    let mut below: Option<(Vec<Task>, Vec<Task>)> = None;
    let any_butts = map.regions.iter().any(|r| r.meets == Meets::Butt);
    for layer in layers.iter_mut().filter(|_| any_butts) {
        let asked = layer.tasks.clone();
        match below.take().filter(|(same, _)| meets::alike(same, &asked)) {
            Some((_, parted)) => {
                for (task, as_below) in layer.tasks.iter_mut().zip(parted) {
                    task.target = as_below.target;
                }
            }
            None => meets::butt(job, map, &mut layer.tasks),
        }
        below = Some((asked, layer.tasks.clone()));
    }
    // counted in layers where the same regions do meet: these may be every second layer of the
    // part
    let mut met: BTreeMap<Vec<usize>, usize> = BTreeMap::new();
    let mut below: Option<(Vec<Task>, Vec<Vec<usize>>)> = None;
    let mut behind: Vec<(usize, usize, Vec<usize>)> = Vec::new();
    let any_weaves = map.regions.iter().any(|r| r.meets == Meets::Weave);
    for (i, layer) in layers.iter_mut().enumerate().filter(|_| any_weaves) {
        let asked = layer.tasks.clone();
        let same = below.take().filter(|(below, _)| meets::alike(below, &asked));
        let sets = same.map_or_else(|| meets::woven(job, map, &asked), |(_, sets)| sets);
        for set in &sets {
            let regions: Vec<usize> = set.iter().map(|&k| asked[k].region).collect();
            let before = met.entry(regions.clone()).or_default();
            meets::turn_round(&mut layer.tasks, set, *before);
            *before += 1;
            behind.extend(set[1..].iter().map(|&k| (i, k, regions.clone())));
        }
        below = Some((asked, sets));
    }
    for (i, k, regions) in behind {
        // the first is first in the first layer in which they meet, the second in the second one
        let own = regions.iter().position(|r| *r == layers[i].tasks[k].region);
        layers[i].tasks[k].waits = own.zip(met.get(&regions)).is_some_and(|(own, layers)| *layers > own);
    }
    if faults.is_empty() { Ok(layers) } else { Err(Faults(faults)) }
}

/// Sagitta of chords in areas that only bound where fibre may lie, mm.
const CHORD_MM: f64 = 0.004;

/// What hoops round a filled hole lie between if nothing is in their way: the inside of
/// the innermost and the outside of the outermost, `deep` mm further out. They keep
/// `clearance` mm from the hole, and round one that bends more tightly than tow, `radius`
/// mm, they lie further out.
pub(crate) fn hoops_between(hole: &Area, clearance: f64, width: f64, radius: f64, deep: f64) -> [Area; 2] {
    let grown = offset::grown(hole, clearance + 0.5 * width, CHORD_MM);
    let first = smooth::rounded_up(grown.polygons().first().map_or(&[][..], |p| p.outer()), radius);
    let inner = offset::shrunk(&first, 0.5 * width, CHORD_MM);
    [inner, offset::grown(&first, deep - 0.5 * width, CHORD_MM)]
}

/// Indices of the regions, higher priority first, then the file's order.
fn laying_order(map: &Map) -> Vec<usize> {
    let mut order: Vec<usize> = (0..map.regions.len()).collect();
    order.sort_by_key(|&i| (std::cmp::Reverse(map.regions[i].priority), i));
    order
}

fn place_region(
    map: &Map,
    index: usize,
    rank: usize,
    outline: &Outline,
    layers: &mut [LayerTasks],
) -> Outcome<()> {
    let region = &map.regions[index];
    let picked = pick(region, outline)?;
    let mut found = false;
    // most layers are like the one before, and so is what a region finds in them
    let mut last: Option<(usize, Option<Target>)> = None;
    for (turn, &i) in picked.iter().enumerate() {
        let layer = &outline.layers[i];
        let angle_deg =
            if region.angle_deg.is_empty() { 0.0 } else { region.angle_deg[turn % region.angle_deg.len()] };
        let target = match last.take() {
            Some((k, target)) if outline.layers[k].outline == layer.outline => target,
            _ => shape::resolve(region, layer, outline, &layers[i].inside)?,
        };
        last = Some((i, target.clone()));
        match target {
            Some(target) => {
                found = true;
                layers[i].tasks.push(Task { region: index, rank, target, angle_deg, waits: false });
            }
            None => layers[i].left_out.push(LeftOut {
                region: region.name.clone(),
                layer: layer.number,
                reason: shape::absence(region),
                length_mm: 0.0,
                at_mm: shape::place(region),
            }),
        }
    }
    if found {
        return Ok(());
    }
    if region.rule == Rule::Hoop || matches!(region.shape, Shape::HoleAt(_)) {
        return Err(no_hole(region, outline).into());
    }
    let pin = picked.iter().find_map(|&i| shape::pin_outside(region, &outline.layers[i]));
    let message =
        pin.unwrap_or_else(|| format!("the shape of region `{}` lies outside the part", region.name));
    let mut d = Diagnostic::error("shape-outside", format!("{message} in every layer asked for")).at(
        &region.written.source,
        region.written.shape.clone(),
        "lies outside",
    );
    if let Some(b) =
        outline.layers.iter().filter_map(|l| l.outline.bounds()).reduce(|a, b| crate::geom::Bounds {
            lo: crate::geom::pt(a.lo.x.min(b.lo.x), a.lo.y.min(b.lo.y)),
            hi: crate::geom::pt(a.hi.x.max(b.hi.x), a.hi.y.max(b.hi.y)),
        })
    {
        d = d.help(format!(
            "the part spans x {:.2} to {:.2} mm and y {:.2} to {:.2} mm",
            b.lo.x, b.hi.x, b.lo.y, b.hi.y
        ));
    }
    Err(from_the_lower_edge(d, region, outline).into())
}

/// Adds, for a drawing that counts y downwards, what a height of its own is here.
fn from_the_lower_edge(d: Diagnostic, region: &Region, outline: &Outline) -> Diagnostic {
    let Some(page) = outline.page_height_mm else { return d };
    let page = (page * 1000.0).round() / 1000.0;
    let example = shape::place(region).map_or_else(String::new, |[_, y]| {
        format!(", so that y {y} of the drawing is {} here", ((page - y) * 1000.0).round() / 1000.0)
    });
    d.help(format!(
        "y counts upwards from the lower edge of the page, which is {page} mm high: y = {page} - y of the drawing{example}"
    ))
}

/// The diagnostic for a region whose hole is nowhere, with the holes that are.
fn no_hole(region: &Region, outline: &Outline) -> Diagnostic {
    let d = Diagnostic::error(
        "hole-missing",
        format!("region `{}` finds no hole in any of its layers", region.name),
    )
    .at(
        &region.written.source,
        region.written.shape.clone(),
        "no hole here, nor with its edge within 5 mm",
    );
    let mut holes: Vec<String> = Vec::new();
    for layer in &outline.layers {
        for hole in layer.outline.polygons().iter().flat_map(|p| p.holes()) {
            if let Some(b) = crate::geom::Bounds::of(hole.iter().copied()) {
                let told = format!("({:.1}, {:.1})", b.centre().x, b.centre().y);
                if !holes.contains(&told) {
                    holes.push(told);
                }
            }
        }
    }
    if holes.is_empty() {
        return d.help("the part has no hole in any layer; a hoop needs one");
    }
    let more = if holes.len() > MOST_TOLD { ", and more" } else { "" };
    holes.truncate(MOST_TOLD);
    let d = d.help(format!("holes stand at {}{more}: `shape = {{ hole_at_mm = [x, y] }}`", holes.join(", ")));
    from_the_lower_edge(d, region, outline)
}

/// Holes that a message lists at most.
const MOST_TOLD: usize = 8;

/// Indices of the layers that a region is in.
fn pick(region: &Region, outline: &Outline) -> Outcome<Vec<usize>> {
    let last = outline.layers.len();
    let picked: Vec<usize> = match region.layers {
        Layers::All => (0..last).collect(),
        Layers::Numbers { first, last: end, step } => {
            if end > last || first < 1 {
                let wrong = if first < 1 { first } else { end };
                return Err(Diagnostic::error(
                    "layer-missing",
                    format!(
                        "region `{}` asks for layer {wrong}, the last layer of the part is {last}",
                        region.name
                    ),
                )
                .at(
                    &region.written.source,
                    region.written.layers.clone(),
                    format!("the part has layers 1 to {last}"),
                )
                .help(format!("end the range at {last}, or write \"all\""))
                .into());
            }
            (first - 1..end).step_by(step.max(1)).collect()
        }
        Layers::Heights { from_mm, to_mm } => {
            let within =
                |l: &Layer| (from_mm - SAME_HEIGHT_MM..=to_mm + SAME_HEIGHT_MM).contains(&l.z_middle_mm());
            (0..last).filter(|&i| within(&outline.layers[i])).collect()
        }
    };
    if picked.is_empty() {
        let top = outline.layers.last().map_or(0.0, Layer::z_top_mm);
        return Err(Diagnostic::error(
            "layers-empty",
            format!("no layer of the part has its middle within the heights of region `{}`", region.name),
        )
        .at(&region.written.source, region.written.layers.clone(), "no layer lies here")
        .help(format!("the part is {top:.3} mm high, in {last} layers"))
        .into());
    }
    Ok(picked)
}

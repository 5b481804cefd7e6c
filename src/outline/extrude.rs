//! Drawings as layers: groups with a range of heights, or one thickness.

use super::{Layer, assemble, layer_count};
use crate::count::f64_of;
use crate::diagnostic::{Diagnostic, Notes, Outcome, Place};
use crate::geom::{Area, combine};
use crate::job::OutlineFile;
use crate::job::SAME_HEIGHT_MM;
use std::collections::BTreeMap;

/// A drawing, before it is cut into layers.
pub(super) struct Drawing {
    /// The outline where no group carries heights.
    pub(super) plain: Area,
    /// Groups with heights.
    pub(super) groups: Vec<ZGroup>,
    /// Named shapes.
    pub(super) shapes: BTreeMap<String, Area>,
    /// Of the page from whose lower edge y counts, mm.
    pub(super) page_height_mm: Option<f64>,
    /// Millimetres of the unit that the drawing says itself.
    pub(super) own_unit_mm: Option<f64>,
}

/// A group that is outline between two heights, mm.
pub(super) struct ZGroup {
    pub(super) from_mm: f64,
    pub(super) to_mm: f64,
    pub(super) area: Area,
}

/// Where a drawing writes the heights of a group.
pub(super) struct Heights {
    pub(super) from_mm: f64,
    pub(super) to_mm: f64,
    pub(super) place: Place,
}

/// The drawing's layers. A layer gets the groups whose range holds its middle,
/// united; groups that no layer gets are told by where their `heights` are written.
///
/// Errors: `thickness-missing`, `outline-empty`, `outline-too-large`.
pub(super) fn layers(
    notes: &mut Notes,
    drawing: &Drawing,
    heights: &[Heights],
    file: &OutlineFile,
    height_mm: f64,
) -> Outcome<Vec<Layer>> {
    let Some(lowest) = drawing.groups.iter().map(|g| g.from_mm).min_by(f64::total_cmp) else {
        return plain(notes, &drawing.plain, file, height_mm);
    };
    let highest = drawing.groups.iter().map(|g| g.to_mm).fold(lowest, f64::max);
    let n = layer_count(notes, &file.typed, highest - lowest, height_mm)?;
    // layers with the same groups share their outline
    let mut known: BTreeMap<Vec<usize>, Area> = BTreeMap::new();
    let mut out = Vec::with_capacity(n);
    let mut laid = vec![false; drawing.groups.len()];
    for k in 0..n {
        let (bottom, top) = (f64_of(k) * height_mm, f64_of(k + 1) * height_mm);
        let middle = lowest + (bottom + top) * 0.5;
        let here: Vec<usize> = (0..drawing.groups.len())
            .filter(|g| {
                let g = &drawing.groups[*g];
                middle >= g.from_mm - SAME_HEIGHT_MM && middle < g.to_mm - SAME_HEIGHT_MM
            })
            .collect();
        here.iter().for_each(|g| laid[*g] = true);
        let area = known
            .entry(here)
            .or_insert_with_key(|here| combine::union_all(here.iter().map(|g| &drawing.groups[*g].area)))
            .clone();
        out.push((bottom, top, area));
    }
    let left: Vec<&ZGroup> = drawing.groups.iter().zip(&laid).filter(|(_, l)| !**l).map(|(g, _)| g).collect();
    tell_left_out(notes, &left, heights, height_mm);
    let idle: Vec<&ZGroup> = (0..drawing.groups.len())
        .filter(|g| laid[*g] && within_another(&drawing.groups, *g))
        .map(|g| &drawing.groups[g])
        .collect();
    tell_within(notes, &idle, heights);
    assemble(&file.typed, out)
}

/// Least area that a group adds to another, mm2: less is where their edges are rounded apart.
const ADDS_MM2: f64 = 1e-3;

/// Whether a group lies within another one that has all of its heights; of equals the first
/// does not.
fn within_another(groups: &[ZGroup], g: usize) -> bool {
    let own = &groups[g];
    let Some(box_of_own) = own.area.bounds() else { return false };
    groups.iter().enumerate().any(|(o, other)| {
        let high = other.from_mm <= own.from_mm + SAME_HEIGHT_MM && other.to_mm >= own.to_mm - SAME_HEIGHT_MM;
        let larger = other.area.area() > own.area.area() + ADDS_MM2 || o < g;
        let around = other.area.bounds().is_some_and(|b| {
            let (lo, hi) = (box_of_own.lo - b.lo, b.hi - box_of_own.hi);
            [lo.x, lo.y, hi.x, hi.y].iter().all(|v| *v >= -SAME_HEIGHT_MM)
        });
        o != g && high && larger && around && combine::difference(&own.area, &other.area).area() < ADDS_MM2
    })
}

/// Warns of groups that lie within others: meant as holes, they are none.
fn tell_within(notes: &mut Notes, idle: &[&ZGroup], heights: &[Heights]) {
    let Some(first) = idle.first() else { return };
    let more = match idle.len() {
        1 => String::new(),
        n => format!("; and so do {} more", n - 1),
    };
    let message = format!(
        "a group from {} to {} mm lies within another one that is as high, and adds nothing: groups are united{more}",
        first.from_mm, first.to_mm
    );
    let mut d = Diagnostic::warning("drawing-overlap", message).help(
        "a hole stands in the group of what it is cut from: for one that does not go through, draw a group with it and one without, one above the other",
    );
    d.place = place_of(first, heights);
    notes.push(d);
}

/// Where the heights of a group are written.
fn place_of(group: &ZGroup, heights: &[Heights]) -> Option<Place> {
    let same =
        |h: &&Heights| h.from_mm.total_cmp(&group.from_mm).is_eq() && h.to_mm.total_cmp(&group.to_mm).is_eq();
    heights.iter().find(same).map(|h| h.place.clone())
}

/// Warns of groups that hold no layer's middle.
fn tell_left_out(notes: &mut Notes, left: &[&ZGroup], heights: &[Heights], height_mm: f64) {
    let Some(first) = left.first() else { return };
    let more = match left.len() {
        1 => String::new(),
        n => format!("; {} more are in none", n - 1),
    };
    let message = format!(
        "a group from {} to {} mm is in no layer: the middle of none of them, {height_mm} mm high, lies there{more}",
        first.from_mm, first.to_mm
    );
    let mut d = Diagnostic::warning("element-not-read", message)
        .help("give it the height of a layer at least, or choose a lower `[build] layer_height_mm`");
    d.place = place_of(first, heights);
    notes.push(d);
}

fn plain(notes: &mut Notes, area: &Area, file: &OutlineFile, height_mm: f64) -> Outcome<Vec<Layer>> {
    if area.is_empty() {
        return assemble(&file.typed, Vec::new());
    }
    let Some(thickness) = file.thickness_mm else {
        let mut d = Diagnostic::error(
            "thickness-missing",
            format!("`{}` has no layers and no height of its own, and the job gives no `thickness_mm`", file.typed),
        )
        .help("write `thickness_mm = …` under `[part]`, or give groups of the drawing a range: data-z-mm=\"0-2.4\"");
        d.place = Some(file.place.clone());
        return Err(d.into());
    };
    // the drawing has no height: the job's it is
    let told = notes.warnings.len();
    let n = layer_count(notes, &file.typed, thickness, height_mm).map_err(|mut faults| {
        faults.0.iter_mut().for_each(|d| d.place = Some(file.thickness_place.clone()));
        faults
    })?;
    notes.warnings[told..].iter_mut().for_each(|d| d.place = Some(file.thickness_place.clone()));
    assemble(
        &file.typed,
        (0..n).map(|k| (f64_of(k) * height_mm, f64_of(k + 1) * height_mm, area.clone())).collect(),
    )
}

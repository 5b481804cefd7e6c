//! Drawings as layers: groups with a range of heights, or one thickness.

use super::{Layer, assemble, layer_count};
use crate::count::f64_of;
use crate::diagnostic::{Diagnostic, Notes, Outcome};
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
}

/// A group that is outline between two heights, mm.
pub(super) struct ZGroup {
    pub(super) from_mm: f64,
    pub(super) to_mm: f64,
    pub(super) area: Area,
}

/// The drawing's layers. A layer gets the groups whose range holds its middle,
/// united.
///
/// Errors: `thickness-missing`, `outline-empty`, `outline-too-large`.
pub(super) fn layers(
    notes: &mut Notes,
    drawing: &Drawing,
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
    for k in 0..n {
        let (bottom, top) = (f64_of(k) * height_mm, f64_of(k + 1) * height_mm);
        let middle = lowest + (bottom + top) * 0.5;
        let here: Vec<usize> = (0..drawing.groups.len())
            .filter(|g| {
                let g = &drawing.groups[*g];
                middle >= g.from_mm - SAME_HEIGHT_MM && middle < g.to_mm - SAME_HEIGHT_MM
            })
            .collect();
        let area = known
            .entry(here)
            .or_insert_with_key(|here| combine::union_all(here.iter().map(|g| &drawing.groups[*g].area)))
            .clone();
        out.push((bottom, top, area));
    }
    assemble(&file.typed, out)
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

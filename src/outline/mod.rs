//! The part's cross-sections, layer by layer.
//!
//! [`read`] picks the reader by the file's extension. Drawings are extruded or
//! layered by groups (`svg`, `dxf`), meshes are cut at the middle of each layer
//! (`section`), files that come layered keep their own heights (`threemf`, `layered`).
//! Everything is in mm, in the file's own coordinates, moved in z so that the
//! lowest layer stands on the bed.

mod bodies;
mod dxf;
mod extrude;
mod layered;
mod mesh;
mod overlaps;
mod reach;
mod section;
mod stl;
mod svg;
mod threemf;
mod xml;

use crate::count::f64_of;
use crate::diagnostic::{Diagnostic, Notes, Outcome};
use crate::files::{self, Input};
use crate::geom::{Area, Bounds, Point, combine};
use crate::job::OutlineFile;
use rayon::prelude::*;
use std::collections::BTreeMap;

pub use bodies::Body;

/// The part as layers.
#[derive(Clone, Debug, Default)]
pub struct Outline {
    /// From the bed up; numbers run from 1 without gaps.
    pub layers: Vec<Layer>,
    /// Closed elements of a drawing by their id, mm.
    pub shapes: BTreeMap<String, Area>,
    /// Height of a drawing's page, from whose lower edge y counts upwards where the drawing
    /// itself counts downwards from the upper one, mm.
    pub page_height_mm: Option<f64>,
    /// Millimetres of the unit that a drawing says itself.
    pub own_unit_mm: Option<f64>,
}

/// One layer.
#[derive(Clone, Debug, PartialEq)]
pub struct Layer {
    /// From 1.
    pub number: usize,
    /// Bottom above the bed, mm.
    pub z_bottom_mm: f64,
    /// Height, mm.
    pub height_mm: f64,
    /// The cross-section; empty in a layer without outline.
    pub outline: Area,
}

impl Layer {
    /// Top above the bed, mm: where the nozzle is.
    pub fn z_top_mm(&self) -> f64 {
        self.z_bottom_mm + self.height_mm
    }

    /// Middle above the bed, mm.
    pub fn z_middle_mm(&self) -> f64 {
        self.z_bottom_mm + self.height_mm * 0.5
    }
}

impl Outline {
    /// Width, depth and height over all layers, mm.
    pub fn size_mm(&self) -> [f64; 3] {
        let points = self.layers.iter().flat_map(|l| l.outline.rings().flatten().copied());
        let flat = Bounds::of(points).map_or_else(Point::default, |b| b.size());
        [flat.x, flat.y, self.layers.last().map_or(0.0, Layer::z_top_mm)]
    }
}

/// Most layers of a part: 2 m in layers of 0.1 mm. More means a wrong unit.
pub const MOST_LAYERS: usize = 20_000;

/// A rest of a layer below this is none, mm: half of the last decimal told, and more than
/// heights lose that were written in inches.
const WHOLE_LAYER_MM: f64 = 5e-5;

/// The formats that are read, for messages.
const FORMATS: &str = ".svg, .3mf, .stl, .cli, .dxf";

/// Reads the outline file of a job, and records it.
///
/// `layer_height_mm` holds for drawings and meshes. A thickness or height that
/// is not a whole number of layers is rounded to one, with a warning that tells
/// the height as printed: all layers have the height that the process is set
/// for.
///
/// Errors: those of [`files::read`]; `format-unknown`,
/// `thickness-missing`, `outline-empty`, `outline-too-large`, `outline-open`, and
/// what each reader says of its format.
pub fn read(notes: &mut Notes, file: &OutlineFile, layer_height_mm: f64) -> Outcome<(Outline, Input)> {
    let extension = file.path.extension().map(|e| e.to_string_lossy().to_lowercase());
    let pointed = |mut d: Diagnostic| {
        d.place = Some(file.place.clone());
        d
    };
    let reader = match extension.as_deref() {
        Some(e @ ("svg" | "3mf" | "stl" | "cli" | "dxf")) => e.to_owned(),
        _ => {
            return Err(pointed(
                Diagnostic::error(
                    "format-unknown",
                    format!("`{}` is no outline file: its name tells no format that is read", file.typed),
                )
                .help(format!("outlines are read from: {FORMATS}")),
            )
            .into());
        }
    };
    let bytes = files::read(&file.path).map_err(|mut faults| {
        for d in &mut faults.0 {
            d.place = Some(file.place.clone());
        }
        faults
    })?;
    let name = file.path.file_name().map_or_else(|| file.typed.clone(), |n| n.to_string_lossy().into_owned());
    let input = Input::of("outline", name, &bytes);
    let (mut page_height_mm, mut own_unit_mm) = (None, None);
    let (layers, shapes, own_height) = match reader.as_str() {
        "cli" => (layered::read(notes, &file.typed, &bytes, layer_height_mm)?, BTreeMap::new(), true),
        "3mf" => (threemf::read(notes, &file.typed, &bytes, layer_height_mm)?, BTreeMap::new(), true),
        "stl" => {
            let mesh = stl::read(notes, &file.typed, &bytes, file.unit_mm.unwrap_or(1.0))?;
            let layers = sectioned(notes, &[(&file.typed, &mesh)], layer_height_mm)?;
            if file.unit_mm.is_none() {
                doubt_unit(notes, &file.typed, layers.iter().filter_map(|l| l.outline.bounds()));
            }
            (layers, BTreeMap::new(), true)
        }
        "dxf" => {
            let drawing = dxf::read(notes, &file.typed, &bytes, file.unit_mm)?;
            own_unit_mm = drawing.own_unit_mm;
            (extrude::layers(notes, &drawing, &[], file, layer_height_mm)?, drawing.shapes, false)
        }
        _ => {
            let (drawing, heights) = svg::read(notes, &file.typed, &bytes)?;
            page_height_mm = drawing.page_height_mm;
            let own_height = !drawing.groups.is_empty();
            (extrude::layers(notes, &drawing, &heights, file, layer_height_mm)?, drawing.shapes, own_height)
        }
    };
    if own_height && file.thickness_mm.is_some() {
        let mut d = Diagnostic::warning(
            "thickness-unused",
            format!("`thickness_mm` is not used: `{}` has a height of its own", file.typed),
        )
        .help("take `thickness_mm` out of the job, or change the height in the outline file");
        d.place = Some(file.thickness_place.clone());
        notes.push(d);
    }
    Ok((Outline { layers, shapes, page_height_mm, own_unit_mm }, input))
}

/// Warns (`unit-doubtful`) where a file without a unit, taken in mm, has a part too small for
/// any tow: mostly it is drawn in inches or metres.
fn doubt_unit(notes: &mut Notes, name: &str, all: impl Iterator<Item = Bounds>) {
    /// Parts are larger than this, mm: the smallest eye that tow goes round is.
    const SMALL_MM: f64 = 10.0;
    let size = all.map(|b| b.size().x.max(b.size().y)).fold(0.0, f64::max);
    if size > 0.0 && size < SMALL_MM {
        let message = format!(
            "`{name}` has no unit and is taken in mm: the part is at most {} mm across",
            rounded(size)
        );
        notes.push(
            Diagnostic::warning("unit-doubtful", message)
                .in_file(name)
                .help("write its `unit` under `[part]`: \"mm\", \"cm\", \"m\" or \"in\""),
        );
    }
}

/// Layers of one height that a total height makes: the nearest whole number, at
/// least 1. Warns (`layers-rounded`) where that changes the height.
///
/// Errors: `outline-thin`, `outline-too-large`.
fn layer_count(notes: &mut Notes, name: &str, total_mm: f64, height_mm: f64) -> Outcome<usize> {
    let exact = total_mm / height_mm;
    // halves go down: a layer's middle must lie inside the part
    let n = (exact - 0.5 - 1e-9).ceil().max(1.0);
    if !(height_mm > 0.0 && total_mm > 0.0 && n <= f64_of(MOST_LAYERS)) {
        return Err(Diagnostic::error(
            "outline-too-large",
            format!("{total_mm} mm in layers of {height_mm} mm make more than {MOST_LAYERS} layers"),
        )
        .in_file(name)
        .help("check `layer_height_mm` and the file's unit")
        .into());
    }
    if exact < 0.5 {
        return Err(Diagnostic::error(
            "outline-thin",
            format!("a height of {} mm is less than half a layer of {height_mm} mm", rounded(total_mm)),
        )
        .in_file(name)
        .help("check `thickness_mm`, or the `unit` of a file that has none, or choose a lower `[build] layer_height_mm`")
        .into());
    }
    let real = n * height_mm;
    if (real - total_mm).abs() > WHOLE_LAYER_MM {
        notes.push(
            Diagnostic::warning(
                "layers-rounded",
                format!(
                    "a height of {} mm is no whole number of layers of {height_mm} mm: {n} {} {} mm",
                    rounded(total_mm),
                    if n > 1.0 { "layers make" } else { "layer makes" },
                    rounded(real)
                ),
            )
            .in_file(name)
            .help("change the layer height or the thickness if the difference matters"),
        );
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 1 and MOST_LAYERS")]
    let n = n as usize;
    Ok(n)
}

/// Meshes, with what messages call each, in layers of one height, each cut at
/// its middle; their cross-sections are united.
///
/// Errors: those of [`section::areas`], `outline-empty`, `outline-too-large`.
fn sectioned(notes: &mut Notes, meshes: &[(&str, &mesh::Mesh)], height_mm: f64) -> Outcome<Vec<Layer>> {
    let name = meshes.first().map_or("", |m| m.0);
    let heights: Vec<(f64, f64)> = meshes.iter().filter_map(|(_, m)| m.heights()).collect();
    let lowest = heights.iter().map(|h| h.0).fold(f64::INFINITY, f64::min);
    let highest = heights.iter().map(|h| h.1).fold(f64::NEG_INFINITY, f64::max);
    if highest <= lowest {
        return Err(Diagnostic::error("outline-empty", format!("`{name}` has no outline: its mesh is flat"))
            .in_file(name)
            .into());
    }
    let n = layer_count(notes, name, highest - lowest, height_mm)?;
    let middle = |k: usize| {
        let bottom = lowest + f64_of(k) * height_mm;
        // a part thinner than half a layer is still cut inside
        let top = if n == 1 { highest.min(bottom + height_mm) } else { bottom + height_mm };
        bottom.midpoint(top)
    };
    let middles: Vec<f64> = (0..n).map(middle).collect();
    let mut of_layers = vec![Vec::new(); n];
    for (name, mesh) in meshes {
        let areas = section::areas(notes, name, mesh, lowest, &middles)?;
        for (all, area) in of_layers.iter_mut().zip(areas) {
            all.push(area);
        }
    }
    let layers = of_layers
        .par_iter()
        .enumerate()
        .map(|(k, all)| (f64_of(k) * height_mm, f64_of(k + 1) * height_mm, combine::union_all(all)))
        .collect();
    assemble(name, layers)
}

/// A number of mm without the noise of binary fractions.
fn rounded(mm: f64) -> f64 {
    (mm * 1e4).round() / 1e4
}

/// Layers from bottoms, tops and areas: empty ones at the top end the part,
/// others stay as layers without outline.
///
/// Errors: `outline-empty` where nothing remains.
fn assemble(name: &str, mut parts: Vec<(f64, f64, Area)>) -> Outcome<Vec<Layer>> {
    while parts.last().is_some_and(|(_, _, a)| a.is_empty()) {
        parts.pop();
    }
    if parts.is_empty() {
        return Err(Diagnostic::error(
            "outline-empty",
            format!("`{name}` has no outline: nothing in it encloses an area"),
        )
        .in_file(name)
        .into());
    }
    Ok(parts
        .into_iter()
        .enumerate()
        .map(|(k, (bottom, top, outline))| Layer {
            number: k + 1,
            z_bottom_mm: bottom,
            height_mm: top - bottom,
            outline,
        })
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnostic::{Place, Source};
    use std::sync::Arc;

    /// Reads bytes as a file of some name.
    pub(super) fn read_with(
        notes: &mut Notes,
        name: &str,
        bytes: &[u8],
        thickness_mm: Option<f64>,
        layer_height_mm: f64,
    ) -> Outcome<(Outline, Input)> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        let source = Arc::new(Source { name: "job.toml".into(), text: "outline".into() });
        let place = Place { source, span: 0..7, label: String::new() };
        let thickness_place = place.clone();
        let file =
            OutlineFile { path, typed: name.into(), thickness_mm, unit_mm: None, place, thickness_place };
        read(notes, &file, layer_height_mm)
    }

    pub(super) fn read_text(
        name: &str,
        bytes: &[u8],
        thickness_mm: Option<f64>,
        layer_height_mm: f64,
    ) -> Outcome<(Outline, Input)> {
        read_with(&mut Notes::default(), name, bytes, thickness_mm, layer_height_mm)
    }

    /// What is warned about when a file is read.
    pub(super) fn notes_of(name: &str, bytes: &[u8]) -> Vec<Diagnostic> {
        let mut notes = Notes::default();
        read_with(&mut notes, name, bytes, Some(1.0), 1.0).unwrap();
        notes.warnings
    }

    pub(super) fn codes<T>(outcome: &Outcome<T>) -> Vec<&'static str> {
        outcome.as_ref().err().map_or(Vec::new(), |f| f.0.iter().map(|d| d.code).collect())
    }

    /// Line of a diagnostic and the text from its place on.
    pub(super) fn place(d: &Diagnostic) -> (usize, String) {
        let p = d.place.as_ref().unwrap();
        (p.line_column().0, p.source.text[p.span.clone()].to_owned())
    }

    #[test]
    fn formats_are_told() {
        for (name, code) in [("part.step", "format-unknown"), ("part", "format-unknown")] {
            let got = read_text(name, b"", None, 1.0);
            assert_eq!(codes(&got), [code]);
            assert!(got.unwrap_err().0[0].help[0].contains(".svg, .3mf, .stl"));
        }
    }

    #[test]
    fn a_missing_file_is_shown_where_the_job_names_it() {
        let source = Arc::new(Source { name: "job.toml".into(), text: "outline".into() });
        let place = Place { source, span: 0..7, label: String::new() };
        let file = OutlineFile {
            path: "no/such/part.svg".into(),
            typed: "part.svg".into(),
            thickness_mm: None,
            unit_mm: None,
            place: place.clone(),
            thickness_place: place.clone(),
        };
        let faults = read(&mut Notes::default(), &file, 1.0).unwrap_err();
        assert_eq!(faults.0[0].code, "file-missing");
        assert_eq!(faults.0[0].place, Some(place));
    }

    #[test]
    fn layers_are_whole() {
        let mut notes = Notes::default();
        for (total, height, n, told) in [
            (4.0, 0.2, 20, false),
            (0.3, 0.1, 3, false),
            (0.15, 0.2, 1, true),
            (4.09, 0.2, 20, true),
            (4.11, 0.2, 21, true),
            (2.5, 1.0, 2, true),
        ] {
            let before = notes.warnings.len();
            assert_eq!(layer_count(&mut notes, "part", total, height).unwrap(), n, "{total} / {height}");
            assert_eq!(notes.warnings.len() > before, told, "{total} / {height}");
        }
        assert!(layer_count(&mut notes, "part", 0.05, 0.2).is_err(), "a quarter of a layer");
        assert!(layer_count(&mut notes, "part", 1e9, 0.1).is_err());
        assert!(layer_count(&mut notes, "part", f64::NAN, 0.1).is_err());
    }
}

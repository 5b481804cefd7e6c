//! 3MF packages: core meshes, and the slice extension.
//!
//! - Every item of the build counts; where objects meet, their outlines are
//!   united. Components, production paths and units are followed.
//! - A sliced object keeps its own layer heights; its mesh is not looked at. A
//!   polygon must close, and polygons enclose by the positive rule of the slice
//!   extension: counter-clockwise is material, clockwise a hole.
//! - Other objects are cut as meshes, in layers of the job's height.
//! - An empty slice at the top ends the part; elsewhere it is a layer without
//!   outline.
//!
//! Not handled: sliced and unsliced objects in one build (an error), supports
//! and surfaces (told), colours and materials (passed over).

mod faults;
mod model;
mod package;

#[cfg(test)]
mod tests;

use super::mesh::Mesh;
use super::{Layer, assemble, reach};
use crate::diagnostic::{Diagnostic, Notes, Outcome};
use crate::geom::combine::{self, FillRule};
use crate::geom::{Area, Point, pt};
use crate::job::SAME_HEIGHT_MM;
use faults::Gathered;
use model::{Body, Model, Slice, Transform, Use};
use package::{Package, Part};
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

/// Components in components: real files stay below ten.
const DEEPEST: usize = 64;

/// Objects placed, triangles of all of them: bounds what nested components can
/// blow up.
const MOST_PLACED: usize = 10_000;

/// Items and components that are followed at most, whether they hold anything or not: bounds
/// time.
const MOST_FOLLOWED: usize = 1_000_000;
const MOST_TRIANGLES: usize = 20_000_000;

/// Reads the build's layers; `layer_height_mm` is for meshes.
///
/// Errors: `threemf-unreadable`, `threemf-extension`, `xml-unreadable`,
/// `outline-open`, `outline-empty`, `outline-too-large`, `layers-differ`, and
/// those of the mesh section.
pub(super) fn read(notes: &mut Notes, name: &str, bytes: &[u8], layer_height_mm: f64) -> Outcome<Vec<Layer>> {
    let mut package = Package::open(name, bytes)?;
    let root = package.root_model()?;
    let mut build = Build {
        name,
        package,
        parts: BTreeMap::new(),
        meshes: Vec::new(),
        sliced: Vec::new(),
        triangles: 0,
        followed: 0,
        passed: BTreeMap::new(),
    };
    build.place_all(&root)?;
    for (what, count) in &build.passed {
        let times = if *count > 1 { format!(" ({count} times)") } else { String::new() };
        notes.push(
            Diagnostic::warning("element-not-read", format!("{what} is not read{times}")).in_file(name),
        );
    }
    if build.sliced.is_empty() {
        if build.meshes.is_empty() {
            return assemble(name, Vec::new());
        }
        let meshes: Vec<(&str, &Mesh)> = build.meshes.iter().map(|(n, m)| (n.as_str(), m)).collect();
        return super::sectioned(notes, &meshes, layer_height_mm);
    }
    if let Some((object, _)) = build.meshes.first() {
        return Err(Diagnostic::error(
            "layers-differ",
            format!("{object} is a mesh without slices, other objects of the build are sliced"),
        )
        .in_file(name)
        .help("export all objects sliced, or all as meshes")
        .into());
    }
    let mut stacks: BTreeMap<(&str, u32), Vec<Cut>> = BTreeMap::new();
    let mut clockwise = 0;
    let mut faults = Gathered::default();
    for s in &build.sliced {
        let key = (s.path.as_str(), s.stack);
        if let Entry::Vacant(e) = stacks.entry(key) {
            e.insert(faults.take(build.cuts(&s.path, s.stack, &mut clockwise)).unwrap_or_default());
        }
    }
    faults.or(())?;
    if clockwise > 0 {
        notes.push(
            Diagnostic::warning(
                "slices-clockwise",
                format!(
                    "in {clockwise} slices all contours run clockwise: by the standard they enclose nothing"
                ),
            )
            .in_file(name)
            .help("export the file again, outer contours counter-clockwise"),
        );
    }
    let placed = build
        .sliced
        .iter()
        .map(|s| moved(name, &stacks[&(s.path.as_str(), s.stack)], &s.transform))
        .collect::<Outcome<Vec<_>>>()?;
    merged(name, placed)
}

/// A layer of one object: bottom, top, mm, and its outline.
type Cut = (f64, f64, Area);

/// A slice stack of a part, put somewhere.
struct Sliced {
    path: String,
    stack: u32,
    transform: Transform,
}

/// What the build puts where, as far as it is read.
struct Build<'b> {
    name: &'b str,
    package: Package<'b>,
    parts: BTreeMap<String, (Part, Model)>,
    /// What messages call them, and the meshes in build coordinates, mm.
    meshes: Vec<(String, Mesh)>,
    sliced: Vec<Sliced>,
    triangles: usize,
    followed: usize,
    /// What is passed over, and how often.
    passed: BTreeMap<String, usize>,
}

impl Build<'_> {
    /// Reads a part once; gives its path as the package writes it.
    fn load(&mut self, path: &str) -> Outcome<String> {
        let path = format!("/{}", path.trim_start_matches('/'));
        if !self.parts.contains_key(&path) {
            let part = self.package.part(&path)?;
            let mut told = BTreeMap::new();
            let model = model::read(&part, &mut told)?;
            for (name, n) in told {
                *self.passed.entry(format!("`{name}` in a mesh")).or_default() += n;
            }
            self.parts.insert(path.clone(), (part, model));
        }
        Ok(path)
    }

    fn place_all(&mut self, root: &str) -> Outcome<()> {
        let root = self.load(root)?;
        let items = self.parts[&root].1.items.clone();
        if items.is_empty() {
            return Err(Diagnostic::error("threemf-unreadable", "the build holds no item".to_owned())
                .in_file(self.name)
                .help("export the part so that it is on the build plate")
                .into());
        }
        let mut faults = Gathered::default();
        for item in &items {
            faults.take(self.place(&root, item, &Transform::IDENTITY, 0));
        }
        faults.or(())
    }

    /// Puts what an item or component of the part at `at` names.
    fn place(&mut self, at: &str, used: &Use, outer: &Transform, depth: usize) -> Outcome<()> {
        let path = match &used.path {
            Some(p) => self.load(p)?,
            None => at.to_owned(),
        };
        let fault = |parts: &BTreeMap<String, (Part, Model)>, code, message: String| {
            parts[at].0.fault(code, message, used.span.clone())
        };
        if depth > DEEPEST {
            return Err(fault(
                &self.parts,
                "threemf-unreadable",
                format!("components are nested more than {DEEPEST} deep, or in a circle"),
            ));
        }
        if self.meshes.len() + self.sliced.len() >= MOST_PLACED || self.triangles > MOST_TRIANGLES {
            return Err(fault(
                &self.parts,
                "outline-too-large",
                format!("the build has more than {MOST_PLACED} objects or {MOST_TRIANGLES} triangles"),
            ));
        }
        self.followed += 1;
        if self.followed > MOST_FOLLOWED {
            return Err(fault(
                &self.parts,
                "outline-too-large",
                format!("items and components come to more than {MOST_FOLLOWED} uses of objects"),
            ));
        }
        let (part, model) = &self.parts[&path];
        let Some(object) = model.objects.get(&used.object) else {
            return Err(fault(
                &self.parts,
                "threemf-unreadable",
                format!("there is no object {}", used.object),
            ));
        };
        if object.kind != "model" {
            *self.passed.entry(format!("an object of type `{}`", object.kind)).or_default() += 1;
            return Ok(());
        }
        let transform = used.transform.then(outer);
        if let Some(stack) = object.stack {
            if !model.stacks.contains_key(&stack) {
                return Err(part.fault(
                    "threemf-unreadable",
                    format!("there is no slice stack {stack}"),
                    object.span.clone(),
                ));
            }
            if !transform.planar() {
                return Err(fault(
                    &self.parts,
                    "threemf-unreadable",
                    format!(
                        "object {} is sliced, so `transform` must not tilt it or scale its height",
                        used.object
                    ),
                ));
            }
            let referenced: Vec<String> =
                model.stacks[&stack].references.iter().map(|r| r.path.clone()).collect();
            for r in referenced {
                self.load(&r)?;
            }
            self.sliced.push(Sliced { path, stack, transform });
            return Ok(());
        }
        match &object.body {
            Body::Components(list) => {
                let list = list.clone();
                // the first fault ends it: components of components could tell the same one for ever
                list.iter().try_for_each(|c| self.place(&path, c, &transform, depth + 1))
            }
            Body::Mesh { vertices, triangles } => {
                let mut mesh = Mesh::new(1.0);
                // a mirrored object would be inside out
                let order = if transform.determinant() < 0.0 { [0, 2, 1] } else { [0, 1, 2] };
                for (k, t) in triangles.iter().enumerate() {
                    let corners = order.map(|c| transform.apply(vertices[t[c] as usize]));
                    mesh.push(corners).map_err(|e| {
                        let mut d = e.diagnostic(&format!("triangle {} of object {}", k + 1, used.object));
                        d.file = Some(self.name.to_owned());
                        d
                    })?;
                }
                self.triangles += triangles.len();
                if mesh.triangles.is_empty() {
                    return Err(part.fault(
                        "threemf-unreadable",
                        format!("the mesh of object {} has no triangles", used.object),
                        object.span.clone(),
                    ));
                }
                self.meshes.push((format!("{}, object {}", self.name, used.object), mesh));
                Ok(())
            }
        }
    }

    /// The layers of a stack, references followed, in the object's coordinates.
    fn cuts(&self, path: &str, stack: u32, clockwise: &mut usize) -> Outcome<Vec<Cut>> {
        let (part, model) = &self.parts[path];
        let own = &model.stacks[&stack];
        let mut slices: Vec<(&Part, &Slice)> = own.slices.iter().map(|s| (part, s)).collect();
        for r in &own.references {
            let fault = |message: String| part.fault("threemf-unreadable", message, r.span.clone());
            let there = self.parts.get(&format!("/{}", r.path.trim_start_matches('/')));
            let Some((other, stack)) = there.and_then(|(p, m)| Some((p, m.stacks.get(&r.stack)?))) else {
                return Err(fault(format!("there is no slice stack {} in `{}`", r.stack, r.path)));
            };
            if !stack.references.is_empty() {
                return Err(fault(format!(
                    "the slice stack {} only refers to others: one step is allowed",
                    r.stack
                )));
            }
            slices.extend(stack.slices.iter().map(|s| (other, s)));
        }
        if slices.len() > super::MOST_LAYERS {
            let message =
                format!("the stack has {} slices, at most {} are read", slices.len(), super::MOST_LAYERS);
            return Err(part.fault("outline-too-large", message, own.span.clone()));
        }
        let areas = slices
            .par_iter()
            .enumerate()
            .map(|(k, (part, slice))| area(part, slice, k + 1))
            .collect::<Vec<Outcome<(Area, bool)>>>();
        let mut bottom = own.bottom_mm;
        let mut out = Vec::with_capacity(slices.len());
        let mut faults = Gathered::default();
        for (k, (result, (part, slice))) in areas.into_iter().zip(&slices).enumerate() {
            let (area, inverted) = faults.take(result).unwrap_or_default();
            *clockwise += usize::from(inverted);
            // the bottom of a stack that is referred to does not count: its
            // slices go on where those before them end
            if slice.top_mm <= bottom {
                let message = format!(
                    "slice {} ends at {} mm, not above the {bottom} mm where it begins",
                    k + 1,
                    slice.top_mm
                );
                faults.add(part.fault("threemf-unreadable", message, slice.span.clone()));
            }
            out.push((bottom, slice.top_mm, area));
            bottom = slice.top_mm;
        }
        while out.last().is_some_and(|c| c.2.is_empty()) {
            out.pop();
        }
        faults.or(out)
    }
}

/// What a slice encloses by the positive rule, and whether it has contours but
/// all of them run clockwise.
fn area(part: &Part, slice: &Slice, number: usize) -> Outcome<(Area, bool)> {
    let mut faults = Gathered::default();
    for p in slice.polygons.iter().filter(|p| !p.closed) {
        let message =
            format!("a polygon of slice {number} (top at {} mm) does not end where it starts", slice.top_mm);
        faults.add(part.fault("outline-open", message, p.span.clone()));
    }
    faults.or(())?;
    let rings = || slice.polygons.iter().map(|p| p.points.as_slice()).filter(|p| p.len() > 2);
    if rings().next().is_none() {
        return Ok((Area::empty(), false));
    }
    let area = combine::enclosed(rings(), FillRule::Positive);
    let inverted = area.is_empty() && !combine::enclosed(rings(), FillRule::NonZero).is_empty();
    Ok((area, inverted))
}

/// Layers where the build puts their object.
fn moved(name: &str, cuts: &[Cut], transform: &Transform) -> Outcome<Vec<Cut>> {
    let m = transform.0;
    let place = |p: &Point| pt(p.x * m[0] + p.y * m[3] + m[9], p.x * m[1] + p.y * m[4] + m[10]);
    cuts.par_iter()
        .map(|(bottom, top, area)| {
            let rings: Vec<Vec<Point>> = area.rings().map(|r| r.iter().map(place).collect()).collect();
            if let Some(p) = rings.iter().find_map(|r| reach::beyond(r)) {
                return Err(Diagnostic::error(
                    "outline-too-large",
                    format!("the build puts a point at {}", reach::told([p.x, p.y])),
                )
                .in_file(name)
                .into());
            }
            // rings of an area nest, so even-odd holds mirrored as well
            let area = combine::enclosed(rings.iter().map(Vec::as_slice), FillRule::EvenOdd);
            Ok((bottom + m[11], top + m[11], area))
        })
        .collect::<Outcome<Vec<_>>>()
}

/// Objects with the same layer heights as one part; where none has a layer there
/// is a layer without outline.
fn merged(name: &str, objects: Vec<Vec<Cut>>) -> Outcome<Vec<Layer>> {
    let mut cuts: Vec<Cut> = objects.into_iter().flatten().collect();
    cuts.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let bed = cuts.first().map_or(0.0, |c| c.0);
    let mut layers: Vec<(f64, f64, Vec<Area>)> = Vec::new();
    for (bottom, top, area) in cuts {
        let (bottom, top) = (bottom - bed, top - bed);
        match layers.last_mut() {
            Some(l) if (l.0 - bottom).abs() <= SAME_HEIGHT_MM && (l.1 - top).abs() <= SAME_HEIGHT_MM => {
                l.2.push(area);
                continue;
            }
            Some(l) if bottom < l.1 - SAME_HEIGHT_MM => {
                return Err(Diagnostic::error(
                    "layers-differ",
                    format!(
                        "objects of the build have different layers: one from z {:.4} to {:.4} mm, another from {bottom:.4} to {top:.4} mm",
                        l.0, l.1
                    ),
                )
                .in_file(name)
                .help("slice all objects with the same layer heights, and put them on the same plane")
                .into());
            }
            Some(l) if bottom > l.1 + SAME_HEIGHT_MM => {
                let below = l.1;
                layers.push((below, bottom, Vec::new()));
            }
            _ => {}
        }
        // layers join exactly, whatever the last digit says
        let bottom = layers.last().map_or(bottom, |l| l.1);
        layers.push((bottom, top, vec![area]));
    }
    if layers.len() > super::MOST_LAYERS {
        return Err(Diagnostic::error(
            "outline-too-large",
            format!("the part has {} layers, at most {} are read", layers.len(), super::MOST_LAYERS),
        )
        .in_file(name)
        .into());
    }
    let united = layers
        .into_par_iter()
        .map(|(bottom, top, mut areas)| {
            let area = if areas.len() == 1 { areas.remove(0) } else { combine::union_all(&areas) };
            (bottom, top, area)
        })
        .collect();
    assemble(name, united)
}

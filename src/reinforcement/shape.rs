//! A region's shape in one layer.

use super::{Reason, Target};
use crate::diagnostic::{Diagnostic, Outcome};
use crate::geom::{Area, Point, combine, offset, polyline, pt, smooth};
use crate::job::{Region, Rule, Shape};
use crate::outline::{Layer, Outline};
use std::sync::Arc;

/// How far from a hole's edge the point of `hole_at_mm` may lie, mm.
const HOLE_REACH_MM: f64 = 5.0;

/// Less than this of a shape inside the part counts as outside it, mm2.
const LEAST_MM2: f64 = 1e-3;

/// What the region applies to in a layer; `None` where there is nothing.
pub(super) fn resolve(
    region: &Region,
    layer: &Layer,
    outline: &Outline,
    inside: &Area,
) -> Outcome<Option<Target>> {
    if layer.outline.is_empty() {
        return Ok(None);
    }
    let area = match &region.shape {
        Shape::HoleAt([x, y]) => {
            if matches!(region.rule, Rule::Unidirectional | Rule::Steered) {
                return Err(Diagnostic::error(
                    "rule-shape",
                    format!(
                        "region `{}` lays {} courses, which need an area, in a hole",
                        region.name,
                        region.rule.word()
                    ),
                )
                .at(&region.written.source, region.written.shape.clone(), "a hole has no inside to fill")
                .help("give a polygon_mm, a circle_mm or { outline = true }, or use the rule `hoop`")
                .into());
            }
            let Some((hole, body)) = hole_at(&layer.outline, pt(*x, *y)) else { return Ok(None) };
            return Ok(Some(round_holes(vec![(hole, body)], inside, &layer.outline)));
        }
        Shape::Pins(pins) => {
            let discs: Vec<Area> = pins.iter().map(|pin| pin_area(pin, &layer.outline)).collect();
            if pin_outside(region, layer).is_some() {
                return Ok(None);
            }
            return Ok(Some(Target::Pins { pins: discs, room: inside.clone() }));
        }
        Shape::Outline => layer.outline.clone(),
        Shape::Polygon(points) => {
            let ring: Vec<Point> = points.iter().map(|[x, y]| pt(*x, *y)).collect();
            combine::ring_area(&ring)
        }
        Shape::Circle([x, y, r]) => smooth::disc(pt(*x, *y), *r, super::CHORD_MM),
        Shape::Id(id) => match outline.shapes.get(id) {
            Some(area) => area.clone(),
            None => return Err(unknown_id(region, id, outline)),
        },
    };
    let part = combine::intersection(&area, &layer.outline);
    if region.rule == Rule::Hoop {
        // the holes whose edge lies within the shape
        let reach = offset::grown(&area, 0.05, super::CHORD_MM);
        let within = |h: &Area| combine::difference(h, &reach).area() < LEAST_MM2;
        let holes: Vec<(Area, Arc<Area>)> =
            holes_of_bodies(&layer.outline).filter(|(h, _)| within(h)).collect();
        if holes.is_empty() {
            return Ok(None);
        }
        // a shape that is just the hole bounds nothing
        let room = combine::intersection(inside, &area);
        let room = if room.area() < LEAST_MM2 { inside } else { &room };
        return Ok(Some(round_holes(holes, room, &layer.outline)));
    }
    if part.area() < LEAST_MM2 {
        return Ok(None);
    }
    Ok(Some(Target::Area(combine::intersection(&part, inside))))
}

/// A pin with the hole that it stands in.
fn pin_area(&[x, y, r]: &[f64; 3], outline: &Area) -> Area {
    let pin = smooth::disc(pt(x, y), r, super::CHORD_MM);
    match holes(outline).find(|h| h.contains(pt(x, y))) {
        Some(hole) => combine::union(&pin, &hole),
        None => pin,
    }
}

/// The first pin that stands neither in the part nor in one of its holes, in words: half of it
/// or more lies outside.
pub(super) fn pin_outside(region: &Region, layer: &Layer) -> Option<String> {
    let Shape::Pins(pins) = &region.shape else { return None };
    let whole: Vec<Area> = layer.outline.polygons().iter().map(|p| combine::ring_area(p.outer())).collect();
    let within = combine::union_all(&whole);
    let outside = |pin: &[f64; 3]| {
        let area = pin_area(pin, &layer.outline);
        combine::intersection(&area, &within).area() < 0.5 * area.area()
    };
    let k = pins.iter().position(outside)?;
    let [x, y, r] = pins[k];
    let pin = format!("pin {} of region `{}`, at x {x:.2} y {y:.2} mm,", k + 1, region.name);
    Some(if within.contains(pt(x, y)) {
        format!("{pin} has a radius of {r} mm: most of it lies outside the part")
    } else {
        format!("{pin} lies outside the part")
    })
}

/// The holes of an outline, filled.
fn holes(outline: &Area) -> impl Iterator<Item = Area> + '_ {
    outline.polygons().iter().flat_map(|p| p.holes()).map(|h| combine::ring_area(h))
}

/// The same, each with the body that it is in.
fn holes_of_bodies(outline: &Area) -> impl Iterator<Item = (Area, Arc<Area>)> + '_ {
    outline.split().flat_map(|body| {
        let body = Arc::new(body);
        holes(&body).map(|h| (h, Arc::clone(&body))).collect::<Vec<_>>()
    })
}

/// Courses round some holes: they lie in the bodies that these are in, for nothing in
/// another one goes round them.
fn round_holes(holes: Vec<(Area, Arc<Area>)>, within: &Area, outline: &Area) -> Target {
    let (holes, bodies): (Vec<Area>, Vec<Arc<Area>>) = holes.into_iter().unzip();
    if outline.polygons().len() < 2 {
        return Target::Holes { holes, bodies: Vec::new(), room: within.clone() };
    }
    let mut each: Vec<&Arc<Area>> = bodies.iter().collect();
    each.dedup_by(|a, b| Arc::ptr_eq(a, b));
    let each: Vec<Area> = each.into_iter().map(|body| Area::clone(body)).collect();
    let room = combine::intersection(within, &combine::union_all(&each));
    Target::Holes { holes, bodies, room }
}

/// The hole that holds the point, or whose edge is nearest and within reach, with its body.
fn hole_at(outline: &Area, p: Point) -> Option<(Area, Arc<Area>)> {
    let distance = |h: &Area| if h.contains(p) { 0.0 } else { h.boundary_distance(p) };
    holes_of_bodies(outline)
        .map(|(h, body)| (distance(&h), h, body))
        .filter(|(d, ..)| *d <= HOLE_REACH_MM)
        .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.area().total_cmp(&b.1.area())))
        .map(|(_, h, body)| (h, body))
}

fn unknown_id(region: &Region, id: &str, outline: &Outline) -> crate::diagnostic::Faults {
    let names: Vec<&str> = outline.shapes.keys().map(String::as_str).collect();
    let mut d = Diagnostic::error(
        "id-missing",
        format!("the drawing has no closed element with the id `{id}`"),
    )
    .at(&region.written.source, region.written.shape.clone(), "asked for here");
    d = if names.is_empty() {
        d.help("no closed element of the outline file has an id: ids are those of SVG elements and of DXF layers named `region-…`")
    } else {
        d.help(format!("closed elements with an id: {}", names.join(", ")))
    };
    d.into()
}

/// Why a region finds nothing in a layer.
pub(super) fn absence(region: &Region) -> Reason {
    match (&region.shape, region.rule) {
        (Shape::Pins(_), _) => Reason::PinOutside,
        (Shape::HoleAt(_), _) | (_, Rule::Hoop) => Reason::NoHole,
        _ => Reason::OutsideThePart,
    }
}

/// A place to point at.
pub(super) fn place(region: &Region) -> Option<[f64; 2]> {
    match &region.shape {
        Shape::HoleAt(p) => Some(*p),
        Shape::Circle([x, y, _]) => Some([*x, *y]),
        Shape::Pins(pins) => pins.first().map(|[x, y, _]| [*x, *y]),
        Shape::Polygon(points) => {
            let ring: Vec<Point> = points.iter().map(|[x, y]| pt(*x, *y)).collect();
            let n = polyline::signed_area(&ring);
            (n != 0.0).then(|| points[0])
        }
        Shape::Outline | Shape::Id(_) => None,
    }
}

//! DXF drawings, ASCII: curves joined end to end into closed outlines.
//!
//! What counts, and how holes arise:
//!
//! - Entities of the model space on layers that are switched on: `LINE`, `ARC`, `CIRCLE`,
//!   `ELLIPSE`, `LWPOLYLINE` and `POLYLINE` with their bulges, `SPLINE`, and `INSERT` of blocks.
//!   Those of a block are on layers of their own; an insertion on a frozen layer hides them all,
//!   one on a layer that is off only those that are on it by being on `0`.
//! - Open ones are joined where ends meet; what does not close is an error with its place.
//! - Even-odd decides across closed ones: one inside another is a hole.
//! - Entities on a layer named `region-NAME` are the shape NAME for the map and no outline.
//! - A curve that is drawn twice counts once, and so do closed ones that enclose the same,
//!   whatever curves they are made of. Those that overlap in part are warned about.
//! - Widths of polylines and drawings in other files are not read, and warned about.
//!
//! Units: `$INSUNITS`, or the job's `unit` where the file has none. Group codes and the
//! arbitrary axis of mirrored entities as the format's public reference has them (from memory).

mod curves;
mod entities;
mod joined;
mod pairs;

use super::doubt_unit;
use super::extrude::Drawing;
use super::overlaps::{self, Element, Overlaps, SAME_MM, counted_once};
use crate::diagnostic::{Diagnostic, Faults, Notes, Outcome};
use crate::geom::combine::{self, FillRule};
use crate::geom::{Area, Bounds};
use entities::{Entities, Piece};
use pairs::Pairs;
use std::collections::BTreeMap;

/// Layers of this name hold shapes for the map.
const REGION: &str = "region-";

/// Reads a drawing, in mm of `unit_mm` per unit where it has no unit of its own, or in mm.
///
/// Errors: `dxf-unreadable`, `outline-open`, `outline-too-large`.
pub(super) fn read(notes: &mut Notes, name: &str, bytes: &[u8], unit_mm: Option<f64>) -> Outcome<Drawing> {
    let pairs = pairs::read(name, bytes)?;
    let found = Entities::read(&pairs, unit_mm.unwrap_or(1.0))?;
    if let (Some(asked), Some((own, line))) = (unit_mm, found.own_unit)
        && (asked - own).abs() > 1e-9
    {
        let message =
            format!("one unit of the drawing is {own} mm, as it says itself: the job's `unit` is not used");
        notes.push(pairs.at(Diagnostic::warning("key-unused", message), line));
    }
    if unit_mm.is_none() && found.own_unit.is_none() {
        let drawn = Bounds::of(found.pieces.iter().flat_map(|p| p.points.iter().copied()));
        doubt_unit(notes, name, drawn.into_iter());
    }
    for (what, passed) in &found.passed {
        let message = format!("{what} is not read{}", times(passed.count));
        let d = pairs.at(Diagnostic::warning("element-not-read", message), passed.line);
        notes.push(match passed.help {
            Some(help) => d.help(help),
            None => d,
        });
    }
    let mut by_layer: BTreeMap<&str, Vec<Piece>> = BTreeMap::new();
    let mut outline = Vec::new();
    for piece in found.pieces {
        match found.layers[piece.layer].get(..REGION.len()) {
            Some(start) if start.eq_ignore_ascii_case(REGION) => {
                by_layer.entry(&found.layers[piece.layer][REGION.len()..]).or_default().push(piece);
            }
            _ => outline.push(piece),
        }
    }
    let mut faults = Vec::new();
    let plain = closed(outline, &pairs, notes, &mut faults);
    let mut shapes: BTreeMap<String, Area> = BTreeMap::new();
    for (name, pieces) in by_layer {
        shapes.insert(name.to_owned(), closed(pieces, &pairs, notes, &mut faults));
    }
    faults.truncate(MOST_FAULTS);
    if !faults.is_empty() {
        return Err(Faults(faults));
    }
    let own_unit_mm = found.own_unit.map(|own| own.0);
    Ok(Drawing { plain, groups: Vec::new(), shapes, page_height_mm: None, own_unit_mm })
}

/// Faults told of one drawing.
const MOST_FAULTS: usize = 20;

/// How often, where it is more than once.
fn times(count: usize) -> String {
    if count > 1 { format!(" ({count} times; the first is shown)") } else { String::new() }
}

/// What pieces enclose once they are joined.
fn closed(pieces: Vec<Piece>, pairs: &Pairs, notes: &mut Notes, faults: &mut Vec<Diagnostic>) -> Area {
    let joined = joined::rings(pieces);
    if let Some((at, line)) = joined.crowd {
        let message = format!(
            "more than {} ends of curves lie within {} mm of x {:.3} mm, y {:.3} mm: which of them meet is not to be told",
            joined::MOST_NEAR,
            joined::MEETS_MM,
            at.x,
            at.y
        );
        let d = Diagnostic::error("outline-open", message);
        faults.push(
            pairs.at(d.help("check the drawing's unit, or draw the outline as closed polylines"), line),
        );
    }
    for open in joined.open.iter().take(MOST_FAULTS) {
        let [x, y] = [open.at.x, open.at.y];
        let message = format!(
            "a line is open: at x {x:.3} mm, y {y:.3} mm it ends {}, at most {} mm is closed here",
            open.gap_mm.map_or("without another end".to_owned(), |g| format!("{g:.3} mm from the next end")),
            joined::MEETS_MM
        );
        let d = Diagnostic::error("outline-open", message).help(
            "join it in the drawing; switch off layers of centre lines and dimensions, or delete these",
        );
        faults.push(pairs.at(d, open.line));
    }
    let mut warn = |code: &'static str, message: String, line: usize, help: &str| {
        let d = pairs.at(Diagnostic::warning(code, message), line);
        notes.push(if help.is_empty() { d } else { d.help(help) });
    };
    if let Some((count, line)) = joined.twice {
        warn("drawing-overlap", counted_once(count, "curve"), line, "");
    }
    if let Some((count, line)) = joined.scraps {
        let message = format!(
            "a curve that is at most {} mm long and meets no other is not read{}",
            joined::SCRAP_MM,
            times(count)
        );
        warn("element-not-read", message, line, "delete it, or check the drawing's unit");
    }
    // rings of what is not joined rightly are none
    if !faults.is_empty() {
        return Area::empty();
    }
    let (mut areas, mut lines) = (Vec::new(), Vec::new());
    let (mut round_twice, mut nothing) = (None, None);
    for ring in &joined.rings {
        let mut area = combine::enclosed([ring.points.as_slice()], FillRule::EvenOdd);
        if overlaps::thin(&area) {
            // pieces of two that enclose the same may have been joined to one that goes round twice
            area = combine::enclosed([ring.points.as_slice()], FillRule::NonZero);
            if overlaps::thin(&area) {
                joined::count(&mut nothing, ring.line);
                continue;
            }
            joined::count(&mut round_twice, ring.line);
        }
        areas.push(area);
        lines.push(ring.line);
    }
    if let Some((count, line)) = round_twice {
        warn("drawing-overlap", counted_once(count, "closed curve"), line, "");
    }
    if let Some((count, line)) = nothing {
        let message = format!("a closed curve that is nowhere {SAME_MM} mm wide is not read{}", times(count));
        warn("element-not-read", message, line, "delete it, or check the drawing's unit");
    }
    let elements: Vec<Element<'_>> = areas.iter().map(|area| Element { area, group: None }).collect();
    let found = Overlaps::of(&elements);
    for d in found.told("closed curve", |d, k, _| pairs.at(d, lines[k])) {
        notes.push(d);
    }
    found.even_odd(&elements)
}

#[cfg(test)]
mod tests;

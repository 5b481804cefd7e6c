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
//! - A curve that is drawn twice counts once.
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
use crate::diagnostic::{Diagnostic, Faults, Notes, Outcome, counted};
use crate::geom::combine::{self, FillRule};
use crate::geom::{Area, Bounds, Point};
use entities::{Entities, Piece};
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
        let message = format!("the drawing's own unit holds, {own} mm: the job's `unit` is not used");
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
    let mut closed = |pieces: Vec<Piece>, notes: &mut Notes| {
        let joined = joined::rings(pieces);
        if let Some((count, line)) = joined.twice {
            let message = format!("drawn twice, and counted once: {}", counted(count, "curve"));
            notes.push(pairs.at(Diagnostic::warning("drawing-overlap", message), line));
        }
        for open in joined.open {
            let [x, y] = [open.at.x, open.at.y];
            let message = format!(
                "a line is open: at x {x:.3} mm, y {y:.3} mm it ends {}, at most {} mm is closed here",
                open.gap_mm
                    .map_or("without another end".to_owned(), |g| format!("{g:.3} mm from the next end")),
                joined::MEETS_MM
            );
            let d = Diagnostic::error("outline-open", message).help(
                "join it in the drawing; switch off layers of centre lines and dimensions, or delete these",
            );
            faults.push(pairs.at(d, open.line));
        }
        let rings: Vec<&[Point]> = joined.rings.iter().map(Vec::as_slice).collect();
        if rings.is_empty() { Area::empty() } else { combine::enclosed(rings, FillRule::EvenOdd) }
    };
    let plain = closed(outline, notes);
    let shapes: BTreeMap<String, Area> =
        by_layer.into_iter().map(|(name, pieces)| (name.to_owned(), closed(pieces, notes))).collect();
    faults.truncate(MOST_FAULTS);
    if !faults.is_empty() {
        return Err(Faults(faults));
    }
    Ok(Drawing { plain, groups: Vec::new(), shapes })
}

/// Faults told of one drawing.
const MOST_FAULTS: usize = 20;

/// How often, where it is more than once.
fn times(count: usize) -> String {
    if count > 1 { format!(" ({count} times; the first is shown)") } else { String::new() }
}

#[cfg(test)]
mod tests;

//! Common Layer Interface files (version 2.0, a European research project's, 1993/95),
//! ASCII and binary: contours layer by layer.
//!
//! A layer's z is its top. Contours are outer ones (counter-clockwise, 1), inner ones
//! (clockwise, 0) or open lines (2). Keywords and binary codes as several open readers and
//! writers of the format have them; that a first layer without contours states the base is
//! from memory.

mod commands;

use super::{Layer, assemble, reach};
use crate::diagnostic::{Diagnostic, Notes, Outcome, counted};
use crate::geom::combine::{self, FillRule};
use crate::geom::{Area, Point, polyline};
use crate::job::SAME_HEIGHT_MM;
use commands::{Command, Commands, Fault};
use rayon::prelude::*;

/// A contour whose ends are this close is closed, mm: single precision far from the
/// origin loses so much.
const CLOSES_WITHIN_MM: f64 = 0.01;

/// One layer as it is read: its top, mm, and its rings, outer ones counter-clockwise.
struct Cut {
    top_mm: f64,
    rings: Vec<Vec<Point>>,
}

/// What is told once, however often it is met: how often, and where first.
#[derive(Default)]
struct Met {
    hatches: Option<(usize, Fault)>,
    open: Option<(usize, Fault)>,
    turned: Option<(usize, Fault)>,
}

fn meet(met: &mut Option<(usize, Fault)>, fault: Fault) {
    match met {
        Some((count, _)) => *count += 1,
        None => *met = Some((1, fault)),
    }
}

/// Reads the layers of a file, in mm.
///
/// Each layer reaches from the one before it to its own z; the first one from the z of a
/// layer without contours before it, or else it is as high as the second one, and a single
/// one `layer_height_mm`.
///
/// Errors: `cli-unreadable`, `outline-open`, `outline-too-large`, `outline-empty`.
pub(super) fn read(notes: &mut Notes, name: &str, bytes: &[u8], layer_height_mm: f64) -> Outcome<Vec<Layer>> {
    let mut commands = Commands::new(name, bytes)?;
    let unit = commands.unit_mm;
    let mut cuts: Vec<Cut> = Vec::new();
    let mut met = Met::default();
    while let Some((command, fault)) = commands.next()? {
        match command {
            Command::Layer(z) => {
                let top_mm = z * unit;
                if !reach::within([top_mm]) {
                    let message = format!("a layer lies at z {} mm; {}", reach::short(top_mm), reach::most());
                    return Err(fault.told("outline-too-large", message));
                }
                if let Some(last) = cuts.last()
                    && top_mm < last.top_mm - SAME_HEIGHT_MM
                {
                    let message =
                        format!("a layer at z {top_mm} mm follows one at z {} mm: layers go up", last.top_mm);
                    return Err(fault.told("cli-unreadable", message));
                }
                if cuts.last().is_none_or(|last| top_mm > last.top_mm + SAME_HEIGHT_MM) {
                    cuts.push(Cut { top_mm, rings: Vec::new() });
                }
                if cuts.len() > super::MOST_LAYERS {
                    let message = format!("more than {} layers", super::MOST_LAYERS);
                    return Err(fault.told("outline-too-large", message));
                }
            }
            Command::Polyline { direction, points } => {
                let Some(cut) = cuts.last_mut() else {
                    return Err(
                        fault.told("cli-unreadable", "a contour stands before the first layer".into())
                    );
                };
                let ring: Vec<Point> = points.into_iter().map(|p| p * unit).collect();
                if let Some(ring) = contour(direction, ring, &fault, &mut met)? {
                    cut.rings.push(ring);
                }
            }
            Command::Hatches => meet(&mut met.hatches, fault),
        }
    }
    tell(notes, name, met, commands.layers_told.filter(|n| *n != cuts.len()), cuts.len());
    layers(name, cuts, layer_height_mm)
}

/// A contour as a ring turned as it counts; `None` for what encloses nothing.
fn contour(
    direction: i64,
    mut ring: Vec<Point>,
    fault: &Fault,
    met: &mut Met,
) -> Outcome<Option<Vec<Point>>> {
    if let Some(p) = reach::beyond(&ring) {
        let message = format!("a point lies at {}", reach::told([p.x, p.y]));
        return Err(fault.told("outline-too-large", message));
    }
    if direction == 2 {
        meet(&mut met.open, fault.clone());
        return Ok(None);
    }
    let (Some(a), Some(b)) = (ring.first().copied(), ring.last().copied()) else { return Ok(None) };
    let gap = a.dist(b);
    if gap > CLOSES_WITHIN_MM {
        let message = format!(
            "a contour is open: it ends at x {:.3} mm, y {:.3} mm, {gap:.3} mm from where it began, at most \
             {CLOSES_WITHIN_MM} mm is closed here",
            b.x, b.y
        );
        return Err(fault.told("outline-open", message));
    }
    ring.pop();
    if ring.len() < 3 {
        return Ok(None);
    }
    let outer = polyline::signed_area(&ring) > 0.0;
    if outer != (direction == 1) {
        meet(&mut met.turned, fault.clone());
        ring.reverse();
    }
    Ok(Some(ring))
}

fn tell(notes: &mut Notes, name: &str, met: Met, told: Option<usize>, read: usize) {
    if let Some((count, fault)) = met.turned {
        let message = format!(
            "{} of a layer turned the other way than the file says of them: outer or inner is taken as said",
            counted(count, "contour")
        );
        let d = fault.noted("contour-turned", message);
        notes.push(d.help("look at the layers: holes may be filled, or solid ground be open"));
    }
    for (met, what) in [(met.hatches, "hatch block"), (met.open, "open line")] {
        if let Some((count, fault)) = met {
            let message = format!("{} not read: they enclose nothing", counted(count, what));
            notes.push(fault.noted("element-not-read", message));
        }
    }
    if let Some(told) = told {
        let message = format!("the header tells {}, {read} are there", counted(told, "layer"));
        notes.push(Diagnostic::warning("element-not-read", message).in_file(name));
    }
}

/// Cuts as layers from the bed up.
fn layers(name: &str, mut cuts: Vec<Cut>, layer_height_mm: f64) -> Outcome<Vec<Layer>> {
    let base_mm = match cuts.as_slice() {
        [first, _, ..] if first.rings.is_empty() => {
            let base = first.top_mm;
            cuts.remove(0);
            base
        }
        [first, second, ..] => first.top_mm - (second.top_mm - first.top_mm),
        [only] => only.top_mm - layer_height_mm,
        [] => 0.0,
    };
    let areas: Vec<Area> = cuts
        .par_iter()
        .map(|c| combine::enclosed(c.rings.iter().map(Vec::as_slice), FillRule::Positive))
        .collect();
    let mut bottom = 0.0;
    let parts = cuts
        .iter()
        .zip(areas)
        .map(|(c, area)| {
            let top = c.top_mm - base_mm;
            (std::mem::replace(&mut bottom, top), top, area)
        })
        .collect();
    assemble(name, parts)
}

#[cfg(test)]
mod tests;

//! What the elements make together.

use super::{Drawn, Reader};
use crate::diagnostic::{Diagnostic, Faults, Notes, Outcome, counted};
use crate::geom::combine::{self, FillRule};
use crate::geom::{Area, Bounds, Point};
use crate::outline::extrude::{Drawing, ZGroup};
use std::collections::BTreeMap;

/// Smallest overlap that is told, mm2.
const OVERLAP_MM2: f64 = 1e-3;

impl<'a> Reader<'a> {
    pub(super) fn finish(mut self, notes: &mut Notes) -> Outcome<Drawing> {
        if !self.faults.is_empty() {
            return Err(Faults(self.faults));
        }
        for (what, (count, place)) in std::mem::take(&mut self.passed) {
            let times =
                if count > 1 { format!(" ({count} times; the first is shown)") } else { String::new() };
            let verb = if what.starts_with("an element") { "is no outline" } else { "is not read" };
            let d = Diagnostic::warning("element-not-read", format!("{what} {verb}{times}")).at(
                &self.source,
                place,
                "",
            );
            self.warnings.push(match what.as_str() {
                "`text`" => {
                    d.help("turn text into paths in the drawing program if it belongs to the outline")
                }
                "`line`" => d.help("a line encloses nothing; draw the outline as closed paths"),
                "`clip-path`" | "`mask`" => {
                    d.help("the element counts whole; cut it in the drawing program if only a part is meant")
                }
                _ => d,
            });
        }
        self.overlaps();
        let outside = self.drawn.iter().filter(|d| d.group.is_none() && !d.region).count();
        if !self.groups.is_empty()
            && let Some(first) = self.drawn.iter().find(|d| d.group.is_none() && !d.region)
        {
            let d = Diagnostic::warning(
                "element-not-read",
                format!("outside every group with `data-z-mm`, in no layer: {}", counted(outside, "element")),
            )
            .at(&self.source, first.place.clone(), "the first")
            .help("give them a `data-z-mm`, or data-role=\"region\" if they are shapes for the map");
            self.warnings.push(d);
        }
        let of_group = |g: Option<usize>| {
            let members: Vec<&Area> =
                self.drawn.iter().filter(|d| d.group == g && !d.region).map(|d| &d.area).collect();
            even_odd(&members)
        };
        let drawing = Drawing {
            plain: if self.groups.is_empty() { of_group(None) } else { Area::empty() },
            groups: self
                .groups
                .iter()
                .enumerate()
                .map(|(g, (lo, hi))| ZGroup { from_mm: *lo, to_mm: *hi, area: of_group(Some(g)) })
                .filter(|g| !g.area.is_empty())
                .collect(),
            shapes: self.shapes,
        };
        notes.warnings.append(&mut self.warnings);
        Ok(drawing)
    }

    /// Tells of elements of one group that overlap in part, and drops elements
    /// that were drawn twice (even-odd would otherwise remove both).
    pub(super) fn overlaps(&mut self) {
        let boxes: Vec<Option<Bounds>> = self.drawn.iter().map(|d| d.area.bounds()).collect();
        let mut order: Vec<usize> = (0..self.drawn.len()).filter(|i| !self.drawn[*i].region).collect();
        let left = |i: usize| boxes[i].map_or(f64::INFINITY, |b| b.lo.x);
        order.sort_by(|a, b| left(*a).total_cmp(&left(*b)).then(a.cmp(b)));
        let mut twice = Vec::new();
        let mut crossing = Vec::new();
        for (k, &i) in order.iter().enumerate() {
            let Some(a) = boxes[i] else { continue };
            for &j in &order[k + 1..] {
                let Some(b) = boxes[j] else { continue };
                if b.lo.x > a.hi.x {
                    break;
                }
                if b.lo.y > a.hi.y || a.lo.y > b.hi.y || self.drawn[i].group != self.drawn[j].group {
                    continue;
                }
                let (p, q) = (&self.drawn[i].area, &self.drawn[j].area);
                let both = combine::intersection(p, q).area();
                let (alone_p, alone_q) = (p.area() - both, q.area() - both);
                if alone_p.max(alone_q) < OVERLAP_MM2 {
                    twice.push((i.min(j), i.max(j)));
                } else if both.min(alone_p).min(alone_q) > OVERLAP_MM2 {
                    crossing.push((i.min(j), i.max(j), both));
                }
            }
        }
        twice.sort_unstable();
        crossing.sort_by_key(|a| (a.0, a.1));
        if let Some((_, j)) = twice.first() {
            let d = Diagnostic::warning(
                "drawing-overlap",
                match twice.len() {
                    1 => "1 element is drawn twice and counts once".to_owned(),
                    n => format!("{n} elements are drawn twice and count once"),
                },
            )
            .at(&self.source, self.drawn[*j].place.clone(), "drawn before");
            self.warnings.push(d);
        }
        if let Some((_, j, both)) = crossing.first() {
            let d = Diagnostic::warning(
                "drawing-overlap",
                format!(
                    "{}; where they do (here {both:.3} mm2) there is no material, as even-odd says",
                    match crossing.len() {
                        1 => "2 elements overlap in part".to_owned(),
                        n => format!("{n} pairs of elements overlap in part"),
                    }
                ),
            )
            .at(&self.source, self.drawn[*j].place.clone(), "overlaps one before it")
            .help("unite them in the drawing program if both are material");
            self.warnings.push(d);
        }
        let mut gone: Vec<usize> = twice.into_iter().map(|(_, j)| j).collect();
        gone.sort_unstable();
        gone.dedup();
        for j in gone.into_iter().rev() {
            self.drawn.remove(j);
        }
    }
}

/// Elements taken together: even-odd within a group, groups united.
pub(super) fn joined(drawn: &[Drawn]) -> Area {
    if let [one] = drawn {
        return one.area.clone();
    }
    let mut groups: BTreeMap<Option<usize>, Vec<&Area>> = BTreeMap::new();
    for d in drawn {
        groups.entry(d.group).or_default().push(&d.area);
    }
    let areas: Vec<Area> = groups.values().map(|g| even_odd(g)).collect();
    combine::union_all(&areas)
}

pub(super) fn even_odd(areas: &[&Area]) -> Area {
    let rings: Vec<&[Point]> = areas.iter().flat_map(|a| a.rings()).collect();
    if rings.is_empty() { Area::empty() } else { combine::enclosed(rings, FillRule::EvenOdd) }
}

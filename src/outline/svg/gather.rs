//! What the elements make together.

use super::{Drawn, Reader};
use crate::diagnostic::{Diagnostic, Faults, Notes, Outcome, counted};
use crate::geom::{Area, combine};
use crate::outline::extrude::{Drawing, ZGroup};
use crate::outline::overlaps::{Element, Overlaps, even_odd, twice};
use std::collections::BTreeMap;

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
            page_height_mm: self.page_height_mm,
            own_unit_mm: None,
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
    /// that were drawn twice.
    pub(super) fn overlaps(&mut self) {
        let outline: Vec<usize> = (0..self.drawn.len()).filter(|i| !self.drawn[*i].region).collect();
        let elements: Vec<Element<'_>> = outline.iter().map(|i| element(&self.drawn[*i])).collect();
        let found = Overlaps::of(&elements);
        let at = |d: Diagnostic, k: usize, label: &str| {
            d.at(&self.source, self.drawn[outline[k]].place.clone(), label)
        };
        self.warnings.extend(found.told("element", at));
        for k in found.twice.into_iter().rev() {
            self.drawn.remove(outline[k]);
        }
    }
}

/// Elements taken together: even-odd within a group, groups united; and those that are drawn
/// twice, by their places, which count once.
pub(super) fn joined(drawn: &[Drawn]) -> (Area, Vec<usize>) {
    if let [one] = drawn {
        return (one.area.clone(), Vec::new());
    }
    let elements: Vec<Element<'_>> = drawn.iter().map(element).collect();
    let mut groups: BTreeMap<Option<usize>, Vec<&Area>> = BTreeMap::new();
    for d in drawn {
        groups.entry(d.group).or_default().push(&d.area);
    }
    let areas: Vec<Area> = groups.values().map(|g| even_odd(g)).collect();
    (combine::union_all(&areas), twice(&elements))
}

fn element(drawn: &Drawn) -> Element<'_> {
    Element { area: &drawn.area, group: drawn.group }
}

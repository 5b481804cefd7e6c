//! Shapes that have a name.

use super::Drawn;
use super::gather::{even_odd, joined};
use crate::geom::{Area, Bounds, Point, combine};
use std::collections::{BTreeMap, BTreeSet};

/// The boxes of an element and of its double differ by less, mm: chords and the grid move an edge
/// by some thousandths.
const SAME_BOX_MM: f64 = 0.02;

/// What of one of them the other has not is less than this, mm2.
const SAME_MM2: f64 = 1e-3;

/// What elements make together, and which of them are doubles of one before and count with it:
/// even-odd would otherwise make nothing of both.
pub(super) fn area(drawn: &[Drawn]) -> (Area, BTreeSet<usize>) {
    let again = doubles(drawn);
    if again.is_empty() {
        return (joined(drawn), again);
    }
    let mut groups: BTreeMap<Option<usize>, Vec<&Area>> = BTreeMap::new();
    for (k, d) in drawn.iter().enumerate() {
        if !again.contains(&k) {
            groups.entry(d.group).or_default().push(&d.area);
        }
    }
    let areas: Vec<Area> = groups.values().map(|g| even_odd(g)).collect();
    (combine::union_all(&areas), again)
}

/// Elements that are drawn before in the same layers, by their number.
fn doubles(drawn: &[Drawn]) -> BTreeSet<usize> {
    // elements by the cell of their lower left corner: that of a double is in the same cell or beside
    let mut kept: BTreeMap<[i64; 2], Vec<(usize, Bounds, f64)>> = BTreeMap::new();
    let mut again = BTreeSet::new();
    for (k, d) in drawn.iter().enumerate() {
        let Some(own) = d.area.bounds() else { continue };
        let (size, at) = (d.area.area(), cell(own.lo));
        let before = (-1..=1)
            .flat_map(|x| (-1..=1).map(move |y| [at[0] + x, at[1] + y]))
            .filter_map(|c| kept.get(&c))
            .flatten()
            .any(|(i, other, of_other)| {
                let boxed = (own.lo - other.lo).norm().max((own.hi - other.hi).norm()) <= SAME_BOX_MM;
                boxed
                    && (size - of_other).abs() < SAME_MM2
                    && d.group == drawn[*i].group
                    && same(&d.area, &drawn[*i].area)
            });
        if before {
            again.insert(k);
        } else {
            kept.entry(at).or_default().push((k, own, size));
        }
    }
    again
}

fn same(a: &Area, b: &Area) -> bool {
    a == b || a.area().max(b.area()) - combine::intersection(a, b).area() < SAME_MM2
}

fn cell(p: Point) -> [i64; 2] {
    #[expect(clippy::cast_possible_truncation, reason = "coordinates are at most 1e5 mm")]
    [p.x, p.y].map(|v| (v / SAME_BOX_MM).floor() as i64)
}

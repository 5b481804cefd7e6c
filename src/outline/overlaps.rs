//! Closed elements of a drawing that lie on one another.
//!
//! Across elements even-odd decides: one inside another is a hole. What is drawn twice would
//! vanish by that, and what overlaps in part would be a hole that nobody drew, so the first
//! counts once and the second is told. Elements of different groups are not compared.

use crate::diagnostic::Diagnostic;
use crate::geom::combine::{self, FillRule};
use crate::geom::nearest::Lines;
use crate::geom::{Area, Bounds, Point, offset, polyline};
use std::cell::OnceCell;

/// Boundaries this close are one that is drawn twice, mm: what drawing programs lose by
/// writing two decimals, and more than chords of one curve lie apart that begin elsewhere.
/// No wall and no gap is that thin.
pub(super) const SAME_MM: f64 = 0.01;

/// Smallest overlap that is told, mm2.
const OVERLAP_MM2: f64 = 1e-3;

/// Boundaries that keep this far apart neither cross nor touch, mm: some steps of the grid.
const APART_MM: f64 = 1e-5;

/// Pairs looked for at most: of a drawing where everything crosses everything nobody mends
/// one after the other.
const MOST_CROSSING: usize = 1000;

/// One closed element.
#[derive(Clone, Copy)]
pub(super) struct Element<'a> {
    pub(super) area: &'a Area,
    /// Elements are compared within a group.
    pub(super) group: Option<usize>,
}

/// Which elements lie on one another, by their places in the list.
#[derive(Debug, PartialEq)]
pub(super) struct Overlaps {
    /// Those that enclose what one before them does, in order.
    pub(super) twice: Vec<usize>,
    /// Pairs of the others that overlap in part, and by how much, mm2; at most
    /// [`MOST_CROSSING`].
    crossing: Vec<(usize, usize, f64)>,
}

impl Overlaps {
    pub(super) fn of(elements: &[Element<'_>]) -> Self {
        let boxed = boxes(elements);
        let twice = doubles(&boxed);
        let others: Vec<&Boxed<'_>> =
            boxed.iter().filter(|e| twice.binary_search(&e.place).is_err()).collect();
        Self { crossing: crossing(others), twice }
    }

    /// Elements of one group taken together, even-odd.
    pub(super) fn even_odd(&self, elements: &[Element<'_>]) -> Area {
        let once = (0..elements.len()).filter(|i| self.twice.binary_search(i).is_err());
        let rings: Vec<&[Point]> = once.flat_map(|i| elements[i].area.rings()).collect();
        if rings.is_empty() { Area::empty() } else { combine::enclosed(rings, FillRule::EvenOdd) }
    }

    /// The warnings (`drawing-overlap`), where `what` is what the drawing calls an element and
    /// `at` puts a message with a label at the place of one.
    pub(super) fn told(
        &self,
        what: &str,
        at: impl Fn(Diagnostic, usize, &str) -> Diagnostic,
    ) -> Vec<Diagnostic> {
        let warning = |message: String| Diagnostic::warning("drawing-overlap", message);
        let mut out = Vec::new();
        if let Some(first) = self.twice.first() {
            out.push(at(warning(counted_once(self.twice.len(), what)), *first, "drawn before"));
        }
        if let Some((_, second, both)) = self.crossing.first() {
            let pairs = match self.crossing.len() {
                1 => format!("2 {what}s overlap in part"),
                n if n < MOST_CROSSING => format!("{n} pairs of {what}s overlap in part"),
                n => format!("{n} pairs of {what}s or more overlap in part"),
            };
            let message =
                format!("{pairs}; where they do (here {both:.3} mm2) there is no material, as even-odd says");
            let d = at(warning(message), *second, "overlaps one before it");
            out.push(d.help("unite them in the drawing program if both are material"));
        }
        out
    }
}

/// What is said of elements that are drawn twice.
pub(super) fn counted_once(n: usize, what: &str) -> String {
    if n == 1 {
        format!("1 {what} is drawn twice and counts once")
    } else {
        format!("{n} {what}s are drawn twice and count once")
    }
}

/// Places of elements that enclose what one before them in their group does.
pub(super) fn twice(elements: &[Element<'_>]) -> Vec<usize> {
    doubles(&boxes(elements))
}

/// Elements of one group taken together, even-odd, those drawn twice once.
pub(super) fn even_odd(areas: &[&Area]) -> Area {
    let elements: Vec<Element<'_>> = areas.iter().map(|area| Element { area, group: None }).collect();
    Overlaps { twice: doubles(&boxes(&elements)), crossing: Vec::new() }.even_odd(&elements)
}

/// Nowhere as wide as [`SAME_MM`].
pub(super) fn thin(area: &Area) -> bool {
    // area is at most the largest disc's radius times the boundary's length (Bonnesen): most
    // need no offset to be known as wide
    let narrow = area
        .polygons()
        .iter()
        .all(|p| 2.0 * p.area() <= SAME_MM * p.rings().map(polyline::ring_length).sum::<f64>());
    narrow && offset::grown(area, -0.5 * SAME_MM, 0.1 * SAME_MM).is_empty()
}

/// An element and what is asked of it again and again.
struct Boxed<'a> {
    place: usize,
    area: &'a Area,
    group: Option<usize>,
    around: Bounds,
    mm2: f64,
    points: usize,
    /// Its boundary, once somebody asks for it.
    lines: OnceCell<Lines>,
}

impl<'a> Boxed<'a> {
    /// `None` for one that encloses nothing.
    fn of(place: usize, Element { area, group }: Element<'a>) -> Option<Self> {
        let points = area.rings().map(<[Point]>::len).sum();
        let lines = OnceCell::new();
        Some(Self { place, area, group, around: area.bounds()?, mm2: area.area(), points, lines })
    }

    fn lines(&self) -> &Lines {
        self.lines.get_or_init(|| Lines::boundary(self.area))
    }

    fn holds(&self, p: Point) -> bool {
        let b = self.around;
        p.x >= b.lo.x && p.x <= b.hi.x && p.y >= b.lo.y && p.y <= b.hi.y && self.lines().enclose(p)
    }

    /// It encloses the same as another one.
    fn same(&self, other: &Self) -> bool {
        let (a, b) = (self.around, other.around);
        let off = [a.lo.x - b.lo.x, a.lo.y - b.lo.y, a.hi.x - b.hi.x, a.hi.y - b.hi.y];
        self.group == other.group
            && off.iter().all(|d| d.abs() <= SAME_MM)
            && (self.mm2 - other.mm2).abs() <= SAME_MM * self.area.perimeter().max(other.area.perimeter())
            && thin(&combine::difference(self.area, other.area))
            && thin(&combine::difference(other.area, self.area))
    }

    /// How much of another one it overlaps, mm2.
    ///
    /// Where no boundary comes near the other's, the overlap is bounded by whole rings of one
    /// that lie within the other. That is asked first: against one large element all are looked
    /// at, and an intersection runs round the whole of it each time.
    fn shared(&self, other: &Self) -> f64 {
        let (small, large) = if self.points <= other.points { (self, other) } else { (other, self) };
        let lines = large.lines();
        if small.area.rings().flat_map(polyline::ring_edges).any(|(a, b)| lines.nearer(a, b, APART_MM)) {
            return combine::intersection(self.area, other.area).area();
        }
        let within = |inner: &Self, outer: &Self| {
            let held = inner.area.rings().filter(|r| r.first().is_some_and(|p| outer.holds(*p)));
            held.map(polyline::signed_area).sum::<f64>()
        };
        within(small, large) + within(large, small)
    }
}

fn boxes<'a>(elements: &[Element<'a>]) -> Vec<Boxed<'a>> {
    elements.iter().enumerate().filter_map(|(i, e)| Boxed::of(i, *e)).collect()
}

/// Places of elements that enclose what one before them does.
fn doubles(boxed: &[Boxed<'_>]) -> Vec<usize> {
    let mut order: Vec<&Boxed<'_>> = boxed.iter().collect();
    order.sort_by(|a, b| a.around.lo.x.total_cmp(&b.around.lo.x).then(a.place.cmp(&b.place)));
    let mut gone = vec![false; boxed.last().map_or(0, |e| e.place + 1)];
    for (k, a) in order.iter().enumerate() {
        for b in order[k + 1..].iter().take_while(|b| b.around.lo.x <= a.around.lo.x + SAME_MM) {
            // of many copies each is compared with the one that stays
            if gone[a.place] {
                break;
            }
            if !gone[b.place] && a.same(b) {
                gone[a.place.max(b.place)] = true;
            }
        }
    }
    (0..gone.len()).filter(|i| gone[*i]).collect()
}

/// Pairs that overlap in part, and by how much.
fn crossing(mut order: Vec<&Boxed<'_>>) -> Vec<(usize, usize, f64)> {
    order.sort_by(|a, b| a.around.lo.x.total_cmp(&b.around.lo.x).then(a.place.cmp(&b.place)));
    let mut found = Vec::new();
    'all: for (k, a) in order.iter().enumerate() {
        for b in order[k + 1..].iter().take_while(|b| b.around.lo.x <= a.around.hi.x) {
            let beside = b.around.lo.y > a.around.hi.y || a.around.lo.y > b.around.hi.y;
            if beside || a.group != b.group {
                continue;
            }
            let both = a.shared(b);
            if both.min(a.mm2 - both).min(b.mm2 - both) > OVERLAP_MM2 {
                found.push((a.place.min(b.place), a.place.max(b.place), both));
                if found.len() >= MOST_CROSSING {
                    break 'all;
                }
            }
        }
    }
    found.sort_by_key(|f| (f.0, f.1));
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::pt;
    use proptest::prelude::*;

    fn block(x: f64, y: f64, w: f64, h: f64) -> Vec<Point> {
        vec![pt(x, y), pt(x + w, y), pt(x + w, y + h), pt(x, y + h)]
    }

    fn area(rings: &[Vec<Point>]) -> Area {
        combine::enclosed(rings.iter().map(Vec::as_slice), FillRule::EvenOdd)
    }

    fn found(areas: &[Area]) -> Overlaps {
        let elements: Vec<Element<'_>> = areas.iter().map(|area| Element { area, group: None }).collect();
        Overlaps::of(&elements)
    }

    #[test]
    fn the_same_is_told_from_what_is_nearly_so() {
        let whole = area(&[block(0.0, 0.0, 60.0, 40.0)]);
        for (what, other, same) in [
            ("written with two decimals", area(&[block(0.004, -0.004, 60.0, 40.0)]), true),
            (
                "a corner more",
                area(&[vec![pt(0.0, 0.0), pt(9.0, 0.0), pt(60.0, 0.0), pt(60.0, 40.0), pt(0.0, 40.0)]]),
                true,
            ),
            ("shifted by more than that", area(&[block(0.02, 0.0, 60.0, 40.0)]), false),
            // a small part of the whole, and of what its edges are wide
            ("a notch", area(&[block(0.0, 0.0, 60.0, 40.0), block(30.0, 39.9, 0.1, 0.1)]), false),
            ("a hole", area(&[block(0.0, 0.0, 60.0, 40.0), block(30.0, 20.0, 0.1, 0.1)]), false),
        ] {
            let got = found(&[whole.clone(), other]);
            assert_eq!(got.twice, if same { vec![1] } else { vec![] }, "{what}");
        }
        // the first of several stays
        let copies = vec![whole.clone(), area(&[block(9.0, 9.0, 2.0, 2.0)]), whole.clone(), whole];
        assert_eq!(found(&copies), Overlaps { twice: vec![2, 3], crossing: vec![] });
        assert!((even_odd(&copies.iter().collect::<Vec<_>>()).area() - 2396.0).abs() < 1e-6);
    }

    #[test]
    fn one_that_is_drawn_twice_crosses_once() {
        let one = area(&[block(0.0, 0.0, 10.0, 10.0)]);
        let other = area(&[block(6.0, 0.0, 10.0, 10.0)]);
        let got = found(&[one.clone(), other, one]);
        assert_eq!((got.twice.as_slice(), got.crossing.len()), (&[2][..], 1));
        assert!((got.crossing[0].2 - 40.0).abs() < 1e-6);
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(256) })]

        /// Looking at rings first says what the intersection does: whole ones, with holes, in
        /// pieces, touching and crossing.
        #[test]
        fn what_is_shared_is_the_intersection(blocks in prop::collection::vec((0..20_u8, 0..20_u8, 1..9_u8, 1..9_u8, any::<bool>()), 2..9)) {
            let of = |first: bool| {
                let rings: Vec<Vec<Point>> = blocks.iter().filter(|b| b.4 == first)
                    .map(|b| block(b.0.into(), b.1.into(), b.2.into(), b.3.into())).collect();
                area(&rings)
            };
            let (p, q) = (of(true), of(false));
            let boxed = |area| Boxed::of(0, Element { area, group: None });
            if let (Some(a), Some(b)) = (boxed(&p), boxed(&q)) {
                let want = combine::intersection(&p, &q).area();
                prop_assert!((a.shared(&b) - want).abs() < 1e-6, "{}, {want}", a.shared(&b));
            }
        }
    }
}

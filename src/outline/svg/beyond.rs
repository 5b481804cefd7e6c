//! What lies beyond the nested page that it is drawn in: by the standard it is cut off at its
//! edges, here it counts whole and is told.

use super::transform::Affine;
use super::{Reader, tag};
use crate::diagnostic::{Diagnostic, counted};
use crate::geom::{Point, pt};
use roxmltree::Node;
use std::ops::Range;

/// Elements may reach this far out untold, mm: what chords and coordinates of two decimals make.
const UNTOLD_MM: f64 = 0.01;

/// Elements that reach out: how many, how far at most, mm, and the first one's page.
pub(super) struct Beyond {
    elements: usize,
    far_mm: f64,
    name: String,
    place: Range<usize>,
}

/// The edges of a nested page in the part: a parallelogram.
pub(super) struct Frame {
    corner: Point,
    u: Point,
    v: Point,
}

impl Frame {
    /// A page of some width and height with its corner in the origin, after `map`.
    pub(super) fn new(map: Affine, w: f64, h: f64) -> Self {
        Self { corner: map.point(pt(0.0, 0.0)), u: map.vector(pt(w, 0.0)), v: map.vector(pt(0.0, h)) }
    }

    /// How far a point lies outside, mm, at right angles to the edges; negative inside.
    fn outside(&self, p: Point) -> f64 {
        let d = p - self.corner;
        let whole = self.u.cross(self.v);
        let (a, b) = (d.cross(self.v) / whole, self.u.cross(d) / whole);
        let (wide, high) = (whole.abs() / self.v.norm(), whole.abs() / self.u.norm());
        ((-a).max(a - 1.0) * wide).max((-b).max(b - 1.0) * high)
    }
}

impl Reader<'_> {
    /// Notes which elements, from the `first` on, reach out of a nested page.
    pub(super) fn look_beyond(&mut self, frame: &Frame, first: usize, page: Node<'_, '_>) {
        let far = self.drawn[first..]
            .iter()
            .map(|d| d.area.rings().flatten().map(|p| frame.outside(*p)).fold(f64::NEG_INFINITY, f64::max));
        let far: Vec<f64> = far.filter(|f| *f > UNTOLD_MM).collect();
        if far.is_empty() {
            return;
        }
        let name = page.tag_name().name().to_owned();
        let told =
            self.beyond.get_or_insert_with(|| Beyond { elements: 0, far_mm: 0.0, name, place: tag(page) });
        told.elements += far.len();
        told.far_mm = far.into_iter().fold(told.far_mm, f64::max);
    }

    pub(super) fn tell_beyond(&mut self) {
        let Some(b) = &self.beyond else { return };
        let (reach, count) = if b.elements > 1 { ("reach up to", "count") } else { ("reaches", "counts") };
        let message = format!(
            "clipping is not read: {} of a nested `{}` {reach} {:.3} mm beyond its edges and {count} whole",
            counted(b.elements, "element"),
            b.name,
            b.far_mm
        );
        let d = Diagnostic::warning("element-not-read", message)
            .at(&self.source, b.place.clone(), "its edges")
            .help(
                "cut them in the drawing program, or write overflow=\"visible\" here if they are meant whole",
            );
        self.warnings.push(d);
    }
}

//! A region of a layer as its courses were laid: what they cover and how well they serve it.

use super::order::Order;
use super::quality::{self, RegionQuality};
use super::{Course, Directions, LayerCourses, TRAIL_MM, trail};
use crate::geom::nearest::Lines;
use crate::geom::{Area, Point, bend, offset, polyline};
use crate::job::Rule;
use std::sync::Arc;

/// A region of a layer as its courses were laid.
pub(super) struct Ground<'a> {
    pub(super) order: Order<'a>,
    /// Boundary of what the nozzle may pass over: the part in this layer, with its perimeters.
    pub(super) over: Arc<Lines>,
    pub(super) leads: trail::Leads,
    pub(super) layable: Area,
    pub(super) reachable: Area,
    pub(super) field: Option<&'a Directions>,
    /// How many of the layer's courses are its own: they follow those of the region before.
    pub(super) courses: usize,
    pub(super) given_up_mm: f64,
    /// Its figures by itself and what it covers; `None` until its loops are led.
    pub(super) measured: Option<(RegionQuality, Area)>,
}

impl Ground<'_> {
    pub(super) fn measure(&self, courses: &[Course], given_up_mm: f64) -> (RegionQuality, Area) {
        let width = self.order.width;
        let strips: Vec<Area> = courses.iter().map(|c| strip(c, width)).collect();
        let served = quality::Served {
            region: self.order.region,
            layable: &self.layable,
            strips: &strips,
            courses,
            width,
            spacing: self.order.spacing,
            reachable: &self.reachable,
            given_up_mm,
        };
        let along = |p: Point| self.field.map_or(self.order.angle, |f| f.at(p));
        let directed = matches!(self.order.rule, Rule::Unidirectional | Rule::Steered);
        let direction: Option<&dyn Fn(Point) -> f64> = if directed { Some(&along) } else { None };
        quality::measure(&served, direction)
    }
}

/// A layer's strips and figures, from those of its regions.
pub(super) fn finish(layer: &mut LayerCourses, measured: Vec<(RegionQuality, Area)>) {
    let (quality, covered): (Vec<RegionQuality>, Vec<Area>) = measured.into_iter().unzip();
    layer.quality = quality;
    layer.strips = quality::joined(&covered, &mut layer.quality);
}

/// The strip that a course covers.
pub(super) fn strip(course: &Course, width: f64) -> Area {
    let chord = bend::PROPOSAL_CHORD_MM;
    if let Some(trail) = course.trail.as_ref().filter(|t| t.off_anywhere_mm() > TRAIL_MM) {
        let line = polyline::simplified(&trail.laid, chord);
        return offset::strip(&line, width, false, chord);
    }
    let path = course.wanted();
    offset::strip(&path.flatten(chord), width, path.closed, chord)
}

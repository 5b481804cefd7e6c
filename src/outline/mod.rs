//! The part's cross-sections, layer by layer.

use crate::geom::Area;
use std::collections::BTreeMap;

/// The part as layers.
#[derive(Clone, Debug)]
pub struct Outline {
    /// From the bed up; numbers run from 1 without gaps.
    pub layers: Vec<Layer>,
    /// Closed elements of a drawing by their id, mm.
    pub shapes: BTreeMap<String, Area>,
}

/// One layer.
#[derive(Clone, Debug, PartialEq)]
pub struct Layer {
    /// From 1.
    pub number: usize,
    /// Bottom above the bed, mm.
    pub z_bottom_mm: f64,
    /// Height, mm.
    pub height_mm: f64,
    /// The cross-section; empty in a layer without outline.
    pub outline: Area,
}

impl Layer {
    /// Top above the bed, mm: where the nozzle is.
    pub fn z_top_mm(&self) -> f64 {
        self.z_bottom_mm + self.height_mm
    }

    /// Middle above the bed, mm.
    pub fn z_middle_mm(&self) -> f64 {
        self.z_bottom_mm + self.height_mm * 0.5
    }
}

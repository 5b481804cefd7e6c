//! Cross-sections of beads.

use std::f64::consts::PI;

/// A bead pressed between its neighbours: width x height, mm2.
pub fn rectangle_mm2(width_mm: f64, height_mm: f64) -> f64 {
    width_mm * height_mm
}

/// A bead with free sides: a rectangle between two half discs of the layer's
/// height, mm2. Narrower than high: an ellipse.
pub fn rounded_mm2(width_mm: f64, height_mm: f64) -> f64 {
    if width_mm < height_mm {
        return PI * 0.25 * width_mm * height_mm;
    }
    height_mm * (width_mm - height_mm) + PI * 0.25 * height_mm * height_mm
}

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

/// Width of a bead with free sides, from its cross-section: see [`rounded_mm2`].
pub(super) fn rounded_width_mm(area_mm2: f64, height_mm: f64) -> f64 {
    let disc = PI * 0.25 * height_mm * height_mm;
    if area_mm2 < disc {
        area_mm2 / (PI * 0.25 * height_mm)
    } else {
        height_mm + (area_mm2 - disc) / height_mm
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn widths_and_sections_are_inverse() {
        for width in [0.05, 0.199, 0.2, 0.201, 0.5, 2.0] {
            assert!((rounded_width_mm(rounded_mm2(width, 0.2), 0.2) - width).abs() < 1e-12, "{width}");
        }
    }
}

//! Lengths, pages and view boxes.

use super::transform::Affine;
use svgtypes::{Align, AspectRatio, Length, LengthUnit, ViewBox};

/// Millimetres per px: 96 px are one inch (W3C CSS Values and Units 3, 6.2).
pub(super) const PX_MM: f64 = 25.4 / 96.0;

/// A length in mm; `None` for units that depend on a font or on a parent.
pub(super) fn absolute_mm(l: Length) -> Option<f64> {
    Some(match l.unit {
        LengthUnit::Mm => l.number,
        LengthUnit::Cm => l.number * 10.0,
        LengthUnit::In => l.number * 25.4,
        LengthUnit::Pt => l.number * 25.4 / 72.0,
        LengthUnit::Pc => l.number * 25.4 / 6.0,
        LengthUnit::Px | LengthUnit::None => l.number * PX_MM,
        LengthUnit::Percent | LengthUnit::Em | LengthUnit::Ex => return None,
    })
}

/// A length in user units, of which one is a px before any view box;
/// percentages are of `whole`. `None` for units that depend on a font.
pub(super) fn user(l: Length, whole: f64) -> Option<f64> {
    match l.unit {
        LengthUnit::None | LengthUnit::Px => Some(l.number),
        LengthUnit::Percent => Some(l.number * whole / 100.0),
        _ => absolute_mm(l).map(|mm| mm / PX_MM),
    }
}

/// The map from a view box to a viewport of width `w` and height `h` with its
/// corner in the origin (W3C SVG 1.1 2nd ed. 2011, 7.8).
pub(super) fn fit(view: ViewBox, w: f64, h: f64, aspect: AspectRatio) -> Affine {
    let (mut sx, mut sy) = (w / view.w, h / view.h);
    if aspect.align != Align::None {
        let s = if aspect.slice { sx.max(sy) } else { sx.min(sy) };
        (sx, sy) = (s, s);
    }
    // share of the room left over that goes before the drawing
    let (kx, ky) = match aspect.align {
        Align::None | Align::XMinYMin => (0.0, 0.0),
        Align::XMidYMin => (0.5, 0.0),
        Align::XMaxYMin => (1.0, 0.0),
        Align::XMinYMid => (0.0, 0.5),
        Align::XMidYMid => (0.5, 0.5),
        Align::XMaxYMid => (1.0, 0.5),
        Align::XMinYMax => (0.0, 1.0),
        Align::XMidYMax => (0.5, 1.0),
        Align::XMaxYMax => (1.0, 1.0),
    };
    let (x, y) = (kx * (w - view.w * sx), ky * (h - view.h * sy));
    Affine::new(sx, 0.0, 0.0, sy, x - view.x * sx, y - view.y * sy)
}

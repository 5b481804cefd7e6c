//! Fill that leaves a share of its ground open.

use super::{
    Bead, BeadKind, CHORD_MM, Filling, HAIRLINE_MM, SPECK_MM2, rectangle_mm2, ring, rounded_mm2,
    rounded_width_mm, run,
};
use crate::geom::{Area, Point, combine, hatch, offset};
use crate::job::Fill;

/// From this share on beads lie as in full ground and carry less: parted ones, which leave the
/// ground's edge bare, could not take so much.
pub const FULL_GROUND: f64 = 0.75;

/// Places narrower than this many pitches get beads along their middle instead of rows, or of
/// rings, which have two sides.
const ROOMY: (f64, f64) = (1.5, 3.0);

/// How often the pitch is set anew: rows end before the edge, and a whole number of them fits.
const TRIES: usize = 6;

/// So near to the share asked for no better pitch is looked for.
const NEAR: f64 = 0.004;

/// Beads in narrow places shorter than this many widths are left out: they hold nothing.
const CRUMB: f64 = 4.0;

/// Beads that take `fraction` of the ground's volume, above 0 and below 1.
///
/// Where most of it is asked for beads lie as in full ground and carry less; else they are
/// parted, in narrow places by leaving some of them out.
pub(super) fn fill(ground: &Area, how: Filling, fraction: f64) -> Vec<Bead> {
    let (width, height) = (how.width, how.height_mm);
    if fraction >= FULL_GROUND {
        let mut beads = Vec::new();
        how.solid(ground, &mut beads);
        for b in &mut beads {
            b.area_mm2 *= fraction;
            b.width_mm = b.width_mm.min(rounded_width_mm(b.area_mm2, height));
        }
        return beads;
    }
    let rounded = rounded_mm2(width, height) / rectangle_mm2(width, height);
    let wanted = |area: &Area| fraction * area.area() * height;
    let mut pitch = width * rounded / fraction;
    let pitches = if how.fill == Fill::Contour { ROOMY.1 } else { ROOMY.0 };
    let roomy = ring::roomy(ground, 0.5 * pitches * pitch);
    let narrow = combine::without_specks(&combine::difference(ground, &roomy), SPECK_MM2, HAIRLINE_MM);
    let mut beads = in_narrow_places(&narrow, how, wanted(&narrow));
    let rest = wanted(ground) - volume(&beads);
    let mut best: Option<(f64, Vec<Bead>)> = None;
    for _ in 0..TRIES {
        let parted = parted(&roomy, how, pitch);
        let laid = volume(&parted);
        let off = (laid - rest).abs();
        if best.as_ref().is_none_or(|b| off < b.0) {
            best = Some((off, parted));
        }
        if off <= NEAR * rest || laid <= 0.0 || rest <= 0.0 {
            break;
        }
        pitch = (pitch * laid / rest).max(width);
    }
    beads.extend(best.into_iter().flat_map(|b| b.1));
    beads
}

fn volume(beads: &[Bead]) -> f64 {
    beads.iter().map(|b| b.area_mm2 * b.length_mm()).sum()
}

/// Beads along the middle of narrow places, as many of them as the volume asks for, spread
/// over all.
fn in_narrow_places(narrow: &Area, how: Filling, wanted: f64) -> Vec<Bead> {
    let mut all = Vec::new();
    Filling { fill: Fill::Contour, ..how }.solid(narrow, &mut all);
    all.retain(|b| b.length_mm() >= CRUMB * how.width);
    for b in &mut all {
        b.area_mm2 = rounded_mm2(b.width_mm, how.height_mm).min(b.area_mm2);
    }
    let share = wanted / volume(&all).max(1e-9);
    let (mut passed, mut laid) = (0.0, 0.0);
    all.retain(|b| {
        let own = b.area_mm2 * b.length_mm();
        passed += own;
        // laid where that comes nearer to the share of what was passed
        let lays = laid + 0.5 * own <= share * passed;
        laid += if lays { own } else { 0.0 };
        lays
    });
    all
}

/// Rows or rings a pitch apart, with rounded sides.
fn parted(roomy: &Area, how: Filling, pitch: f64) -> Vec<Bead> {
    let Filling { fill, width, angle, height_mm } = how;
    let area_mm2 = rounded_mm2(width, height_mm);
    let bead = |points: Vec<Point>, closed: bool| Bead {
        kind: BeadKind::Fill,
        width_mm: width,
        area_mm2,
        closed,
        points,
    };
    if fill == Fill::Contour {
        let rings = ring::inwards(roomy, width, pitch, usize::MAX, ring::TOUCHING);
        return rings.lines.into_iter().map(|points| bead(points, true)).collect();
    }
    let mut beads = Vec::new();
    for row in hatch::rows(&offset::shrunk(roomy, width * 0.5, CHORD_MM), angle, pitch, pitch * 0.5) {
        for (from, to) in row.spans {
            if to - from > run::SHORTEST_MM {
                let at = |x| hatch::to_plane(x, row.offset, angle);
                beads.push(bead(vec![at(from), at(to)], false));
            }
        }
    }
    beads
}

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

/// So far from the share asked for, in itself, rows are laid in part.
const FAR: f64 = 0.02;

/// Beads in narrow places shorter than this many widths are left out: they hold nothing.
const CRUMB: f64 = 4.0;

/// From this share of all on a bead is laid in part, if that is at least so many widths.
const FEW: f64 = 0.05;
const LEAST_PIECE: f64 = 4.0;

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
    let mut over: Option<(f64, Vec<Bead>)> = None;
    for _ in 0..TRIES {
        let apart = parted(&roomy, how, pitch);
        let laid = volume(&apart);
        let off = (laid - rest).abs();
        if laid >= rest && over.as_ref().is_none_or(|b| off < b.0) {
            over = Some((off, apart.clone()));
        }
        if best.as_ref().is_none_or(|b| off < b.0) {
            best = Some((off, apart));
        }
        if off <= NEAR * rest || laid <= 0.0 || rest <= 0.0 {
            break;
        }
        pitch = (pitch * laid / rest).max(width);
    }
    // a few rows are too many or too few: one of too many is laid in part
    let few = best.as_ref().is_some_and(|b| b.0 > FAR * rest);
    match over.filter(|_| few) {
        Some((_, all)) => beads.extend(thinned(all, rest, width)),
        None => beads.extend(best.into_iter().flat_map(|b| b.1)),
    }
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
    thinned(all, wanted, how.width)
}

/// So many of some beads as the volume asks for, spread over all.
fn thinned(all: Vec<Bead>, wanted: f64, width: f64) -> Vec<Bead> {
    let whole = volume(&all);
    let share = wanted / whole.max(1e-9);
    let (mut passed, mut laid) = (0.0, 0.0);
    let mut beads = Vec::new();
    for b in all {
        let own = b.area_mm2 * b.length_mm();
        passed += own;
        let missing = (share * passed - laid).clamp(0.0, own);
        // one of few is laid in part; of many each is laid or not, as comes nearer to the share
        let lays = match () {
            () if own <= FEW * whole => {
                if missing >= 0.5 * own {
                    own
                } else {
                    0.0
                }
            }
            () if missing < LEAST_PIECE * width * b.area_mm2 => 0.0,
            () => missing,
        };
        laid += lays;
        if lays >= own {
            beads.push(b);
        } else if lays > 0.0 {
            beads.push(piece(b, lays / own));
        }
    }
    beads
}

/// A bead's first part, so much of its length; of a closed one what is left open is a gap.
fn piece(bead: Bead, share: f64) -> Bead {
    let mut line = bead.points.clone();
    if bead.closed {
        line.extend(bead.points.first());
    }
    let mut left = share * bead.length_mm();
    let mut points: Vec<Point> = line.first().copied().into_iter().collect();
    for (a, b) in line.iter().zip(line.iter().skip(1)) {
        let step = a.dist(*b);
        if step >= left {
            points.push(a.lerp(*b, if step > 0.0 { left / step } else { 1.0 }));
            break;
        }
        points.push(*b);
        left -= step;
    }
    Bead { closed: false, points, ..bead }
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

//! Where tow comes to lie that trails its nozzle: a point that is drawn along.

use super::course::Piece;
use super::geometry::{Curve, distance, steps, to_stretch};

/// Steps of the nozzle, mm: the point drawn is moved straight to it in each.
const STEP_MM: f64 = 0.02;

/// What lies is looked at so far apart, mm.
const LOOK_MM: f64 = 0.1;

/// Pieces of what lies are this long at most, in looks, and pass what they stand for as
/// near as this, mm: a tenth of what is told apart anywhere.
const LOOKS: usize = 20;
const FLAT_MM: f64 = 1e-3;

/// What a course lays whose tow trails by so much, mm: from its start, where the tow
/// stays until it is drawn tight, to its end, where the last of it comes to lie
/// straight.
pub(super) fn laid(pieces: &[Piece], trail_mm: f64) -> Vec<Piece> {
    let Some(first) = pieces.first() else { return Vec::new() };
    let mut tail = first.curve.from;
    // where the present piece begins, and what it passed since
    let mut from = tail;
    let mut passed: Vec<[f64; 2]> = Vec::with_capacity(LOOKS);
    let mut out = Vec::new();
    for piece in pieces {
        let n = steps(piece.curve.length(), STEP_MM);
        for k in 1..=n {
            let nozzle = piece.curve.at(f64::from(k) / f64::from(n));
            let away = distance(nozzle, tail);
            if away > trail_mm {
                let share = trail_mm / away;
                tail = [nozzle[0] + (tail[0] - nozzle[0]) * share, nozzle[1] + (tail[1] - nozzle[1]) * share];
            }
            let last = passed.last().copied().unwrap_or(from);
            if distance(last, tail) < LOOK_MM {
                continue;
            }
            let flat = passed.iter().all(|p| to_stretch(*p, from, tail).0 <= FLAT_MM);
            if passed.len() == LOOKS || !flat {
                out.push(Piece { curve: Curve::line(from, last), line: piece.line });
                from = last;
                passed.clear();
            }
            passed.push(tail);
        }
    }
    let Some(last) = pieces.last() else { return out };
    let seen = passed.last().copied().unwrap_or(from);
    for to in [seen, tail, last.curve.to] {
        if distance(from, to) > 1e-6 {
            out.push(Piece { curve: Curve::line(from, to), line: last.line });
            from = to;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn along(curves: Vec<Curve>) -> Vec<Piece> {
        curves.into_iter().map(|curve| Piece { curve, line: 1 }).collect()
    }

    /// The closed forms of a point drawn along a circle and behind a corner.
    #[test]
    fn it_follows_as_the_closed_forms_say() {
        // on a circle of 10 mm a point 3 mm behind comes to one of sqrt(100 - 9)
        let half = |from: [f64; 2], to| Curve { from, to, arc: Some(([0.0, 0.0], true)) };
        let mut round = Vec::new();
        for _ in 0..3 {
            round.extend([half([10.0, 0.0], [-10.0, 0.0]), half([-10.0, 0.0], [10.0, 0.0])]);
        }
        let laid = laid(&along(round), 3.0);
        // the last 3 mm lie straight
        let settled = &laid[laid.len() - 40].curve;
        let r = distance(settled.to, [0.0, 0.0]);
        assert!((r - 91.0_f64.sqrt()).abs() < 0.01, "{r}");
        // chords of it leave it by no more than is passed over
        let middle = distance(settled.at(0.5), [0.0, 0.0]);
        assert!(r - middle < 2.0 * FLAT_MM && settled.length() > 1.5 * LOOK_MM, "{middle} on {r}");
        // behind a right corner: d / cosh(s / d) from the new straight
        let corner = [Curve::line([0.0, 0.0], [20.0, 0.0]), Curve::line([20.0, 0.0], [20.0, 4.0])];
        let laid = super::laid(&along(corner.to_vec()), 2.0);
        let tail = laid[laid.len() - 1].curve.from;
        let off = 2.0 / (4.0_f64 / 2.0).cosh();
        assert!((20.0 - tail[0] - off).abs() < 0.01, "{tail:?} against {off}");
        let end = laid[laid.len() - 1].curve.to;
        assert!(distance(end, [20.0, 4.0]) < 1e-9, "its end comes to lie where the nozzle ends: {end:?}");
    }
}

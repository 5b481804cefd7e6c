//! How far out coordinates are read, and what is said of those beyond.

use crate::geom::{Point, grid};

/// Whether a place lies where parts do: its coordinates, mm, are numbers and not too large.
pub(super) fn within<const N: usize>(at: [f64; N]) -> bool {
    at.iter().all(|v| v.abs() <= grid::LIMIT_MM)
}

/// The first point of a ring that lies too far out.
pub(super) fn beyond(points: &[Point]) -> Option<Point> {
    points.iter().copied().find(|p| !within([p.x, p.y]))
}

/// A place in words, with how far out places are read.
pub(super) fn told<const N: usize>(at: [f64; N]) -> String {
    let place: Vec<String> =
        ["x", "y", "z"].iter().zip(at).map(|(axis, v)| format!("{axis} {} mm", short(v))).collect();
    format!("{}; {}", place.join(", "), most())
}

/// Five digits of a number: more tell nothing of what is wrong.
pub(super) fn short(v: f64) -> String {
    format!("{:e}", format!("{v:.4e}").parse().unwrap_or(v))
}

/// How far out coordinates are read, in words.
pub(super) fn most() -> String {
    format!("at most {:e} mm are read", grid::LIMIT_MM)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::pt;

    #[test]
    fn places_beyond_are_told_alike() {
        assert!(within([1e5, -1e5, 0.0]));
        for v in [1.0001e5, f64::INFINITY, f64::NAN] {
            assert!(!within([0.0, v]));
        }
        assert!(beyond(&[pt(0.0, 0.0), pt(5.0, -2e5)]).is_some_and(|p| p == pt(5.0, -2e5)));
        assert_eq!(told([2e5, -3.0]), "x 2e5 mm, y -3e0 mm; at most 1e5 mm are read");
        assert!(told([0.0, f64::NAN, 1234567.8]).contains("y NaN mm, z 1.2346e6 mm;"));
    }
}

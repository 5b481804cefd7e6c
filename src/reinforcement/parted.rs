//! Ground parted among areas, each place to the nearest.

use crate::count::f64_of;
use crate::geom::nearest::Lines;
use crate::geom::{Area, Bounds, Point, combine, pt};

/// Squares along the longer side of the ground, at most: the line between two areas is told by
/// distances at their corners, straight in between, and bends as the areas do or less.
const MOST: f64 = 400.0;

/// What of common ground is nearest to each of some areas and within its bounds. Of equals the
/// first has it. The line between two of them is off by about `side` squared over eight times
/// the least radius that either has there, mm.
pub(super) fn parted(own: &[Area], bounds: &[&Area], common: &Area, side: f64) -> Vec<Area> {
    let Some(around) = common.bounds() else { return vec![Area::empty(); own.len()] };
    let squares = Squares::over(around, side);
    let distances: Vec<Vec<f64>> = own.iter().map(|area| squares.distances(area)).collect();
    let cell = |k: usize| {
        let mine = combine::intersection(common, bounds[k]);
        let nearer = (0..own.len()).filter(|&j| j != k).map(|j| {
            let theirs = squares.nearer(&distances[j], &distances[k], j < k);
            combine::intersection(&theirs, bounds[j])
        });
        combine::difference_all(&mine, &nearer.collect::<Vec<_>>())
    };
    (0..own.len()).map(cell).collect()
}

/// A grid over some ground.
struct Squares {
    lo: Point,
    side: f64,
    columns: usize,
    rows: usize,
}

impl Squares {
    fn over(around: Bounds, side: f64) -> Self {
        let size = around.size();
        let side = side.max(size.x.max(size.y) / MOST);
        // a square more all round: what is parted ends within
        let lo = around.lo - pt(side, side);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "at most MOST and three")]
        let count = |length: f64| (length / side).ceil() as usize + 3;
        Self { lo, side, columns: count(size.x), rows: count(size.y) }
    }

    fn corner(&self, column: usize, row: usize) -> Point {
        self.lo + pt(f64_of(column), f64_of(row)) * self.side
    }

    /// From each corner, row by row, to an area, mm; 0 within.
    fn distances(&self, area: &Area) -> Vec<f64> {
        let boundary = Lines::boundary(area);
        let mut out = Vec::with_capacity(self.columns * self.rows);
        for row in 0..self.rows {
            let mut before = f64::INFINITY;
            for column in 0..self.columns {
                let p = self.corner(column, row);
                // no further than a step more than from the corner before it
                let off = boundary.distance_within(p, before + 1.001 * self.side);
                out.push(if boundary.enclose(p) { 0.0 } else { off });
                before = off;
            }
        }
        out
    }

    /// Where the first distance is less than the second, or as much if `equal`.
    fn nearer(&self, first: &[f64], second: &[f64], equal: bool) -> Area {
        let at = |column: usize, row: usize| {
            let k = row * self.columns + column;
            (self.corner(column, row), first[k] - second[k])
        };
        let inside = |less: f64| less < 0.0 || (equal && less <= 0.0);
        let mut rings: Vec<Vec<Point>> = Vec::new();
        for row in 0..self.rows - 1 {
            // squares that lie in it as a whole are one rectangle
            let mut whole: Option<usize> = None;
            for column in 0..self.columns {
                let square = (column + 1 < self.columns).then(|| {
                    [(0, 0), (1, 0), (1, 1), (0, 1)].map(|(across, up)| at(column + across, row + up))
                });
                let full = square.is_some_and(|s| s.iter().all(|(_, less)| inside(*less)));
                if full {
                    whole.get_or_insert(column);
                    continue;
                }
                if let Some(from) = whole.take() {
                    let corners = [(from, row), (column, row), (column, row + 1), (from, row + 1)];
                    rings.push(corners.map(|(column, row)| self.corner(column, row)).into());
                }
                if let Some([a, b, c, d]) = square {
                    let halves = [[a, b, c], [a, c, d]].map(|half| clipped(half, inside));
                    rings.extend(halves.into_iter().filter(|ring| ring.len() > 2));
                }
            }
        }
        combine::enclosed(rings.iter().map(Vec::as_slice), combine::FillRule::NonZero)
    }
}

/// The part of a triangle that lies inside, by a value at each of its corners that runs
/// straight between them.
fn clipped(corners: [(Point, f64); 3], inside: impl Fn(f64) -> bool) -> Vec<Point> {
    let mut out = Vec::new();
    for k in 0..3 {
        let (p, u) = corners[k];
        let (q, v) = corners[(k + 1) % 3];
        if inside(u) {
            out.push(p);
        }
        if inside(u) != inside(v) {
            // the same place from either side
            let ((p, u), (q, v)) = if (p.x, p.y) < (q.x, q.y) { ((p, u), (q, v)) } else { ((q, v), (p, u)) };
            out.push(p.lerp(q, u / (u - v)));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::smooth;

    fn plate(x0: f64, y0: f64, x1: f64, y1: f64) -> Area {
        combine::ring_area(&[pt(x0, y0), pt(x1, y0), pt(x1, y1), pt(x0, y1)])
    }

    /// Largest difference between what one has and what is nearest to it, mm2 a mm of the line
    /// between them: looked at place by place.
    fn wrong(own: &[Area], won: &[Area], common: &Area, step: f64) -> f64 {
        let lines: Vec<Lines> = own.iter().map(Lines::boundary).collect();
        let b = common.bounds().expect("some ground");
        let mut worst = 0.0_f64;
        let mut y = b.lo.y + 0.5 * step;
        while y < b.hi.y {
            let mut x = b.lo.x + 0.5 * step;
            while x < b.hi.x {
                let p = pt(x, y);
                let mut off: Vec<f64> = lines.iter().map(|l| l.distance(p)).collect();
                let holder = won.iter().position(|a| a.contains(p));
                if common.contains(p) {
                    let holder = holder.expect("all of it is somebody's");
                    let his = off[holder];
                    off.sort_by(f64::total_cmp);
                    worst = worst.max(his - off[0]);
                } else {
                    assert!(holder.is_none(), "nothing beside it");
                }
                x += step;
            }
            y += step;
        }
        worst
    }

    #[test]
    fn each_place_goes_to_the_nearest() {
        // a large disc and a small one: a hyperbola between them; and a third, to one side
        let common = plate(0.0, 0.0, 60.0, 40.0);
        let discs = [(12.0, 12.0, 8.0), (45.0, 20.0, 3.0), (20.0, 34.0, 4.0)]
            .map(|(x, y, r)| smooth::disc(pt(x, y), r, 1e-3));
        for own in [&discs[..2], &discs[..]] {
            let ground = combine::difference_all(&common, own);
            let bounds: Vec<&Area> = own.iter().map(|_| &ground).collect();
            let won = parted(own, &bounds, &ground, 0.6);
            let sum: f64 = won.iter().map(Area::area).sum();
            assert!((sum - ground.area()).abs() < 1e-3, "{sum} mm2 of {}", ground.area());
            // distances differ by twice as much as the line is off
            let off = wrong(own, &won, &ground, 0.37);
            assert!(off < 0.05, "{} areas: {off} mm", own.len());
        }
    }

    #[test]
    fn bounds_are_kept_and_equals_go_to_the_first() {
        let common = plate(0.0, 0.0, 40.0, 10.0);
        let own = [plate(-4.0, 0.0, -1.0, 10.0), plate(41.0, 0.0, 44.0, 10.0)];
        let half = plate(30.0, 0.0, 40.0, 10.0);
        let won = parted(&own, &[&common, &half], &common, 0.5);
        assert!((won[0].area() - 300.0).abs() < 1e-3 && (won[1].area() - 100.0).abs() < 1e-3, "{won:?}");
        let twice = [own[0].clone(), own[0].clone()];
        let won = parted(&twice, &[&common, &common], &common, 0.5);
        assert!((won[0].area() - 400.0).abs() < 1e-3 && won[1].is_empty(), "{won:?}");
        let third = parted(&own, &[&common, &common], &common, 0.5);
        let middle = third[0].bounds().expect("a half").hi.x;
        assert!((middle - 20.0).abs() < 1e-4, "half way: {middle}");
    }
}

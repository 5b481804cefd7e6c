//! A direction field that tow can follow: on a grid, turned where it asks for a
//! tighter bend than the tow's.
//!
//! Along its own direction t a field of the angle theta bends by kappa = dtheta/dt.
//! Where |kappa| > 1 / R the direction is averaged with its neighbours', and again
//! until it asks for no more: a turn spreads over the length that it needs, and
//! directions elsewhere stay as they were. Angles are doubled throughout (a
//! direction has no sense), so half-turn singular points stay what they are: no
//! averaging bends those away, there the line itself is limited. Neither is it
//! decided which way to turn where the field jumps by exactly a right angle.

use super::directions::Directions;
use crate::count::f64_of;
use crate::geom::{Bounds, Point, trig};

/// Grid cells per bend radius: a quarter turn spreads over six of them.
const CELLS_PER_RADIUS: f64 = 4.0;

/// Most cells along a side: bounds time and memory.
const MOST: f64 = 320.0;

/// Rounds of averaging at most. What is still too tight then is a singular point:
/// a sharp turn between two halves of a field takes some forty.
const ROUNDS: usize = 400;

/// A field on a grid.
#[derive(Debug)]
pub(super) struct Relaxed {
    lo: Point,
    cell: f64,
    columns: usize,
    rows: usize,
    /// Cosine and sine of twice the angle, row by row.
    doubled: Vec<Point>,
}

impl Relaxed {
    /// The field within these bounds, for this least radius, mm.
    pub(super) fn new(field: &Directions, bounds: Bounds, radius: f64) -> Self {
        let size = bounds.size();
        let cell = (radius / CELLS_PER_RADIUS).max(size.x.max(size.y) / MOST);
        let lo = bounds.lo - Point::new(cell, cell);
        let (columns, rows) = (count(size.x / cell), count(size.y / cell));
        let mut out = Self { lo, cell, columns, rows, doubled: Vec::with_capacity(columns * rows) };
        for j in 0..rows {
            for i in 0..columns {
                let (sin, cos) = trig::sin_cos(2.0 * field.at(out.node(i, j)));
                out.doubled.push(Point::new(cos, sin));
            }
        }
        out.relax(1.0 / radius);
        out
    }

    fn node(&self, i: usize, j: usize) -> Point {
        self.lo + Point::new(f64_of(i), f64_of(j)) * self.cell
    }

    /// Averages until no direction bends more than `most` 1/mm, or [`ROUNDS`].
    fn relax(&mut self, most: f64) {
        let (n, m) = (self.columns, self.rows);
        // nodes that may bend otherwise than when they were last looked at
        let mut look = vec![true; n * m];
        for _ in 0..ROUNDS {
            let mut marked = vec![false; n * m];
            let mut any = false;
            for j in 1..m - 1 {
                for i in 1..n - 1 {
                    if look[j * n + i] && self.bend(i, j).abs() > most {
                        any = true;
                        for k in j - 1..=j + 1 {
                            marked[k * n + i - 1..=k * n + i + 1].fill(true);
                        }
                    }
                }
            }
            if !any {
                return;
            }
            let before = self.doubled.clone();
            look.fill(false);
            for j in 0..m {
                for i in (0..n).filter(|i| marked[j * n + i]) {
                    look[j * n + i.saturating_sub(1)..=j * n + (i + 1).min(n - 1)].fill(true);
                    look[j.saturating_sub(1) * n + i] = true;
                    look[(j + 1).min(m - 1) * n + i] = true;
                    let at = |i: usize, j: usize| before[j.min(m - 1) * n + i.min(n - 1)];
                    let around =
                        at(i + 1, j) + at(i.saturating_sub(1), j) + at(i, j + 1) + at(i, j.saturating_sub(1));
                    if let Some(v) = (at(i, j) + around * 0.5).normalised() {
                        self.doubled[j * n + i] = v;
                    }
                }
            }
        }
    }

    /// How much the field bends along itself at a node within the grid, 1/mm.
    fn bend(&self, i: usize, j: usize) -> f64 {
        let n = self.columns;
        let v = self.doubled[j * n + i];
        let t = Point::unit(0.5 * trig::atan2(v.y, v.x));
        let x = apart(self.doubled[j * n + i - 1], self.doubled[j * n + i + 1]);
        let y = apart(self.doubled[(j - 1) * n + i], self.doubled[(j + 1) * n + i]);
        0.25 * (x * t.x + y * t.y) / self.cell
    }

    /// The direction at a point, radians.
    pub(super) fn at(&self, p: Point) -> f64 {
        let q = (p - self.lo) * (1.0 / self.cell);
        let (i, u) = place(q.x, self.columns);
        let (j, v) = place(q.y, self.rows);
        let at = |i: usize, j: usize| self.doubled[j * self.columns + i];
        let sum = at(i, j).lerp(at(i + 1, j), u).lerp(at(i, j + 1).lerp(at(i + 1, j + 1), u), v);
        0.5 * trig::atan2(sum.y, sum.x)
    }
}

/// The angle from one unit vector to another, radians.
fn apart(a: Point, b: Point) -> f64 {
    let (sin, cos) = (a.cross(b), a.dot(b));
    // below a degree or so the sine will do
    if cos > 0.9998 { sin } else { trig::atan2(sin, cos) }
}

/// Nodes along a side of so many cells, one cell beyond either end.
fn count(cells: f64) -> usize {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "at most MOST cells")]
    let n = cells.ceil().max(1.0) as usize;
    n + 3
}

/// The node before a place and the share of the cell beyond it.
fn place(at: f64, nodes: usize) -> (usize, f64) {
    let at = at.clamp(0.0, f64_of(nodes - 1) - 1e-9);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within the grid")]
    let i = (at.floor() as usize).min(nodes - 2);
    (i, at - f64_of(i))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::pt;
    use crate::job::{Field, Sample};

    fn grid(angle: &dyn Fn(f64, f64) -> f64) -> Directions {
        let mut samples = Vec::new();
        for i in 0..=40 {
            for k in 0..=30 {
                let (x, y) = (2.0 * f64::from(i), 2.0 * f64::from(k));
                samples.push(Sample { at_mm: [x, y], angle_deg: angle(x, y), weight: 1.0 });
            }
        }
        Directions::new(&Field { samples })
    }

    /// The same with a look at every node in every round.
    fn relaxed_all_over(field: &mut Relaxed, most: f64) {
        let (n, m) = (field.columns, field.rows);
        for _ in 0..ROUNDS {
            let mut marked = vec![false; n * m];
            let mut any = false;
            for j in 1..m - 1 {
                for i in 1..n - 1 {
                    if field.bend(i, j).abs() > most {
                        any = true;
                        for k in j - 1..=j + 1 {
                            marked[k * n + i - 1..=k * n + i + 1].fill(true);
                        }
                    }
                }
            }
            if !any {
                return;
            }
            let before = field.doubled.clone();
            for j in 0..m {
                for i in (0..n).filter(|i| marked[j * n + i]) {
                    let at = |i: usize, j: usize| before[j.min(m - 1) * n + i.min(n - 1)];
                    let around =
                        at(i + 1, j) + at(i.saturating_sub(1), j) + at(i, j + 1) + at(i, j.saturating_sub(1));
                    if let Some(v) = (at(i, j) + around * 0.5).normalised() {
                        field.doubled[j * n + i] = v;
                    }
                }
            }
        }
    }

    #[test]
    fn only_nodes_beside_changed_ones_need_another_look() {
        // a half-turn point and a vortex: round neither is the bound ever kept
        for turns in [0.5, 1.0] {
            let places =
                (0..=6).flat_map(|i| (0..=5).map(move |k| (20.0 * f64::from(i), 20.0 * f64::from(k))));
            let samples = places.map(|(x, y)| {
                let angle_deg = turns * trig::atan2(y - 50.3, x - 60.7).to_degrees() + 90.0;
                Sample { at_mm: [x, y], angle_deg, weight: 1.0 }
            });
            let field = Directions::new(&Field { samples: samples.collect() });
            let mut found = Relaxed::new(&field, Bounds { lo: pt(0.0, 0.0), hi: pt(116.0, 96.0) }, 4.24);
            for j in 0..found.rows {
                for i in 0..found.columns {
                    let (sin, cos) = trig::sin_cos(2.0 * field.at(found.node(i, j)));
                    found.doubled[j * found.columns + i] = Point::new(cos, sin);
                }
            }
            let asked = found.doubled.clone();
            relaxed_all_over(&mut found, 1.0 / 4.24);
            let all_over = std::mem::replace(&mut found.doubled, asked.clone());
            found.relax(1.0 / 4.24);
            assert!(all_over != asked && all_over == found.doubled, "{turns} turns: bit by bit");
        }
    }

    const BOUNDS: Bounds = Bounds { lo: pt(0.0, 0.0), hi: pt(80.0, 60.0) };

    fn tightest(r: &Relaxed) -> f64 {
        let within = |n: usize| 1..n - 1;
        within(r.rows)
            .flat_map(|j| within(r.columns).map(move |i| (i, j)))
            .map(|(i, j)| r.bend(i, j).abs())
            .fold(0.0, f64::max)
    }

    #[test]
    fn a_sharp_turn_spreads_over_the_bend_that_it_needs() {
        let field = grid(&|x, y| if x + y < 70.0 { 0.0 } else { 80.0 });
        let radius = 8.0;
        let relaxed = Relaxed::new(&field, BOUNDS, radius);
        assert!(tightest(&relaxed) <= 1.0 / radius, "bends at {} mm", 1.0 / tightest(&relaxed));
        let off = |p: Point, angle: f64| {
            let d = (relaxed.at(p) - angle).rem_euclid(std::f64::consts::PI);
            d.min(std::f64::consts::PI - d).to_degrees()
        };
        assert!(off(pt(5.0, 5.0), 0.0) < 0.5, "as asked away from the turn");
        assert!(off(pt(75.0, 55.0), 80.0_f64.to_radians()) < 0.5, "as asked away from the turn");
        let given_up = off(pt(37.0, 30.0), 0.0);
        assert!((10.0..60.0).contains(&given_up), "given up beside the turn: {given_up} degrees");
    }

    #[test]
    fn what_the_tow_can_follow_stays_as_it_is() {
        // circles of 30 mm and more about a point outside: kappa = 1 / r
        let field = grid(&|x, y| trig::atan2(y + 30.0, x - 40.0).to_degrees() + 90.0);
        let relaxed = Relaxed::new(&field, BOUNDS, 8.0);
        for (x, y) in [(10.0, 10.0), (41.0, 5.0), (70.0, 50.0)] {
            let p = pt(x, y);
            assert!(trig::wrapped(2.0 * (relaxed.at(p) - field.at(p))).abs() < 0.01, "at {x}, {y}");
        }
    }

    #[test]
    fn the_middle_of_a_vortex_is_the_only_place_that_stays_tight() {
        let field = grid(&|x, y| trig::atan2(y - 30.0, x - 40.0).to_degrees() + 90.0);
        let relaxed = Relaxed::new(&field, BOUNDS, 8.0);
        for j in 1..relaxed.rows - 1 {
            for i in 1..relaxed.columns - 1 {
                let far = relaxed.node(i, j).dist(pt(40.0, 30.0));
                assert!(
                    far < 12.0 || relaxed.bend(i, j).abs() <= 1.0 / 8.0 + 1e-9,
                    "{far} mm off the middle it bends at {} mm",
                    1.0 / relaxed.bend(i, j).abs()
                );
            }
        }
    }
}

//! The offsets of nodes along a line whose largest is least, bends within their bounds.
//!
//! A primal-dual interior point method (Mehrotra, SIAM J. Optim. 2 (1992) 575-601, from
//! memory; quadratic form, squares of curvatures and what the formula to first order
//! misses taken anew at each step). Its matrices are banded, because a bound concerns
//! four neighbours, but for two columns: the largest offset's, and that of a loop's
//! start, which its end is to meet.

use super::{leading, sets_out};
use crate::count::f64_of;

/// Weight of the offsets' squares beside the largest offset, 1/mm: places that can be
/// led nearer than the worst one are. Small enough that a hundred nodes at 0.1 mm weigh as
/// much as 0.01 mm of the largest.
const SMALLNESS: f64 = 0.02;

/// Newton's steps: a limit against going on for ever, most windows take 12 to 20.
const STEPS: usize = 60;

/// Bends in shares of the most and offsets in mm that are missed by less than this are
/// met: a tenth of the least share by which bends are wider.
const MISSED: f64 = 1e-4;

/// The largest offset is known as nearly as this, mm: the sum of slacks by multipliers.
const GAP_MM: f64 = 5e-4;

/// Share of that sum that is kept.
const KEPT: f64 = 0.5;

/// Share of the way to the nearest bound that a step goes; all the way would leave no
/// slack to go on with. Common practice: 0.9 to 0.99.
const ALMOST: f64 = 0.95;

/// The largest offset begun with, mm: of the order of what is found.
const LARGEST_MM: f64 = 0.1;

/// Slopes, and shares of curvatures, as large as this are beyond what is corrected for.
const SLANT: f64 = 0.3;

/// Nodes between two places where the line is the wanted one, or round a loop's end and
/// its start.
pub(super) struct Window {
    pub(super) bend: Vec<f64>,
    /// What is to be small.
    pub(super) bounds: Vec<Bound>,
    /// Nodes that may leave the line.
    pub(super) free: Vec<bool>,
    /// The node before the line's start.
    pub(super) begins: Option<usize>,
    /// Where the second run begins.
    pub(super) seam: usize,
    /// The start of a loop, which its end is to meet.
    pub(super) aside: Option<usize>,
    pub(super) step: f64,
    pub(super) distance: f64,
    /// The least of the leader's bends.
    pub(super) radius: f64,
    /// The least of the follower's own.
    pub(super) own_radius: f64,
    /// These are held to so many times that.
    pub(super) hold: Option<f64>,
    /// The follower's nodes end before this one of the first run.
    pub(super) ends: usize,
}

/// What was found for a window.
pub(super) struct Solved {
    pub(super) offsets: Vec<f64>,
    pub(super) largest: f64,
    /// The follower's tightest bend, in shares of the most that it may be.
    pub(super) tightest: f64,
}

/// A distance from the wanted line: how it goes with the offsets of three nodes and with
/// that of a loop's start, and what it is without any.
pub(super) struct Bound {
    pub(super) first: usize,
    pub(super) by: [f64; 3],
    pub(super) aside: f64,
    pub(super) without: f64,
}

impl Bound {
    /// What offsets, with [`BEFORE`] others before them, change of it.
    fn moved(&self, e: &[f64], aside: f64) -> f64 {
        let e = &e[self.first + BEFORE..self.first + BEFORE + 3];
        self.by[0] * e[0] + self.by[1] * e[1] + self.by[2] * e[2] + self.aside * aside
    }
}

/// How the leader's curvature between nodes `i` and `i + 1`, in shares of the most, goes
/// with the offsets of nodes `i - 1` to `i + 2`, and what it is without any.
#[derive(Clone, Copy, Default)]
struct Bend {
    without: f64,
    by: [f64; 4],
}

/// A node whose own bend is held: how that goes with the offsets of the nodes before it, of
/// its own and of the one behind it, in shares of the most that it may be.
struct Held {
    node: usize,
    radius: f64,
    by: [f64; 3],
}

impl Held {
    /// What offsets change of it.
    fn moved(&self, e: &[f64]) -> f64 {
        let e = &e[self.node + BEFORE - 1..self.node + BEFORE + 2];
        self.by[0] * e[0] + self.by[1] * e[1] + self.by[2] * e[2]
    }
}

/// Rows kept before the first node's and after the last one's: those that a bend and a
/// factor of half-width three ask for, all nought.
const BEFORE: usize = 3;
const BEHIND: usize = 1;

impl Bend {
    /// What offsets change of the bend behind node `i`.
    fn moved(&self, i: usize, e: &[f64]) -> f64 {
        let e = &e[i + BEFORE - 1..i + BEFORE + 3];
        (self.by[0] * e[0] + self.by[1] * e[1]) + (self.by[2] * e[2] + self.by[3] * e[3])
    }
}

/// The two sides of an inequality between a value and its limit to either side: slacks,
/// multipliers and their steps.
#[derive(Clone, Copy)]
struct Sides {
    slack: [f64; 2],
    multiplier: [f64; 2],
    /// One over each slack.
    inverse: [f64; 2],
    /// By how much slack and left side miss the right side.
    miss: [f64; 2],
    /// Their product wanted less the one there is.
    product: [f64; 2],
    slack_step: [f64; 2],
    multiplier_step: [f64; 2],
}

impl Sides {
    const NEW: Self = Self {
        slack: [1.0; 2],
        multiplier: [1.0; 2],
        inverse: [1.0; 2],
        miss: [0.0; 2],
        product: [0.0; 2],
        slack_step: [0.0; 2],
        multiplier_step: [0.0; 2],
    };

    /// Begins a step at this value and this limit. Gives what is missed at most and the sum
    /// of the products.
    fn begin(&mut self, value: f64, limit: f64) -> (f64, f64) {
        for (k, sign) in SIGNS.into_iter().enumerate() {
            self.miss[k] = sign * value + self.slack[k] - limit;
            self.product[k] = -self.slack[k] * self.multiplier[k];
            self.inverse[k] = 1.0 / self.slack[k];
        }
        (self.miss[0].abs().max(self.miss[1].abs()), -self.product[0] - self.product[1])
    }

    fn weights(&self) -> [f64; 2] {
        [self.multiplier[0] * self.inverse[0], self.multiplier[1] * self.inverse[1]]
    }

    /// What each pushes with.
    fn pushes(&self) -> [f64; 2] {
        let push = |k: usize| {
            self.multiplier[k] + (self.product[k] + self.multiplier[k] * self.miss[k]) * self.inverse[k]
        };
        [push(0), push(1)]
    }

    /// Their steps where the value grows by so much and the limit too. Gives the largest
    /// share of what there is that one takes away.
    fn follow(&mut self, value: f64, limit: f64) -> f64 {
        let mut most: f64 = 0.0;
        for (k, sign) in SIGNS.into_iter().enumerate() {
            let grows = sign * value - limit;
            self.slack_step[k] = -self.miss[k] - grows;
            self.multiplier_step[k] =
                (self.product[k] + self.multiplier[k] * (self.miss[k] + grows)) * self.inverse[k];
            most = most.max(-self.slack_step[k] * self.inverse[k]);
            most = most.max(-self.multiplier_step[k] / self.multiplier[k]);
        }
        most
    }

    /// The sum of the products after a share of the steps.
    fn then(&self, share: f64) -> f64 {
        let product = |k: usize| {
            (self.slack[k] + share * self.slack_step[k])
                * (self.multiplier[k] + share * self.multiplier_step[k])
        };
        product(0) + product(1)
    }

    fn correct(&mut self, centre: f64) {
        for k in 0..2 {
            self.product[k] += centre - self.slack_step[k] * self.multiplier_step[k];
        }
    }

    fn go(&mut self, share: f64) {
        for k in 0..2 {
            self.slack[k] += share * self.slack_step[k];
            self.multiplier[k] += share * self.multiplier_step[k];
        }
    }
}

const SIGNS: [f64; 2] = [1.0, -1.0];

/// Where a search for offsets is.
struct State {
    /// Offsets of the nodes, with some nought before and behind.
    e: Vec<f64>,
    largest: f64,
    bends: Vec<Bend>,
    /// By how much the formula to first order misses the curvature of each node, 1/mm.
    missed: Vec<f64>,
    of_bends: Vec<Sides>,
    of_bounds: Vec<Sides>,
    of_held: Vec<Sides>,
}

impl State {
    fn sides(&self) -> impl Iterator<Item = &Sides> {
        self.of_bends.iter().chain(&self.of_bounds).chain(&self.of_held)
    }

    fn sides_mut(&mut self) -> impl Iterator<Item = &mut Sides> {
        self.of_bends.iter_mut().chain(&mut self.of_bounds).chain(&mut self.of_held)
    }
}

impl Window {
    /// The offsets whose largest is least, and among those about the smallest, with no bend
    /// beyond one, and that largest one. Where no step leads on, those found until then;
    /// `None` where the follower's own bends are held and cannot be.
    pub(super) fn solved(&self) -> Option<Solved> {
        let held = if self.hold.is_some() { self.held() } else { Vec::new() };
        let (state, met) = self.searched(&held);
        if !(met || held.is_empty()) {
            return None;
        }
        let offsets = state.e[BEFORE..BEFORE + self.bend.len()].to_vec();
        let own = |h: &Held| h.radius * (self.bend[h.node] + state.missed[h.node]) + h.moved(&state.e);
        let tightest = self.held().iter().map(|h| own(h).abs()).fold(0.0, f64::max);
        Some(Solved { offsets, largest: state.largest, tightest })
    }

    /// The follower's nodes, which may bend to the least radius or, where the line wanted
    /// bends tighter, as that does.
    fn held(&self) -> Vec<Held> {
        let hold = self.hold.unwrap_or(1.0);
        let n = self.bend.len();
        let aside = 1.0 / (self.step * self.step);
        (0..self.ends.min(self.seam))
            .chain(self.seam..n)
            .filter(|&i| self.begins != Some(i))
            .map(|i| {
                let k = self.bend[i];
                let radius = hold / k.abs().max(1.0 / self.own_radius);
                let mut by = [aside, k * k - 2.0 * aside, aside].map(|x| x * radius);
                for (a, by) in by.iter_mut().enumerate() {
                    let node = (i + a).checked_sub(1).filter(|p| *p < n);
                    let own = node.is_some_and(|p| self.free[p] && (p < self.seam) == (i < self.seam));
                    *by *= if own { 1.0 } else { 0.0 };
                }
                Held { node: i, radius, by }
            })
            .collect()
    }

    /// Newton's steps to the least. Tells whether what is asked is met.
    fn searched(&self, held: &[Held]) -> (State, bool) {
        let n = self.bend.len();
        let mut state = State {
            e: vec![0.0; BEFORE + n + BEHIND],
            largest: LARGEST_MM,
            bends: vec![Bend::default(); n.saturating_sub(1)],
            missed: vec![0.0; n],
            of_bends: vec![Sides::NEW; n.saturating_sub(1)],
            of_bounds: vec![Sides::NEW; self.bounds.len()],
            of_held: vec![Sides::NEW; held.len()],
        };
        let mut matrix = Matrix::default();
        let mut met = false;
        for _ in 0..STEPS {
            // squares of curvatures are taken anew each time: they settle with the offsets
            self.bends(&mut state);
            let (missed, sum) = self.begin(held, &mut state);
            met = missed < MISSED;
            if (met && sum < GAP_MM) || !sum.is_finite() {
                break;
            }
            matrix.fill(self, held, &state);
            let taken = self.step(held, &matrix, &mut state).1;
            let share = (ALMOST / taken.max(1e-12)).min(1.0);
            let then: f64 = state.sides().map(|s| s.then(share)).sum();
            let sides = 2.0 * f64_of(state.sides().count());
            let share = then / sum;
            // no nearer to the bounds than is asked for: there lines and arcs find no room
            let centre = (share * share * share * sum).max(KEPT * GAP_MM) / sides;
            state.sides_mut().for_each(|s| s.correct(centre));
            let ((by, grows), taken) = self.step(held, &matrix, &mut state);
            let share = (ALMOST / taken.max(1e-12)).min(1.0);
            state.e.iter_mut().zip(&by).for_each(|(e, by)| *e += share * by);
            state.largest += share * grows;
            state.sides_mut().for_each(|s| s.go(share));
        }
        (state, met)
    }

    /// The bends about the offsets that there are.
    fn bends(&self, state: &mut State) {
        let n = self.bend.len();
        let e = &state.e;
        // of a follower whose leader is in its tightest bend
        let tightest = 1.0 / (self.radius * self.radius - self.distance * self.distance).max(0.01).sqrt();
        let aside = 1.0 / (self.step * self.step);
        let own = |i: usize| -2.0 * aside + self.bend[i] * self.bend[i];
        // curvature of a node, by how much the formula to first order misses it, and the
        // length of the line there in lengths of the wanted one
        let curvature = |i: usize| {
            let k = self.bend[i];
            if self.begins == Some(i) {
                return (k, 0.0, 1.0);
            }
            let (before, here) = (e[BEFORE + i - 1], e[BEFORE + i]);
            let next = if i + 1 == self.seam { 0.0 } else { e[BEFORE + i + 1] };
            let bent = (before - 2.0 * here + next) * aside;
            let first = k + bent + k * k * here;
            let along = (1.0 - k * here).clamp(1.0 - SLANT, 1.0 + SLANT);
            let slope = (0.5 * (next - before) / self.step).clamp(-SLANT, SLANT);
            let speed2 = along * along + slope * slope;
            let speed = speed2.sqrt();
            let whole = (k * (speed2 + slope * slope) + along * bent) / (speed2 * speed);
            let missed = (whole - first).clamp(-SLANT * tightest, SLANT * tightest);
            ((first + missed).clamp(-tightest, tightest), missed, speed)
        };
        let mut here = curvature(0);
        state.missed[0] = here.1;
        for i in 0..n.saturating_sub(1) {
            let next = curvature(i + 1);
            state.missed[i + 1] = next.1;
            let ((k0, missed0, speed0), (k1, missed1, speed1)) = (here, next);
            here = next;
            if i + 1 == self.seam {
                // no way leads from the last node to the first
                state.bends[i] = Bend::default();
                continue;
            }
            let (without, mut by) = if self.begins == Some(i) {
                // the follower's own, as it sets out
                let most = sets_out(self.radius, self.distance);
                ((self.bend[i + 1] + missed1) * most, [0.0, aside, own(i + 1), aside].map(|x| x * most))
            } else {
                let (from, to) = (self.bend[i] + missed0, self.bend[i + 1] + missed1);
                let step = self.step * 0.5 * (speed0 + speed1);
                let (value, [a, b]) = leading(from, to, 0.5 * (k0 + k1), step, self.distance);
                let by = [a * aside, a * own(i) + b * aside, a * aside + b * own(i + 1), b * aside];
                (value * self.radius, by.map(|x| x * self.radius))
            };
            for (a, by) in by.iter_mut().enumerate() {
                let node = (i + a).checked_sub(1).filter(|p| *p < n);
                // a run ends at the seam
                let own = node.is_some_and(|p| self.free[p] && (p < self.seam) == (i < self.seam));
                *by *= if own { 1.0 } else { 0.0 };
            }
            state.bends[i] = Bend { without, by };
        }
    }

    fn aside(&self, e: &[f64]) -> f64 {
        self.aside.map_or(0.0, |i| e[BEFORE + i])
    }

    /// What is missed at most, and the sum of slacks by multipliers.
    fn begin(&self, held: &[Held], state: &mut State) -> (f64, f64) {
        let aside = self.aside(&state.e);
        let (mut missed, mut sum): (f64, f64) = (0.0, 0.0);
        let mut take = |(miss, product): (f64, f64)| {
            missed = missed.max(miss);
            sum += product;
        };
        for (i, (bend, sides)) in state.bends.iter().zip(&mut state.of_bends).enumerate() {
            take(sides.begin(bend.without + bend.moved(i, &state.e), 1.0));
        }
        for (bound, sides) in self.bounds.iter().zip(&mut state.of_bounds) {
            take(sides.begin(bound.without + bound.moved(&state.e, aside), state.largest));
        }
        for (held, sides) in held.iter().zip(&mut state.of_held) {
            let without = held.radius * (self.bend[held.node] + state.missed[held.node]);
            take(sides.begin(without + held.moved(&state.e), 1.0));
        }
        (missed, sum)
    }

    /// Newton's step of offsets and largest offset; the sides get theirs. Gives the largest
    /// share of a side that is taken away too.
    fn step(&self, held: &[Held], matrix: &Matrix, state: &mut State) -> ((Vec<f64>, f64), f64) {
        let mut right: Vec<f64> = state.e.iter().map(|e| -SMALLNESS * e).collect();
        let mut right_largest = -1.0;
        for (bound, sides) in self.bounds.iter().zip(&state.of_bounds) {
            let [over, under] = sides.pushes();
            right_largest += over + under;
            let push = over - under;
            for (right, by) in right[bound.first + BEFORE..].iter_mut().zip(bound.by) {
                *right -= push * by;
            }
            if let Some(aside) = self.aside {
                right[BEFORE + aside] -= push * bound.aside;
            }
        }
        for (i, (bend, sides)) in state.bends.iter().zip(&state.of_bends).enumerate() {
            let [over, under] = sides.pushes();
            let push = over - under;
            for (right, by) in right[i + BEFORE - 1..].iter_mut().zip(bend.by) {
                *right -= push * by;
            }
        }
        for (held, sides) in held.iter().zip(&state.of_held) {
            let [over, under] = sides.pushes();
            let push = over - under;
            for (right, by) in right[held.node + BEFORE - 1..].iter_mut().zip(held.by) {
                *right -= push * by;
            }
        }
        let (by, grows) = matrix.answered(right, right_largest);
        let aside = self.aside(&by);
        let mut taken: f64 = 0.0;
        for (i, (bend, sides)) in state.bends.iter().zip(&mut state.of_bends).enumerate() {
            taken = taken.max(sides.follow(bend.moved(i, &by), 0.0));
        }
        for (bound, sides) in self.bounds.iter().zip(&mut state.of_bounds) {
            taken = taken.max(sides.follow(bound.moved(&by, aside), grows));
        }
        for (held, sides) in held.iter().zip(&mut state.of_held) {
            taken = taken.max(sides.follow(held.moved(&by), 0.0));
        }
        ((by, grows), taken)
    }
}

/// Newton's matrix: banded for the offsets, with a column for the largest one and one for
/// a loop's start, on which both its ends hang.
#[derive(Default)]
struct Matrix {
    /// Row i: factors below the diagonal of columns i - 3 to i - 1, and one over the
    /// diagonal, of a decomposition L D L'.
    rows: Vec<[f64; 4]>,
    /// Columns of the largest offset and of the start, and what the band makes of them.
    columns: Vec<[f64; 2]>,
    answers: Vec<[f64; 2]>,
    /// What then stands for those two themselves.
    corner: [f64; 3],
    aside: Option<usize>,
}

impl Matrix {
    fn fill(&mut self, window: &Window, held: &[Held], state: &State) {
        let n = state.e.len();
        self.aside = window.aside.map(|i| BEFORE + i);
        self.rows.clear();
        self.rows.resize(n, [0.0, 0.0, 0.0, SMALLNESS]);
        self.columns.clear();
        self.columns.resize(n, [0.0; 2]);
        // of the largest one, of both, of the start
        let mut corner = [0.0, 0.0, SMALLNESS];
        for (bound, sides) in window.bounds.iter().zip(&state.of_bounds) {
            let [over, under] = sides.weights();
            let (weight, pull) = (over + under, under - over);
            let first = bound.first + BEFORE;
            corner[0] += weight;
            corner[1] += pull * bound.aside;
            corner[2] += weight * bound.aside * bound.aside;
            for a in 0..3 {
                self.columns[first + a][0] += pull * bound.by[a];
                self.columns[first + a][1] += weight * bound.aside * bound.by[a];
                for b in 0..=a {
                    self.rows[first + a][3 + b - a] += weight * bound.by[a] * bound.by[b];
                }
            }
        }
        for (i, (bend, sides)) in state.bends.iter().zip(&state.of_bends).enumerate() {
            let [over, under] = sides.weights();
            let weight = over + under;
            let rows = &mut self.rows[i + BEFORE - 1..i + BEFORE + 3];
            for a in 0..4 {
                let by = weight * bend.by[a];
                for b in 0..=a {
                    rows[a][3 + b - a] += by * bend.by[b];
                }
            }
        }
        for (held, sides) in held.iter().zip(&state.of_held) {
            let [over, under] = sides.weights();
            let weight = over + under;
            let rows = &mut self.rows[held.node + BEFORE - 1..held.node + BEFORE + 2];
            for a in 0..3 {
                let by = weight * held.by[a];
                for b in 0..=a {
                    rows[a][3 + b - a] += by * held.by[b];
                }
            }
        }
        if let Some(own) = self.aside {
            // out of the band: its row and column stand beside it
            corner[2] += self.rows[own][3] - SMALLNESS;
            corner[1] += self.columns[own][0];
            corner[2] += 2.0 * self.columns[own][1];
            for b in 0..3 {
                self.columns[own + b - 3][1] += self.rows[own][b];
                let below = own + 3 - b;
                if below < n {
                    self.columns[below][1] += self.rows[below][b];
                    self.rows[below][b] = 0.0;
                }
            }
            self.rows[own] = [0.0, 0.0, 0.0, 1.0];
            self.columns[own] = [0.0; 2];
        }
        factored(&mut self.rows);
        self.answers.clone_from(&self.columns);
        solved(&self.rows, &mut self.answers);
        for (column, answer) in self.columns.iter().zip(&self.answers) {
            corner[0] -= column[0] * answer[0];
            corner[1] -= column[0] * answer[1];
            corner[2] -= column[1] * answer[1];
        }
        self.corner = corner;
    }

    /// Offsets and largest offset for a right side.
    fn answered(&self, mut right: Vec<f64>, right_largest: f64) -> (Vec<f64>, f64) {
        let own_right = self.aside.map_or(0.0, |i| std::mem::take(&mut right[i]));
        solved(&self.rows, as_columns(&mut right));
        let mut rest = [right_largest, own_right];
        for (column, x) in self.columns.iter().zip(&right) {
            rest[0] -= column[0] * x;
            rest[1] -= column[1] * x;
        }
        let [largest, both, start] = self.corner;
        let largest = largest.max(1e-9);
        let (grows, own) = if self.aside.is_some() {
            let own = (rest[1] - both * rest[0] / largest) / (start - both * both / largest).max(1e-12);
            ((rest[0] - both * own) / largest, own)
        } else {
            (rest[0] / largest, 0.0)
        };
        for (x, answer) in right.iter_mut().zip(&self.answers) {
            *x -= answer[0] * grows + answer[1] * own;
        }
        if let Some(i) = self.aside {
            right[i] = own;
        }
        (right, grows)
    }
}

fn as_columns(x: &mut [f64]) -> &mut [[f64; 1]] {
    x.as_chunks_mut::<1>().0
}

/// The decomposition of a positive definite matrix of half-width three: row i holds
/// columns i - 3 to i, the first three rows nothing beside the diagonal.
fn factored(rows: &mut [[f64; 4]]) {
    for row in rows.iter_mut().take(BEFORE) {
        *row = [0.0, 0.0, 0.0, 1.0 / row[3]];
    }
    for i in BEFORE..rows.len() {
        let ([.., third, second, first], [row, ..]) = rows.split_at_mut(i) else { return };
        let a = row[0];
        let b = row[1] - a * second[2];
        let c = row[2] - a * first[1] - b * first[2];
        let by = [a * third[3], b * second[3], c * first[3]];
        let diagonal = row[3] - by[0] * a - by[1] * b - by[2] * c;
        *row = [by[0], by[1], by[2], 1.0 / diagonal.max(1e-12)];
    }
}

/// Solves with that for some right sides at once.
fn solved<const N: usize>(rows: &[[f64; 4]], x: &mut [[f64; N]]) {
    let n = rows.len().min(x.len());
    for (i, row) in rows.iter().enumerate().take(n).skip(BEFORE) {
        let ([.., third, second, first], [here, ..]) = x.split_at_mut(i) else { return };
        for (k, x) in here.iter_mut().enumerate() {
            *x -= row[0] * third[k] + row[1] * second[k] + row[2] * first[k];
        }
    }
    for i in (0..n).rev() {
        let (here, ahead) = x.split_at_mut(i + 1);
        let Some(here) = here.last_mut() else { return };
        for (k, x) in here.iter_mut().enumerate() {
            *x *= rows[i][3];
            for (a, (row, ahead)) in rows[i + 1..].iter().zip(&*ahead).take(BEFORE).enumerate() {
                *x -= row[BEFORE - 1 - a] * ahead[k];
            }
        }
    }
}

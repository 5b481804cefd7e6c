//! The line nearest to a wanted one along which a follower can be led.
//!
//! A follower at distance d on a line of curvature k, along its length s, asks of its
//! leader the curvature
//!
//! ```text
//! K = (k + d k' / (1 + d^2 k^2)) / sqrt(1 + d^2 k^2)
//! ```
//!
//! so where the line's own curvature jumps, as between a straight and an arc, no leader
//! of bounded curvature keeps the follower on it. The nearest line that one can lead
//! along begins to turn before the jump, after a swing to the other side: its offset e
//! from the wanted line is what is sought, with k the wanted curvature + e'' + k^2 e.
//! The largest offset is made least with K within its bounds by
//! a primal-dual interior point method (Mehrotra, SIAM J. Optim. 2 (1992) 575-601, from
//! memory; quadratic form, squares of curvatures taken anew a few times). Its matrices
//! are banded, because a bound concerns four neighbours, but for one column.

use super::nearest::Lines;
use super::{Path, Point, Segment, trig};

/// Nodes in the distance of the follower, whose lag fades by an eighth from one to the
/// next. The linear programmes that tests compare with have as many.
const NODES: f64 = 8.0;

/// How far round a place that cannot be led the line may leave the wanted one, in
/// distances. What a swing that far off adds has faded to exp(-10) of itself.
const REACH: f64 = 10.0;

/// The bends found are one of these shares wider than the least radius, tried in turn:
/// lines and arcs are fitted to them afterwards, which need some room: from hardly more
/// than the fit's own margin of 2 um at 4 mm on, by steps of a few times. The widest are
/// for ways that swing far, whose offsets the formula above holds to first order only:
/// its bends are then tighter than it says by about the curvature times the offset.
pub(super) const WIDER: [f64; 5] = [1.2e-3, 2e-3, 0.01, 0.03, 0.08];

/// Share of what the leader's bend round a bend of the least radius is wider than it
/// that this may take: with all of it nothing would be left to make up for anything with.
const OF_LEAD: f64 = 0.6;

/// Share of the tightest bend from which a leader has no room to make up for anything: a
/// window that ended in such a bend could not come back to the line within its reach.
const FULL: f64 = 0.9;

/// Weight of the offsets' squares beside the largest offset, 1/mm: places that can be
/// led nearer than the worst one are. Small enough that a hundred nodes at 0.1 mm weigh as
/// much as 0.01 mm of the largest.
const SMALLNESS: f64 = 0.02;

/// Times that the squares of curvatures are taken anew, and Newton's steps in each: limits
/// against going on for ever, offsets that have settled end the rounds sooner.
const ROUNDS: usize = 5;
const STEPS: usize = 40;

/// Offsets that change by less than this from one time to the next are settled, mm.
const SETTLED_MM: f64 = 5e-4;

/// Share of the way to the nearest bound that a step goes; all the way would leave no
/// slack to go on with. Common practice: 0.9 to 0.99.
const ALMOST: f64 = 0.95;

/// The largest offset begun with, mm: of the order of what is found.
const LARGEST_MM: f64 = 0.1;

/// A wanted line by nodes at equal lengths: one before its start, whose offset says how
/// the follower sets out, those of the follower, the first at the start, and some more.
struct Line<'a> {
    path: &'a Path,
    step: f64,
    /// Curvature, 1/mm, mean over a step round each node.
    bend: Vec<f64>,
    /// The follower's last node: what comes after may lie anywhere.
    last: usize,
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "lengths in steps, never negative"
)]
fn count(x: f64) -> usize {
    x.max(0.0) as usize
}

#[expect(clippy::cast_precision_loss, reason = "a count of nodes")]
fn float(n: usize) -> f64 {
    n as f64
}

/// Turn of a path up to lengths that only grow.
struct Turns<'a> {
    path: &'a Path,
    index: usize,
    /// Length and turn up to the segment.
    before: (f64, f64),
}

impl Turns<'_> {
    /// Past its ends a path bends as its last piece does.
    fn up_to(&mut self, s: f64) -> f64 {
        let segments = &self.path.segments;
        loop {
            let Some(segment) = segments.get(self.index) else { return self.before.1 };
            let k = curvature(segment);
            let length = segment.length();
            if s <= self.before.0 + length || self.index + 1 == segments.len() {
                return self.before.1 + k * (s - self.before.0);
            }
            self.before = (self.before.0 + length, self.before.1 + k * length);
            self.index += 1;
        }
    }
}

fn curvature(segment: &Segment) -> f64 {
    match segment {
        Segment::Line { .. } => 0.0,
        Segment::Arc(a) => a.sign() / a.radius(),
    }
}

impl<'a> Line<'a> {
    fn new(path: &'a Path, distance: f64) -> Self {
        let most = distance / NODES;
        let end = (path.length() - distance).max(0.0);
        let n = (end / most).ceil().max(1.0);
        let step = end / n;
        let last = count(n) + 1;
        let mut turns = Turns { path, index: 0, before: (0.0, 0.0) };
        let mut before = turns.up_to(-1.5 * step);
        let bend = (0..=last + count(REACH * NODES))
            .map(|i| {
                let here = turns.up_to((float(i) - 0.5) * step);
                let mean = (here - before) / step;
                before = here;
                mean
            })
            .collect();
        Self { path, step, bend, last }
    }

    /// Length from the start at which a node lies.
    fn at(&self, node: usize) -> f64 {
        (float(node) - 1.0) * self.step
    }

    /// How far off the wanted line places of the last straight lie where the follower's
    /// last place is on the line, and how that goes with its offset and its slope.
    fn ends(&self, distance: f64) -> Vec<Straight> {
        let end = self.at(self.last);
        let (Some(p), Some(t)) = (self.path.point_at(end), self.path.tangent_at(end)) else {
            return Vec::new();
        };
        let mut wanted = Lines::default();
        wanted.add(&self.path.between(end, self.path.length()).flatten(1e-4));
        STRAIGHT
            .iter()
            .filter_map(|share| {
                let q = p + t * (share * distance);
                let (near, along) = wanted.nearest(q)?;
                Some(Straight { ahead: share * distance, off: along.cross(q - near), by: along.dot(t) })
            })
            .collect()
    }
}

/// A place of the last straight.
struct Straight {
    /// From the follower's last place, mm.
    ahead: f64,
    /// To the left of the wanted line, mm.
    off: f64,
    /// How much of a move aside it goes by.
    by: f64,
}

/// Shares of the last straight at which it is looked at: it bends away from the line
/// wanted like a parabola, so between them it is off by no more than a few hundredths
/// of what it is at its end.
const STRAIGHT: [f64; 4] = [0.25, 0.5, 0.75, 1.0];

/// The last straight is hard to place where it leaves its line by more than this, mm: a
/// tenth of what tow may be off before it is told.
const STRAIGHT_MM: f64 = 0.005;

/// How much more the end of a loop counts than other places: it is to meet its start.
const MEETS: f64 = 20.0;

/// Signed curvature of the leader between two nodes of these curvatures, and how it
/// changes with each: linear in them but for `about`, the curvature of the squares.
fn leading(k0: f64, k1: f64, about: f64, step: f64, d: f64) -> (f64, [f64; 2]) {
    let q = 1.0 + d * d * about * about;
    let r = q.sqrt();
    let by_change = d / (q * r * step);
    let by = [0.5 / r - by_change, 0.5 / r + by_change];
    (by[0] * k0 + by[1] * k1, by)
}

/// Points of the leader's way along which its follower at `distance` mm goes as near to
/// `path`, taken as open, as a leader lets it that bends no tighter than `radius` mm and a
/// share `wider`; `None` where it is led along the path itself. It begins at the path's
/// own start, where the follower stays until the leader is at its distance, and ends near
/// the path's end, the last `distance` of what trails lying straight. A way that `meets`
/// itself begins so far to the left of the start and ends there as nearly as can be.
pub(super) fn way(
    path: &Path,
    distance: f64,
    radius: f64,
    wider: f64,
    meets: Option<f64>,
) -> Option<Vec<Point>> {
    if path.length() <= 2.0 * distance {
        return None;
    }
    let line = Line::new(path, distance);
    let n = line.bend.len();
    let spare = (radius * radius + distance * distance).sqrt() - radius;
    let most = radius + (wider * radius).min(OF_LEAD * spare);
    // the leader's bends along the path itself, in shares of the most
    let share: Vec<f64> = (0..n)
        .map(|i| {
            if i == 0 {
                return line.bend[1].abs() * sets_out(most, distance);
            }
            let (here, next) = (line.bend[i], line.bend[(i + 1).min(n - 1)]);
            let (k, _) = leading(here, next, 0.5 * (here + next), line.step, distance);
            if i <= line.last { k.abs() * most } else { 0.0 }
        })
        .collect();
    let mut hard: Vec<bool> = share.iter().map(|s| *s > 1.0).collect();
    let ends = line.ends(distance);
    let aside = meets.unwrap_or(0.0);
    hard[0] |= aside.abs() > 0.0;
    hard[line.last] |= ends.iter().any(|e| e.off.abs() > STRAIGHT_MM);
    if line.last < 8 || !hard.contains(&true) {
        return None;
    }
    // what bends about as it must has no room to make up for what comes beside it
    for i in 1..n {
        hard[i] |= hard[i - 1] && share[i] > FULL;
    }
    for i in (1..n).rev() {
        hard[i - 1] |= hard[i] && share[i - 1] > FULL;
    }
    let reach = count(REACH * distance / line.step);
    let mut offset = vec![0.0; n];
    let mut i = 0;
    while i < n {
        if !hard[i] {
            i += 1;
            continue;
        }
        let from = i.saturating_sub(reach);
        let mut to = i;
        let mut j = i;
        while j < n && j <= to + 2 * reach {
            if hard[j] {
                to = j;
            }
            j += 1;
        }
        let until = (to + 1 + reach).min(n - 1);
        let mut window = Window {
            bend: line.bend[from..=until].to_vec(),
            bounds: Vec::new(),
            begins: (from == 0).then_some(aside),
            step: line.step,
            distance,
            radius: most,
        };
        window.bounds = (from..=until.min(line.last))
            .filter(|k| window.free(k - from))
            .map(|k| Bound { first: k - from, by: [1.0, 0.0, 0.0], without: 0.0 })
            .collect();
        if line.last < until {
            window.bounds.extend(ends.iter().map(|e| {
                let end = meets.filter(|_| e.ahead >= distance);
                let weight = if end.is_some() { MEETS } else { 1.0 };
                let slope = 0.5 * e.ahead / line.step;
                let by = [-slope, 1.0, slope].map(|x| x * e.by * weight);
                let without = (e.off - end.unwrap_or(0.0)) * weight;
                Bound { first: line.last - from - 1, by, without }
            }));
        }
        offset[from..=until].copy_from_slice(&window.solved());
        i = until + 1;
    }
    Some(line.led(&offset, distance))
}

/// The reciprocal of the largest curvature with which a follower can set out: until its
/// leader, from the same place, is at its distance, it may go along an arc of its least
/// radius, and then goes by half that arc's turn off the line to the follower.
fn sets_out(radius: f64, distance: f64) -> f64 {
    (4.0 * radius * radius - distance * distance).max(0.01).sqrt()
}

impl Line<'_> {
    /// The leader's way for these offsets of the follower, by points between its nodes:
    /// there its direction is known best.
    fn led(&self, offset: &[f64], distance: f64) -> Vec<Point> {
        let mut out = Vec::with_capacity(self.last + 10);
        let mut walk = Walk { path: self.path, index: 0, before: 0.0 };
        let mut link = |s: f64, e: f64, slope: f64| {
            let (p, t, k) = walk.at(s);
            let along = t * (1.0 - k * e) + t.left() * slope;
            (p + t.left() * e, along.normalised().unwrap_or(t))
        };
        let slope = |i: usize| (offset[i + 1] - offset[i - 1]) / (2.0 * self.step);
        let (start, along) = link(0.0, offset[1], slope(1));
        // until the follower is drawn tight, along an arc
        let k = self.bend[1] * (1.0 + self.bend[1] * offset[1])
            + (offset[0] - 2.0 * offset[1] + offset[2]) / (self.step * self.step);
        let half = trig::atan2(k * distance, 1.0);
        for share in SLACK {
            // chords of an arc from its start, shortened alike
            let length = if half.abs() < 1e-9 { share } else { trig::sin(half * share) / trig::sin(half) };
            out.push(start + along.turned(-half * (1.0 - share)) * (length * distance));
        }
        for i in 1..self.last {
            let (here, next) = (offset[i], offset[i + 1]);
            let (p, along) =
                link(self.at(i) + 0.5 * self.step, 0.5 * (here + next), (next - here) / self.step);
            out.push(p + along * distance);
        }
        let (p, along) = link(self.at(self.last), offset[self.last], slope(self.last));
        out.push(p + along * distance);
        out
    }
}

/// Shares of the leader's first arc at which it has points: as near to each other as the
/// nodes are.
const SLACK: [f64; 9] = [0.0, 0.125, 0.25, 0.375, 0.5, 0.625, 0.75, 0.875, 1.0];

/// A path at lengths that only grow.
struct Walk<'a> {
    path: &'a Path,
    index: usize,
    before: f64,
}

impl Walk<'_> {
    /// Place, direction and curvature.
    fn at(&mut self, s: f64) -> (Point, Point, f64) {
        let segments = &self.path.segments;
        while self.index + 1 < segments.len() && s > self.before + segments[self.index].length() {
            self.before += segments[self.index].length();
            self.index += 1;
        }
        let segment = &segments[self.index];
        let s = s - self.before;
        (segment.point_at(s), segment.tangent_at(s), curvature(segment))
    }
}

/// Nodes between two places where the line is the wanted one.
struct Window {
    bend: Vec<f64>,
    /// What is to be small.
    bounds: Vec<Bound>,
    /// The offset at the line's start, where the window's first node is the one before it.
    begins: Option<f64>,
    step: f64,
    distance: f64,
    radius: f64,
}

/// A distance from the wanted line: how it goes with the offsets of three nodes, and what
/// it is without any.
struct Bound {
    first: usize,
    by: [f64; 3],
    without: f64,
}

impl Bound {
    fn value(&self, e: &[f64]) -> f64 {
        self.without + self.moved(e)
    }

    fn moved(&self, e: &[f64]) -> f64 {
        self.by.iter().zip(&e[self.first..]).map(|(by, e)| by * e).sum()
    }
}

/// How the leader's curvature between nodes `i` and `i + 1`, in shares of the most, goes
/// with the offsets of nodes `i - 1` to `i + 2`, and what it is without any.
struct Bend {
    without: f64,
    by: [f64; 4],
}

/// One inequality's slack and multiplier, with their steps.
#[derive(Clone, Copy)]
struct Side {
    slack: f64,
    multiplier: f64,
    steps: [f64; 2],
    /// By how much slack and left side miss the right side.
    miss: f64,
    /// Their product wanted less the one there is.
    product: f64,
}

impl Side {
    fn new() -> Self {
        Self { slack: 1.0, multiplier: 1.0, steps: [0.0; 2], miss: 0.0, product: 0.0 }
    }

    fn weight(&self) -> f64 {
        self.multiplier / self.slack
    }

    /// What it pushes with besides its weight.
    fn push(&self) -> f64 {
        (self.product + self.multiplier * self.miss) / self.slack
    }

    /// Its steps where its left side grows by so much.
    fn follow(&mut self, grows: f64) {
        self.steps = [-self.miss - grows, self.push() + self.weight() * grows];
    }

    /// The longest step that keeps both positive.
    fn room(&self) -> f64 {
        let share = |x: f64, step: f64| if step < 0.0 { -x / step } else { f64::INFINITY };
        share(self.slack, self.steps[0]).min(share(self.multiplier, self.steps[1]))
    }
}

/// The four families of inequalities: bends no tighter than the most to either side,
/// offsets no larger than the largest to either side.
struct Sides {
    bends: Vec<[Side; 2]>,
    bounds: Vec<[Side; 2]>,
}

impl Sides {
    fn all(&self) -> impl Iterator<Item = &Side> {
        self.bends.iter().chain(&self.bounds).flatten()
    }

    fn all_mut(&mut self) -> impl Iterator<Item = &mut Side> {
        self.bends.iter_mut().chain(&mut self.bounds).flatten()
    }

    fn mean_product(&self) -> f64 {
        let (n, sum) = self.all().fold((0.0, 0.0), |(n, sum), s| (n + 1.0, sum + s.slack * s.multiplier));
        sum / f64::max(n, 1.0)
    }

    fn room(&self) -> f64 {
        self.all().map(Side::room).fold(1.0 / ALMOST, f64::min) * ALMOST
    }
}

const SIGNS: [f64; 2] = [1.0, -1.0];

impl Window {
    /// Offsets of the nodes.
    fn solved(&self) -> Vec<f64> {
        let n = self.bend.len();
        // of a follower whose leader is in its tightest bend
        let tightest = 1.0 / (self.radius * self.radius - self.distance * self.distance).max(0.01).sqrt();
        let mut e = self.unmoved();
        for _ in 0..ROUNDS {
            let k: Vec<f64> = (0..n).map(|i| self.curvature(&e, i).clamp(-tightest, tightest)).collect();
            let about: Vec<f64> = k.windows(2).map(|w| 0.5 * (w[0] + w[1])).collect();
            let Some(found) = self.least(&self.bends(&about)) else { break };
            let change = e.iter().zip(&found).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
            e = found;
            if change < SETTLED_MM {
                break;
            }
        }
        e
    }

    fn curvature(&self, e: &[f64], i: usize) -> f64 {
        let n = e.len();
        let last = if i == 0 { 0.0 } else { e[i - 1] };
        let next = if i + 1 == n { 0.0 } else { e[i + 1] };
        let k = self.bend[i];
        if i == 0 && self.begins.is_some() {
            return k;
        }
        k + (last - 2.0 * e[i] + next) / (self.step * self.step) + k * k * e[i]
    }

    fn bends(&self, about: &[f64]) -> Vec<Bend> {
        let aside = 1.0 / (self.step * self.step);
        let own = |i: usize| -2.0 * aside + self.bend[i] * self.bend[i];
        about
            .iter()
            .enumerate()
            .map(|(i, about)| {
                if i == 0 && self.begins.is_some() {
                    // the follower's own, as it sets out
                    let most = sets_out(self.radius, self.distance);
                    let by = [0.0, aside, own(1), aside].map(|x| x * most);
                    return Bend { without: self.bend[1] * most, by };
                }
                let (value, [a, b]) =
                    leading(self.bend[i], self.bend[i + 1], *about, self.step, self.distance);
                let by = [a * aside, a * own(i) + b * aside, a * aside + b * own(i + 1), b * aside];
                Bend { without: value * self.radius, by: by.map(|x| x * self.radius) }
            })
            .collect()
    }

    /// The line begins where it is told to; a window's first and last two nodes lie on it.
    fn free(&self, i: usize) -> bool {
        (if self.begins.is_some() { i != 1 } else { i >= 2 }) && i + 2 < self.bend.len()
    }

    /// What the offsets change of a bend.
    fn bent(by: &Bend, i: usize, e: &[f64]) -> f64 {
        by.by.iter().enumerate().filter_map(|(a, by)| Some(by * e.get((i + a).checked_sub(1)?)?)).sum()
    }

    /// None but where the line begins.
    fn unmoved(&self) -> Vec<f64> {
        let mut e = vec![0.0; self.bend.len()];
        if let (Some(aside), Some(first)) = (self.begins, e.get_mut(1)) {
            *first = aside;
        }
        e
    }

    /// The offsets whose largest is least, and among those about the smallest, with no
    /// bend beyond one; `None` where there are none.
    fn least(&self, bends: &[Bend]) -> Option<Vec<f64>> {
        let n = self.bend.len();
        let mut e = self.unmoved();
        let mut largest = LARGEST_MM;
        let mut sides =
            Sides { bends: vec![[Side::new(); 2]; n - 1], bounds: vec![[Side::new(); 2]; self.bounds.len()] };
        for _ in 0..STEPS {
            // what is missed
            let mut worst: f64 = 0.0;
            for (i, (bend, sides)) in bends.iter().zip(&mut sides.bends).enumerate() {
                let value = bend.without + Self::bent(bend, i, &e);
                for (side, sign) in sides.iter_mut().zip(SIGNS) {
                    side.miss = sign * value + side.slack - 1.0;
                    side.product = -side.slack * side.multiplier;
                    worst = worst.max(side.miss.abs());
                }
            }
            for (bound, sides) in self.bounds.iter().zip(&mut sides.bounds) {
                let value = bound.value(&e);
                for (side, sign) in sides.iter_mut().zip(SIGNS) {
                    side.miss = sign * value - largest + side.slack;
                    side.product = -side.slack * side.multiplier;
                    worst = worst.max(side.miss.abs());
                }
            }
            let mean = sides.mean_product();
            if worst < 1e-5 && mean < 1e-7 {
                return Some(e);
            }
            if !mean.is_finite() {
                return None;
            }
            let factors = self.factors(bends, &sides);
            self.step(bends, &factors, &mut sides, &e);
            let room = sides.room().min(1.0);
            let then: f64 = {
                let (n, sum) = sides.all().fold((0.0, 0.0), |(n, sum), s| {
                    (n + 1.0, sum + (s.slack + room * s.steps[0]) * (s.multiplier + room * s.steps[1]))
                });
                sum / f64::max(n, 1.0)
            };
            let share = then / mean;
            let centre = share * share * share * mean;
            for side in sides.all_mut() {
                side.product += centre - side.steps[0] * side.steps[1];
            }
            let (by, grows) = self.step(bends, &factors, &mut sides, &e);
            let room = sides.room().min(1.0);
            e.iter_mut().zip(&by).for_each(|(e, by)| *e += room * by);
            largest += room * grows;
            for side in sides.all_mut() {
                side.slack += room * side.steps[0];
                side.multiplier += room * side.steps[1];
            }
        }
        None
    }

    /// The factors of the matrix of the offsets, its answer to the column of the largest
    /// offset, and what then stands for the largest one itself.
    fn factors(&self, bends: &[Bend], sides: &Sides) -> Factors {
        let n = self.bend.len();
        let mut rows = vec![[0.0; 4]; n];
        let mut column = vec![0.0; n];
        let mut corner = 0.0;
        for (i, row) in rows.iter_mut().enumerate() {
            row[3] = if self.free(i) { SMALLNESS } else { 1.0 };
        }
        for (bound, [over, under]) in self.bounds.iter().zip(&sides.bounds) {
            let (weight, pull) = (over.weight() + under.weight(), under.weight() - over.weight());
            corner += weight;
            for a in 0..3 {
                let p = bound.first + a;
                if !self.free(p) {
                    continue;
                }
                column[p] += pull * bound.by[a];
                for b in (0..=a).filter(|b| self.free(bound.first + b)) {
                    rows[p][3 + b - a] += weight * bound.by[a] * bound.by[b];
                }
            }
        }
        for (i, (bend, [over, under])) in bends.iter().zip(&sides.bends).enumerate() {
            let weight = over.weight() + under.weight();
            for a in 0..4 {
                let Some(p) = (i + a).checked_sub(1).filter(|p| self.free(*p)) else { continue };
                for b in 0..=a {
                    let Some(q) = (i + b).checked_sub(1).filter(|q| self.free(*q)) else { continue };
                    rows[p][3 + q - p] += weight * bend.by[a] * bend.by[b];
                }
            }
        }
        factored(&mut rows);
        let answer = solved(&rows, column.clone());
        let corner = corner - column.iter().zip(&answer).map(|(a, b)| a * b).sum::<f64>();
        Factors { rows, column, answer, corner }
    }

    /// Newton's step of offsets and largest offset; the sides get theirs.
    fn step(&self, bends: &[Bend], factors: &Factors, sides: &mut Sides, e: &[f64]) -> (Vec<f64>, f64) {
        let n = self.bend.len();
        let mut right: Vec<f64> = e.iter().map(|e| -SMALLNESS * e).collect();
        let mut right_largest = -1.0;
        for (bound, sides) in self.bounds.iter().zip(&sides.bounds) {
            for (side, sign) in sides.iter().zip(SIGNS) {
                let push = side.multiplier + side.push();
                right_largest += push;
                for (a, by) in bound.by.iter().enumerate() {
                    right[bound.first + a] -= sign * push * by;
                }
            }
        }
        for (i, (bend, sides)) in bends.iter().zip(&sides.bends).enumerate() {
            let push: f64 = sides.iter().zip(SIGNS).map(|(s, sign)| sign * (s.multiplier + s.push())).sum();
            for a in 0..4 {
                if let Some(p) = (i + a).checked_sub(1).filter(|p| self.free(*p)) {
                    right[p] -= push * bend.by[a];
                }
            }
        }
        (0..n).filter(|i| !self.free(*i)).for_each(|i| right[i] = 0.0);
        let mut by = solved(&factors.rows, right);
        let grows = (right_largest - factors.column.iter().zip(&by).map(|(a, b)| a * b).sum::<f64>())
            / factors.corner.max(1e-9);
        by.iter_mut().zip(&factors.answer).for_each(|(by, a)| *by -= a * grows);
        for (i, (bend, sides)) in bends.iter().zip(&mut sides.bends).enumerate() {
            let more = Self::bent(bend, i, &by);
            sides.iter_mut().zip(SIGNS).for_each(|(side, sign)| side.follow(sign * more));
        }
        for (bound, sides) in self.bounds.iter().zip(&mut sides.bounds) {
            let more = bound.moved(&by);
            sides.iter_mut().zip(SIGNS).for_each(|(side, sign)| side.follow(sign * more - grows));
        }
        (by, grows)
    }
}

/// See [`Window::factors`].
struct Factors {
    rows: Vec<[f64; 4]>,
    column: Vec<f64>,
    answer: Vec<f64>,
    corner: f64,
}

/// Cholesky's factor of a positive definite matrix of half-width three: row i holds
/// columns i - 3 to i.
fn factored(rows: &mut [[f64; 4]]) {
    for i in 0..rows.len() {
        for j in i.saturating_sub(3)..=i {
            let mut sum = rows[i][3 + j - i];
            for k in i.saturating_sub(3)..j {
                sum -= rows[i][3 + k - i] * rows[j][3 + k - j];
            }
            rows[i][3 + j - i] = if j == i { sum.max(1e-12).sqrt() } else { sum / rows[j][3] };
        }
    }
}

/// Solves with that factor.
fn solved(rows: &[[f64; 4]], mut x: Vec<f64>) -> Vec<f64> {
    let n = rows.len();
    for i in 0..n {
        for k in i.saturating_sub(3)..i {
            x[i] -= rows[i][3 + k - i] * x[k];
        }
        x[i] /= rows[i][3];
    }
    for i in (0..n).rev() {
        for k in i + 1..(i + 4).min(n) {
            x[i] -= rows[k][3 + i - k] * x[k];
        }
        x[i] /= rows[i][3];
    }
    x
}

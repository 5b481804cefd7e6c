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
//! The largest offset is made least with K within its bounds: see [`least`].

mod least;

use crate::count::f64_of;
use least::{Bound, Window};

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
                // the line ends at the last node: a bend that begins behind it is no part of it
                let end = (i == last).then(|| turns.up_to((f64_of(i) - 1.0) * step));
                let here = turns.up_to((f64_of(i) - 0.5) * step);
                let mean = end.map_or((here - before) / step, |end| 2.0 * (end - before) / step);
                before = here;
                mean
            })
            .collect();
        Self { path, step, bend, last }
    }

    /// Length from the start at which a node lies.
    fn at(&self, node: usize) -> f64 {
        (f64_of(node) - 1.0) * self.step
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
/// tenth of what callers take for on the line.
const STRAIGHT_MM: f64 = 0.005;

/// How much more the end of a loop counts than other places: it is to meet its start.
const MEETS: f64 = 100.0;

/// Signed curvature of the leader between two nodes of these curvatures, and how it
/// changes with each: linear in them but for `about`, the curvature of the squares.
fn leading(k0: f64, k1: f64, about: f64, step: f64, d: f64) -> (f64, [f64; 2]) {
    let q = 1.0 + d * d * about * about;
    let r = q.sqrt();
    let by_change = d / (q * r * step);
    let by = [0.5 / r - by_change, 0.5 / r + by_change];
    (by[0] * k0 + by[1] * k1, by)
}

/// A wanted line, to be led along at a distance.
pub(super) struct LedLine<'a> {
    line: Line<'a>,
    ends: Vec<Straight>,
    distance: f64,
}

/// A leader's way.
pub(super) struct Way {
    /// Places of it.
    pub(super) points: Vec<Point>,
    /// How far to the left of the wanted start it begins, mm.
    pub(super) aside: f64,
    /// How far its follower goes off the line at least, mm, to first order.
    pub(super) least_mm: f64,
    /// Its follower's tightest bend, as a share of what the least radius allows, or of the
    /// path's own bend where that is tighter, to first order.
    pub(super) tightest: f64,
}

impl<'a> LedLine<'a> {
    /// The path, a loop opened at its start; `None` where it is too short to be told of.
    pub(super) fn new(path: &'a Path, distance: f64) -> Option<Self> {
        if path.length() <= 2.0 * distance {
            return None;
        }
        let line = Line::new(path, distance);
        if line.last < 8 {
            return None;
        }
        let ends = line.ends(distance);
        Some(Self { line, ends, distance })
    }

    /// The leader's way along which its follower goes as near to the path as a leader
    /// lets it that bends no tighter than `radius` mm and a share `wider`; `None` where it
    /// is led along the path itself. It begins at the path's own start, where the follower
    /// stays until the leader is at its distance, and ends near the path's end, the last
    /// `distance` of what trails lying straight. Round a loop it begins beside the start
    /// where that leaves less, and ends there as nearly as can be.
    ///
    /// A leader that turns as fast as it may draws its follower round a tighter bend than its
    /// own. Told to `hold` the follower's bends to so many times the radius, or to so many
    /// times those of the path where these are tighter, it gives `None` where no way was found
    /// that does both.
    pub(super) fn way(&self, radius: f64, wider: f64, hold: Option<f64>) -> Option<Way> {
        let (line, distance) = (&self.line, self.distance);
        let n = line.bend.len();
        let spare = (radius * radius + distance * distance).sqrt() - radius;
        let most = radius + (wider * radius).min(OF_LEAD * spare);
        let mut offset = vec![0.0; n];
        let (mut least_mm, mut tightest): (f64, f64) = (0.0, 0.0);
        for [first, second] in self.windows(most)? {
            let window = self.window(first, second, [most, radius], hold);
            let found = window.solved()?;
            least_mm = least_mm.max(found.largest);
            tightest = tightest.max(found.tightest);
            let (head, tail) = found.offsets.split_at(first.1 - first.0);
            offset[first.0..first.1].copy_from_slice(head);
            offset[second.0..second.1].copy_from_slice(tail);
        }
        Some(Way { points: line.led(&offset, distance), aside: offset[1], least_mm, tightest })
    }

    /// Runs of nodes round places that cannot be led, from and up to, by twos: a loop's end
    /// and its start, which are to meet, are one window, everywhere else the second is empty.
    fn windows(&self, most: f64) -> Option<Vec<[Run; 2]>> {
        let (line, distance) = (&self.line, self.distance);
        let n = line.bend.len();
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
        hard[line.last] |= self.ends.iter().any(|e| e.off.abs() > STRAIGHT_MM);
        if line.path.closed && (hard[0] || hard[line.last]) {
            hard[0] = true;
            hard[line.last] = true;
        }
        if !hard.contains(&true) {
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
        let mut runs: Vec<Run> = Vec::new();
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
            let until = (to + 2 + reach).min(n);
            runs.push((from, until));
            i = until;
        }
        let mut out: Vec<[Run; 2]> = runs.into_iter().map(|r| [r, (0, 0)]).collect();
        if let (true, [[first, _], .., [last, _]]) = (line.path.closed, out.as_slice())
            && first.0 == 0
            && last.1 > line.last
        {
            let both = [*last, *first];
            out.pop();
            out[0] = both;
        }
        Some(out)
    }

    fn window(&self, first: Run, second: Run, [most, own_radius]: [f64; 2], hold: Option<f64>) -> Window {
        let line = &self.line;
        let bend = [&line.bend[first.0..first.1], &line.bend[second.0..second.1]].concat();
        let n = bend.len();
        let seam = first.1 - first.0;
        let begins = if first.0 == 0 { Some(0) } else { (second.1 > 0).then_some(seam) };
        let aside = begins.filter(|_| line.path.closed && first.1 > line.last).map(|b| b + 1);
        // the line begins where it is told to; a run's first and last two nodes lie on it
        let mut free = vec![true; n];
        for (from, until) in [(0, seam), (seam, n)] {
            if begins == Some(from) && from < until {
                free[from + 1] = aside.is_some();
            } else {
                free[from..until.min(from + 2)].fill(false);
            }
            free[until.saturating_sub(2).max(from)..until].fill(false);
        }
        let mut bounds: Vec<Bound> = (first.0..first.1)
            .chain(second.0..second.1)
            .zip(0..)
            .filter(|&(node, at)| node <= line.last && free[at])
            .map(|(_, at)| Bound { first: at, by: [1.0, 0.0, 0.0], aside: 0.0, without: 0.0 })
            .collect();
        if line.last + 1 < first.1 {
            bounds.extend(self.ends.iter().map(|e| {
                let end = aside.is_some() && e.ahead >= self.distance;
                let weight = if end { MEETS } else { 1.0 };
                let slope = 0.5 * e.ahead / line.step;
                let by = [-slope, 1.0, slope].map(|x| x * e.by * weight);
                let aside = if end { -weight } else { 0.0 };
                Bound { first: line.last - first.0 - 1, by, aside, without: e.off * weight }
            }));
        }
        // what is fixed moves nothing
        for bound in &mut bounds {
            for (by, free) in bound.by.iter_mut().zip(&free[bound.first..]) {
                *by *= if *free { 1.0 } else { 0.0 };
            }
        }
        Window {
            bend,
            bounds,
            free,
            begins,
            seam,
            aside,
            step: line.step,
            distance: self.distance,
            radius: most,
            own_radius,
            hold,
            ends: (line.last + 1).saturating_sub(first.0),
        }
    }
}

/// Nodes from one up to before another.
type Run = (usize, usize);

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

//! Courses that end side by side joined by turns, whatever way they run.
//!
//! What [`crate::fibre::unidirectional`] does with rows, for courses that bend: their ends
//! form fronts, and which of them to join is the same matching problem
//! ([`crate::fibre::nests`]), valued as if the courses ran straight there. What it answers
//! is then fitted to the courses as they are.

use crate::count::f64_of;
use crate::fibre::Course;
use crate::fibre::nests::{self, MARGIN_MM, Nest};
use crate::fibre::room::Room;
use crate::fibre::runs::Runs;
use crate::fibre::worth::Worth;
use crate::geom::nearest::Lines;
use crate::geom::{Arc, Path, Point, Segment, bend, trig};

/// Ends side by side point the same way, up to this, radians.
const ALIKE_RAD: f64 = 0.35;

/// How far one of two ends side by side may lie ahead of the other, in spacings: at a
/// wall that courses meet at less than 20 degrees turns give up more than cuts cost.
const AHEAD: f64 = 2.7;

/// Most turns in a nest, as a share of the courses' length on either side, and as a
/// number: see the same for straight rows.
const DEEPEST: (f64, usize) = (0.35, 24);

/// By how much a turn steps back until it has room, in widths, and how often at most.
const STEP: f64 = 0.1;
const MOST_STEPS: usize = 1_000;

/// Most that one arc of a turn may turn by, radians.
const MOST_TURN: f64 = 2.6;

/// An open course and what turns have cut off its beginning and its end, mm.
struct Strand {
    path: Path,
    lost: [f64; 2],
}

/// One end of a strand.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
struct End {
    strand: usize,
    /// 0 its beginning, 1 its end.
    which: usize,
}

/// Two ends joined, the turn running from the first to the second.
struct Link {
    ends: [End; 2],
    turn: Path,
}

impl Strand {
    fn length(&self) -> f64 {
        self.path.length() - self.lost[0] - self.lost[1]
    }

    /// The place so far from one end, and the direction outwards.
    fn at(&self, which: usize, back: f64) -> Option<(Point, Point)> {
        let s = if which == 0 { back } else { self.path.length() - back };
        let (p, t) = (self.path.point_at(s)?, self.path.tangent_at(s)?);
        Some((p, if which == 0 { -t } else { t }))
    }

    fn kept(&self) -> Path {
        self.path.between(self.lost[0], self.path.length() - self.lost[1])
    }
}

/// Joins open courses of a room by turns where that is worth it. Gives the number of
/// cuts saved.
pub(super) fn join(room: &mut Room<'_>) -> usize {
    let (closed, open): (Vec<Course>, Vec<Course>) =
        room.courses.iter().cloned().partition(|c| c.path().closed);
    let count = open.len();
    let mut joiner = Joiner {
        room,
        radius: room.order.radius + MARGIN_MM,
        worth: Worth::in_order(&room.order, room.order.radius, open.iter().map(Course::length_mm)),
        strands: open.iter().map(|c| Strand { path: c.path().clone(), lost: [0.0; 2] }).collect(),
        links: Vec::new(),
    };
    for front in joiner.fronts() {
        joiner.serve(&front);
    }
    if joiner.links.is_empty() {
        return 0;
    }
    let paths = joiner.paths();
    let mut after = room.back_to(0, (room.told(), room.short.len()));
    after.replace(closed);
    let before = after.courses.len();
    for path in paths {
        after.lay_row(path);
    }
    let saved = count.saturating_sub(after.courses.len() - before);
    *room = after;
    saved
}

struct Joiner<'a, 'o> {
    room: &'a Room<'o>,
    radius: f64,
    worth: Worth,
    strands: Vec<Strand>,
    links: Vec<Link>,
}

impl Joiner<'_, '_> {
    fn at(&self, end: End, back: f64) -> Option<(Point, Point)> {
        self.strands[end.strand].at(end.which, back)
    }

    /// Ends that lie one beside the other, each to the left of the one before it as
    /// seen by the tow.
    fn fronts(&self) -> Vec<Vec<End>> {
        let spacing = self.room.order.spacing;
        let ends: Vec<(End, Point, Point)> = (0..self.strands.len())
            .flat_map(|strand| [0, 1].map(|which| End { strand, which }))
            .filter_map(|e| self.at(e, 0.0).map(|(p, t)| (e, p, t)))
            .collect();
        // the nearest end to the left, or to the right
        let beside = |i: usize, side: f64| {
            let (_, p, t) = ends[i];
            let near = |j: &usize| {
                let (_, q, u) = ends[*j];
                let (ahead, aside) = ((q - p).dot(t), (q - p).dot(t.left()) * side);
                *j != i
                    && t.dot(u) > trig::cos(ALIKE_RAD)
                    && (0.5..1.7).contains(&(aside / spacing))
                    && ahead.abs() < AHEAD * spacing
            };
            let off = |j: &usize| ends[*j].1.dist(p);
            (0..ends.len()).filter(near).min_by(|a, b| off(a).total_cmp(&off(b)))
        };
        let left: Vec<Option<usize>> =
            (0..ends.len()).map(|i| beside(i, 1.0).filter(|&j| beside(j, -1.0) == Some(i))).collect();
        let mut first: Vec<bool> = vec![true; ends.len()];
        left.iter().flatten().for_each(|&j| first[j] = false);
        let mut fronts: Vec<Vec<End>> = Vec::new();
        for i in (0..ends.len()).filter(|&i| first[i]) {
            let mut front = vec![ends[i].0];
            let mut at = i;
            while let Some(next) = left[at] {
                front.push(ends[next].0);
                at = next;
            }
            fronts.push(front);
        }
        // the longest first: what it joins the others must not join again
        fronts.sort_by_key(|f| std::cmp::Reverse(f.len()));
        fronts
    }

    /// Joins the ends of a front by the nests that are worth most.
    fn serve(&mut self, front: &[End]) {
        let o = self.room.order;
        let places: Vec<Point> = front.iter().filter_map(|e| self.at(*e, 0.0)).map(|(p, _)| p).collect();
        let lengths: Vec<f64> = front.iter().map(|e| self.strands[e.strand].length()).collect();
        let (runs, length) = self.runs();
        let across = |i: usize, j: usize| places[i].dist(places[j]);
        let value = |nest: Nest| {
            let mut sum = 0.0;
            for (k, (i, j)) in nest.pairs().enumerate() {
                let (a, b) = (front[i].strand, front[j].strand);
                if runs.same(a, b) || across(i, j) < 2.0 * self.radius {
                    return None;
                }
                let back = self.radius + f64_of(k) * o.spacing;
                if back > DEEPEST.0 * lengths[i].min(lengths[j]) {
                    return None;
                }
                let turn = std::f64::consts::PI * self.radius + across(i, j) - 2.0 * self.radius;
                let joined = length[a] + length[b] - 2.0 * back + turn;
                sum += self.worth.of(joined) - self.worth.of(length[a]) - self.worth.of(length[b]);
            }
            // what ends inside reaches into the bend, less where that falls away
            let back = f64_of(nest.depth) * o.spacing + 0.3 * self.radius;
            for end in &front[nest.first + nest.depth..=nest.last - nest.depth] {
                let run = length[end.strand];
                sum -= self.worth.of(run) - self.worth.of(run - back);
            }
            Some(sum)
        };
        let mut sorted = lengths.clone();
        sorted.sort_by(f64::total_cmp);
        let Some(median) = sorted.get(sorted.len() / 2) else { return };
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few courses")]
        let (deepest, least) = (
            ((DEEPEST.0 * median / o.spacing) as usize).clamp(1, DEEPEST.1),
            ((2.0 * self.radius / o.spacing).floor() as usize).max(1),
        );
        let (_, nests) = nests::best(front.len(), least, deepest, 0, value);
        for nest in nests {
            self.place(front, nest);
        }
    }

    /// Which run each strand is in, and how long that is.
    fn runs(&self) -> (Runs, Vec<f64>) {
        let runs = Runs::new(self.strands.len(), self.links.iter().map(|l| l.ends.map(|e| e.strand).into()));
        let strands = self.strands.iter().map(Strand::length).enumerate();
        let turns = self.links.iter().map(|l| (l.ends[0].strand, l.turn.length()));
        let length = runs.sums(strands.chain(turns));
        (runs, length)
    }

    /// What all runs are worth.
    fn total(&self) -> f64 {
        let (runs, length) = self.runs();
        let laid = runs.each().map(|i| length[i]).filter(|l| *l >= self.worth.shortest);
        laid.map(|l| self.worth.of(l)).sum()
    }

    /// Fits a nest to the courses as they are: each turn as far out as it has room.
    fn place(&mut self, front: &[End], nest: Nest) {
        let o = self.room.order;
        let was = self.total();
        let links = self.links.len();
        let lost: Vec<[f64; 2]> = self.strands.iter().map(|s| s.lost).collect();
        let chord = bend::PROPOSAL_CHORD_MM;
        let mut others = Lines::default();
        for (k, strand) in self.strands.iter().enumerate() {
            if !front[nest.first..=nest.last].iter().any(|e| e.strand == k) {
                others.add(&strand.kept().flatten(chord));
            }
        }
        self.links.iter().for_each(|l| others.add(&l.turn.flatten(chord)));
        let mut begin = [0.0; 2];
        let mut depth = 0;
        for (i, j) in nest.pairs() {
            // a turn inside another one may close a run to a loop
            if self.runs().0.same(front[i].strand, front[j].strand) {
                break;
            }
            let ends = [front[i], front[j]];
            let Some((back, turn)) = self.farthest_out(ends, begin, &others) else { break };
            others.add(&turn.flatten(chord));
            for (end, back) in ends.into_iter().zip(back) {
                self.strands[end.strand].lost[end.which] = back;
            }
            self.links.push(Link { ends, turn });
            begin = back.map(|b| b + 0.3 * o.spacing);
            depth += 1;
        }
        if depth > 0 {
            let mut innermost = Lines::default();
            innermost.add(&self.links[self.links.len() - 1].turn.flatten(chord));
            let from = begin[0].max(begin[1]) + 2.0 * self.radius;
            for end in &front[nest.first + depth..=nest.last - depth] {
                self.draw_back(*end, from, &innermost);
            }
        }
        let spared = self.strands.iter().all(|s| s.length() > o.width);
        if !spared || self.total() <= was {
            self.links.truncate(links);
            self.strands.iter_mut().zip(lost).for_each(|(s, lost)| s.lost = lost);
        }
    }

    /// The turn between two ends that lies as far out as it has room, and how far back it begins
    /// and ends: no less far than `begin`, clear of other tow.
    fn farthest_out(&self, ends: [End; 2], begin: [f64; 2], others: &Lines) -> Option<([f64; 2], Path)> {
        let o = self.room.order;
        let laid = |back: [f64; 2]| {
            let turn = self.turn(ends[0], ends[1], back)?;
            let line = turn.flatten(bend::PROPOSAL_CHORD_MM);
            let clear = !line.windows(2).any(|w| others.nearer(w[0], w[1], o.apart()));
            (clear && self.room.inside(&turn)).then_some((back, turn))
        };
        // an outermost turn begins a radius inside the wall, further in at a corner
        let step = STEP * o.width;
        let back = (0..MOST_STEPS).map(|k| step * f64_of(k)).take_while(|b| *b < 2.5 * self.radius);
        let mut found = back.map(|b| begin.map(|at| at + b)).find_map(laid)?;
        // then each end as far out as it goes: walls are seldom square to courses
        for which in [0, 1] {
            for _ in 0..MOST_STEPS {
                let mut back = found.0;
                back[which] -= step;
                match laid(back).filter(|_| back[which] >= begin[which]) {
                    Some(further) => found = further,
                    None => break,
                }
            }
        }
        Some(found)
    }

    /// Ends a strand inside a turn: outwards from where nothing comes near, as far as it goes.
    fn draw_back(&mut self, end: End, from: f64, turn: &Lines) {
        let o = self.room.order;
        let strand = &mut self.strands[end.strand];
        let from = from.min(strand.length());
        let steps = (from / (STEP * o.width)).ceil();
        let mut k = steps;
        while k > 0.0 {
            let near = strand.at(end.which, from * (k - 1.0) / steps);
            if near.is_none_or(|(p, _)| turn.distance(p) < o.apart()) {
                break;
            }
            k -= 1.0;
        }
        strand.lost[end.which] = from * k / steps;
    }

    /// The turn from one end to another to the left of it, so far back each: an arc, a
    /// straight, an arc.
    fn turn(&self, a: End, b: End, back: [f64; 2]) -> Option<Path> {
        let r = self.radius;
        if back[0] >= self.strands[a.strand].length() || back[1] >= self.strands[b.strand].length() {
            return None;
        }
        let ((p, t), (q, u)) = (self.at(a, back[0])?, self.at(b, back[1])?);
        let (c1, c2) = (p + t.left() * r, q - u.left() * r);
        let along = (c2 - c1).normalised()?;
        let (m1, m2) = (c1 - along.left() * r, c2 - along.left() * r);
        let arc = |from, to, centre| Arc { from, to, centre, ccw: true };
        let (first, last) = (arc(p, m1, c1), arc(m2, q, c2));
        if first.sweep() > MOST_TURN || last.sweep() > MOST_TURN || along.dot(t.left()) < 0.0 {
            return None;
        }
        let segments = [Segment::Arc(first), Segment::Line { from: m1, to: m2 }, Segment::Arc(last)];
        Some(Path::new(segments.into_iter().filter(|s| s.length() > 1e-6).collect(), false))
    }

    /// Strands and turns joined to runs.
    fn paths(&self) -> Vec<Path> {
        let link_at = |end: End| self.links.iter().find(|l| l.ends.contains(&end));
        let mut used = vec![false; self.strands.len()];
        let mut paths = Vec::new();
        for first in 0..self.strands.len() {
            let free = [0, 1].into_iter().find(|&which| link_at(End { strand: first, which }).is_none());
            let (false, Some(which)) = (used[first], free) else { continue };
            let mut entered = End { strand: first, which };
            let mut segments: Vec<Segment> = Vec::new();
            loop {
                used[entered.strand] = true;
                let kept = self.strands[entered.strand].kept();
                segments.extend(if entered.which == 0 { kept.segments } else { kept.reversed().segments });
                let left = End { which: 1 - entered.which, ..entered };
                let Some(link) = link_at(left) else { break };
                let (turn, next) = if link.ends[0] == left {
                    (link.turn.clone(), link.ends[1])
                } else {
                    (link.turn.reversed(), link.ends[0])
                };
                segments.extend(turn.segments);
                if used[next.strand] {
                    break;
                }
                entered = next;
            }
            paths.push(Path::new(segments, false));
        }
        paths
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fibre::order::Order;
    use crate::fibre::steered;
    use crate::fibre::steered::directions::Directions;
    use crate::geom::{combine, pt};
    use crate::job::field::Sample;
    use crate::job::{Field, Rule};

    /// A plate of 120 x 40 mm, its courses 1 mm wide along a direction that turns by
    /// `bow` degrees from one end to the other.
    fn laid(angle_deg: f64, bow: f64) -> Room<'static> {
        laid_with(angle_deg, bow, false)
    }

    fn laid_with(angle_deg: f64, bow: f64, few_cuts: bool) -> Room<'static> {
        let order = Order { few_cuts, ..Order::sample(Rule::Steered) };
        let plate = combine::ring_area(&[pt(0.0, 0.0), pt(120.0, 0.0), pt(120.0, 40.0), pt(0.0, 40.0)]);
        let mut room = Room::new(order, &plate);
        let samples = (0..=24)
            .flat_map(|i| (0..=8).map(move |k| (5.0 * f64::from(i), 5.0 * f64::from(k))))
            .map(|(x, y)| Sample {
                at_mm: [x, y],
                angle_deg: angle_deg + bow * (x / 120.0 - 0.5),
                weight: 1.0,
            })
            .collect();
        steered::lay(&mut room, &Directions::new(&Field { samples }));
        room
    }

    fn tow(room: &Room<'_>) -> f64 {
        room.courses.iter().map(Course::length_mm).sum()
    }

    /// The nearest that two courses, or two far parts of one, come to each other.
    fn nearest(room: &Room<'_>) -> f64 {
        let lines: Vec<Vec<Point>> = room.courses.iter().map(|c| c.path().flatten(0.002)).collect();
        let mut least = f64::INFINITY;
        for (i, a) in lines.iter().enumerate() {
            let mut at = 0.0;
            let along: Vec<f64> = std::iter::once(0.0)
                .chain(a.windows(2).map(|w| {
                    at += w[0].dist(w[1]);
                    at
                }))
                .collect();
            for (k, p) in a.iter().enumerate() {
                for (j, b) in lines.iter().enumerate() {
                    let mut from = 0.0;
                    for w in b.windows(2) {
                        let to = from + w[0].dist(w[1]);
                        let own = i == j && from - along[k] < 3.0 && along[k] - to < 3.0;
                        if !own {
                            let d = crate::geom::polyline::point_segment_distance(*p, w[0], w[1]);
                            least = least.min(d);
                        }
                        from = to;
                    }
                }
            }
        }
        least
    }

    #[test]
    fn courses_are_joined_at_less_than_a_cut_may_cost() {
        let mut all = (0, 0);
        for (angle, bow) in [(0.0, 0.0), (0.0, 40.0), (15.0, 20.0), (90.0, 30.0)] {
            // the same courses, joined
            let plain = laid(angle, bow);
            let mut joined = plain.clone();
            joined.order.few_cuts = true;
            let saved = join(&mut joined);
            let (n, m) = (plain.courses.len(), joined.courses.len());
            assert_eq!(n - m, saved, "{angle} {bow}");
            assert!(m * 20 <= n * 19, "{angle} {bow}: {m} of {n} courses");
            // a region that asks for few cuts is laid beside the first course that leaves fewest
            let few = laid_with(angle, bow, true).courses.len();
            assert!(few <= m, "{angle} {bow}: {few} courses, {m} where they are joined afterwards");
            all = (all.0 + n, all.1 + few);
            let mean = tow(&plain) / f64_of(n);
            let cost = (tow(&plain) - tow(&joined)) / f64_of(n - m);
            assert!(cost < 0.25 * mean, "{angle} {bow}: {cost} mm of tow for a cut, {mean} mm a course");
            for c in &joined.courses {
                assert!(c.path().min_radius() >= 5.0 && c.length_mm() >= 20.0, "legal");
                assert!(c.path().flatten(0.1).iter().all(|p| joined.room_of(*p)), "within the plate");
            }
            let near = nearest(&joined);
            assert!(near > 1.0 - 0.021, "{angle} {bow}: {near} mm from course to course");
        }
        assert!(all.1 * 10 <= all.0 * 7, "{} of {} courses", all.1, all.0);
    }

    impl Room<'_> {
        /// Half a width within the plate.
        fn room_of(&self, p: Point) -> bool {
            (0.48..=119.52).contains(&p.x) && (0.48..=39.52).contains(&p.y)
        }
    }
}

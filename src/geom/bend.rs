//! Lines and arcs through a run of points, none tighter than a radius.
//!
//! A rule proposes points; [`fit`] answers with tangent lines and arcs within a
//! stated deviation of them, every arc at least the radius asked for, and says
//! where it had to stop. The guarantee is by construction: an arc that would be
//! tighter is never made.

use super::biarc::{Biarc, Ends};
use super::{Path, Point, Segment, polyline};

/// What a run of points became.
#[derive(Clone, Debug, Default)]
pub struct Fit {
    /// Tangential runs of lines and arcs, in the points' order. One closed path
    /// where a closed run could be followed all the way round.
    pub pieces: Vec<Path>,
    /// Where the points bend too tightly and the path had to stop.
    pub kinks: Vec<Point>,
}

/// Sagitta of the chords that proposals are made of, mm: how far apart points of
/// a bend may be before an edge counts as straight.
pub const PROPOSAL_CHORD_MM: f64 = 0.004;

/// An edge that would have more sagitta than this as a chord is a straight, mm: drawings
/// have chords somewhat coarser than proposals.
const STRAIGHT_FROM_MM: f64 = 2.0 * PROPOSAL_CHORD_MM;

/// Arcs come out at least this much wider than asked, mm: a path that is written to
/// three decimals has its ends and centres moved by up to 0.7 um each, and radii are
/// measured from what is written.
pub(super) const RADIUS_MARGIN_MM: f64 = 2e-3;

/// Where the joint of a biarc may lie, tried in turn.
pub(super) const SHARES: [f64; 9] = [1.0, 0.6, 1.4, 0.35, 1.65, 0.15, 1.85, 0.05, 1.95];

#[derive(Clone, Copy)]
struct Node {
    p: Point,
    /// Unit tangent; `None` where the points bend too tightly to have one.
    tangent: Option<Point>,
    /// How far a curve may pass from it, mm.
    within: f64,
}

/// How far a path may lie from its points, mm.
#[derive(Clone, Copy, Debug)]
pub(super) struct Near<'a> {
    /// Everywhere but at some places.
    within: f64,
    /// At the places, and so far round them.
    loosely: f64,
    places: &'a [Point],
    round: f64,
}

impl<'a> Near<'a> {
    /// The same everywhere.
    fn throughout(within: f64) -> Self {
        Self { within, loosely: within, places: &[], round: 0.0 }
    }

    /// `within`, but `loosely` up to `round` mm from these places.
    pub(super) fn but_at(within: f64, loosely: f64, places: &'a [Point], round: f64) -> Self {
        Self { within, loosely, places, round }
    }

    fn at(&self, p: Point) -> f64 {
        if self.places.iter().any(|q| q.dist(p) < self.round) { self.loosely } else { self.within }
    }
}

/// Longest edge that still counts as the chord of a bend of this radius, mm.
fn longest_chord(radius: f64) -> f64 {
    1.05 * (8.0 * radius * PROPOSAL_CHORD_MM).sqrt()
}

/// Whether a vertex turns more than a bend of this radius would over its edges,
/// which are clipped: between long straights a corner must not look gentle.
pub(super) fn too_tight(turn: f64, before: f64, after: f64, radius: f64) -> bool {
    let c = longest_chord(radius);
    turn.abs() > (before.min(c) + after.min(c)) / (2.0 * radius) * 1.15 + 2e-3
}

/// Unit tangent at the middle one of five points, of which the first and the last may be
/// missing.
fn vertex_tangent(points: [Option<Point>; 5], radius: f64) -> Option<Point> {
    let [before, Some(p), Some(q), Some(r), after] = points else { return None };
    let (la, lb) = (p.dist(q), q.dist(r));
    let (da, db) = ((q - p).normalised()?, (r - q).normalised()?);
    let tau = da.turn_to(db);
    if too_tight(tau, la, lb, radius) {
        return None;
    }
    let c = longest_chord(radius);
    if la > 3.0 * lb && la > c && !is_chord(before, p, q, Some(r)) {
        return Some(da);
    }
    if lb > 3.0 * la && lb > c && !is_chord(Some(p), q, r, after) {
        return Some(db);
    }
    // exact on a circle whatever the two chords are
    Some(da.turned(tau * la / (la + lb)))
}

/// The edge from `p` to `q` is the chord of a wide bend and no straight: at both its ends
/// it turns in one sense by what one circle would turn there, and as a chord of that
/// circle it has no more sagitta than chords have.
fn is_chord(before: Option<Point>, p: Point, q: Point, after: Option<Point>) -> bool {
    let (Some(o), Some(r)) = (before, after) else { return false };
    let bent = |a: Point, b: Point, c: Point| {
        Some(2.0 * (b - a).normalised()?.turn_to((c - b).normalised()?) / (a.dist(b) + b.dist(c)))
    };
    let (Some(first), Some(second)) = (bent(o, p, q), bent(p, q, r)) else { return false };
    let (low, high) = (first.abs().min(second.abs()), first.abs().max(second.abs()));
    let sagitta = 0.125 * high * p.dist(q) * p.dist(q);
    first * second > 0.0 && high < ALIKE * low && sagitta < STRAIGHT_FROM_MM
}

/// Two curvatures are that of one circle up to this factor: points that are tidied to a
/// quarter of a chord's sagitta tell them no better.
const ALIKE: f64 = 2.0;

/// Points without repeats; a closed run without its repeated first point.
fn cleaned(points: &[Point], closed: bool, tolerance: f64) -> Vec<Point> {
    let mut out: Vec<Point> = Vec::with_capacity(points.len());
    for &p in points {
        if out.last().is_none_or(|q| q.dist(p) > 1e-5) {
            out.push(p);
        }
    }
    if closed {
        while out.len() > 1 && out[0].dist(out[out.len() - 1]) <= 1e-5 {
            out.pop();
        }
        return polyline::simplified_ring(&out, tolerance);
    }
    polyline::simplified(&out, tolerance)
}

/// Share of the deviation that is spent on leaving out points.
const TIDY: f64 = 0.1;

/// Nodes of a run: its points and a few more on long edges, so that a curve can
/// start and end where the tangent is known.
fn nodes(points: &[Point], closed: bool, radius: f64, asked: Near<'_>) -> Vec<Node> {
    let n = points.len();
    let edges = if closed { n } else { n - 1 };
    let tangent_of = |i: usize| -> Option<Point> {
        if !closed && (i == 0 || i == n - 1) {
            let (a, b) = if i == 0 { (points[0], points[1]) } else { (points[n - 2], points[n - 1]) };
            return (b - a).normalised();
        }
        let at = |k: usize| {
            // `k` is two more than what is to be added to `i`
            if closed {
                Some(points[(i + k + n - 2) % n])
            } else {
                points.get((i + k).checked_sub(2)?).copied()
            }
        };
        vertex_tangent([at(0), at(1), at(2), at(3), at(4)], radius)
    };
    let tangents: Vec<Option<Point>> = (0..n).map(tangent_of).collect();
    let tidy = TIDY * asked.within;
    let mut out = Vec::new();
    for i in 0..edges {
        let (a, b) = (points[i], points[(i + 1) % n]);
        let length = a.dist(b);
        let Some(d) = (b - a).normalised() else { continue };
        let deviation = asked.at(a);
        let within = deviation - tidy;
        out.push(Node { p: a, tangent: tangents[i], within });
        // a fillet of the radius that stays within the deviation leaves the edges
        // at most this far from the corner
        let near = 1.1 * (2.0 * deviation * radius).sqrt();
        let mut at: Vec<f64> = Vec::new();
        for s in [near, 2.5 * near] {
            if length > 2.4 * s {
                at.extend([s, length - s]);
            }
        }
        if length > 6.0 * near {
            at.push(length * 0.5);
        }
        at.sort_by(f64::total_cmp);
        // on the curve, not on its chord: between the tangents at both ends as a cubic,
        // so that lines fitted one inside the other do not drift off by chords
        let slope = |t: Option<Point>| t.map_or(0.0, |t| d.turn_to(t));
        let (mut from, mut to) = (slope(tangents[i]), slope(tangents[(i + 1) % n]));
        let aside = |u: f64, from: f64, to: f64| length * u * (1.0 - u) * (from * (1.0 - u) - to * u);
        // further off it is no chord: a straight between gentle corners
        if [0.33, 0.5, 0.67].iter().any(|u| aside(*u, from, to).abs() > STRAIGHT_FROM_MM) {
            (from, to) = (0.0, 0.0);
        }
        for s in at {
            let u = s / length;
            let t = d.turned(from * (1.0 - u) * (1.0 - 3.0 * u) + to * u * (3.0 * u - 2.0));
            let aside = aside(u, from, to);
            out.push(Node { p: a.lerp(b, u) + d.left() * aside, tangent: Some(t), within });
        }
    }
    if !closed {
        let within = asked.at(points[n - 1]) - tidy;
        out.push(Node { p: points[n - 1], tangent: tangents[n - 1], within });
    }
    out
}

/// Nodes that a curve spans at most where every node is tried.
const SPAN: usize = 40;

struct Fitter<'a> {
    nodes: &'a [Node],
    radius: f64,
}

impl Fitter<'_> {
    /// The curve from node `i` to node `j`, if one is legal and close enough.
    fn link(&self, i: usize, j: usize) -> Option<Biarc> {
        let (a, b) = (&self.nodes[i], &self.nodes[j]);
        let (t0, t1) = (a.tangent?, b.tangent?);
        let ends = Ends::new((a.p, t0), (b.p, t1))?;
        SHARES.iter().find_map(|&share| {
            let c = ends.joined(share, self.radius)?;
            let close = (i + 1..j).all(|k| c.deviation(self.nodes[k].p) <= self.nodes[k].within);
            // with neighbours only, the edge itself must be followed
            let follows = close && c.deviation(a.p.lerp(self.nodes[i + 1].p, 0.5)) <= a.within;
            follows.then_some(c)
        })
    }

    /// The farthest node that a curve from `i` reaches, by galloping.
    fn farthest(&self, i: usize, last: usize) -> Option<(usize, Biarc)> {
        let mut best: Option<(usize, Biarc)> = None;
        let mut step = 1;
        let mut fail = last + 1;
        while i + step <= last {
            match self.link(i, i + step) {
                Some(c) => best = Some((i + step, c)),
                None if step >= 8 => {
                    fail = i + step;
                    break;
                }
                None => {}
            }
            step *= 2;
        }
        if let Some((reach, _)) = best {
            // what lies between the last success and the next failure
            let (mut lo, mut hi) = (reach, fail.min(reach + (reach - i)).min(last + 1));
            while lo + 1 < hi {
                let mid = lo.midpoint(hi);
                if let Some(c) = self.link(i, mid) {
                    best = Some((mid, c));
                    lo = mid;
                } else {
                    hi = mid;
                }
            }
            return best;
        }
        // none of the doubled steps: look at every near node
        (i + 1..=(i + 24).min(last)).rev().find_map(|j| self.link(i, j).map(|c| (j, c)))
    }

    /// Curves from node `from` as far towards `last` as they go. Gives the node
    /// reached.
    fn run(&self, from: usize, last: usize) -> (usize, Vec<Biarc>) {
        let (at, curves) = self.greedy(from, last);
        let (at, curves) = if at == last { (at, curves) } else { self.search(from, last) };
        (at, curves.into_iter().map(|c| c.1).collect())
    }

    /// Farthest curves one after the other, until one finds no other.
    fn greedy(&self, from: usize, last: usize) -> (usize, Vec<(usize, Biarc)>) {
        let mut curves = Vec::new();
        let mut at = from;
        while at < last {
            let Some((next, c)) = self.farthest(at, last) else { break };
            curves.push((at, c));
            at = next;
        }
        (at, curves)
    }

    /// Farthest curves from the first node to the last one; where that sticks it is put
    /// right from a little before on, not from its start. `None` where that does not help.
    fn run_through(&self) -> Option<Vec<Biarc>> {
        let last = self.nodes.len() - 1;
        let mut curves: Vec<(usize, Biarc)> = Vec::new();
        let mut at = 0;
        while at < last {
            if let Some((next, c)) = self.farthest(at, last) {
                curves.push((at, c));
                at = next;
                continue;
            }
            let kept = curves.iter().rposition(|(from, _)| from + BACK <= at).unwrap_or(0);
            let from = curves.get(kept).map_or(at, |c| c.0);
            let (reached, found) = self.search(from, (at + BACK).min(last));
            if reached <= at {
                return None;
            }
            curves.truncate(kept);
            curves.extend(found);
            at = reached;
        }
        Some(curves.into_iter().map(|c| c.1).collect())
    }

    /// The same without greed: every reachable node is tried, so a start that
    /// led the greedy walk astray is put right. Gives the node that each curve begins at too.
    fn search(&self, from: usize, last: usize) -> (usize, Vec<(usize, Biarc)>) {
        let count = last - from + 1;
        let mut best: Vec<Option<(usize, usize, Biarc)>> = vec![None; count];
        let mut reached = from;
        for i in from..last {
            let cost = match best[i - from] {
                Some((cost, ..)) => cost,
                None if i == from => 0,
                None => continue,
            };
            // nodes far behind what is already reached cannot matter: a curve
            // spans a limited number of nodes
            for j in i + 1..=(i + SPAN).min(last) {
                if best[j - from].is_some_and(|(c, ..)| c <= cost + 1) {
                    continue;
                }
                if let Some(c) = self.link(i, j) {
                    best[j - from] = Some((cost + 1, i, c));
                    reached = reached.max(j);
                }
            }
            if i > reached {
                break;
            }
        }
        let mut curves = Vec::new();
        let mut at = reached;
        while at > from {
            let Some((_, before, c)) = best[at - from] else { break };
            curves.push((before, c));
            at = before;
        }
        curves.reverse();
        (reached, curves)
    }
}

pub(super) fn path_of(curves: &[Biarc], closed: bool) -> Path {
    let mut segments: Vec<Segment> = Vec::with_capacity(curves.len() * 2);
    let mut add = |s: Segment| {
        if let (Some(Segment::Line { from, to }), Segment::Line { to: end, .. }) = (segments.last(), &s) {
            let (from, to, end) = (*from, *to, *end);
            if polyline::point_segment_distance(to, from, end) < 1e-7 {
                segments.pop();
                segments.push(Segment::Line { from, to: end });
                return;
            }
        }
        if let (Some(Segment::Arc(a)), Segment::Arc(b)) = (segments.last(), &s) {
            let (a, b) = (*a, *b);
            // two halves of one arc; together still well under a full turn
            if a.ccw == b.ccw && a.centre.dist(b.centre) < 1e-6 && a.sweep() + b.sweep() < 4.0 {
                segments.pop();
                segments.push(Segment::Arc(super::Arc { to: b.to, ..a }));
                return;
            }
        }
        segments.push(s);
    };
    for c in curves {
        add(c.first.segment());
        add(c.second.segment());
    }
    Path::new(segments, closed)
}

/// Tangent lines and arcs along a run of points.
///
/// `min_radius` and `deviation` in mm. No arc of the answer is tighter than
/// `min_radius`; every point lies within `deviation` of the answer, except near
/// the `kinks`, where the answer is interrupted: the pieces end as close to the
/// kink as they can be laid. A closed run (first point not repeated, or
/// repeated: both are read) that can be followed all round gives one closed path.
pub fn fit(points: &[Point], closed: bool, min_radius: f64, deviation: f64) -> Fit {
    fit_near(points, closed, min_radius, Near::throughout(deviation))
}

/// The same, nearer to the points in one place than in another.
pub(super) fn fit_near(points: &[Point], closed: bool, min_radius: f64, asked: Near<'_>) -> Fit {
    let points = cleaned(points, closed, TIDY * asked.within);
    if points.len() < 2 || (closed && points.len() < 3) {
        return Fit::default();
    }
    let mut nodes = nodes(&points, closed, min_radius, asked);
    if closed {
        let Some(start) = calmest(&nodes) else {
            return Fit { pieces: Vec::new(), kinks: vec![points[0]] };
        };
        nodes.rotate_left(start);
        let first = Node { ..nodes[0] };
        nodes.push(first);
    }
    let fitter = Fitter { nodes: &nodes, radius: min_radius + RADIUS_MARGIN_MM };
    let last = nodes.len() - 1;
    let mut fit = Fit::default();
    let mut at = 0;
    while at < last {
        if nodes[at].tangent.is_none() {
            at += 1;
            continue;
        }
        let (reached, curves) = fitter.run(at, last);
        if closed && at == 0 && reached == last {
            return Fit { pieces: vec![path_of(&curves, true)], kinks: Vec::new() };
        }
        if !curves.is_empty() {
            fit.pieces.push(path_of(&curves, false));
        }
        if reached < last {
            fit.kinks.push(nodes[reached].p);
        }
        at = reached.max(at) + 1;
    }
    if closed && fit.pieces.len() > 1 {
        // the run was opened at an arbitrary calm place: what ends there and
        // what starts there are one piece
        let meets = fit.pieces[0].start().zip(fit.pieces[fit.pieces.len() - 1].end());
        if meets.is_some_and(|(a, b)| a.dist(b) < 1e-9) {
            let head = fit.pieces.remove(0);
            if let Some(tail) = fit.pieces.last_mut() {
                tail.segments.extend(head.segments);
            }
        }
    }
    fit
}

/// So many nodes before a place where the greedy walk sticks another walk begins, and so
/// far beyond it it may come: some curves' worth.
const BACK: usize = 24;

/// As [`fit`] of an open run, where only one path from its first point to its last is
/// of use: `None` where there is none. It is found out sooner.
pub fn fit_through(points: &[Point], min_radius: f64, deviation: f64) -> Option<Path> {
    let points = cleaned(points, false, TIDY * deviation);
    if points.len() < 2 {
        return None;
    }
    let nodes = nodes(&points, false, min_radius, Near::throughout(deviation));
    let fitter = Fitter { nodes: &nodes, radius: min_radius + RADIUS_MARGIN_MM };
    let curves = fitter.run_through()?;
    Some(path_of(&curves, false))
}

/// The node to open a closed run at: in the middle of the longest straight.
fn calmest(nodes: &[Node]) -> Option<usize> {
    let n = nodes.len();
    let room = |i: usize| nodes[i].p.dist(nodes[(i + 1) % n].p) + nodes[i].p.dist(nodes[(i + n - 1) % n].p);
    (0..n).filter(|&i| nodes[i].tangent.is_some()).max_by(|&a, &b| {
        room(a)
            .total_cmp(&room(b))
            .then(nodes[b].p.x.total_cmp(&nodes[a].p.x))
            .then(nodes[b].p.y.total_cmp(&nodes[a].p.y))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{Arc, pt};
    use std::f64::consts::PI;

    const DEVIATION: f64 = 0.02;

    /// A rounded rectangle: half sizes and corner radius.
    fn rounded(a: f64, b: f64, r: f64) -> Path {
        let corners = [(a, -b, 0.0, -1.0), (a, b, 1.0, 0.0), (-a, b, 0.0, 1.0), (-a, -b, -1.0, 0.0)];
        let mut segments = Vec::new();
        let n = corners.len();
        let centre = |i: usize| {
            let (x, y, ..) = corners[i];
            pt(x - r * x.signum(), y - r * y.signum())
        };
        for i in 0..n {
            let (.., nx, ny) = corners[i];
            let c = centre(i);
            let from = c + pt(nx, ny) * r;
            let to = c + pt(-ny, nx) * r;
            segments.push(Segment::Arc(Arc { from, to, centre: c, ccw: true }));
            let (.., mx, my) = corners[(i + 1) % n];
            segments.push(Segment::Line { from: to, to: centre((i + 1) % n) + pt(mx, my) * r });
        }
        Path::new(segments, true)
    }

    fn assert_legal(path: &Path, radius: f64) {
        assert!(path.min_radius() >= radius, "radius {} below {radius}", path.min_radius());
        assert!(path.worst_joint() < 1e-3, "a joint turns by {} rad", path.worst_joint());
        for (a, b) in path.segments.iter().zip(path.segments.iter().skip(1)) {
            assert!(a.to().dist(b.from()) < 1e-9, "the path is torn");
        }
    }

    /// Distance from a point to a flattened path.
    fn off(p: Point, line: &[Point]) -> f64 {
        line.windows(2).map(|w| polyline::point_segment_distance(p, w[0], w[1])).fold(f64::INFINITY, f64::min)
    }

    #[test]
    fn planted_radii_are_found_whatever_the_start_the_sense_and_the_mirror() {
        for r in [3.0, 5.0, 8.0, 12.0] {
            let truth = rounded(40.0, 15.0, r);
            let points = truth.flatten(PROPOSAL_CHORD_MM);
            for shift in [0, 7, 31] {
                for mirror in [false, true] {
                    for reverse in [false, true] {
                        let mut ring: Vec<Point> = points[..points.len() - 1].to_vec();
                        let k = shift % ring.len();
                        ring.rotate_left(k);
                        if mirror {
                            ring.iter_mut().for_each(|p| p.x = -p.x);
                        }
                        if reverse {
                            ring.reverse();
                        }
                        let fit = fit(&ring, true, r * 0.98, DEVIATION);
                        assert!(fit.kinks.is_empty(), "r {r} shift {shift}: kinks {:?}", fit.kinks);
                        assert_eq!(fit.pieces.len(), 1, "one closed path");
                        let path = &fit.pieces[0];
                        assert!(path.closed, "closed");
                        assert_legal(path, r * 0.98);
                        assert!(
                            path.min_radius() < r * 1.1,
                            "the planted bend is still there: {}",
                            path.min_radius()
                        );
                        assert!((path.length() - truth.length()).abs() < 0.05, "length {}", path.length());
                        let line = path.flatten(1e-4);
                        for p in &ring {
                            assert!(off(*p, &line) <= DEVIATION + 1e-3, "off by {}", off(*p, &line));
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn a_corner_interrupts_the_path() {
        let points = [pt(0.0, 0.0), pt(40.0, 0.0), pt(40.0, 30.0)];
        let fit = fit(&points, false, 5.0, DEVIATION);
        assert_eq!(fit.pieces.len(), 2, "{fit:?}");
        assert_eq!(fit.kinks.len(), 1, "{fit:?}");
        assert!(fit.kinks[0].dist(pt(40.0, 0.0)) < 2.0, "{:?}", fit.kinks);
        let total: f64 = fit.pieces.iter().map(Path::length).sum();
        assert!(total > 67.0, "both straights are kept: {total}");
    }

    #[test]
    fn a_bend_tighter_than_asked_interrupts_the_path() {
        let truth = rounded(40.0, 15.0, 4.0);
        let fit = fit(&truth.flatten(PROPOSAL_CHORD_MM), true, 5.0, DEVIATION);
        assert!(fit.kinks.len() >= 4, "one at each corner: {:?}", fit.kinks);
        for p in &fit.pieces {
            assert_legal(p, 5.0);
        }
    }

    #[test]
    fn a_gentle_kink_is_eased_within_the_deviation() {
        // 5 degrees: R (1/cos - 1) = 0.0048 mm for R = 5
        let a = 5.0_f64.to_radians();
        let points = [
            pt(0.0, 0.0),
            pt(20.0, 0.0),
            pt(20.0 + 20.0 * crate::geom::trig::cos(a), 20.0 * crate::geom::trig::sin(a)),
        ];
        let fit = fit(&points, false, 5.0, DEVIATION);
        assert_eq!(fit.pieces.len(), 1, "{fit:?}");
        assert_legal(&fit.pieces[0], 5.0);
    }

    #[test]
    fn a_circle_of_few_chords_is_a_circle() {
        for r in [6.0, 20.0, 150.0] {
            let ring: Vec<Point> = {
                let truth = Arc { from: pt(r, 0.0), to: pt(r, -1e-9), centre: pt(0.0, 0.0), ccw: true };
                let mut out = vec![truth.from];
                truth.flatten_into(PROPOSAL_CHORD_MM, &mut out);
                out.pop();
                out
            };
            let fit = fit(&ring, true, 5.0, DEVIATION);
            assert_eq!(fit.pieces.len(), 1, "r {r}: {:?}", fit.kinks);
            let path = &fit.pieces[0];
            assert_legal(path, 5.0);
            assert!((path.length() - std::f64::consts::TAU * r).abs() < 0.02, "r {r}: {}", path.length());
            assert!(path.segments.len() <= 24, "r {r}: {} pieces", path.segments.len());
        }
    }

    #[test]
    fn a_ring_grown_from_a_large_circle_bends_as_a_circle_does() {
        for radius in [7.0, 12.5, 20.0, 48.0, 130.0] {
            // as a drawing has it: of chords of its own
            let mut ring = crate::geom::smooth::disc(pt(50.0, 50.0), radius, 0.003);
            for k in 1..8 {
                ring = crate::geom::combine::simplified(
                    &crate::geom::offset::grown(&ring, 0.61, PROPOSAL_CHORD_MM),
                    crate::geom::offset::TIDY_MM,
                );
                let truth = radius + 0.61 * f64::from(k);
                for deviation in [0.002, 0.005, 0.01, 0.02] {
                    let fit = fit(ring.polygons()[0].outer(), true, 4.0, deviation);
                    let [path] = fit.pieces.as_slice() else { panic!("one loop: {:?}", fit.kinks) };
                    let radii: Vec<f64> = path.segments.iter().map(Segment::radius).collect();
                    let (low, high) =
                        radii.iter().fold((f64::INFINITY, 0.0_f64), |(l, h), r| (l.min(*r), h.max(*r)));
                    assert!(
                        low > 0.9 * truth && high < 1.1 * truth,
                        "R {truth}, {deviation}: {low} to {high} in {} pieces",
                        radii.len()
                    );
                    assert!(radii.len() < 40, "R {truth}, {deviation}: {} pieces", radii.len());
                }
            }
        }
    }

    #[test]
    fn a_long_straight_between_gentle_corners_is_followed() {
        // two discs and, between them, a corner that a bend of the radius passes within the deviation
        for (x, rise) in [(32.0, 0.3), (40.0, 0.6), (40.0, -0.4), (20.0, 0.5), (45.0, 0.2)] {
            let half = |c: Point, from: f64| {
                (0..=80).map(move |k| c + Point::unit(from + PI * f64::from(k) / 80.0) * 8.0)
            };
            let mut ring: Vec<Point> = half(pt(60.0, 0.0), -0.5 * PI).collect();
            ring.push(pt(x, 8.0 + rise));
            ring.extend(half(pt(0.0, 0.0), 0.5 * PI));
            for deviation in [0.0024, 0.005, 0.01, 0.02] {
                let fit = fit(&ring, true, 6.0, deviation);
                assert!(fit.kinks.is_empty(), "{x} {rise} {deviation}: {:?}", fit.kinks);
                let [path] = fit.pieces.as_slice() else { panic!("one loop") };
                assert!(path.closed && path.min_radius() >= 6.0, "{x} {rise} {deviation}");
                let line = path.flatten(1e-4);
                for p in
                    [pt(x, 8.0 + rise), pt(0.5 * (x + 60.0), 8.0 + 0.5 * rise), pt(0.5 * x, 8.0 + 0.5 * rise)]
                {
                    let off = line
                        .windows(2)
                        .map(|w| polyline::point_segment_distance(p, w[0], w[1]))
                        .fold(f64::INFINITY, f64::min);
                    assert!(off < deviation + 1e-3, "{x} {rise} {deviation}: {off} mm off at {p:?}");
                }
            }
        }
    }

    #[test]
    fn a_run_is_fitted_through_just_where_it_is_fitted_in_one_piece() {
        // waves of several lengths on a line: the steeper, the more of them are too tight
        let (mut whole, mut stopped) = (0, 0);
        for k in 0..60 {
            let (rise, long) = (0.02 * f64::from(k), 9.0 + 0.37 * f64::from(k % 7));
            let at = |x: f64| {
                let wave = crate::geom::trig::sin(x / long * 2.0 * PI);
                pt(x, rise * wave * (1.0 + 0.3 * crate::geom::trig::sin(0.11 * x)))
            };
            let run: Vec<Point> = (0..800).map(|i| at(0.3 * f64::from(i))).collect();
            let fitted = fit(&run, false, 6.0, 0.005);
            let through = fit_through(&run, 6.0, 0.005);
            match (fitted.pieces.as_slice(), fitted.kinks.is_empty()) {
                ([path], true) => {
                    whole += 1;
                    // not the same curves where greed was put right, but the same line
                    let through = through.unwrap_or_else(|| panic!("wave {k} is fitted in one piece"));
                    assert!((through.length() - path.length()).abs() < 0.01, "wave {k}");
                    assert!(through.min_radius() >= 6.0, "wave {k}: {}", through.min_radius());
                    let mut line = crate::geom::nearest::Lines::default();
                    line.add(&run);
                    let off = through.flatten(1e-4).iter().map(|p| line.distance(*p)).fold(0.0, f64::max);
                    // the deviation and what chords of 0.3 mm leave at this radius
                    assert!(off < 0.005 + 0.3 * 0.3 / 8.0 / 6.0, "wave {k}: {off} mm off");
                }
                _ => {
                    stopped += 1;
                    assert!(through.is_none(), "wave {k} stops at {:?}", fitted.kinks);
                }
            }
        }
        assert!(whole > 10 && stopped > 10, "{whole} and {stopped}");
    }
}

//! Beads along the middle of narrow gaps, as wide as the gap is.
//!
//! The gap is triangulated; lines through the middles of the inner edges follow
//! its middle, and each triangle's area goes to the bead that crosses it, so the
//! flow is exact. Prasad, *Morphological analysis of shapes*, CNLS Newsletter 139
//! (1997), the chordal axis (from memory); differs in that widths come from the
//! triangles' areas rather than from the edges' lengths.

use super::{Bead, BeadKind};
use crate::geom::{Area, Point, polyline};
use spade::handles::FixedFaceHandle;
use spade::{ConstrainedDelaunayTriangulation, Point2, Triangulation};
use std::collections::BTreeMap;

/// A gap narrower than this share of a bead is left unfilled.
const LEAST_WIDTH: f64 = 0.2;

/// One straight of a middle line.
#[derive(Clone, Copy, Debug)]
struct Link {
    a: usize,
    b: usize,
    /// Area that it serves, mm2.
    area: f64,
}

/// Beads for narrow gaps. `width` is the usual bead's.
pub(super) fn fill(gaps: &Area, width: f64, height: f64) -> Vec<Bead> {
    gaps.polygons()
        .iter()
        .flat_map(|p| {
            let (points, links) = middle_lines(p.rings(), 0.5 * width, p.area()).unwrap_or_default();
            runs(&points, &links)
                .into_iter()
                .flat_map(|run| beads(&points, &run, width, height))
                .collect::<Vec<_>>()
        })
        .collect()
}

/// The middle lines of one polygon: points and links. `None` where the polygon
/// touches itself in a way that the triangulation cannot hold.
fn middle_lines<'a>(
    rings: impl Iterator<Item = &'a [Point]>,
    step: f64,
    area: f64,
) -> Option<(Vec<Point>, Vec<Link>)> {
    let mut cdt = ConstrainedDelaunayTriangulation::<Point2<f64>>::new();
    for ring in rings {
        let mut closed = ring.to_vec();
        closed.push(ring[0]);
        let dense = polyline::densified(&closed, step);
        let mut first = None;
        let mut last = None;
        for p in &dense[..dense.len() - 1] {
            let v = cdt.insert(Point2::new(p.x, p.y)).ok()?;
            if let Some(u) = last
                && u != v
            {
                if !cdt.can_add_constraint(u, v) {
                    return None;
                }
                cdt.add_constraint(u, v);
            }
            first.get_or_insert(v);
            last = Some(v);
        }
        let (u, v) = (last?, first?);
        if u != v {
            if !cdt.can_add_constraint(u, v) {
                return None;
            }
            cdt.add_constraint(u, v);
        }
    }
    let inside = inside_faces(&cdt);
    let mut points: Vec<Point> = Vec::new();
    let mut of_edge: BTreeMap<usize, usize> = BTreeMap::new();
    let mut links = Vec::new();
    let mut total = 0.0;
    for face in cdt.inner_faces().filter(|f| inside[f.fix().index()]) {
        let corners = face.positions().map(|p| Point::new(p.x, p.y));
        let size = (corners[1] - corners[0]).cross(corners[2] - corners[0]).abs() * 0.5;
        total += size;
        let inner: Vec<usize> = face
            .adjacent_edges()
            .iter()
            .filter(|e| !e.is_constraint_edge())
            .map(|e| {
                *of_edge.entry(e.as_undirected().fix().index()).or_insert_with(|| {
                    let [p, q] = e.positions();
                    points.push(Point::new(0.5 * (p.x + q.x), 0.5 * (p.y + q.y)));
                    points.len() - 1
                })
            })
            .collect();
        match inner.as_slice() {
            [a, b] => links.push(Link { a: *a, b: *b, area: size }),
            [_] | [_, _, _] => {
                points.push((corners[0] + corners[1] + corners[2]) * (1.0 / 3.0));
                let centre = points.len() - 1;
                #[expect(clippy::cast_precision_loss, reason = "one or three")]
                let part = size / inner.len() as f64;
                links.extend(inner.iter().map(|a| Link { a: *a, b: centre, area: part }));
            }
            _ => {}
        }
    }
    // a boundary that could not be held would let the flood leak
    ((total - area).abs() <= 0.02 * area + 1e-3).then_some((points, links))
}

/// Which faces lie inside: crossing a boundary edge changes sides.
fn inside_faces(cdt: &ConstrainedDelaunayTriangulation<Point2<f64>>) -> Vec<bool> {
    let count = cdt.num_all_faces();
    let mut side: Vec<Option<bool>> = vec![None; count];
    let outer: FixedFaceHandle<spade::handles::PossiblyOuterTag> = cdt.outer_face().fix();
    side[outer.index()] = Some(false);
    let mut queue = std::collections::VecDeque::new();
    queue.push_back(outer);
    while let Some(f) = queue.pop_front() {
        let here = side[f.index()].unwrap_or(false);
        let edges: Vec<_> = if f == outer {
            cdt.convex_hull().collect()
        } else {
            cdt.face(f).as_inner().map(|i| i.adjacent_edges().to_vec()).unwrap_or_default()
        };
        for e in edges {
            // the hull's edges have the outer face on one side, whichever it is
            for next in [e.face().fix(), e.rev().face().fix()] {
                if side[next.index()].is_none() {
                    side[next.index()] = Some(here != e.is_constraint_edge());
                    queue.push_back(next);
                }
            }
        }
    }
    side.into_iter().map(|s| s.unwrap_or(false)).collect()
}

/// Links in unbroken runs, as (link, walked backwards).
fn runs(points: &[Point], links: &[Link]) -> Vec<Vec<(Link, bool)>> {
    let mut at: Vec<Vec<usize>> = vec![Vec::new(); points.len()];
    for (k, l) in links.iter().enumerate() {
        at[l.a].push(k);
        at[l.b].push(k);
    }
    let mut used = vec![false; links.len()];
    let mut out = Vec::new();
    // from ends and junctions first, loops after them
    let ends = (0..points.len()).filter(|&p| at[p].len() != 2);
    let loops = (0..points.len()).filter(|&p| at[p].len() == 2);
    for start in ends.chain(loops) {
        for &first in &at[start] {
            if used[first] {
                continue;
            }
            let mut run = Vec::new();
            let (mut link, mut from) = (first, start);
            loop {
                used[link] = true;
                let l = links[link];
                let backwards = l.b == from;
                run.push((l, backwards));
                let to = if backwards { l.a } else { l.b };
                let Some(&next) = at[to].iter().find(|&&k| !used[k]).filter(|_| at[to].len() == 2) else {
                    break;
                };
                link = next;
                from = to;
            }
            out.push(run);
        }
    }
    out
}

/// Beads of constant width along one run.
fn beads(points: &[Point], run: &[(Link, bool)], width: f64, height: f64) -> Vec<Bead> {
    let total: f64 = run.iter().map(|(l, _)| points[l.a].dist(points[l.b])).sum();
    let area: f64 = run.iter().map(|(l, _)| l.area).sum();
    if total < 0.5 * width || area < 0.1 * width * width || area / total < LEAST_WIDTH * width {
        return Vec::new();
    }
    struct Group {
        points: Vec<Point>,
        area: f64,
        length: f64,
    }
    let ends = |(l, backwards): &(Link, bool)| {
        if *backwards { (points[l.b], points[l.a]) } else { (points[l.a], points[l.b]) }
    };
    let mut groups: Vec<Group> = Vec::new();
    for item in run {
        let (a, b) = ends(item);
        let length = a.dist(b);
        let grows = groups.last().is_some_and(|g| {
            let wide = g.area / g.length.max(1e-9);
            // a bend in the middle line starts a new bead; so does another width,
            // seen over enough length
            let local = item.0.area / length.max(1e-9);
            g.length < 1.2 * width || ((local / wide - 1.0).abs() < 0.3 && g.length < 6.0 * width)
        });
        match groups.last_mut() {
            Some(g) if grows => {
                g.points.push(b);
                g.area += item.0.area;
                g.length += length;
            }
            _ => groups.push(Group { points: vec![a, b], area: item.0.area, length }),
        }
    }
    if groups.len() > 1 && groups.last().is_some_and(|g| g.length < 0.5 * width) {
        if let Some(last) = groups.pop()
            && let Some(g) = groups.last_mut()
        {
            g.points.extend(last.points.into_iter().skip(1));
            g.area += last.area;
        }
    }
    groups
        .into_iter()
        .filter_map(|g| {
            let points = polyline::simplified(&g.points, 0.02 * width);
            let length = polyline::length(&points);
            if length < 0.3 * width {
                return None;
            }
            let wide = g.area / length;
            (wide >= LEAST_WIDTH * width && wide < 2.5 * width).then(|| Bead {
                kind: BeadKind::Fill,
                width_mm: wide,
                area_mm2: wide * height,
                closed: false,
                points,
            })
        })
        .collect()
}

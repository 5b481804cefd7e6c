//! Beads along the middle of narrow places: the chordal axis of a constrained
//! Delaunay triangulation (L. Prasad, "Morphological analysis of shapes", 1997).

use super::Bead;
use super::run::{self, Piece};
use crate::geom::nearest::Lines;
use crate::geom::{Point, Polygon, polyline};
use spade::{ConstrainedDelaunayTriangulation, Point2, Triangulation};
use std::collections::BTreeMap;

/// A triangle inside the polygon.
struct Triangle {
    corners: [Point; 3],
    /// The triangle across the edge from corner i to corner i + 1, if inside too.
    beside: [Option<usize>; 3],
    area: f64,
}

impl Triangle {
    fn degree(&self) -> usize {
        self.beside.iter().flatten().count()
    }

    fn gate(&self, side: usize) -> Point {
        self.corners[side].lerp(self.corners[(side + 1) % 3], 0.5)
    }

    fn gate_length(&self, side: usize) -> f64 {
        self.corners[side].dist(self.corners[(side + 1) % 3])
    }

    fn side_to(&self, other: usize) -> Option<usize> {
        (0..3).find(|s| self.beside[*s] == Some(other))
    }

    fn middle(&self) -> Point {
        (self.corners[0] + self.corners[1] + self.corners[2]) * (1.0 / 3.0)
    }
}

/// Widths over which a bead keeps its width at least: shorter dabs take the head
/// longer to go to than to lay, and bare ground grows by some hundredths of a
/// percent.
const ATOM: f64 = 1.2;

/// Lays beads along the middle of one narrow polygon.
pub(super) fn fill(polygon: &Polygon, width: f64, height_mm: f64, beads: &mut Vec<Bead>) {
    let mut triangles = triangulated(polygon, 0.5 * width);
    prune(&mut triangles);
    for chain in chains(&triangles) {
        run::lay(&chain, ATOM * width, width, height_mm, beads);
    }
}

/// Points of a polygon from which on an index is quicker than looking at every edge.
const INDEXED_FROM: usize = 100;

fn triangulated(polygon: &Polygon, step: f64) -> Vec<Triangle> {
    let mut points: Vec<Point2<f64>> = Vec::new();
    let mut walls: Vec<[usize; 2]> = Vec::new();
    for ring in polygon.rings() {
        let tidy = polyline::simplified_ring(ring, 2e-3);
        if tidy.len() < 3 {
            continue;
        }
        let mut round = tidy.clone();
        round.push(tidy[0]);
        let mut dense = polyline::densified(&round, step);
        dense.pop();
        let (first, n) = (points.len(), dense.len());
        points.extend(dense.iter().map(|p| Point2::new(p.x, p.y)));
        walls.extend((0..n).map(|k| [first + k, first + (k + 1) % n]));
    }
    // a crossing wall is left out: simplified rings may touch
    let Ok(mesh) = ConstrainedDelaunayTriangulation::<Point2<f64>>::try_bulk_load_cdt(points, walls, |_| ())
    else {
        return Vec::new();
    };
    // what no wall parts is all in or all out
    let mut open: Vec<Vec<usize>> = vec![Vec::new(); mesh.num_all_faces()];
    for e in mesh.directed_edges().filter(|e| !e.is_constraint_edge()) {
        open[e.face().fix().index()].push(e.rev().face().fix().index());
    }
    let mut corners: Vec<Option<[Point; 3]>> = vec![None; mesh.num_all_faces()];
    for f in mesh.inner_faces() {
        corners[f.fix().index()] = Some(f.positions().map(|p| Point::new(p.x, p.y)));
    }
    let size = |f: usize| corners[f].map_or(0.0, |c| polyline::signed_area(&c).abs());
    // gaps between courses can be one polygon of tens of thousands of points
    let many = polygon.rings().map(<[Point]>::len).sum::<usize>() > INDEXED_FROM;
    let indexed = many.then(|| Lines::of_rings(polygon.rings()));
    let holds = |p: Point| match &indexed {
        Some(lines) => lines.enclose(p),
        None => polygon.rings().filter(|r| polyline::ring_contains(r, p)).count() % 2 == 1,
    };
    let looked_up = |f: usize| corners[f].is_some_and(|c| holds((c[0] + c[1] + c[2]) * (1.0 / 3.0)));
    let outer = mesh.outer_face().fix().index();
    let mut inside = vec![false; corners.len()];
    let mut reached = vec![false; corners.len()];
    for seed in std::iter::once(outer).chain(0..corners.len()) {
        if std::mem::replace(&mut reached[seed], true) {
            continue;
        }
        let mut part = vec![seed];
        let mut next = 0;
        while let Some(&f) = part.get(next) {
            next += 1;
            for &to in &open[f] {
                if !std::mem::replace(&mut reached[to], true) {
                    part.push(to);
                }
            }
        }
        let largest = part.iter().copied().max_by(|a, b| size(*a).total_cmp(&size(*b)));
        let within = seed != outer && largest.is_some_and(looked_up);
        part.iter().for_each(|f| inside[*f] = within);
    }
    let found: f64 = (0..corners.len()).filter(|f| inside[*f]).map(size).sum();
    // where simplified rings touch, a wall is missing and in and out run into each
    // other: then each triangle is looked up, which is slow but sure
    if (found - polygon.area()).abs() > 0.02 * polygon.area() + 1e-3 {
        inside = (0..corners.len()).map(looked_up).collect();
    }
    let mut number: BTreeMap<usize, usize> = BTreeMap::new();
    for f in mesh.inner_faces() {
        if inside[f.fix().index()] {
            let next = number.len();
            number.insert(f.fix().index(), next);
        }
    }
    mesh.inner_faces()
        .filter(|f| number.contains_key(&f.fix().index()))
        .map(|f| {
            let corners = f.vertices().map(|v| Point::new(v.position().x, v.position().y));
            let beside = f.adjacent_edges().map(|e| {
                if e.is_constraint_edge() { None } else { number.get(&e.rev().face().fix().index()).copied() }
            });
            let area = polyline::signed_area(&corners).abs();
            Triangle { corners, beside, area }
        })
        .collect()
}

/// Takes off side branches that are no longer than the place they leave is wide:
/// they only say that the end or the wall has corners. Their area stays with the
/// triangle they hang on.
fn prune(triangles: &mut [Triangle]) {
    loop {
        let mut short: Vec<(f64, Vec<usize>, usize)> = Vec::new();
        for leaf in 0..triangles.len() {
            if triangles[leaf].degree() != 1 {
                continue;
            }
            let mut branch = vec![leaf];
            let mut length = 0.0;
            let mut at = leaf;
            let mut came = None;
            let hub = loop {
                let Some(next) = triangles[at].beside.iter().flatten().copied().find(|n| Some(*n) != came)
                else {
                    break None;
                };
                let Some(side) = triangles[at].side_to(next) else { break None };
                if triangles[next].degree() == 3 {
                    break (length < 0.75 * triangles[at].gate_length(side)).then_some(next);
                }
                if triangles[next].degree() == 1 {
                    break None;
                }
                let gate = triangles[at].gate(side);
                let out = triangles[next]
                    .beside
                    .iter()
                    .flatten()
                    .copied()
                    .find(|n| *n != at)
                    .and_then(|n| triangles[next].side_to(n));
                let Some(out) = out else { break None };
                length += gate.dist(triangles[next].gate(out));
                came = Some(at);
                at = next;
                branch.push(at);
            };
            if let Some(hub) = hub {
                short.push((length, branch, hub));
            }
        }
        if short.is_empty() {
            return;
        }
        // shortest first; of two at one junction the longer stays for the next round
        short.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.2.cmp(&b.2)));
        for (_, branch, hub) in short {
            if triangles[hub].degree() < 3 {
                continue;
            }
            if let Some(side) = branch.last().and_then(|l| triangles[hub].side_to(*l)) {
                triangles[hub].beside[side] = None;
            }
            for i in branch {
                let area = std::mem::take(&mut triangles[i].area);
                triangles[hub].area += area;
                triangles[i].beside = [None; 3];
            }
        }
    }
}

/// The chordal axis as chains of pieces from end or junction to end or junction.
fn chains(triangles: &[Triangle]) -> Vec<Vec<Piece>> {
    let mut used = vec![false; triangles.len()];
    let mut out = Vec::new();
    let starts = (0..triangles.len()).filter(|i| matches!(triangles[*i].degree(), 1 | 3));
    for start in starts {
        for side in 0..3 {
            if let Some(next) = triangles[start].beside[side] {
                let far = triangles[next].degree();
                if used[next] || (far != 2 && next < start) {
                    continue;
                }
                out.push(walk(triangles, start, side, &mut used));
            }
        }
    }
    for start in 0..triangles.len() {
        if triangles[start].degree() == 2
            && !used[start]
            && let Some(side) = (0..3).find(|s| triangles[start].beside[*s].is_some())
        {
            out.push(walk(triangles, start, side, &mut used));
        }
    }
    out
}

/// The end piece of a chain in a junction or a last triangle, from inside out.
fn end(t: &Triangle, side: usize) -> Option<Piece> {
    let gate = t.gate(side);
    match t.degree() {
        3 => Some(Piece { from: gate, to: t.middle(), area: t.area / 3.0 }),
        1 => {
            let apex = t.corners[(side + 2) % 3];
            Some(Piece { from: gate, to: gate.lerp(apex, 0.5), area: t.area })
        }
        _ => None,
    }
}

fn walk(triangles: &[Triangle], start: usize, side: usize, used: &mut [bool]) -> Vec<Piece> {
    let mut chain = Vec::new();
    if let Some(p) = end(&triangles[start], side) {
        chain.push(Piece { from: p.to, to: p.from, area: p.area });
    }
    let mut at = start;
    let mut out = side;
    while let Some(next) = triangles[at].beside[out] {
        let Some(entry) = triangles[next].side_to(at) else { break };
        if triangles[next].degree() != 2 {
            chain.extend(end(&triangles[next], entry));
            break;
        }
        if used[next] {
            break;
        }
        used[next] = true;
        let Some(exit) = (0..3).find(|s| *s != entry && triangles[next].beside[*s].is_some()) else { break };
        chain.push(Piece {
            from: triangles[next].gate(entry),
            to: triangles[next].gate(exit),
            area: triangles[next].area,
        });
        at = next;
        out = exit;
    }
    chain
}

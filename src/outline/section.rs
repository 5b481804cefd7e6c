//! Meshes cut into layers, each at its middle height.
//!
//! A vertex at or above the cutting plane counts as above it, so no vertex lies
//! in the plane: facets in the plane are not cut, a wall that ends in the plane
//! is cut just below it, and every cut facet gives exactly one segment between
//! two of its edges. Segments are linked by the edges that they share, not by
//! coordinates; where facets miss their neighbour, ends that lie close are
//! joined and told, and others are an error.
//!
//! Inside is where the winding number is not zero, so bodies that overlap are
//! united. Where facets disagree about their sides, even-odd decides.

use super::mesh::Mesh;
use crate::diagnostic::{Diagnostic, Faults, Notes, Outcome, counted};
use crate::geom::combine::{self, FillRule};
use crate::geom::{Area, Point, pt};
use rayon::prelude::*;

/// Widest gap in a cross-section that is closed, mm: cracks from coordinates
/// rounded to two decimals stay below 0.02; a tenth of a bead's width would
/// change what is printed.
pub(super) const GAP_MM: f64 = 0.05;

/// Gaps narrower than this are not told, mm: rounding in the last digits of
/// 32-bit numbers, below the grid of all areas.
const UNTOLD_GAP_MM: f64 = 1e-6;

/// Loose ends that one loose end is compared with, in each column of cells:
/// bounds the work on meshes smaller than a gap.
const MOST_NEIGHBOURS: usize = 64;

/// Layers that share one pass over the facets.
const BLOCK: usize = 16;

/// The cross-section of a mesh at one height.
#[derive(Debug, Default)]
struct Section {
    area: Area,
    gaps: usize,
    worst_gap: f64,
    worst_at: Point,
    /// Facets disagree about their sides.
    disagree: bool,
    /// The gap that could not be closed: where, and how wide.
    open: Option<(Point, f64)>,
}

/// Cross-sections at some heights in the mesh's own coordinates, rising; `name`
/// and `bed_mm`, the height of the part's lowest point, are for messages.
///
/// Errors: `mesh-open`. Warnings: `mesh-gaps`, `mesh-non-manifold`,
/// `mesh-inverted`.
pub(super) fn areas(
    notes: &mut Notes,
    name: &str,
    mesh: &Mesh,
    bed_mm: f64,
    heights: &[f64],
) -> Outcome<Vec<Area>> {
    let blocks: Vec<Vec<Section>> = heights
        .par_chunks(BLOCK)
        .map(|block| {
            let (Some(lo), Some(hi)) = (block.first(), block.last()) else { return Vec::new() };
            let here: Vec<[u32; 3]> = mesh
                .triangles
                .iter()
                .filter(|t| {
                    let z = t.map(|v| mesh.vertices[v as usize][2]);
                    let (a, b) = (z[0].min(z[1]).min(z[2]), z[0].max(z[1]).max(z[2]));
                    a < *hi && b >= *lo
                })
                .copied()
                .collect();
            block.iter().map(|z| section(mesh, &here, *z)).collect()
        })
        .collect();
    let sections: Vec<Section> = blocks.into_iter().flatten().collect();
    tell(notes, name, mesh, bed_mm, heights, &sections)?;
    Ok(sections.into_iter().map(|s| s.area).collect())
}

fn tell(
    notes: &mut Notes,
    name: &str,
    mesh: &Mesh,
    bed_mm: f64,
    heights: &[f64],
    sections: &[Section],
) -> Outcome<()> {
    let place = |d: Diagnostic, k: usize, p: Point| {
        let mut d = d.in_file(name).in_part(k + 1, heights[k] - bed_mm, Some([p.x, p.y]));
        d.help.push("repair the mesh in the program that made it".to_owned());
        d
    };
    let open: Vec<(usize, Point, f64)> =
        sections.iter().enumerate().filter_map(|(k, s)| s.open.map(|(p, g)| (k, p, g))).collect();
    if let Some((k, p, gap)) = open.first() {
        let gap =
            if gap.is_finite() { format!("{gap:.3} mm wide") } else { "without another end".to_owned() };
        return Err(Faults::from(place(
            Diagnostic::error(
                "mesh-open",
                format!(
                    "the mesh does not close in {} of {} layers: the first gap is {gap}, at most {GAP_MM} mm is healed",
                    open.len(),
                    sections.len()
                ),
            ),
            *k,
            *p,
        )));
    }
    let gaps: usize = sections.iter().map(|s| s.gaps).sum();
    let worst = sections
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.worst_gap.total_cmp(&b.1.worst_gap).then(b.0.cmp(&a.0)));
    if let Some((k, s)) = worst
        && gaps > 0
    {
        let layers = sections.iter().filter(|s| s.gaps > 0).count();
        notes.push(place(
            Diagnostic::warning(
                "mesh-gaps",
                format!(
                    "the mesh has cracks: {gaps} gaps closed in {layers} layers, the widest {:.4} mm",
                    s.worst_gap
                ),
            ),
            k,
            s.worst_at,
        ));
    }
    let (single, many) = mesh.odd_edges();
    if single + many > 0 {
        let mut told = Vec::new();
        if single > 0 {
            told.push(format!("{} of one facet only", counted(single, "edge")));
        }
        if many > 0 {
            told.push(format!("{} of more than two facets", counted(many, "edge")));
        }
        notes.push(
            Diagnostic::warning(
                "mesh-non-manifold",
                format!(
                    "the mesh is not one closed surface: {}; every layer closes all the same",
                    told.join(", ")
                ),
            )
            .in_file(name)
            .help("look at the layers, or repair the mesh"),
        );
    }
    if let Some(k) = sections.iter().position(|s| s.disagree) {
        let n = sections.iter().filter(|s| s.disagree).count();
        let mut d = Diagnostic::warning(
            "mesh-inverted",
            format!(
                "facets disagree about their outer side in {n} of {} layers; even-odd decides there",
                sections.len()
            ),
        )
        .in_file(name)
        .help("repair the mesh if bodies in it overlap");
        d.in_part = Some(crate::diagnostic::InPart { layer: k + 1, z_mm: heights[k] - bed_mm, at_mm: None });
        notes.push(d);
    } else if mesh.volume() < 0.0 {
        notes.push(
            Diagnostic::warning(
                "mesh-inverted",
                "the facets face inwards; the part is taken as their inside",
            )
            .in_file(name),
        );
    }
    Ok(())
}

/// A piece of cross-section in one facet, the material on its left. The keys
/// name the mesh edges that its ends lie on.
#[derive(Clone, Copy, Debug)]
struct Piece {
    from: u64,
    to: u64,
    start: Point,
    end: Point,
}

fn section(mesh: &Mesh, triangles: &[[u32; 3]], z: f64) -> Section {
    let mut pieces = Vec::new();
    for t in triangles {
        let above = t.map(|v| mesh.vertices[v as usize][2] >= z);
        if above[0] == above[1] && above[1] == above[2] {
            continue;
        }
        // along the facet's edges one goes down through the plane and one up;
        // from the first to the second the material is on the left
        let (mut from, mut to) = (None, None);
        for k in 0..3 {
            let (a, b) = (k, (k + 1) % 3);
            match (above[a], above[b]) {
                (true, false) => from = Some(crossing(mesh, t[a], t[b], z)),
                (false, true) => to = Some(crossing(mesh, t[a], t[b], z)),
                _ => {}
            }
        }
        if let (Some((from, start)), Some((to, end))) = (from, to) {
            pieces.push(Piece { from, to, start, end });
        }
    }
    link(&pieces)
}

/// Where an edge meets the plane: the edge's key and the point, the same for
/// both facets that share the edge.
fn crossing(mesh: &Mesh, a: u32, b: u32, z: f64) -> (u64, Point) {
    let (lo, hi) = (a.min(b), a.max(b));
    let (p, q) = (mesh.vertices[lo as usize], mesh.vertices[hi as usize]);
    let t = ((z - p[2]) / (q[2] - p[2])).clamp(0.0, 1.0);
    let at = pt(p[0] + (q[0] - p[0]) * t, p[1] + (q[1] - p[1]) * t);
    ((u64::from(lo) << 32) | u64::from(hi), at)
}

/// The ends of piece `k` are numbered 2 k (its start) and 2 k + 1.
fn end_point(pieces: &[Piece], end: usize) -> Point {
    let p = &pieces[end / 2];
    if end.is_multiple_of(2) { p.start } else { p.end }
}

/// Pieces linked to rings, and what these enclose.
fn link(pieces: &[Piece]) -> Section {
    let mut out = Section::default();
    let mut mates = shared_edges(pieces, &mut out.disagree);
    heal(pieces, &mut mates, &mut out);
    let loose: Vec<usize> = (0..mates.len()).filter(|e| mates[*e].is_none()).collect();
    if let Some(&first) = loose.first() {
        let from = end_point(pieces, first);
        let next = loose[1..].iter().map(|e| end_point(pieces, *e).dist(from)).fold(f64::INFINITY, f64::min);
        out.open = Some((from, next));
        return out;
    }
    let rings = rings(pieces, &mates);
    if !rings.is_empty() {
        let rule = if out.disagree { FillRule::EvenOdd } else { FillRule::NonZero };
        out.area = combine::enclosed(rings.iter().map(Vec::as_slice), rule);
    }
    out
}

/// For each end the end that lies on the same mesh edge. Where several bodies
/// share an edge, any pairing gives the same area, since all meet in one point.
fn shared_edges(pieces: &[Piece], disagree: &mut bool) -> Vec<Option<usize>> {
    let mut mates = vec![None; pieces.len() * 2];
    let mut ends: Vec<(u64, usize)> =
        pieces.iter().enumerate().flat_map(|(k, p)| [(p.from, 2 * k), (p.to, 2 * k + 1)]).collect();
    ends.sort_unstable();
    let mut pair = |a: usize, b: usize| {
        mates[a] = Some(b);
        mates[b] = Some(a);
    };
    for same in ends.chunk_by(|a, b| a.0 == b.0) {
        // nearly all edges belong to two facets
        if let [(_, a), (_, b)] = *same
            && a % 2 != b % 2
        {
            pair(a, b);
            continue;
        }
        let (mut starts, mut stops): (Vec<usize>, Vec<usize>) =
            same.iter().map(|e| e.1).partition(|e| e.is_multiple_of(2));
        while let (Some(&a), Some(&b)) = (starts.last(), stops.last()) {
            pair(a, b);
            starts.pop();
            stops.pop();
        }
        let rest = if starts.is_empty() { stops } else { starts };
        for two in rest.chunks_exact(2) {
            *disagree = true;
            pair(two[0], two[1]);
        }
    }
    mates
}

/// Joins loose ends that lie within [`GAP_MM`], nearest first: ends with starts,
/// then any two, which means facets that face opposite ways beside a crack.
fn heal(pieces: &[Piece], mates: &mut [Option<usize>], out: &mut Section) {
    let cell = |p: Point| ((p.x / GAP_MM).floor(), (p.y / GAP_MM).floor());
    for directed in [true, false] {
        let mut loose: Vec<(f64, f64, usize)> = (0..mates.len())
            .filter(|e| mates[*e].is_none())
            .map(|e| {
                let (x, y) = cell(end_point(pieces, e));
                (x, y, e)
            })
            .collect();
        loose.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)).then(a.2.cmp(&b.2)));
        let mut pairs: Vec<(f64, usize, usize)> = Vec::new();
        for &(x, y, a) in &loose {
            let p = end_point(pieces, a);
            for column in [x - 1.0, x, x + 1.0] {
                let first = loose.partition_point(|l| (l.0, l.1) < (column, y - 1.0));
                let near = loose[first..].iter().take_while(|l| l.0 <= column && l.1 <= y + 1.0);
                for &(_, _, b) in near.take(MOST_NEIGHBOURS) {
                    let gap = p.dist(end_point(pieces, b));
                    if a < b && gap <= GAP_MM && (!directed || a % 2 != b % 2) {
                        pairs.push((gap, a, b));
                    }
                }
            }
        }
        pairs.sort_by(|a, b| a.0.total_cmp(&b.0).then((a.1, a.2).cmp(&(b.1, b.2))));
        for (gap, a, b) in pairs {
            if mates[a].is_some() || mates[b].is_some() {
                continue;
            }
            mates[a] = Some(b);
            mates[b] = Some(a);
            out.disagree |= !directed;
            if gap > UNTOLD_GAP_MM {
                out.gaps += 1;
                if gap > out.worst_gap {
                    out.worst_gap = gap;
                    out.worst_at = end_point(pieces, a);
                }
            }
        }
    }
}

/// The closed walks over pieces whose ends all have mates.
fn rings(pieces: &[Piece], mates: &[Option<usize>]) -> Vec<Vec<Point>> {
    let mut done = vec![false; pieces.len()];
    let mut out = Vec::new();
    for k in 0..pieces.len() {
        let mut ring: Vec<Point> = Vec::new();
        let mut enter = 2 * k;
        while !done[enter / 2] {
            done[enter / 2] = true;
            let leave = enter ^ 1;
            for end in [enter, leave] {
                let p = end_point(pieces, end);
                if ring.last() != Some(&p) {
                    ring.push(p);
                }
            }
            let Some(next) = mates[leave] else { break };
            enter = next;
        }
        if ring.last() == ring.first() {
            ring.pop();
        }
        if ring.len() > 2 {
            out.push(ring);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::f64::consts::{PI, TAU};

    /// A body of revolution about z: rings of `n` points at heights and radii,
    /// closed below and above.
    fn turned(profile: &[(f64, f64)], n: usize, shift: [f64; 2], angle: f64) -> Vec<[[f64; 3]; 3]> {
        let at = |(r, z): (f64, f64), k: usize| {
            let p = Point::unit(angle + TAU * (k % n) as f64 / n as f64) * r;
            [p.x + shift[0], p.y + shift[1], z]
        };
        let mut out = Vec::new();
        for w in profile.windows(2) {
            for k in 0..n {
                let (a, b, c, d) = (at(w[0], k), at(w[0], k + 1), at(w[1], k + 1), at(w[1], k));
                out.extend([[a, b, c], [a, c, d]]);
            }
        }
        let (first, last) = (profile[0], profile[profile.len() - 1]);
        for k in 1..n - 1 {
            out.push([at(first, 0), at(first, k + 1), at(first, k)]);
            out.push([at(last, 0), at(last, k), at(last, k + 1)]);
        }
        out
    }

    fn mesh(facets: &[[[f64; 3]; 3]]) -> Mesh {
        let mut m = Mesh::new(1.0);
        for f in facets {
            m.push(*f).unwrap();
        }
        m
    }

    fn cut(facets: &[[[f64; 3]; 3]], heights: &[f64]) -> (Vec<f64>, Vec<Diagnostic>) {
        let mut notes = Notes::default();
        let areas = areas(&mut notes, "part", &mesh(facets), 0.0, heights).unwrap();
        (areas.iter().map(Area::area).collect(), notes.warnings)
    }

    /// Area of a regular polygon, and of one with `n` corners on a circle.
    fn regular(n: usize, r: f64) -> f64 {
        0.5 * n as f64 * r * r * crate::geom::trig::sin(TAU / n as f64)
    }

    fn boxed(lo: [f64; 3], hi: [f64; 3]) -> Vec<[[f64; 3]; 3]> {
        let v = |k: usize| std::array::from_fn(|i| if k >> i & 1 == 0 { lo[i] } else { hi[i] });
        [
            [0, 2, 1],
            [1, 2, 3],
            [4, 5, 6],
            [5, 7, 6],
            [0, 1, 4],
            [1, 5, 4],
            [2, 6, 3],
            [3, 6, 7],
            [0, 4, 2],
            [2, 4, 6],
            [1, 3, 5],
            [3, 7, 5],
        ]
        .map(|t: [usize; 3]| t.map(v))
        .to_vec()
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(48) })]

        #[test]
        fn cones_at_any_angle_have_their_area(
            angle in 0.0..TAU, r in 1.0..50.0f64, top in 0.5..50.0f64, z in 0.01..9.99f64, n in 3..80usize,
            x in -500.0..500.0f64,
        ) {
            let (areas, notes) = cut(&turned(&[(r, 0.0), (top, 10.0)], n, [x, -x], angle), &[z]);
            let expected = regular(n, r + (top - r) * z / 10.0);
            prop_assert!((areas[0] - expected).abs() < 1e-3 + 1e-6 * expected, "{} {expected}", areas[0]);
            prop_assert!(notes.is_empty());
        }
    }

    #[test]
    fn planes_through_vertices_and_facets_cut_just_below() {
        // steps: radius 5 to z 2, then 3 to z 4, the step itself in the plane
        let step = [(5.0, 0.0), (5.0, 1.0), (5.0, 2.0), (3.0, 2.0), (3.0, 4.0)];
        let (areas, notes) = cut(&turned(&step, 64, [0.0, 0.0], 0.1), &[1.0, 2.0, 2.0 + 1e-9, 3.0, 4.0]);
        let (wide, narrow) = (regular(64, 5.0), regular(64, 3.0));
        for (a, e) in areas.iter().zip([wide, wide, narrow, narrow, narrow]) {
            assert!((a - e).abs() < 1e-4, "{areas:?}");
        }
        assert_eq!(notes, []);
        // nothing at the bottom, nothing above
        assert_eq!(cut(&turned(&step, 64, [0.0, 0.0], 0.1), &[0.0, 4.1]).0, [0.0, 0.0]);
    }

    #[test]
    fn a_ball_has_its_areas() {
        let n = 180;
        let ball: Vec<(f64, f64)> = (1..n)
            .map(|k| {
                let t = PI * k as f64 / n as f64 - PI / 2.0;
                (10.0 * crate::geom::trig::cos(t), 10.0 * crate::geom::trig::sin(t))
            })
            .collect();
        let heights: Vec<f64> = (0..19).map(|k| k as f64 - 9.0).collect();
        let (areas, _) = cut(&turned(&ball, 360, [0.0, 0.0], 0.0), &heights);
        for (a, z) in areas.iter().zip(&heights) {
            let whole = PI * (100.0 - z * z);
            assert!((a - whole).abs() < whole * 5e-4 + 0.02, "{a} {whole} at {z}");
        }
    }

    #[test]
    fn bodies_that_overlap_are_united_and_voids_stay_empty() {
        let mut two = boxed([0.0; 3], [10.0, 10.0, 4.0]);
        two.extend(boxed([5.0, 0.0, 0.0], [15.0, 10.0, 4.0]));
        let (areas, notes) = cut(&two, &[1.0, 3.0]);
        assert!((areas[0] - 150.0).abs() < 1e-6 && notes.is_empty(), "{areas:?} {notes:?}");
        let mut hollow = boxed([0.0; 3], [10.0, 10.0, 4.0]);
        hollow.extend(boxed([2.0, 2.0, 1.0], [8.0, 8.0, 3.0]).iter().map(|f| [f[0], f[2], f[1]]));
        let (areas, _) = cut(&hollow, &[0.5, 2.0]);
        assert!((areas[0] - 100.0).abs() < 1e-6 && (areas[1] - 64.0).abs() < 1e-6, "{areas:?}");
        // bodies side by side that share a face
        let mut beside = boxed([0.0; 3], [10.0, 10.0, 4.0]);
        beside.extend(boxed([10.0, 0.0, 0.0], [15.0, 10.0, 4.0]));
        let (areas, notes) = cut(&beside, &[1.0]);
        assert!((areas[0] - 150.0).abs() < 1e-6);
        assert_eq!(notes[0].code, "mesh-non-manifold");
    }

    #[test]
    fn sides_that_are_wrong_are_told_and_cut_all_the_same() {
        let inward: Vec<_> = boxed([0.0; 3], [10.0, 10.0, 4.0]).iter().map(|f| [f[0], f[2], f[1]]).collect();
        let (areas, notes) = cut(&inward, &[1.0]);
        assert!((areas[0] - 100.0).abs() < 1e-6);
        assert_eq!(notes[0].code, "mesh-inverted");
        let mut one = boxed([0.0; 3], [10.0, 10.0, 4.0]);
        one[4].swap(1, 2);
        one[9].swap(0, 2);
        let (areas, notes) = cut(&one, &[1.0, 2.0]);
        assert!((areas[0] - 100.0).abs() < 1e-6);
        assert_eq!(notes.iter().filter(|d| d.code == "mesh-inverted").count(), 1);
    }

    #[test]
    fn small_gaps_are_healed_and_told_large_ones_refused() {
        for (gap, told) in [(1e-8, false), (0.003, true), (0.04, true)] {
            // every facet moved a little on its own: no two share a vertex
            let facets: Vec<_> = turned(&[(8.0, 0.0), (8.0, 5.0)], 40, [0.0, 0.0], 0.0)
                .into_iter()
                .enumerate()
                .map(|(k, f)| f.map(|v| [v[0] + gap * 0.5 * (k % 3) as f64 - gap * 0.5, v[1], v[2]]))
                .collect();
            let (areas, notes) = cut(&facets, &[1.0, 2.5]);
            assert!((areas[0] - regular(40, 8.0)).abs() < 1e-3 + gap * 60.0, "{areas:?}");
            assert_eq!(notes.iter().any(|d| d.code == "mesh-gaps"), told, "{gap}: {notes:?}");
        }
        let mut missing = boxed([0.0; 3], [10.0, 10.0, 4.0]);
        missing.remove(4);
        let faults = areas(&mut Notes::default(), "part", &mesh(&missing), 0.0, &[0.5, 1.5]).unwrap_err();
        assert_eq!(faults.0[0].code, "mesh-open");
        assert!(faults.0[0].in_part.is_some());
        // a lid that is missing changes no cross-section
        let mut lidless = boxed([0.0; 3], [10.0, 10.0, 4.0]);
        lidless.drain(2..4);
        let (areas, notes) = cut(&lidless, &[1.0]);
        assert!((areas[0] - 100.0).abs() < 1e-6);
        assert_eq!(notes[0].code, "mesh-non-manifold");
    }

    #[test]
    fn a_vertex_inside_a_neighbours_edge_is_no_gap() {
        // one side of the box split at a vertex that its neighbour does not have
        let mut f = boxed([0.0; 3], [10.0, 10.0, 4.0]);
        f.remove(10);
        // that facet's edge from (10, 10, 0) to (10, 0, 4) is split
        let (a, b, c) = ([10.0, 0.0, 0.0], [10.0, 10.0, 0.0], [10.0, 0.0, 4.0]);
        let on = [10.0, 10.0 - 10.0 * 0.3, 4.0 * 0.3];
        f.extend([[a, b, on], [a, on, c]]);
        let (areas, notes) = cut(&f, &[0.7, 1.2, 2.9]);
        assert!(areas.iter().all(|a| (a - 100.0).abs() < 1e-6), "{areas:?}");
        assert!(notes.iter().all(|d| d.code != "mesh-gaps"), "{notes:?}");
    }

    #[test]
    fn many_facets_are_quick_to_cut() {
        let n = 1500;
        let profile: Vec<(f64, f64)> = (0..=100).map(|k| (20.0 + (k % 7) as f64, k as f64 * 0.2)).collect();
        let m = mesh(&turned(&profile, n, [0.0, 0.0], 0.0));
        assert!(m.triangles.len() > 300_000);
        let heights: Vec<f64> = (0..100).map(|k| 0.1 + 0.2 * k as f64).collect();
        let areas = areas(&mut Notes::default(), "part", &m, 0.0, &heights).unwrap();
        assert!(areas.iter().all(|a| a.area() > 1000.0));
    }
}

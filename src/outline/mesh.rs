//! A triangle mesh, vertices shared.

use super::reach;
use crate::diagnostic::Diagnostic;
use std::collections::BTreeMap;

/// Triangles with outward sides by the right-hand rule, mm. Coordinates are
/// finite and within [`reach`]; equal corners are one vertex, and
/// facets with two equal corners are gone.
#[derive(Debug, Default)]
pub(super) struct Mesh {
    unit_mm: f64,
    pub(super) vertices: Vec<[f64; 3]>,
    pub(super) triangles: Vec<[u32; 3]>,
    known: BTreeMap<[u64; 3], u32>,
    pushed: usize,
}

/// A corner that no part has.
#[derive(Debug)]
pub(super) struct BadCorner([f64; 3]);

impl BadCorner {
    pub(super) fn diagnostic(&self, of: &str) -> Diagnostic {
        let [x, y, z] = self.0;
        if self.0.iter().any(|v| !v.is_finite()) {
            Diagnostic::error(
                "mesh-unreadable",
                format!("{of} has a corner at x {x}, y {y}, z {z}: not a number"),
            )
        } else {
            Diagnostic::error("outline-too-large", format!("{of} has a corner at {}", reach::told(self.0)))
        }
    }
}

impl Mesh {
    /// An empty mesh whose corners come in units of so many mm.
    pub(super) fn new(unit_mm: f64) -> Self {
        Self { unit_mm, ..Self::default() }
    }

    /// Facets that were added, slivers counted.
    pub(super) fn facets(&self) -> usize {
        self.pushed
    }

    /// Adds a facet. Errors: a corner that is no number or too far out.
    pub(super) fn push(&mut self, corners: [[f64; 3]; 3]) -> Result<(), BadCorner> {
        let mut ids = [0; 3];
        for (id, c) in ids.iter_mut().zip(corners) {
            // adding zero makes -0 and 0 one
            let c = c.map(|v| v * self.unit_mm + 0.0);
            if !reach::within(c) {
                return Err(BadCorner(c));
            }
            let next = u32::try_from(self.vertices.len()).unwrap_or(u32::MAX);
            *id = *self.known.entry(c.map(f64::to_bits)).or_insert(next);
            if *id == next {
                self.vertices.push(c);
            }
        }
        self.pushed += 1;
        if ids[0] != ids[1] && ids[1] != ids[2] && ids[2] != ids[0] {
            self.triangles.push(ids);
        }
        Ok(())
    }

    /// Lowest and highest z of the facets, mm; `None` without any.
    pub(super) fn heights(&self) -> Option<(f64, f64)> {
        self.triangles
            .iter()
            .flatten()
            .map(|v| self.vertices[*v as usize][2])
            .fold(None, |b: Option<(f64, f64)>, z| Some(b.map_or((z, z), |(lo, hi)| (lo.min(z), hi.max(z)))))
    }

    /// Volume inside, mm3; negative when the facets face inwards.
    pub(super) fn volume(&self) -> f64 {
        let Some(&o) = self.vertices.first() else { return 0.0 };
        self.triangles
            .iter()
            .map(|t| {
                let [a, b, c] = t.map(|v| {
                    let p = self.vertices[v as usize];
                    [p[0] - o[0], p[1] - o[1], p[2] - o[2]]
                });
                let cross = [b[1] * c[2] - b[2] * c[1], b[2] * c[0] - b[0] * c[2], b[0] * c[1] - b[1] * c[0]];
                (a[0] * cross[0] + a[1] * cross[1] + a[2] * cross[2]) / 6.0
            })
            .sum()
    }

    /// Edges that belong to one facet only, and to more than two.
    pub(super) fn odd_edges(&self) -> (usize, usize) {
        let mut edges: Vec<(u32, u32)> = self
            .triangles
            .iter()
            .flat_map(|t| [(t[0], t[1]), (t[1], t[2]), (t[2], t[0])])
            .map(|(a, b)| (a.min(b), a.max(b)))
            .collect();
        edges.sort_unstable();
        let count = |wanted: fn(usize) -> bool| {
            edges.chunk_by(|a, b| a == b).filter(|same| wanted(same.len())).count()
        };
        (count(|n| n == 1), count(|n| n > 2))
    }
}

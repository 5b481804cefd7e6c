//! The plan as the check reads it: shape of `NAME.plan.json`, format
//! `towpath-plan/1`, and what is asked of it while the program runs.

use super::geometry::{Curve, distance, to_stretch};
use super::ground::{Near, Stretch};
use crate::diagnostic::{Diagnostic, Outcome};
use serde::Deserialize;
use std::collections::BTreeMap;

#[derive(Debug, Deserialize)]
pub(super) struct Plan {
    pub(super) format: String,
    pub(super) tool: Tool,
    pub(super) inputs: Vec<Input>,
    pub(super) printer: PlanPrinter,
    pub(super) tow: Tow,
    pub(super) matrix: Matrix,
    pub(super) placement_mm: Vec<[f64; 2]>,
    pub(super) layers: Vec<Layer>,
    pub(super) estimate: Estimate,
}

#[derive(Debug, Deserialize)]
pub(super) struct Tool {
    pub(super) version: String,
}

#[derive(Debug, Deserialize)]
pub(super) struct Input {
    pub(super) role: String,
    pub(super) sha256: String,
}

#[derive(Debug, Deserialize)]
pub(super) struct PerHead<T> {
    pub(super) matrix: T,
    pub(super) fibre: T,
}

#[derive(Debug, Deserialize)]
pub(super) struct PlanPrinter {
    pub(super) name: String,
    pub(super) tools: PerHead<u32>,
    pub(super) offsets_mm: PerHead<[f64; 3]>,
    pub(super) cutter_to_nozzle_mm: f64,
    pub(super) feedstock_diameter_mm: f64,
    pub(super) chord_mm: f64,
    pub(super) temperature_c: PerHead<f64>,
    /// Left out: not known.
    pub(super) bed_c: Option<f64>,
    pub(super) chamber_c: Option<f64>,
    /// Left out: 1.
    pub(super) feed_scale: Option<PerHead<f64>>,
    pub(super) anchor_mm: f64,
    pub(super) offsets_applied_by: String,
    pub(super) extrusion: String,
    pub(super) comment: String,
    pub(super) dwell_unit: String,
    pub(super) reach_mm: PerHead<Reach>,
    pub(super) limits: Limits,
}

#[derive(Debug, Deserialize)]
pub(super) struct Reach {
    pub(super) x: [f64; 2],
    pub(super) y: [f64; 2],
    pub(super) z: [f64; 2],
}

#[derive(Debug, Deserialize)]
pub(super) struct Limits {
    pub(super) speed_mm_s: Speeds,
    pub(super) acceleration_mm_s2: Accelerations,
    pub(super) corner_deviation_mm: f64,
}

#[derive(Debug, Deserialize)]
pub(super) struct Speeds {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) z: f64,
    pub(super) matrix: f64,
    pub(super) fibre: f64,
    pub(super) travel: f64,
}

#[derive(Debug, Deserialize)]
pub(super) struct Accelerations {
    pub(super) work: f64,
    pub(super) travel: f64,
    pub(super) z: f64,
}

#[derive(Debug, Deserialize)]
pub(super) struct Tow {
    pub(super) name: Option<String>,
    pub(super) width_mm: f64,
    pub(super) area_mm2: f64,
    pub(super) fibre_area_mm2: f64,
    pub(super) min_bend_radius_mm: f64,
    /// Left out: 0.
    #[serde(default)]
    pub(super) trail_mm: f64,
    pub(super) density_g_cm3: f64,
}

#[derive(Debug, Deserialize)]
pub(super) struct Matrix {
    pub(super) name: Option<String>,
    pub(super) density_g_cm3: f64,
    /// Left out: not known.
    pub(super) max_flow_mm3_s: Option<f64>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Layer {
    pub(super) number: u64,
    pub(super) z_bottom_mm: f64,
    pub(super) height_mm: f64,
    pub(super) outline: Vec<Vec<[f64; 2]>>,
    pub(super) courses: Vec<PlanCourse>,
    pub(super) beads: Vec<PlanBead>,
    pub(super) areas_mm2: Areas,
    pub(super) drawn_mm2: Option<Drawn>,
}

#[derive(Debug, Deserialize)]
pub(super) struct PlanCourse {
    pub(super) id: String,
    pub(super) closed: bool,
    pub(super) length_mm: f64,
    pub(super) cut_at_mm: f64,
    /// Left out where it is straight.
    pub(super) min_bend_radius_mm: Option<f64>,
    pub(super) segments: Vec<Segment>,
    pub(super) laid: Option<Laid>,
}

/// Where trailing tow comes to lie.
#[derive(Debug, Deserialize)]
pub(super) struct Laid {
    pub(super) off_mm: f64,
    pub(super) end_off_mm: f64,
    pub(super) points: Vec<[f64; 2]>,
}

impl PlanCourse {
    /// How far off the line wanted its tow is told to lie, mm.
    pub(super) fn off_mm(&self) -> f64 {
        self.laid.as_ref().map_or(0.0, |l| l.off_mm.max(l.end_off_mm))
    }
}

#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Segment {
    Line([f64; 4]),
    Arc { from: [f64; 2], to: [f64; 2], centre: [f64; 2], ccw: bool },
}

impl Segment {
    pub(super) fn curve(self) -> Curve {
        match self {
            Self::Line([a, b, c, d]) => Curve::line([a, b], [c, d]),
            Self::Arc { from, to, centre, ccw } => Curve { from, to, arc: Some((centre, ccw)) },
        }
    }
}

#[derive(Debug, Deserialize)]
pub(super) struct PlanBead {
    pub(super) kind: String,
    pub(super) width_mm: f64,
    pub(super) area_mm2: f64,
    pub(super) closed: bool,
    pub(super) points: Vec<[f64; 2]>,
}

impl PlanBead {
    pub(super) fn length(&self) -> f64 {
        let open: f64 = self.points.windows(2).map(|w| distance(w[0], w[1])).sum();
        match (self.points.first(), self.points.last()) {
            (Some(a), Some(b)) if self.closed => open + distance(*a, *b),
            _ => open,
        }
    }
}

#[derive(Clone, Copy, Debug, Deserialize)]
pub(super) struct Areas {
    pub(super) outline: f64,
    pub(super) tow: f64,
    pub(super) matrix: f64,
    pub(super) open: f64,
    pub(super) unfilled: f64,
}

/// What the planner tells of beads as drawn.
#[derive(Clone, Copy, Debug, Deserialize)]
pub(super) struct Drawn {
    pub(super) bare: f64,
    pub(super) over_tow: f64,
}

#[derive(Debug, Deserialize)]
pub(super) struct Estimate {
    pub(super) fibre_length_mm: f64,
    pub(super) courses: u64,
    pub(super) cuts: u64,
    pub(super) head_changes: u64,
    pub(super) matrix_volume_mm3: f64,
    pub(super) purge_volume_mm3: f64,
    pub(super) matrix_mass_g: f64,
    pub(super) tow_mass_g: f64,
    pub(super) part_mass_g: f64,
    pub(super) fibre_volume_fraction: f64,
    pub(super) printed_porosity: f64,
    pub(super) time_s: BTreeMap<String, f64>,
}

/// Reads a plan.
///
/// Errors: `plan-unreadable`, with line and column.
pub(super) fn read(name: &str, bytes: &[u8]) -> Outcome<Plan> {
    let failed = |what: String| {
        Diagnostic::error("plan-unreadable", format!("`{name}` is no plan: {what}"))
            .in_file(name)
            .help("give the NAME.plan.json that was written with the program")
    };
    let plan: Plan = serde_json::from_slice(bytes).map_err(|e| failed(e.to_string()))?;
    if plan.format != "towpath-plan/1" {
        return Err(failed(format!("its format is `{}`, `towpath-plan/1` is read", plan.format)).into());
    }
    if plan.placement_mm.is_empty() {
        return Err(failed("`placement_mm` has no copy".to_owned()).into());
    }
    Ok(plan)
}

/// The outline of a layer, for questions.
pub(super) struct Rings {
    lo: [f64; 2],
    hi: [f64; 2],
    height: f64,
    rows: Vec<Vec<[[f64; 2]; 2]>>,
    edges: Near,
    /// mm2.
    pub(super) area: f64,
}

impl Rings {
    pub(super) fn new(rings: &[Vec<[f64; 2]>]) -> Self {
        let (mut lo, mut hi) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for p in rings.iter().flatten() {
            for k in 0..2 {
                lo[k] = lo[k].min(p[k]);
                hi[k] = hi[k].max(p[k]);
            }
        }
        if lo[0] > hi[0] {
            (lo, hi) = ([0.0; 2], [0.0; 2]);
        }
        let height = ((hi[1] - lo[1]) / 500.0).max(0.05);
        let mut edges = Near::new([lo[0] - 2.0, lo[1] - 2.0], [hi[0] + 2.0, hi[1] + 2.0]);
        let count = usize::try_from(super::geometry::steps(hi[1] - lo[1], height)).unwrap_or(1) + 1;
        let mut out = Vec::new();
        let mut area = 0.0;
        for ring in rings {
            for (i, &a) in ring.iter().enumerate() {
                let b = ring[(i + 1) % ring.len()];
                area += 0.5 * (a[0] * b[1] - b[0] * a[1]);
                edges.add(Stretch { a, b, owner: 0, from: 0.0, width: 0.0, line: 0 });
                out.push([a, b]);
            }
        }
        let mut rings = Self { lo, hi, height, rows: vec![Vec::new(); count], edges, area: area.abs() };
        for e in out {
            let (r0, r1) = (rings.row(e[0][1].min(e[1][1])), rings.row(e[0][1].max(e[1][1])));
            for row in &mut rings.rows[r0..=r1] {
                row.push(e);
            }
        }
        rings
    }

    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped")]
    fn row(&self, y: f64) -> usize {
        (((y - self.lo[1]) / self.height).clamp(0.0, 1e6) as usize).min(self.rows.len() - 1)
    }

    /// Lower left and upper right corner, mm.
    pub(super) fn bounds(&self) -> ([f64; 2], [f64; 2]) {
        (self.lo, self.hi)
    }

    /// Where a horizontal line meets the outline, in order.
    pub(super) fn crossings(&self, y: f64, out: &mut Vec<f64>) {
        out.clear();
        for [a, b] in &self.rows[self.row(y)] {
            if (a[1] > y) != (b[1] > y) {
                out.push(a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]));
            }
        }
        out.sort_by(f64::total_cmp);
    }

    /// How far outside a place lies, mm; 0 inside; at most `reach`.
    pub(super) fn outside(&self, p: [f64; 2], reach: f64) -> f64 {
        let inside = p[1] >= self.lo[1]
            && p[1] <= self.hi[1]
            && self.rows[self.row(p[1])]
                .iter()
                .filter(|[a, b]| {
                    (a[1] > p[1]) != (b[1] > p[1])
                        && a[0] + (p[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0]) > p[0]
                })
                .count()
                % 2
                == 1;
        if inside { 0.0 } else { self.edges.nearest(p, reach, |_, _| true).map_or(reach, |n| n.0) }
    }
}

/// A course of the plan while the program lays it.
pub(super) struct Follow {
    /// Layer, course and copy in the plan.
    pub(super) place: (usize, usize, usize),
    curves: Vec<(f64, Curve)>,
    /// Length so far, mm.
    s: f64,
}

impl Follow {
    pub(super) fn new(place: (usize, usize, usize), course: &PlanCourse) -> Self {
        let mut s = 0.0;
        let curves = course
            .segments
            .iter()
            .map(|g| {
                let c = g.curve();
                let from = s;
                s += c.length();
                (from, c)
            })
            .collect();
        Self { place, curves, s: 0.0 }
    }

    pub(super) fn length(&self) -> f64 {
        self.curves.last().map_or(0.0, |(from, c)| from + c.length())
    }

    /// How far a piece (part coordinates) strays from the course, and where.
    pub(super) fn follow(&mut self, piece: &Curve) -> (f64, [f64; 2]) {
        let length = piece.length();
        let mut worst = (0.0, piece.from);
        let before = self.s;
        for share in [0.0, 0.5, 1.0] {
            let p = piece.at(share);
            let middle = before + share * length;
            let (d, s) = self.nearest(p, middle - 0.1 * length - 0.1, middle + 0.1 * length + 0.1);
            if d > worst.0 {
                worst = (d, p);
            }
            if share > 0.9 {
                self.s = s;
            }
        }
        worst
    }

    fn nearest(&self, p: [f64; 2], lo: f64, hi: f64) -> (f64, f64) {
        let mut best = (f64::INFINITY, hi);
        let first = self.curves.partition_point(|(from, _)| *from <= lo).saturating_sub(1);
        for (from, c) in &self.curves[first..] {
            if *from > hi {
                break;
            }
            let (d, share) = c.nearest(p);
            if d < best.0 {
                best = (d, from + share * c.length());
            }
        }
        best
    }
}

/// Half of the widest perimeter bead, mm.
const WIDEST_MM: f64 = 1.0;

/// Beads further off than this are not looked for, mm.
pub(super) const FAR_MM: f64 = 0.5;

/// The beads of a layer, for questions.
pub(super) struct Beads {
    near: Near,
    /// The perimeters alone.
    rim: Near,
    /// Sum of their lengths, mm.
    pub(super) length: f64,
}

impl Beads {
    pub(super) fn new(layer: &Layer, bounds: ([f64; 2], [f64; 2])) -> Self {
        let (mut near, mut rim) = (Near::new(bounds.0, bounds.1), Near::new(bounds.0, bounds.1));
        let mut length = 0.0;
        for (owner, b) in layer.beads.iter().enumerate() {
            let n = b.points.len();
            let pairs = if b.closed { n } else { n.saturating_sub(1) };
            for i in 0..pairs {
                let (a, c) = (b.points[i], b.points[(i + 1) % n]);
                let owner = u32::try_from(owner).unwrap_or(u32::MAX);
                let stretch = Stretch { a, b: c, owner, from: 0.0, width: b.width_mm, line: 0 };
                near.add(stretch);
                if b.kind == "perimeter" {
                    rim.add(stretch);
                }
            }
            length += b.length();
        }
        Self { near, rim, length }
    }

    /// How deep a place (part coordinates) lies within a perimeter bead, mm.
    pub(super) fn within_perimeter(&self, p: [f64; 2]) -> f64 {
        let mut deepest = 0.0_f64;
        self.rim.nearest(p, WIDEST_MM, |s, _| {
            deepest = deepest.max(0.5 * s.width - to_stretch(p, s.a, s.b).0);
            false
        });
        deepest
    }

    /// The bead along which a piece lies (part coordinates: from, middle, to), of
    /// several the one that fits a flow (mm2) best: how far the piece is off at
    /// most, the bead's index. `None` where no bead is near its middle.
    pub(super) fn along(&self, layer: &Layer, piece: [[f64; 2]; 3], flow: f64) -> Option<(f64, usize)> {
        let [from, middle, to] = piece;
        let mut here: Vec<(f64, usize)> = Vec::new();
        let nearest = self.near.nearest(middle, FAR_MM, |s, _| {
            let d = to_stretch(middle, s.a, s.b).0;
            let owner = s.owner as usize;
            if d <= NEAR_MM {
                match here.iter_mut().find(|h| h.1 == owner) {
                    Some(h) => h.0 = h.0.min(d),
                    None => here.push((d, owner)),
                }
                // looked at, but not taken, so that all of them are looked at
                return false;
            }
            true
        });
        if here.is_empty() {
            here.extend(nearest.map(|n| (n.0, n.1.owner as usize)));
        }
        let end = |p: [f64; 2], owner: usize| {
            self.near.nearest(p, FAR_MM, |s, _| s.owner as usize == owner).map_or(FAR_MM, |n| n.0)
        };
        let worse = |owner: usize| (layer.beads[owner].area_mm2 - flow).abs();
        here.into_iter().map(|(d, owner)| (d.max(end(from, owner)).max(end(to, owner)), owner)).min_by(
            |a, b| {
                // all that it lies along are as good as each other
                a.0.max(NEAR_MM).total_cmp(&b.0.max(NEAR_MM)).then(worse(a.1).total_cmp(&worse(b.1)))
            },
        )
    }
}

/// A piece this near to a bead lies along it, mm.
pub(super) const NEAR_MM: f64 = 0.02;

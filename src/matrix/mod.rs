//! Matrix beads: perimeters, then fill of exactly what tow leaves.
//!
//! The beads tile the layer: rings along the boundaries, rows where there is room
//! for them, and beads of variable width along the middle of what is narrower.
//! Each bead carries the area it covers, so that flow is volume-exact.

mod cover;
mod held;
mod parallel;
mod ring;
mod run;
mod section;
mod sparse;
mod thin;

pub use cover::Cover;
use section::rounded_width_mm;
pub use section::{rectangle_mm2, rounded_mm2};
pub use sparse::FULL_GROUND;

use crate::geom::{Area, Point, combine, polyline, pt};
use crate::job::{BeadPlan, Fill};

/// Accuracy of round joins, mm.
const CHORD_MM: f64 = 0.005;

/// Leftovers smaller than this hold no bead, mm2.
const SPECK_MM2: f64 = 0.02;

/// Gaps narrower than this on average hold no bead, mm: between courses side by
/// side chords leave many that no nozzle could find.
const HAIRLINE_MM: f64 = 0.02;

/// Parallel rows are laid where this many find room side by side; narrower slots
/// get beads that follow them: fewer ends, and none of them against tow.
const ROWS_FROM: f64 = 3.0;

/// The beads of one layer. `outline` is the layer's area, `strips` what its
/// courses cover, inside the outline less the perimeters; `layer_index` (from 0)
/// picks the direction of parallel fill; `height_mm` is the layer's height.
pub fn fill(
    outline: &Area,
    strips: &Area,
    plan: &BeadPlan,
    layer_index: usize,
    height_mm: f64,
) -> LayerBeads {
    let width = plan.bead_width_mm;
    let mut beads = Vec::new();
    let rings = ring::inwards(outline, width, width, plan.perimeters, ring::TOUCHING);
    for points in &rings.lines {
        beads.push(Bead {
            kind: BeadKind::Perimeter,
            width_mm: width,
            area_mm2: rectangle_mm2(width, height_mm),
            closed: true,
            points: points.clone(),
        });
    }
    // tow lies inside the perimeters: it is taken out of what they leave
    let rest = combine::difference(&rings.left(), strips);
    let angle = match plan.fill_angles_deg.len() {
        0 => 0.0,
        n => plan.fill_angles_deg[layer_index % n].to_radians(),
    };
    let fraction = if plan.fill == Fill::None { 0.0 } else { plan.fill_fraction.clamp(0.0, 1.0) };
    let how = Filling { fill: plan.fill, width, angle, height_mm };
    if fraction >= 1.0 {
        how.solid(&rest, &mut beads);
    } else if fraction > 0.0 {
        beads.extend(sparse::fill(&rest, how, fraction));
    }
    held::inside(outline, &mut beads);
    as_written(&mut beads);
    spare(outline, strips, height_mm, &mut beads);
    let areas = areas(outline, strips, &beads, height_mm, (1.0 - fraction) * rest.area());
    let cover = cover::count(outline, strips, &beads);
    LayerBeads { beads, areas, cover }
}

/// Puts beads at the places that the program's three decimals can say: in pieces of a few
/// hundredths of a mm rounding turns directions, and with them the speed round corners.
/// What is counted of beads, time too, is then that of the beads as they are laid.
fn as_written(beads: &mut Vec<Bead>) {
    for b in beads.iter_mut() {
        for p in &mut b.points {
            *p = pt((p.x * 1e3).round() / 1e3, (p.y * 1e3).round() / 1e3);
        }
        b.points.dedup();
        while b.closed && b.points.len() > 1 && b.points.first() == b.points.last() {
            b.points.pop();
        }
    }
    beads.retain(|b| b.points.len() > if b.closed { 2 } else { 1 });
}

/// How ground is filled.
#[derive(Clone, Copy)]
struct Filling {
    fill: Fill,
    /// Of a bead, mm.
    width: f64,
    /// Of rows, radians.
    angle: f64,
    height_mm: f64,
}

impl Filling {
    /// All of the ground.
    fn solid(self, ground: &Area, beads: &mut Vec<Bead>) {
        let Self { fill, width, angle, height_mm } = self;
        let solid = combine::without_specks(ground, SPECK_MM2 * 0.05, HAIRLINE_MM);
        // one bead along the edge of the ground, so that rows end against matrix and
        // not against tow; slots between courses are followed to their middle
        let parallel = fill == Fill::Parallel;
        let edge = ring::inwards(&solid, width, width, if parallel { 1 } else { usize::MAX }, ring::FITTING);
        lay_rings(&edge, width, height_mm, beads);
        let thin = if parallel {
            let thick = ring::roomy(&edge.inside, width * ROWS_FROM * 0.5);
            parallel::rows(&thick, width, angle, height_mm, beads);
            let narrow = combine::difference(&edge.inside, &thick);
            let narrow = combine::without_specks(&narrow, SPECK_MM2, HAIRLINE_MM);
            let inner = ring::inwards(&narrow, width, width, usize::MAX, ring::FITTING);
            lay_rings(&inner, width, height_mm, beads);
            combine::apart(vec![edge.beside, inner.left()])
        } else {
            edge.left()
        };
        let thin = combine::without_specks(&thin, SPECK_MM2, HAIRLINE_MM);
        for polygon in thin.polygons() {
            thin::fill(polygon, width, height_mm, beads);
        }
    }
}

fn lay_rings(rings: &ring::Rings, width: f64, height_mm: f64, beads: &mut Vec<Bead>) {
    beads.extend(rings.lines.iter().map(|points| Bead {
        kind: BeadKind::Fill,
        width_mm: width,
        area_mm2: rectangle_mm2(width, height_mm),
        closed: true,
        points: points.clone(),
    }));
}

/// Beads that overlap a little at bends could ask for more than there is room for:
/// the fill then gives way, so that no more is laid than the layer holds; where there is
/// hardly any, as in a wall full of tow, all beads do, by a hair.
fn spare(outline: &Area, strips: &Area, height_mm: f64, beads: &mut [Bead]) {
    let room = (outline.area() - strips.area()) * height_mm;
    let sum = |kind: BeadKind, beads: &[Bead]| -> f64 {
        beads.iter().filter(|b| b.kind == kind).map(|b| b.area_mm2 * b.length_mm()).sum()
    };
    let (rings, fill) = (sum(BeadKind::Perimeter, beads), sum(BeadKind::Fill, beads));
    let excess = rings + fill - room;
    let all = fill <= excess;
    let giving = if all { rings + fill } else { fill };
    if excess <= 0.0 || giving <= excess {
        return;
    }
    // a hair below, so that rounding leaves nothing negative
    let share = (1.0 - excess / giving) * (1.0 - 1e-9);
    for b in beads.iter_mut().filter(|b| all || b.kind == BeadKind::Fill) {
        b.area_mm2 *= share;
        b.width_mm *= share;
    }
}

/// How the layer's area closes, where so much of it is to be left open.
fn areas(outline: &Area, strips: &Area, beads: &[Bead], height_mm: f64, open: f64) -> Areas {
    let matrix: f64 = beads.iter().map(|b| b.area_mm2 * b.length_mm()).sum::<f64>() / height_mm;
    let whole = outline.area();
    let tow = strips.area();
    let left = whole - tow - matrix;
    let open = open.clamp(0.0, left.max(0.0));
    Areas { outline: whole, tow, matrix, open, unfilled: left - open }
}

/// The beads of one layer and how its area closes.
#[derive(Clone, Debug, Default)]
pub struct LayerBeads {
    /// Perimeters first, then fill; the sequence reorders.
    pub beads: Vec<Bead>,
    /// Where the layer's area goes, by flow.
    pub areas: Areas,
    /// What beads cover as drawn.
    pub cover: Cover,
}

/// One extruded run of matrix.
#[derive(Clone, Debug, PartialEq)]
pub struct Bead {
    /// What it is for.
    pub kind: BeadKind,
    /// Width, mm.
    pub width_mm: f64,
    /// Cross-section, mm2: flow per mm of path.
    pub area_mm2: f64,
    /// The last point joins the first (which is not repeated).
    pub closed: bool,
    /// Centre line, mm.
    pub points: Vec<Point>,
}

impl Bead {
    /// Length of the centre line, mm.
    pub fn length_mm(&self) -> f64 {
        if self.closed { polyline::ring_length(&self.points) } else { polyline::length(&self.points) }
    }
}

/// What a bead is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BeadKind {
    /// Along a boundary of the outline.
    Perimeter,
    /// Between perimeters and courses.
    Fill,
}

impl BeadKind {
    /// The word in the plan.
    pub fn word(self) -> &'static str {
        match self {
            Self::Perimeter => "perimeter",
            Self::Fill => "fill",
        }
    }
}

/// Where a layer's area goes, mm2: outline = tow + matrix + open + unfilled.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Areas {
    /// The cross-section.
    pub outline: f64,
    /// Under the strips of the courses.
    pub tow: f64,
    /// Under beads.
    pub matrix: f64,
    /// Left empty on purpose by `fill_fraction`.
    pub open: f64,
    /// Where no bead fits.
    pub unfilled: f64,
}

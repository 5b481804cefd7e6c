//! The plan, `NAME.plan.json`: enough, beside the program and the printer
//! profile, for somebody else to check the print.

mod write;

pub use write::json;

use crate::estimate::Estimate;
use crate::files;
use schemars::JsonSchema;
use serde::Serialize;
use std::path::Path;

/// The name and version of the format.
pub const FORMAT: &str = "towpath-plan/1";

/// Most of a plan that is read for its inputs, bytes: they stand in one of its first lines.
const HEAD: usize = 1 << 16;

/// Role and file of each input of a plan on the disk; `None` where there is no plan, or
/// one of another make.
pub(crate) fn inputs(path: &Path) -> Option<Vec<(String, String)>> {
    let head = files::head(path, HEAD)?;
    let line = head.lines().find_map(|l| l.strip_prefix("\"inputs\": "))?;
    let inputs: Vec<serde_json::Value> = serde_json::from_str(line.trim_end().trim_end_matches(',')).ok()?;
    let word = |i: &serde_json::Value, key: &str| Some(i.get(key)?.as_str()?.to_owned());
    inputs.iter().map(|i| Some((word(i, "role")?, word(i, "file")?))).collect()
}

#[derive(Serialize, JsonSchema)]
struct Plan {
    /// `towpath-plan/1`.
    format: &'static str,
    tool: Tool,
    inputs: Vec<Input>,
    printer: Printer,
    tow: Tow,
    matrix: Matrix,
    /// One per copy: machine xy = part xy + placement, mm.
    placement_mm: Vec<[f64; 2]>,
    layers: Vec<Layer>,
    left_out: Vec<LeftOut>,
    /// Figures of the whole program.
    estimate: Estimate,
}

#[derive(Serialize, JsonSchema)]
struct Tool {
    name: &'static str,
    version: &'static str,
}

#[derive(Serialize, JsonSchema)]
struct Input {
    /// job | map | field | outline | printer | matrix | tow.
    role: String,
    file: String,
    sha256: String,
}

#[derive(Serialize, JsonSchema)]
struct PerHead<T> {
    matrix: T,
    fibre: T,
}

#[derive(Serialize, JsonSchema)]
struct Printer {
    name: String,
    /// T numbers.
    tools: PerHead<u32>,
    offsets_mm: PerHead<[f64; 3]>,
    /// "program" | "controller".
    offsets_applied_by: &'static str,
    /// "absolute" | "relative".
    extrusion: &'static str,
    /// "parentheses" | "semicolon".
    comment: &'static str,
    arcs: bool,
    feedstock_diameter_mm: f64,
    cutter_to_nozzle_mm: f64,
    anchor_mm: f64,
    /// What is written as E for each mm that a head feeds: 1 unless its drive was measured otherwise.
    feed_scale: PerHead<f64>,
    temperature_c: PerHead<f64>,
    standby_temperature_c: PerHead<f64>,
    /// Of the bed, as the program waits for it.
    bed_c: f64,
    /// Of the chamber; 0 where it is not heated.
    chamber_c: f64,
    /// The cut block as written.
    cut: Vec<String>,
    /// "s" | "ms".
    dwell_unit: &'static str,
    chord_mm: f64,
    /// Machine coordinates of each head's nozzle.
    reach_mm: PerHead<Reach>,
    limits: Limits,
}

#[derive(Serialize, JsonSchema)]
struct Reach {
    x: [f64; 2],
    y: [f64; 2],
    z: [f64; 2],
}

#[derive(Serialize, JsonSchema)]
struct Limits {
    speed_mm_s: Speeds,
    acceleration_mm_s2: Accelerations,
    corner_deviation_mm: f64,
}

#[derive(Serialize, JsonSchema)]
struct Speeds {
    x: f64,
    y: f64,
    z: f64,
    matrix: f64,
    fibre: f64,
    travel: f64,
}

#[derive(Serialize, JsonSchema)]
struct Accelerations {
    work: f64,
    travel: f64,
    z: f64,
}

#[derive(Serialize, JsonSchema)]
struct Tow {
    name: String,
    /// As typed in the job; null where it was not.
    lot: Option<String>,
    width_mm: f64,
    height_mm: f64,
    area_mm2: f64,
    fibre_area_mm2: f64,
    min_bend_radius_mm: f64,
    /// How far the place where it is laid trails the nozzle.
    trail_mm: f64,
    /// Edge strain beyond which it wrinkles; null where the profile does not say.
    wrinkle_strain: Option<f64>,
    density_g_cm3: f64,
}

#[derive(Serialize, JsonSchema)]
struct Matrix {
    name: String,
    /// As typed in the job; null where it was not.
    lot: Option<String>,
    density_g_cm3: f64,
    /// What can be molten of it; less where the head's own limit is lower.
    max_flow_mm3_s: f64,
}

#[derive(Serialize, JsonSchema)]
struct Layer {
    /// From 1.
    number: usize,
    z_bottom_mm: f64,
    height_mm: f64,
    /// Rings: outer counter-clockwise, holes clockwise; the first point is not repeated.
    outline: Vec<Vec<[f64; 2]>>,
    courses: Vec<Course>,
    beads: Vec<PlanBead>,
    areas_mm2: PlanAreas,
    /// The same as drawn, beads at their widths.
    drawn_mm2: Drawn,
    /// How well each region is served, in the order in which they are laid.
    regions: Vec<Quality>,
}

/// Figures of one region in one layer.
#[derive(Serialize, JsonSchema)]
struct Quality {
    region: String,
    /// Where its strips may lie: its shape inside the perimeters, as deep as the
    /// courses asked for go, less the strips of regions laid before.
    layable_mm2: f64,
    covered_mm2: f64,
    /// What a strip of the tow's width can cover at all.
    reachable_mm2: f64,
    /// covered / layable; null where nothing is layable.
    cover: Option<f64>,
    /// Strips over strips.
    overlap_mm2: f64,
    /// Bare places of at least a square of the tow's width.
    gap_count: usize,
    /// The largest of them.
    gaps: Vec<Gap>,
    /// Between tow and the direction asked for; null where the rule has none.
    angle_off_deg: Option<AngleOff>,
    /// null where all courses are straight.
    bend_radius_mm: Option<BendRadius>,
    courses: usize,
    /// Of these, those that end where they began.
    closed: usize,
    /// And those that were wound from such: they go round more than once.
    spirals: usize,
    ends: usize,
    /// null without tow.
    cuts_per_m: Option<f64>,
    length_mm: f64,
    longest_mm: f64,
    shortest_mm: f64,
    given_up_mm: f64,
    /// width / (2 radius) in the tightest bend.
    edge_strain: f64,
    /// How far trailing tow lies off the line wanted at most.
    trail_off_mm: f64,
}

#[derive(Serialize, JsonSchema)]
struct Gap {
    at_mm: [f64; 2],
    area_mm2: f64,
    /// 2 area / perimeter.
    width_mm: f64,
}

#[derive(Serialize, JsonSchema)]
struct AngleOff {
    mean: f64,
    /// Of 95 % of the tow.
    p95: f64,
    worst: f64,
    worst_at_mm: [f64; 2],
}

#[derive(Serialize, JsonSchema)]
struct BendRadius {
    least: f64,
    /// One tenth of the bent tow is bent at least as tightly.
    p10: f64,
    median: f64,
    /// Share of the tow that is bent; radii above 10 m count as straight.
    bent_share: f64,
}

#[derive(Serialize, JsonSchema)]
struct Course {
    id: String,
    region: String,
    rule: &'static str,
    closed: bool,
    length_mm: f64,
    /// Length from the start at which it is cut.
    cut_at_mm: f64,
    /// Its tightest bend; null for a straight course.
    min_bend_radius_mm: Option<f64>,
    /// Strain of the tow's edge there, width / (2 radius).
    edge_strain: f64,
    /// Beyond the tow's wrinkle_strain.
    wrinkles: bool,
    /// Where trailing tow comes to lie; null where it lies where the nozzle goes.
    laid: Option<LaidTow>,
    /// Joined tangentially, in the sense laid.
    segments: Vec<PlanSegment>,
}

#[derive(Serialize, JsonSchema)]
struct LaidTow {
    /// Largest distance from the line wanted, up to the last stretch.
    off_mm: f64,
    /// Largest distance of the last stretch, which lies straight.
    end_off_mm: f64,
    /// Where the larger of the two is.
    at_mm: [f64; 2],
    /// The tightest bend that it comes to lie in; null where it lies straight.
    min_bend_radius_mm: Option<f64>,
    points: Vec<[f64; 2]>,
}

#[derive(Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
enum PlanSegment {
    /// x0, y0, x1, y1.
    Line([f64; 4]),
    /// A circular piece.
    Arc(PlanArc),
}

#[derive(Serialize, JsonSchema)]
struct PlanArc {
    from: [f64; 2],
    to: [f64; 2],
    centre: [f64; 2],
    /// Counter-clockwise.
    ccw: bool,
}

#[derive(Serialize, JsonSchema)]
struct PlanBead {
    /// "perimeter" | "fill".
    kind: &'static str,
    width_mm: f64,
    /// Of its cross-section.
    area_mm2: f64,
    /// The last point joins the first.
    closed: bool,
    points: Vec<[f64; 2]>,
}

#[derive(Serialize, JsonSchema)]
struct Drawn {
    /// Under neither tow nor bead.
    bare: f64,
    /// Beads on tow.
    over_tow: f64,
}

#[derive(Serialize, JsonSchema)]
struct PlanAreas {
    outline: f64,
    tow: f64,
    matrix: f64,
    /// Left empty on purpose.
    open: f64,
    /// No bead fits.
    unfilled: f64,
}

#[derive(Serialize, JsonSchema)]
struct LeftOut {
    region: String,
    /// Its number.
    layer: usize,
    reason: String,
    length_mm: f64,
    at_mm: Option<[f64; 2]>,
}

/// JSON Schema of the plan.
pub fn schema() -> serde_json::Value {
    schemars::schema_for!(Plan).to_value()
}

//! The plan, `NAME.plan.json`: enough, beside the program and the printer
//! profile, for somebody else to check the print.

use crate::count::f64_of;
use crate::estimate::Estimate;
use crate::fibre::LayerCourses;
use crate::files;
use crate::geom::{Area, Point, Segment};
use crate::job::{Head, Job};
use crate::matrix::{Areas, Bead, Cover, LayerBeads};
use crate::outline::Outline;
use crate::sequence::{Laid, Program};
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

/// Digits of a course's coordinates, 1e-6 mm: radius and tangency survive.
fn fine(v: f64) -> f64 {
    let r = (v * 1e6).round() / 1e6;
    if r == 0.0 { 0.0 } else { r }
}

/// Digits of figures and beads, 1e-4 mm.
fn coarse(v: f64) -> f64 {
    let r = (v * 1e4).round() / 1e4;
    if r == 0.0 { 0.0 } else { r }
}

fn xy(p: Point) -> [f64; 2] {
    [fine(p.x), fine(p.y)]
}

fn xy_coarse(p: &Point) -> [f64; 2] {
    [coarse(p.x), coarse(p.y)]
}

/// The plan as text: one line for each course, bead and ring.
pub fn json(
    job: &Job,
    outline: &Outline,
    program: &Program,
    courses: &[LayerCourses],
    beads: &[LayerBeads],
    estimate: &Estimate,
    cut: &[String],
) -> String {
    let none = Vec::new();
    let layers = outline
        .layers
        .iter()
        .enumerate()
        .map(|(i, l)| Layer {
            number: l.number,
            z_bottom_mm: fine(l.z_bottom_mm),
            height_mm: fine(l.height_mm),
            outline: rings(&l.outline),
            courses: program.courses.get(i).unwrap_or(&none).iter().map(|l| course(l, &job.tow)).collect(),
            beads: beads.get(i).map(|b| b.beads.iter().map(bead).collect()).unwrap_or_default(),
            areas_mm2: areas(beads.get(i).map(|b| b.areas).unwrap_or_default()),
            drawn_mm2: drawn(beads.get(i).map(|b| b.cover).unwrap_or_default()),
            regions: courses.get(i).map(|c| c.quality.iter().map(quality).collect()).unwrap_or_default(),
        })
        .collect();
    let plan = Plan {
        format: FORMAT,
        tool: Tool { name: "towpath", version: env!("CARGO_PKG_VERSION") },
        inputs: job
            .inputs
            .iter()
            .map(|i| Input { role: i.role.to_string(), file: i.file.clone(), sha256: i.sha256.clone() })
            .collect(),
        printer: printer(job, cut),
        tow: Tow {
            name: job.tow.name.clone(),
            lot: job.lots[1].clone(),
            width_mm: job.tow.width_mm,
            height_mm: job.tow.height_mm,
            area_mm2: job.tow.area_mm2,
            fibre_area_mm2: job.tow.fibre_area_mm2,
            min_bend_radius_mm: job.tow.min_bend_radius_mm,
            trail_mm: job.tow.trail_mm,
            wrinkle_strain: job.tow.wrinkle_strain,
            density_g_cm3: job.tow.density_g_cm3,
        },
        matrix: Matrix {
            name: job.matrix.name.clone(),
            lot: job.lots[0].clone(),
            density_g_cm3: job.matrix.density_g_cm3,
            max_flow_mm3_s: job.matrix.max_flow_mm3_s,
        },
        placement_mm: program.placements.iter().map(|p| xy(*p)).collect(),
        layers,
        left_out: courses
            .iter()
            .flat_map(|c| &c.left_out)
            .map(|l| LeftOut {
                region: l.region.clone(),
                layer: l.layer,
                reason: l.reason.to_string(),
                length_mm: coarse(l.length_mm),
                at_mm: l.at_mm.map(|[x, y]| [coarse(x), coarse(y)]),
            })
            .collect(),
        estimate: estimate.clone(),
    };
    pretty(&plan)
}

fn rings(area: &Area) -> Vec<Vec<[f64; 2]>> {
    area.rings().map(|r| r.iter().map(|p| xy(*p)).collect()).collect()
}

fn course(l: &Laid, tow: &crate::job::Tow) -> Course {
    let path = l.course.path();
    let segments = path
        .segments
        .iter()
        .map(|s| match *s {
            Segment::Line { from, to } => {
                let ([x0, y0], [x1, y1]) = (xy(from), xy(to));
                PlanSegment::Line([x0, y0, x1, y1])
            }
            Segment::Arc(a) => {
                PlanSegment::Arc(PlanArc { from: xy(a.from), to: xy(a.to), centre: xy(a.centre), ccw: a.ccw })
            }
        })
        .collect();
    let radius = path.min_radius();
    let least = l.course.least_radius_mm();
    let edge_strain = if least.is_finite() { 0.5 * tow.width_mm / least } else { 0.0 };
    Course {
        id: l.id.clone(),
        region: l.course.region.clone(),
        rule: l.course.rule.word(),
        closed: l.course.wanted().closed,
        length_mm: fine(path.length()),
        cut_at_mm: fine(l.cut_at_mm),
        min_bend_radius_mm: radius.is_finite().then(|| coarse(radius)),
        edge_strain: fine(edge_strain),
        wrinkles: tow.wrinkle_strain.is_some_and(|most| edge_strain > most),
        laid: l.course.trail.as_ref().map(|t| LaidTow {
            off_mm: coarse(t.off_mm),
            end_off_mm: coarse(t.end_off_mm),
            at_mm: t.at_mm.map(coarse),
            min_bend_radius_mm: t.least_radius_mm.is_finite().then(|| coarse(t.least_radius_mm)),
            points: crate::geom::polyline::simplified(&t.laid, 0.002).iter().map(xy_coarse).collect(),
        }),
        segments,
    }
}

fn quality(q: &crate::fibre::RegionQuality) -> Quality {
    Quality {
        region: q.region.clone(),
        layable_mm2: coarse(q.layable_mm2),
        covered_mm2: coarse(q.covered_mm2),
        reachable_mm2: coarse(q.reachable_mm2),
        cover: (q.layable_mm2 > 0.0).then(|| coarse(q.covered_mm2 / q.layable_mm2)),
        overlap_mm2: coarse(q.overlap_mm2),
        gap_count: q.gap_count,
        gaps: q
            .gaps
            .iter()
            .map(|g| Gap {
                at_mm: g.at_mm.map(coarse),
                area_mm2: coarse(g.area_mm2),
                width_mm: coarse(g.width_mm),
            })
            .collect(),
        angle_off_deg: q.angle.map(|a| AngleOff {
            mean: coarse(a.mean_deg),
            p95: coarse(a.p95_deg),
            worst: coarse(a.worst_deg),
            worst_at_mm: a.worst_at_mm.map(coarse),
        }),
        bend_radius_mm: q.bends.map(|b| BendRadius {
            least: coarse(b.least_mm),
            p10: coarse(b.p10_mm),
            median: coarse(b.median_mm),
            bent_share: coarse(b.bent_share),
        }),
        courses: q.courses,
        closed: q.closed,
        spirals: q.spirals,
        ends: 2 * q.courses,
        cuts_per_m: (q.length_mm > 0.0).then(|| coarse(1000.0 * f64_of(q.courses) / q.length_mm)),
        length_mm: coarse(q.length_mm),
        longest_mm: coarse(q.longest_mm),
        shortest_mm: coarse(q.shortest_mm),
        given_up_mm: coarse(q.given_up_mm),
        edge_strain: fine(q.edge_strain),
        trail_off_mm: coarse(q.trail_off_mm),
    }
}

fn bead(b: &Bead) -> PlanBead {
    PlanBead {
        kind: b.kind.word(),
        width_mm: coarse(b.width_mm),
        area_mm2: fine(b.area_mm2),
        closed: b.closed,
        points: b.points.iter().map(xy_coarse).collect(),
    }
}

fn areas(a: Areas) -> PlanAreas {
    PlanAreas {
        outline: fine(a.outline),
        tow: fine(a.tow),
        matrix: fine(a.matrix),
        open: fine(a.open),
        unfilled: fine(a.unfilled),
    }
}

fn drawn(c: Cover) -> Drawn {
    Drawn { bare: coarse(c.bare), over_tow: coarse(c.over_tow) }
}

fn printer(job: &Job, cut: &[String]) -> Printer {
    let p = &job.printer;
    let c = &p.controller;
    let reach = |head: Head| {
        let [x, y, z] = p.head(head).reach_mm;
        Reach { x, y, z }
    };
    Printer {
        name: p.name.clone(),
        tools: PerHead { matrix: p.matrix.tool, fibre: p.fibre.tool },
        offsets_mm: PerHead { matrix: p.matrix.offset_mm, fibre: p.fibre.offset_mm },
        offsets_applied_by: if c.program_applies_offsets { "program" } else { "controller" },
        extrusion: if c.absolute_extrusion { "absolute" } else { "relative" },
        comment: if c.parenthesis_comments { "parentheses" } else { "semicolon" },
        arcs: c.arcs,
        feedstock_diameter_mm: p.feedstock_diameter_mm,
        cutter_to_nozzle_mm: p.cutter_to_nozzle_mm,
        anchor_mm: p.anchor_mm,
        feed_scale: PerHead { matrix: p.matrix.feed_scale, fibre: p.fibre.feed_scale },
        temperature_c: PerHead {
            matrix: job.matrix.process_temperature_c,
            fibre: job.tow.process_temperature_c,
        },
        standby_temperature_c: PerHead {
            matrix: p.matrix.standby_temperature_c,
            fibre: p.fibre.standby_temperature_c,
        },
        bed_c: p.bed_temperature_c,
        chamber_c: p.chamber_temperature_c,
        cut: cut.to_vec(),
        dwell_unit: if c.dwell_milliseconds { "ms" } else { "s" },
        chord_mm: c.chord_mm,
        reach_mm: PerHead { matrix: reach(Head::Matrix), fibre: reach(Head::Fibre) },
        limits: Limits {
            speed_mm_s: Speeds {
                x: p.limits.axis_speed_mm_s[0],
                y: p.limits.axis_speed_mm_s[1],
                z: p.limits.axis_speed_mm_s[2],
                matrix: p.matrix.speed_mm_s,
                fibre: p.fibre.speed_mm_s,
                travel: p.limits.travel_mm_s,
            },
            acceleration_mm_s2: Accelerations {
                work: p.limits.work_mm_s2,
                travel: p.limits.travel_mm_s2,
                z: p.limits.z_mm_s2,
            },
            corner_deviation_mm: p.limits.corner_deviation_mm,
        },
    }
}

/// JSON with the outer levels on lines of their own and the rest compact, so
/// that a person can find a course and a large part stays small.
fn pretty(plan: &Plan) -> String {
    let mut value = match serde_json::to_value(plan) {
        Ok(v) => v,
        Err(e) => panic!("the plan holds something that JSON cannot: {e}"),
    };
    let layers = value.get_mut("layers").map(serde_json::Value::take).unwrap_or_default();
    let mut out = String::from("{\n");
    for (key, v) in value.as_object().into_iter().flatten() {
        if key != "layers" {
            out.push_str(&format!("\"{key}\": {v},\n"));
        }
    }
    out.push_str("\"layers\": [");
    for (i, layer) in layers.as_array().into_iter().flatten().enumerate() {
        out.push_str(if i > 0 { ",\n{" } else { "\n{" });
        let mut first = true;
        for (key, v) in layer.as_object().into_iter().flatten() {
            if !first {
                out.push(',');
            }
            first = false;
            match v.as_array().filter(|_| matches!(key.as_str(), "courses" | "beads" | "outline")) {
                Some(list) => {
                    out.push_str(&format!("\n\"{key}\": ["));
                    for (k, item) in list.iter().enumerate() {
                        out.push_str(if k > 0 { ",\n  " } else { "\n  " });
                        out.push_str(&item.to_string());
                    }
                    out.push(']');
                }
                None => out.push_str(&format!("\n\"{key}\": {v}")),
            }
        }
        out.push('}');
    }
    out.push_str("\n]\n}\n");
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnostic::Notes;
    use crate::geom::{Arc, Path, combine, pt};
    use crate::job::Rule;
    use crate::matrix::BeadKind;
    use serde_json::Value;

    /// A layer with a course of a line, a quarter circle and a line, and a bead.
    fn plan() -> String {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link/job.toml");
        let job = crate::job::read(&mut Notes::default(), &path).expect("the example's job");
        let ring = [pt(0.0, 0.0), pt(60.0, 0.0), pt(60.0, 60.0), pt(0.0, 60.0)];
        let outline = Outline {
            layers: vec![crate::outline::Layer {
                number: 1,
                z_bottom_mm: 0.0,
                height_mm: 0.2,
                outline: combine::ring_area(&ring),
            }],
            ..Outline::default()
        };
        let third = 1.0 / 3.0;
        let (a, b) = (pt(30.0 + third, 10.0), pt(40.0 + third, 20.0));
        let segments = vec![
            Segment::Line { from: pt(5.0, 10.0), to: a },
            Segment::Arc(Arc { from: a, to: b, centre: pt(30.0 + third, 20.0), ccw: true }),
            Segment::Line { from: b, to: pt(40.0 + third, 50.0) },
        ];
        let course =
            crate::fibre::Course::new("bow".into(), Rule::Contour, 0, Path::new(segments, false), 5.0, 20.0)
                .expect("a course");
        let length = course.length_mm();
        let program = Program {
            placements: vec![pt(100.0, 50.0)],
            courses: vec![vec![Laid { id: "L1.1".into(), course, cut_at_mm: length - 15.0 }]],
            ..Program::default()
        };
        let beads = vec![LayerBeads {
            cover: Default::default(),
            beads: vec![Bead {
                kind: BeadKind::Perimeter,
                width_mm: 0.5,
                area_mm2: 0.1,
                closed: true,
                points: vec![pt(0.25, 0.25), pt(59.75, -1e-9), pt(59.75, 59.75)],
            }],
            areas: Areas::default(),
        }];
        let left_out = crate::reinforcement::LeftOut {
            region: "bow \"two\"".into(),
            layer: 1,
            reason: crate::reinforcement::Reason::NoRoom,
            length_mm: 12.0,
            at_mm: None,
        };
        let courses = vec![LayerCourses { left_out: vec![left_out], ..LayerCourses::default() }];
        let time = crate::estimate::TimeSplit::default();
        let estimate = crate::estimate::of(&job, &outline, &program, &beads, 0, time);
        json(&job, &outline, &program, &courses, &beads, &estimate, &["M400".to_owned()])
    }

    #[test]
    fn a_plan_is_as_its_schema_says() {
        let value: Value = serde_json::from_str(&plan()).expect("JSON");
        let validator = jsonschema::validator_for(&schema()).expect("a schema");
        let faults: Vec<String> = validator.iter_errors(&value).map(|e| e.to_string()).collect();
        assert!(faults.is_empty(), "{faults:?}");
        assert_eq!(value["left_out"][0]["region"], "bow \"two\"", "names as typed");
        assert_eq!(plan(), plan(), "the same bytes each time");
    }

    #[test]
    fn radius_and_tangency_survive_the_rounding() {
        let value: Value = serde_json::from_str(&plan()).expect("JSON");
        let segments = &value["layers"][0]["courses"][0]["segments"];
        let xy = |v: &Value| pt(v[0].as_f64().expect("x"), v[1].as_f64().expect("y"));
        let arc = &segments[1]["arc"];
        let (from, to, centre) = (xy(&arc["from"]), xy(&arc["to"]), xy(&arc["centre"]));
        assert!((from.dist(centre) - 10.0).abs() < 2e-6, "radius at the start");
        assert!((to.dist(centre) - 10.0).abs() < 2e-6, "radius at the end");
        let line = |v: &Value| {
            let v: Vec<f64> = serde_json::from_value(v.clone()).expect("four numbers");
            (pt(v[0], v[1]), pt(v[2], v[3]))
        };
        let ((start, joint), (onward, end)) = (line(&segments[0]["line"]), line(&segments[2]["line"]));
        assert!(joint == from && onward == to, "pieces meet exactly");
        let across = |d: Point| d.normalised().expect("a direction").dot((joint - centre) * 0.1);
        assert!(across(joint - start).abs() < 1e-6, "tangential at the start");
        let out = (end - onward).normalised().expect("a direction");
        assert!(out.dot((to - centre) * 0.1).abs() < 1e-6, "tangential at the end");
        assert_eq!(value["layers"][0]["beads"][0]["points"][1][1], 0.0, "no minus zero");
    }

    #[test]
    fn a_course_a_bead_and_a_ring_stand_on_a_line_each() {
        let text = plan();
        let holding = |what: &str| text.lines().filter(|l| l.contains(what)).count();
        assert_eq!(holding("\"segments\""), 1, "the course");
        assert_eq!(holding("\"points\""), 1, "the bead");
        assert!(!text.contains("-0.0,") && !text.contains("-0.0]"), "no minus zero");
    }
}

//! The plan as the file format describes it.

use super::Findings;
use serde::Deserialize;
use std::collections::BTreeSet;

#[derive(Clone, Debug, Deserialize)]
pub(crate) struct Plan {
    pub(crate) format: String,
    pub(crate) tool: Tool,
    pub(crate) inputs: Vec<Input>,
    pub(crate) printer: Printer,
    pub(crate) tow: Tow,
    pub(crate) matrix: Matrix,
    pub(crate) placement_mm: Vec<Vec<f64>>,
    pub(crate) layers: Vec<Layer>,
    pub(crate) left_out: Vec<LeftOut>,
    pub(crate) estimate: Estimate,
}

#[derive(Clone, Debug, Deserialize)]
pub(crate) struct Tool {
    pub(crate) version: String,
}

#[derive(Clone, Debug, Deserialize)]
pub(crate) struct Input {
    pub(crate) role: String,
    pub(crate) file: String,
    pub(crate) sha256: String,
}

/// One value per head.
#[derive(Clone, Copy, Debug, Deserialize)]
pub(crate) struct Heads<T> {
    pub(crate) matrix: T,
    pub(crate) fibre: T,
}

#[derive(Clone, Debug, Deserialize)]
pub(crate) struct Printer {
    pub(crate) name: String,
    pub(crate) tools: Heads<i64>,
    pub(crate) offsets_mm: Heads<[f64; 3]>,
    pub(crate) offsets_applied_by: String,
    pub(crate) extrusion: String,
    pub(crate) comment: String,
    pub(crate) feedstock_diameter_mm: f64,
    pub(crate) cutter_to_nozzle_mm: f64,
    pub(crate) anchor_mm: f64,
    pub(crate) temperature_c: Heads<f64>,
    pub(crate) cut: Vec<String>,
    pub(crate) dwell_unit: String,
    pub(crate) chord_mm: f64,
    pub(crate) reach_mm: Heads<Reach>,
    pub(crate) limits: Limits,
}

#[derive(Clone, Copy, Debug, Deserialize)]
pub(crate) struct Reach {
    pub(crate) x: [f64; 2],
    pub(crate) y: [f64; 2],
    pub(crate) z: [f64; 2],
}

#[derive(Clone, Copy, Debug, Deserialize)]
pub(crate) struct Limits {
    pub(crate) speed_mm_s: Speeds,
    pub(crate) acceleration_mm_s2: Accelerations,
    pub(crate) corner_deviation_mm: f64,
}

#[derive(Clone, Copy, Debug, Deserialize)]
pub(crate) struct Speeds {
    pub(crate) x: f64,
    pub(crate) y: f64,
    pub(crate) z: f64,
    pub(crate) matrix: f64,
    pub(crate) fibre: f64,
    pub(crate) travel: f64,
}

#[derive(Clone, Copy, Debug, Deserialize)]
pub(crate) struct Accelerations {
    pub(crate) work: f64,
    pub(crate) travel: f64,
    pub(crate) z: f64,
}

#[derive(Clone, Debug, Deserialize)]
pub(crate) struct Tow {
    pub(crate) width_mm: f64,
    pub(crate) height_mm: f64,
    pub(crate) area_mm2: f64,
    pub(crate) fibre_area_mm2: f64,
    pub(crate) min_bend_radius_mm: f64,
    pub(crate) density_g_cm3: f64,
}

#[derive(Clone, Debug, Deserialize)]
pub(crate) struct Matrix {
    pub(crate) density_g_cm3: f64,
}

#[derive(Clone, Debug, Deserialize)]
pub(crate) struct Layer {
    pub(crate) number: u64,
    pub(crate) z_bottom_mm: f64,
    pub(crate) height_mm: f64,
    pub(crate) outline: Vec<Vec<[f64; 2]>>,
    pub(crate) courses: Vec<Course>,
    pub(crate) beads: Vec<Bead>,
    pub(crate) areas_mm2: Areas,
}

impl Layer {
    pub(crate) fn z_top_mm(&self) -> f64 {
        self.z_bottom_mm + self.height_mm
    }
}

#[derive(Clone, Debug, Deserialize)]
pub(crate) struct Course {
    pub(crate) id: serde_json::Value,
    pub(crate) region: String,
    pub(crate) rule: String,
    pub(crate) closed: bool,
    pub(crate) length_mm: f64,
    pub(crate) cut_at_mm: f64,
    /// Null for a straight course.
    pub(crate) min_bend_radius_mm: Option<f64>,
    pub(crate) segments: Vec<Segment>,
}

impl Course {
    /// The id as it stands in comments, whether the plan has it as text or number.
    pub(crate) fn name(&self) -> String {
        match &self.id {
            serde_json::Value::String(s) => s.clone(),
            other => other.to_string(),
        }
    }
}

#[derive(Clone, Copy, Debug, Deserialize)]
pub(crate) enum Segment {
    #[serde(rename = "line")]
    Line([f64; 4]),
    #[serde(rename = "arc")]
    Arc { from: [f64; 2], to: [f64; 2], centre: [f64; 2], ccw: bool },
}

#[derive(Clone, Debug, Deserialize)]
pub(crate) struct Bead {
    pub(crate) kind: String,
    pub(crate) width_mm: f64,
    pub(crate) area_mm2: f64,
    pub(crate) closed: bool,
    pub(crate) points: Vec<[f64; 2]>,
}

impl Bead {
    /// The centre line with a closed bead's first point repeated at the end.
    pub(crate) fn line(&self) -> Vec<[f64; 2]> {
        let mut line = self.points.clone();
        if self.closed
            && let (Some(&first), Some(&last)) = (line.first(), line.last())
            && super::curve::distance(first, last) > 1e-9
        {
            line.push(first);
        }
        line
    }

    pub(crate) fn length(&self) -> f64 {
        self.line().windows(2).map(|w| super::curve::distance(w[0], w[1])).sum()
    }
}

#[derive(Clone, Copy, Debug, Deserialize)]
pub(crate) struct Areas {
    pub(crate) outline: f64,
    pub(crate) tow: f64,
    pub(crate) matrix: f64,
    pub(crate) open: f64,
    pub(crate) unfilled: f64,
}

#[derive(Clone, Debug, Deserialize)]
pub(crate) struct LeftOut {
    pub(crate) region: String,
    pub(crate) layer: u64,
    pub(crate) reason: String,
    pub(crate) length_mm: f64,
    pub(crate) at_mm: Option<Vec<f64>>,
}

#[derive(Clone, Copy, Debug, Deserialize)]
pub(crate) struct Estimate {
    pub(crate) fibre_length_mm: f64,
    pub(crate) courses: u64,
    pub(crate) cuts: u64,
    pub(crate) head_changes: u64,
    pub(crate) matrix_volume_mm3: f64,
    pub(crate) purge_volume_mm3: f64,
    pub(crate) matrix_mass_g: f64,
    pub(crate) tow_mass_g: f64,
    pub(crate) part_mass_g: f64,
    pub(crate) fibre_volume_fraction: f64,
    pub(crate) printed_porosity: f64,
    pub(crate) time_s: Times,
}

#[derive(Clone, Copy, Debug, Deserialize)]
pub(crate) struct Times {
    pub(crate) total: f64,
    pub(crate) fibre: f64,
    pub(crate) matrix: f64,
    pub(crate) travel: f64,
    pub(crate) head_change: f64,
    pub(crate) heating: f64,
    pub(crate) cutting: f64,
    pub(crate) other: f64,
}

/// Reads a plan; what is not a plan at all is one finding and `None`.
pub(crate) fn read(findings: &mut Findings, text: &str) -> Option<Plan> {
    let plan: Plan = match serde_json::from_str(text) {
        Ok(plan) => plan,
        Err(e) => {
            findings.say("plan form", None, format!("the plan cannot be read: {e}"));
            return None;
        }
    };
    form(findings, &plan);
    Some(plan)
}

/// Words and counts: everything that needs no geometry.
fn form(findings: &mut Findings, plan: &Plan) {
    const WHAT: &str = "plan form";
    let mut say = |layer, wrong: bool, text: String| {
        if wrong {
            findings.say(WHAT, layer, text);
        }
    };
    say(None, plan.format != "towpath-plan/1", format!("format is `{}`", plan.format));
    say(None, plan.tool.version.is_empty(), "tool version is empty".to_owned());
    say(None, plan.inputs.is_empty(), "no inputs are told".to_owned());
    for input in &plan.inputs {
        let hex = input.sha256.len() == 64
            && input.sha256.chars().all(|c| c.is_ascii_digit() || ('a'..='f').contains(&c));
        say(None, !hex, format!("hash of {} `{}` is not 64 hex digits", input.role, input.file));
        say(None, input.file.starts_with('/'), format!("input `{}` is told with its path", input.file));
        say(None, input.role.is_empty() || input.file.is_empty(), "an input without role or file".to_owned());
    }
    let printer = &plan.printer;
    say(None, printer.name.is_empty(), "printer without name".to_owned());
    say(None, printer.tools.matrix == printer.tools.fibre, "both heads have one tool number".to_owned());
    let one_of = |word: &str, words: &[&str]| words.contains(&word);
    say(
        None,
        !one_of(&printer.offsets_applied_by, &["program", "controller"]),
        format!("offsets_applied_by is `{}`", printer.offsets_applied_by),
    );
    say(
        None,
        !one_of(&printer.extrusion, &["absolute", "relative"]),
        format!("extrusion is `{}`", printer.extrusion),
    );
    say(
        None,
        !one_of(&printer.comment, &["parentheses", "semicolon"]),
        format!("comment is `{}`", printer.comment),
    );
    say(None, !one_of(&printer.dwell_unit, &["s", "ms"]), format!("dwell_unit is `{}`", printer.dwell_unit));
    say(None, plan.placement_mm.is_empty(), "no placement".to_owned());
    for placement in &plan.placement_mm {
        say(None, placement.len() < 2, "a placement without x and y".to_owned());
    }
    let positive = [
        ("feedstock_diameter_mm", printer.feedstock_diameter_mm),
        ("cutter_to_nozzle_mm", printer.cutter_to_nozzle_mm),
        ("chord_mm", printer.chord_mm),
        ("tow width_mm", plan.tow.width_mm),
        ("tow height_mm", plan.tow.height_mm),
        ("tow area_mm2", plan.tow.area_mm2),
        ("tow fibre_area_mm2", plan.tow.fibre_area_mm2),
        ("tow min_bend_radius_mm", plan.tow.min_bend_radius_mm),
        ("tow density_g_cm3", plan.tow.density_g_cm3),
        ("matrix density_g_cm3", plan.matrix.density_g_cm3),
        ("speed x", printer.limits.speed_mm_s.x),
        ("speed travel", printer.limits.speed_mm_s.travel),
        ("speed fibre", printer.limits.speed_mm_s.fibre),
        ("speed matrix", printer.limits.speed_mm_s.matrix),
        ("acceleration work", printer.limits.acceleration_mm_s2.work),
    ];
    for (name, value) in positive {
        say(None, value.is_nan() || value <= 0.0, format!("{name} is {value}"));
    }
    say(
        None,
        plan.tow.fibre_area_mm2 > plan.tow.area_mm2,
        "the tow holds more fibre than its section".to_owned(),
    );
    let section = plan.tow.width_mm * plan.tow.height_mm * 1.001;
    say(None, plan.tow.area_mm2 > section, "the tow's area does not fit its width and height".to_owned());

    let mut ids = BTreeSet::new();
    let mut z = 0.0;
    for (index, layer) in plan.layers.iter().enumerate() {
        let n = Some(layer.number);
        say(
            n,
            layer.number != index as u64 + 1,
            format!("layer {} stands at place {}", layer.number, index + 1),
        );
        say(n, layer.height_mm.is_nan() || layer.height_mm <= 0.0, format!("height {}", layer.height_mm));
        say(
            n,
            (layer.z_bottom_mm - z).abs() > 1e-3,
            format!("bottom at {} where the layer below ends at {z}", layer.z_bottom_mm),
        );
        z = layer.z_top_mm();
        for ring in &layer.outline {
            say(n, ring.len() < 3, format!("an outline ring of {} points", ring.len()));
        }
        for course in &layer.courses {
            say(n, !ids.insert(course.name()), format!("course id {} stands twice", course.name()));
            say(n, course.segments.is_empty(), format!("course {} without segments", course.name()));
            say(n, course.region.is_empty(), format!("course {} without region", course.name()));
            let known = ["hoop", "contour", "unidirectional", "steered", "strap"];
            say(n, !known.contains(&course.rule.as_str()), format!("rule `{}`", course.rule));
        }
        for bead in &layer.beads {
            say(n, !one_of(&bead.kind, &["perimeter", "fill"]), format!("bead kind `{}`", bead.kind));
            say(n, bead.points.len() < 2, format!("a bead of {} points", bead.points.len()));
            say(n, !(bead.width_mm > 0.0 && bead.area_mm2 > 0.0), "a bead without section".to_owned());
        }
        let a = layer.areas_mm2;
        let least = a.outline.min(a.tow).min(a.matrix).min(a.open).min(a.unfilled);
        say(n, least.is_nan() || least < -1e-6, format!("a negative area {least}"));
    }
    for left in &plan.left_out {
        let n = Some(left.layer);
        let known = plan.layers.iter().any(|l| l.number == left.layer);
        say(n, !known, format!("left_out names layer {}", left.layer));
        say(
            n,
            left.region.is_empty() || left.reason.is_empty(),
            "left_out without region or reason".to_owned(),
        );
        say(n, left.length_mm.is_nan() || left.length_mm < 0.0, "left_out with a negative length".to_owned());
        say(
            n,
            left.at_mm.as_ref().is_some_and(|at| at.len() < 2),
            "left_out at less than x and y".to_owned(),
        );
    }
}

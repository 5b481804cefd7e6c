//! A small plan with its program that keep every promise, in both dialects.
//!
//! Two layers of a 100 x 30 mm plate: a racetrack and a straight course below,
//! an S-bend above, one perimeter, one fill bead, the rest open. Every number
//! follows from these few by hand: the racetrack is 80 + 20 pi long, the S-bend
//! 60 + 10 pi, the perimeter's middle 2 (99.5 + 29.5).

use super::curve::{Line, distance};
use super::plan_file::Segment;
use serde_json::{Value, json};
use std::f64::consts::PI;
use std::fmt::Write as _;

/// Which of the two dialects.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Dialect {
    /// Arcs, absolute E, the program applies offsets, parentheses, one part.
    Arcs,
    /// Chords, relative E, the controller applies offsets, semicolons, two parts.
    Chords,
}

const HEIGHT: f64 = 0.2;
const FEEDSTOCK: f64 = 1.75;
const CUTTER: f64 = 15.0;
const OFFSET: [f64; 3] = [40.0, -3.0, 0.5];

fn line(a: [f64; 2], b: [f64; 2]) -> Value {
    json!({"line": [a[0], a[1], b[0], b[1]]})
}

fn arc(from: [f64; 2], to: [f64; 2], centre: [f64; 2], ccw: bool) -> Value {
    json!({"arc": {"from": from, "to": to, "centre": centre, "ccw": ccw}})
}

fn racetrack() -> Vec<Value> {
    vec![
        line([50.0, 5.0], [70.0, 5.0]),
        arc([70.0, 5.0], [70.0, 25.0], [70.0, 15.0], true),
        line([70.0, 25.0], [30.0, 25.0]),
        arc([30.0, 25.0], [30.0, 5.0], [30.0, 15.0], true),
        line([30.0, 5.0], [50.0, 5.0]),
    ]
}

fn bend() -> Vec<Value> {
    vec![
        line([10.0, 10.0], [40.0, 10.0]),
        arc([40.0, 10.0], [45.0, 15.0], [40.0, 15.0], true),
        arc([45.0, 15.0], [50.0, 20.0], [50.0, 15.0], false),
        line([50.0, 20.0], [80.0, 20.0]),
    ]
}

/// The plan.
pub(crate) fn plan(dialect: Dialect) -> Value {
    let arcs = dialect == Dialect::Arcs;
    let copies: Vec<[f64; 2]> = if arcs { vec![[60.0, 50.0]] } else { vec![[60.0, 50.0], [60.0, 100.0]] };
    let n = copies.len() as f64;
    let beads = json!([
        {"kind": "perimeter", "width_mm": 0.5, "area_mm2": 0.1, "closed": true,
         "points": [[0.25, 0.25], [99.75, 0.25], [99.75, 29.75], [0.25, 29.75]]},
        {"kind": "fill", "width_mm": 0.5, "area_mm2": 0.1, "closed": false, "points": [[5.0, 2.0], [95.0, 2.0]]},
    ]);
    let matrix = 0.5 * (258.0 + 90.0);
    let lengths = [80.0 + 20.0 * PI, 50.0, 60.0 + 5.0 * PI];
    let course = |id: &str, rule: &str, closed: bool, length: f64, radius: Value, segments: Vec<Value>| {
        json!({"id": id, "region": "plate", "rule": rule, "closed": closed, "length_mm": length,
               "cut_at_mm": length - CUTTER, "min_bend_radius_mm": radius, "segments": segments})
    };
    let layer = |number: u64, tow: f64, courses: Vec<Value>| {
        json!({"number": number, "z_bottom_mm": HEIGHT * (number - 1) as f64, "height_mm": HEIGHT,
               "outline": [[[0.0, 0.0], [100.0, 0.0], [100.0, 30.0], [0.0, 30.0]]],
               "courses": courses, "beads": beads,
               "areas_mm2": {"outline": 3000.0, "tow": tow, "matrix": matrix,
                             "open": 3000.0 - tow - matrix, "unfilled": 0.0}})
    };
    let fibre: f64 = lengths.iter().sum::<f64>() * n;
    let volume = 2.0 * matrix * HEIGHT * n;
    let (matrix_mass, tow_mass) = (volume * 1.01e-3, fibre * 0.18 * 1.4e-3);
    let tow_area: f64 = lengths.iter().sum();
    let space = (tow_area + 2.0 * matrix) * HEIGHT * n;
    let purge = 20.0 * PI * 0.25 * FEEDSTOCK * FEEDSTOCK;
    let hash = |c: char| c.to_string().repeat(64);
    json!({
        "format": "towpath-plan/1",
        "tool": {"version": "0.1.0"},
        "inputs": [
            {"role": "job", "file": "job.toml", "sha256": hash('a')},
            {"role": "outline", "file": "plate.svg", "sha256": hash('0')},
        ],
        "printer": {
            "name": "hand", "tools": {"matrix": 0, "fibre": 1},
            "offsets_mm": {"matrix": [0.0, 0.0, 0.0], "fibre": OFFSET},
            "offsets_applied_by": if arcs { "program" } else { "controller" },
            "extrusion": if arcs { "absolute" } else { "relative" },
            "comment": if arcs { "parentheses" } else { "semicolon" },
            "feedstock_diameter_mm": FEEDSTOCK, "cutter_to_nozzle_mm": CUTTER, "anchor_mm": 5.0,
            "temperature_c": {"matrix": 250.0, "fibre": 240.0},
            "cut": ["M400", "M280 P0 S90", "G4 P0.3", "M280 P0 S0"],
            "dwell_unit": "s", "chord_mm": 0.01,
            "reach_mm": {"matrix": {"x": [0.0, 300.0], "y": [0.0, 250.0], "z": [0.0, 200.0]},
                         "fibre": {"x": [0.0, 300.0], "y": [0.0, 250.0], "z": [0.0, 200.0]}},
            "limits": {"speed_mm_s": {"x": 200.0, "y": 200.0, "z": 20.0, "matrix": 60.0, "fibre": 20.0, "travel": 150.0},
                       "acceleration_mm_s2": {"work": 500.0, "travel": 1500.0, "z": 100.0},
                       "corner_deviation_mm": 0.02},
        },
        "tow": {"width_mm": 1.0, "height_mm": HEIGHT, "area_mm2": 0.18, "fibre_area_mm2": 0.06,
                "min_bend_radius_mm": 5.0, "density_g_cm3": 1.4},
        "matrix": {"density_g_cm3": 1.01},
        "placement_mm": copies,
        "layers": [
            layer(1, lengths[0] + 50.0, vec![
                course("1", "contour", true, lengths[0], json!(10.0), racetrack()),
                course("2", "unidirectional", false, 50.0, Value::Null, vec![line([25.0, 15.0], [75.0, 15.0])]),
            ]),
            layer(2, lengths[2], vec![course("3", "unidirectional", false, lengths[2], json!(5.0), bend())]),
        ],
        "left_out": [{"region": "plate", "layer": 2, "reason": "too short to cut", "length_mm": 12.0, "at_mm": [3.0, 4.0]}],
        "estimate": {
            "fibre_length_mm": fibre, "courses": 3 * copies.len(), "cuts": 3 * copies.len(), "head_changes": 2,
            "matrix_volume_mm3": volume, "purge_volume_mm3": purge,
            "matrix_mass_g": matrix_mass, "tow_mass_g": tow_mass, "part_mass_g": (matrix_mass + tow_mass) / n,
            "fibre_volume_fraction": fibre * 0.06 / (fibre * 0.18 + volume),
            "printed_porosity": 1.0 - (fibre * 0.18 + volume) / space,
            "time_s": {"total": 3700.0, "fibre": 1200.0, "matrix": 1000.0, "travel": 600.0, "head_change": 200.0,
                       "heating": 400.0, "cutting": 100.0, "other": 200.0},
        },
    })
}

struct Writer {
    dialect: Dialect,
    text: String,
    /// Fed since the last restart.
    fed: f64,
    /// The same as written, in thousandths.
    written: f64,
    fibre: bool,
    placement: [f64; 2],
    at: [f64; 2],
}

impl Writer {
    fn raw(&mut self, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
    }

    fn say(&mut self, comment: &str) {
        let line =
            if self.dialect == Dialect::Arcs { format!("({comment})") } else { format!("; {comment}") };
        self.raw(&line);
    }

    fn offset(&self) -> [f64; 3] {
        if self.fibre && self.dialect == Dialect::Arcs { OFFSET } else { [0.0; 3] }
    }

    /// Part coordinates as commanded.
    fn xy(&self, p: [f64; 2]) -> [f64; 2] {
        let o = self.offset();
        let round = |v: f64| (v * 1000.0).round() / 1000.0;
        [round(p[0] + self.placement[0] - o[0]), round(p[1] + self.placement[1] - o[1])]
    }

    fn e(&mut self, feed: f64) -> String {
        self.fed += feed;
        let total = (self.fed * 1000.0).round() / 1000.0;
        let step = total - self.written;
        self.written = total;
        if self.dialect == Dialect::Arcs { format!(" E{total:.3}") } else { format!(" E{step:.3}") }
    }

    fn restart(&mut self) {
        self.fed = 0.0;
        self.written = 0.0;
        self.raw("G92 E0");
    }

    fn travel(&mut self, p: [f64; 2], z: f64) {
        let o = self.offset();
        let up = z + 2.0 - o[2];
        self.raw(&format!("G0 Z{up:.3}"));
        let [x, y] = self.xy(p);
        self.raw(&format!("G1 X{x:.3} Y{y:.3} F6000"));
        self.raw(&format!("G1 Z{:.3} F600", z - o[2]));
        self.at = p;
    }

    /// A straight move, fed or not.
    fn straight(&mut self, p: [f64; 2], feed: f64) {
        let [x, y] = self.xy(p);
        let e = if feed > 0.0 { self.e(feed) } else { String::new() };
        self.raw(&format!("G1 X{x:.3} Y{y:.3}{e}"));
        self.at = p;
    }

    fn bead(&mut self, points: &[[f64; 2]], z: f64) {
        self.travel(points[0], z);
        self.raw("G1 F1800");
        let section = PI * 0.25 * FEEDSTOCK * FEEDSTOCK;
        for w in points.windows(2) {
            self.straight(w[1], distance(w[0], w[1]) * 0.1 / section);
        }
    }

    /// A part of a course from one length to another.
    fn stretch(&mut self, segments: &[Segment], from: f64, to: f64, fed: bool) {
        let line = Line::new(segments);
        let mut start = 0.0;
        for segment in segments {
            let end = start + segment.length();
            let (a, b) = (from.max(start), to.min(end));
            if b - a > 1e-9 {
                let feed = |s: f64| if fed { s } else { 0.0 };
                match *segment {
                    Segment::Arc { centre, ccw, .. } if self.dialect == Dialect::Arcs => {
                        let (p, q) = (self.xy(line.at(a).0), self.xy(line.at(b).0));
                        let c = [
                            centre[0] + self.placement[0] - OFFSET[0],
                            centre[1] + self.placement[1] - OFFSET[1],
                        ];
                        let e = if fed { self.e(b - a) } else { String::new() };
                        let g = if ccw { 3 } else { 2 };
                        self.raw(&format!(
                            "G{g} X{:.3} Y{:.3} I{:.3} J{:.3}{e}",
                            q[0],
                            q[1],
                            c[0] - p[0],
                            c[1] - p[1]
                        ));
                        self.at = line.at(b).0;
                    }
                    Segment::Arc { .. } => {
                        let n = super::curve::steps((b - a) / 0.4);
                        for k in 1..=n {
                            let p = line.at(a + (b - a) * k as f64 / n as f64).0;
                            self.straight(p, feed((b - a) / n as f64));
                        }
                    }
                    Segment::Line(_) => self.straight(line.at(b).0, feed(b - a)),
                }
            }
            start = end;
        }
    }

    fn course(&mut self, plan: &Value, layer: usize, index: usize, id: &str, z: f64) {
        let course = &plan["layers"][layer]["courses"][index];
        let segments: Vec<Segment> =
            serde_json::from_value(course["segments"].clone()).expect("the good plan's segments");
        let line = Line::new(&segments);
        let cut = line.length() - CUTTER;
        self.say(&format!("course {id}"));
        self.restart();
        self.travel(segments[0].start(), z);
        let e = self.e(CUTTER);
        self.raw(&format!("G1{e} F300"));
        self.raw("G1 F900");
        self.stretch(&segments, 0.0, cut, true);
        self.say("cut");
        for row in plan["printer"]["cut"].as_array().expect("the good plan's cut block") {
            let row = row.as_str().expect("a line").to_owned();
            self.raw(&row);
        }
        self.raw("G1 F900");
        self.stretch(&segments, cut, line.length(), false);
        self.say(&format!("end course {id}"));
    }
}

/// The program.
pub(crate) fn program(dialect: Dialect) -> String {
    let plan = plan(dialect);
    let arcs = dialect == Dialect::Arcs;
    let mut w = Writer {
        dialect,
        text: String::new(),
        fed: 0.0,
        written: 0.0,
        fibre: false,
        placement: [0.0; 2],
        at: [0.0; 2],
    };
    w.say("planned by version 0.1.0");
    w.say("job aaaaaaaaaaaa outline 000000000000");
    let length = plan["estimate"]["fibre_length_mm"].as_f64().expect("a length");
    w.say(&format!("fibre length {length:.0} mm, build time 1:01:40"));
    w.raw("G21");
    w.raw("G90");
    w.raw(if arcs { "M82" } else { "M83" });
    w.raw("M104 S250 T0");
    w.raw("M104 S240 T1");
    w.raw("G28");
    w.raw("T0");
    w.raw("M109 S250 T0");
    w.restart();
    w.say("purge");
    w.placement = [10.0, 10.0];
    w.travel([0.0, 0.0], 0.2);
    w.raw("G1 F1200");
    w.straight([60.0, 0.0], 20.0);
    w.say("end purge");
    let copies: Vec<[f64; 2]> =
        serde_json::from_value(plan["placement_mm"].clone()).expect("the good plan's placement");
    let perimeter = [[0.25, 0.25], [99.75, 0.25], [99.75, 29.75], [0.25, 29.75], [0.25, 0.25]];
    let fill = [[5.0, 2.0], [95.0, 2.0]];
    let work = |w: &mut Writer, layer: usize| {
        let z = HEIGHT * (layer + 1) as f64;
        let fibre = w.fibre;
        for (k, &placement) in copies.iter().enumerate() {
            w.placement = placement;
            if fibre {
                let count = plan["layers"][layer]["courses"].as_array().map_or(0, Vec::len);
                for index in 0..count {
                    let id = plan["layers"][layer]["courses"][index]["id"].as_str().expect("an id");
                    let id = if k == 0 { id.to_owned() } else { format!("{id}@{}", k + 1) };
                    w.course(&plan, layer, index, &id, z);
                }
            } else {
                w.bead(&perimeter, z);
                w.bead(&fill, z);
            }
        }
    };
    let change = |w: &mut Writer, fibre: bool| {
        w.fibre = fibre;
        w.raw(if fibre { "T1" } else { "T0" });
        w.raw(if fibre { "M109 S240 T1" } else { "M109 S250 T0" });
        w.restart();
    };
    w.say("layer 1 z 0.200");
    work(&mut w, 0);
    change(&mut w, true);
    work(&mut w, 0);
    w.say("layer 2 z 0.400");
    work(&mut w, 1);
    change(&mut w, false);
    work(&mut w, 1);
    let mut end = String::new();
    let _ = writeln!(end, "M104 S0 T0\nM104 S0 T1\nM30");
    w.text.push_str(&end);
    w.text
}

//! The checker checks itself: a good plan passes, every planted fault is caught
//! under the promise that it breaks.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

mod support;

use serde_json::{Value, json};
use support::good::{self, Dialect};
use support::{Findings, check};

fn on(plan: &Value, program: &str) -> Findings {
    check(&plan.to_string(), program, "")
}

#[test]
fn a_good_plan_passes_in_both_dialects() {
    for dialect in [Dialect::Arcs, Dialect::Chords] {
        let findings = on(&good::plan(dialect), &good::program(dialect));
        assert!(findings.0.is_empty(), "{dialect:?}:\n{}", findings.summary(5));
    }
}

/// Spoils the good plan and expects a promise among the broken ones.
fn spoil_plan(promise: &str, spoil: impl Fn(&mut Value)) {
    for dialect in [Dialect::Arcs, Dialect::Chords] {
        let mut plan = good::plan(dialect);
        let before = plan.clone();
        spoil(&mut plan);
        assert_ne!(plan, before, "nothing was spoilt for `{promise}`");
        let findings = on(&plan, &good::program(dialect));
        assert!(findings.has(promise), "{dialect:?}: `{promise}` is not among\n{}", findings.summary(3));
    }
}

/// Spoils the good program and expects a promise among the broken ones.
fn spoil_program(promise: &str, spoil: impl Fn(&str, Dialect) -> String) {
    for dialect in [Dialect::Arcs, Dialect::Chords] {
        let program = good::program(dialect);
        let spoilt = spoil(&program, dialect);
        assert_ne!(spoilt, program, "nothing was spoilt for `{promise}`");
        let findings = on(&good::plan(dialect), &spoilt);
        assert!(findings.has(promise), "{dialect:?}: `{promise}` is not among\n{}", findings.summary(3));
    }
}

/// A value by its JSON pointer.
fn at<'a>(plan: &'a mut Value, pointer: &str) -> &'a mut Value {
    plan.pointer_mut(pointer).expect("the good plan has this key")
}

/// Replaces line by line, with the lines since the last comment to go by.
fn each_line(program: &str, mut change: impl FnMut(&str, &str) -> Option<String>) -> String {
    let mut comment = String::new();
    let mut out = String::new();
    for line in program.lines() {
        if line.starts_with('(') || line.starts_with(';') {
            comment = line.trim_matches(|c| "(); ".contains(c)).to_owned();
        }
        if let Some(line) = change(line, &comment) {
            out.push_str(&line);
            out.push('\n');
        }
    }
    out
}

#[test]
fn faults_of_the_plan_form_are_caught() {
    spoil_plan("plan form", |p| *at(p, "/format") = json!("towpath-plan/2"));
    spoil_plan("plan form", |p| *at(p, "/inputs/0/sha256") = json!("abc"));
    spoil_plan("plan form", |p| *at(p, "/layers/1/number") = json!(3));
    spoil_plan("plan form", |p| *at(p, "/layers/1/z_bottom_mm") = json!(0.3));
    spoil_plan("plan form", |p| *at(p, "/layers/1/courses/0/id") = json!("1"));
    spoil_plan("plan form", |p| *at(p, "/printer/extrusion") = json!("sometimes"));
    spoil_plan("plan form", |p| {
        at(p, "/estimate").as_object_mut().expect("an object").remove("cuts");
    });
}

#[test]
fn a_gap_or_a_kink_in_a_course_is_caught() {
    spoil_plan("joint", |p| *at(p, "/layers/1/courses/0/segments/3/line/0") = json!(50.01));
    spoil_plan("tangent", |p| {
        *at(p, "/layers/0/courses/0/segments/4/line") = json!([30.0, 5.0, 50.0, 5.3]);
        *at(p, "/layers/0/courses/0/segments/0/line") = json!([50.0, 5.3, 70.0, 5.0]);
    });
    // the closing joint of a closed course
    spoil_plan("joint", |p| *at(p, "/layers/0/courses/0/segments/0/line/0") = json!(50.5));
    spoil_plan("closed", |p| *at(p, "/layers/0/courses/0/closed") = json!(false));
}

#[test]
fn a_tight_bend_is_caught() {
    spoil_plan("bend", |p| *at(p, "/tow/min_bend_radius_mm") = json!(5.01));
    spoil_plan("bend told", |p| *at(p, "/layers/1/courses/0/min_bend_radius_mm") = json!(6.0));
    spoil_plan("arc", |p| *at(p, "/layers/1/courses/0/segments/1/arc/centre/0") = json!(40.2));
}

#[test]
fn wrong_lengths_and_cut_points_are_caught() {
    spoil_plan("length", |p| *at(p, "/layers/0/courses/1/length_mm") = json!(50.1));
    spoil_plan("cut point", |p| *at(p, "/layers/0/courses/1/cut_at_mm") = json!(34.0));
    spoil_plan("piece", |p| *at(p, "/printer/anchor_mm") = json!(40.0));
}

#[test]
fn a_course_out_of_its_room_is_caught() {
    spoil_plan("room outline", |p| {
        *at(p, "/layers/0/courses/1/segments/0/line") = json!([51.0, 29.6, 100.2, 29.6]);
    });
    spoil_plan("room perimeter", |p| {
        *at(p, "/layers/0/courses/1/segments/0/line") = json!([25.0, 0.9, 75.0, 0.9]);
    });
    // a hole that the strip covers
    spoil_plan("room outline", |p| {
        let rings = at(p, "/layers/0/outline").as_array_mut().expect("rings");
        rings.push(json!([[40.0, 14.8], [40.0, 15.2], [40.4, 15.2], [40.4, 14.8]]));
    });
    // a spike of the outline into the strip
    spoil_plan("room outline", |p| {
        *at(p, "/layers/0/outline/0") = json!([
            [0.0, 0.0],
            [44.95, 0.0],
            [45.0, 14.9],
            [45.05, 0.0],
            [100.0, 0.0],
            [100.0, 30.0],
            [0.0, 30.0]
        ]);
    });
}

#[test]
fn courses_too_close_are_caught() {
    spoil_plan("apart", |p| {
        *at(p, "/layers/0/courses/1/segments/0/line") = json!([25.0, 5.9, 75.0, 5.9]);
    });
    spoil_plan("apart self", |p| {
        // out, round and back along the same line
        *at(p, "/layers/0/courses/1/segments") = json!([
            {"line": [45.0, 15.0, 55.0, 15.0]},
            {"arc": {"from": [55.0, 15.0], "to": [55.0, 15.8], "centre": [55.0, 15.4], "ccw": true}},
            {"line": [55.0, 15.8, 45.0, 15.8]},
        ]);
    });
}

#[test]
fn beads_in_the_wrong_place_are_caught() {
    spoil_plan("bead outside", |p| *at(p, "/layers/0/beads/1/points") = json!([[5.0, 0.1], [95.0, 0.1]]));
    spoil_plan("lapping", |p| *at(p, "/layers/0/beads/1/points") = json!([[5.0, 15.0], [95.0, 15.0]]));
    spoil_plan("overlap", |p| {
        *at(p, "/layers/0/beads/1/points") = json!([[5.0, 2.0], [50.0, 2.0], [5.0, 2.0]]);
    });
}

#[test]
fn areas_that_do_not_close_are_caught() {
    spoil_plan("areas sum", |p| *at(p, "/layers/0/areas_mm2/open") = json!(2500.0));
    spoil_plan("areas outline", |p| *at(p, "/layers/0/areas_mm2/outline") = json!(2900.0));
    spoil_plan("areas tow", |p| *at(p, "/layers/0/areas_mm2/tow") = json!(196.0));
    spoil_plan("areas matrix", |p| *at(p, "/layers/0/areas_mm2/matrix") = json!(177.0));
    spoil_plan("bare", |p| {
        // the sum closes only because matrix is told too high
        let open = at(p, "/layers/1/areas_mm2/open").as_f64().expect("a number");
        *at(p, "/layers/1/areas_mm2/open") = json!(open - 200.0);
        *at(p, "/layers/1/areas_mm2/matrix") = json!(374.0);
    });
    spoil_plan("closure", |p| {
        for bead in 0..2 {
            *at(p, &format!("/layers/0/beads/{bead}/area_mm2")) = json!(0.09);
        }
    });
}

#[test]
fn unfilled_area_is_a_finding_unless_it_is_told() {
    let dialect = Dialect::Arcs;
    let mut plan = good::plan(dialect);
    let open = at(&mut plan, "/layers/0/areas_mm2/open").as_f64().expect("a number");
    *at(&mut plan, "/layers/0/areas_mm2/open") = json!(open - 40.0);
    *at(&mut plan, "/layers/0/areas_mm2/unfilled") = json!(40.0);
    let program = good::program(dialect);
    assert!(on(&plan, &program).has("unfilled"), "40 mm2 of 3000 are unfilled");
    let told = check(&plan.to_string(), &program, "warning[unfilled]: layer 1: 40 mm2 stay unfilled\n");
    assert!(!told.has("unfilled"), "it was told:\n{}", told.summary(3));
}

#[test]
fn wrong_sums_are_caught() {
    for key in [
        "fibre_length_mm",
        "courses",
        "cuts",
        "matrix_volume_mm3",
        "matrix_mass_g",
        "tow_mass_g",
        "part_mass_g",
        "fibre_volume_fraction",
        "printed_porosity",
    ] {
        spoil_plan("estimate", |p| {
            let value = at(p, &format!("/estimate/{key}"));
            *value = match value.as_u64() {
                Some(n) => json!(n + 1),
                None => json!(value.as_f64().expect("a number") * 1.02 + 0.02),
            };
        });
    }
    spoil_plan("estimate time", |p| *at(p, "/estimate/time_s/total") = json!(3600.0));
    spoil_plan("estimate time", |p| {
        *at(p, "/estimate/time_s/fibre") = json!(1.0);
        *at(p, "/estimate/time_s/other") = json!(1399.0);
    });
    spoil_plan("counts", |p| *at(p, "/estimate/head_changes") = json!(3));
    spoil_plan("counts", |p| *at(p, "/estimate/purge_volume_mm3") = json!(30.0));
}

#[test]
fn faults_of_words_are_caught() {
    spoil_program("words", |p, d| match d {
        Dialect::Arcs => p.replace("(cut)", "; cut"),
        Dialect::Chords => p.replace("; cut", "(cut)"),
    });
    spoil_program("words", |p, _| p.replacen("G21", "G21 U1", 1));
    spoil_program("words", |p, _| p.replacen("X0", "XNaN", 1).replacen("X1", "X1e-3", 1));
    spoil_program("words", |p, _| p.replacen("G1 X", "G1 X1 X", 1));
    spoil_program("words", |p, _| p.replacen(".250 Y", ".2500 Y", 1));
}

#[test]
fn a_header_without_its_facts_is_caught() {
    spoil_program("header", |p, _| p.replacen("aaaaaaaaaaaa", "aaaaaaaaaaab", 1));
    spoil_program("header", |p, _| p.replacen("1:01:40", "1:02:40", 1));
    spoil_program("header", |p, _| p.replacen("fibre length ", "fibre length 9", 1));
    spoil_program("header", |p, _| p.replacen("0.1.0", "0.2.0", 1));
}

#[test]
fn layers_and_frames_out_of_order_are_caught() {
    spoil_program("layer", |p, _| p.replacen("layer 2 z 0.400", "layer 2 z 0.500", 1));
    spoil_program("layer", |p, _| p.replacen("layer 2 z", "layer 3 z", 1));
    spoil_program("frame", |p, _| each_line(p, |l, _| (!l.contains("end course 2")).then(|| l.to_owned())));
    spoil_program("frame", |p, _| p.replacen("course 3", "course 7", 1));
    spoil_program("frame", |p, _| p.replace("course 2", "course 1"));
}

#[test]
fn heads_that_are_wrong_or_cold_are_caught() {
    spoil_program("head", |p, _| each_line(p, |l, _| (l != "T1").then(|| l.to_owned())));
    spoil_program("head", |p, _| p.replacen("T1\nM109", "T4\nM109", 1));
    spoil_program("temperature", |p, _| p.replace("M109 S240 T1", "M109 S200 T1"));
    spoil_program("temperature", |p, _| p.replace("M109 S240 T1", "M104 S240 T1"));
    spoil_program("temperature", |p, _| p.replace("M109 S250 T0", "M104 S250 T0"));
}

#[test]
fn feed_that_is_not_the_path_is_caught() {
    // fed too little to the nozzle
    spoil_program("threading", |p, _| p.replace("G1 E15.000", "G1 E14.500"));
    // laid before it is fed
    spoil_program("threading", |p, _| {
        each_line(p, |l, _| (!l.starts_with("G1 E15.000")).then(|| l.to_owned()))
    });
    // a move of course 2 without its feed
    spoil_program("uncut travel", |p, _| {
        each_line(p, |l, c| {
            let hit = c == "course 2" && l.starts_with("G1 X") && l.contains(" E");
            Some(if hit { l.split(" E").next().unwrap_or(l).to_owned() } else { l.to_owned() })
        })
    });
    spoil_program("feed", |p, d| match d {
        Dialect::Arcs => p.replace("E50.000", "E49.900"),
        Dialect::Chords => p.replace("E35.000", "E34.900"),
    });
    // feed after the cut
    spoil_program("feed", |p, _| {
        each_line(p, |l, c| {
            let hit = c == "cut" && l.starts_with("G1 X");
            Some(if hit { format!("{l} E60.000") } else { l.to_owned() })
        })
    });
}

#[test]
fn a_cut_in_the_wrong_place_or_way_is_caught() {
    spoil_program("cut block", |p, _| p.replacen("M280 P0 S90\n", "M280 P0 S80\n", 1));
    spoil_program("cut block", |p, _| {
        let mut last = String::new();
        each_line(p, |l, c| {
            let skip = c == "cut" && !l.starts_with("G1");
            let skip = skip && !last.contains("course 9");
            c.clone_into(&mut last);
            (!skip).then(|| l.to_owned())
        })
    });
    // course 2 is cut 0.1 mm late, at the right feed for that
    spoil_program("cut place", |p, d| match d {
        Dialect::Arcs => p.replace("X80.000 Y68.000 E50.000", "X80.100 Y68.000 E50.100"),
        Dialect::Chords => p.replace("X120.000 Y65.000 E35.000", "X120.100 Y65.000 E35.100"),
    });
    spoil_program("counts", |p, _| {
        each_line(p, |l, _| (!l.ends_with("cut") && !l.ends_with("cut)")).then(|| l.to_owned()))
    });
}

#[test]
fn a_nozzle_off_its_path_is_caught() {
    // the last point of course 3, 0.1 mm aside
    spoil_program("path", |p, d| match d {
        Dialect::Arcs => p.replacen("X100.000 Y73.000", "X100.000 Y73.100", 1),
        Dialect::Chords => p.replacen("X140.000 Y70.000", "X140.000 Y70.100", 1),
    });
    // course 3 one layer too low
    spoil_program("height", |p, _| {
        each_line(p, |l, c| {
            let hit = c == "course 3" && (l.starts_with("G1 Z0.400") || l.starts_with("G1 Z-0.100"));
            Some(if hit { l.replace("Z0.400", "Z0.200").replace("Z-0.100", "Z-0.300") } else { l.to_owned() })
        })
    });
    // a bead aside
    spoil_program("bead", |p, _| p.replace("Y52.000", "Y52.600"));
    // one corner of an arc
    let arcs = good::program(Dialect::Arcs);
    let spoilt = arcs.replacen("J10.000", "J10.010", 1);
    assert_ne!(arcs, spoilt, "an arc was there to spoil");
    assert!(on(&good::plan(Dialect::Arcs), &spoilt).has("arc written"), "an arc with two radii");
}

#[test]
fn wrong_flow_is_caught() {
    // the fill bead with half its feed
    let spoil = |p: &str, d: Dialect| {
        each_line(p, |l, _| {
            let place = if d == Dialect::Arcs { "X155.000 Y52.000" } else { "X155.000 Y52.000 E3.742" };
            Some(if l.contains(place) {
                l.replace("E3.742", "E1.871").replace("E14.468", "E12.597")
            } else {
                l.to_owned()
            })
        })
    };
    spoil_program("flow", spoil);
    spoil_program("matrix volume", spoil);
}

#[test]
fn limits_of_the_machine_are_caught() {
    spoil_program("speed", |p, _| p.replace("F900", "F1300"));
    spoil_program("speed", |p, _| p.replace("F6000", "F9100"));
    spoil_program("speed", |p, _| p.replace("G1 F1800", "G1 F3700"));
    spoil_plan("reach", |p| *at(p, "/printer/reach_mm/fibre/x/1") = json!(130.0));
    spoil_plan("reach", |p| *at(p, "/printer/reach_mm/matrix/y/0") = json!(11.0));
    spoil_program("machine", |p, d| match d {
        Dialect::Arcs => p.replace("M82", "M83"),
        Dialect::Chords => p.replace("M83", "M82"),
    });
}

#[test]
fn a_head_that_strikes_what_lies_is_caught() {
    // no lift before the travel from course 1 to course 2, which crosses course 1's end
    spoil_program("struck", |p, _| each_line(p, |l, _| (!l.starts_with("G0 Z")).then(|| l.to_owned())));
    spoil_program("purge", |p, _| {
        p.replacen("X10.000 Y10.000", "X70.000 Y60.000", 1).replacen("X70.000 Y10.000", "X90.000 Y60.000", 1)
    });
}

/// The counted areas against polygons: Clipper (A. Johnson, polygon clipping and
/// offsetting library, version 1) has no code in common with either side.
#[test]
fn counted_areas_agree_with_a_polygon_library() {
    use geo::{Area, LineString, MultiLineString, MultiPolygon, Polygon};
    use geo_clipper::{Clipper, ClipperOpen, EndType, JoinType};
    use support::plan_file::Plan;

    let plan: Plan = serde_json::from_value(good::plan(Dialect::Arcs)).expect("the good plan");
    let strip = |mut line: Vec<[f64; 2]>, width: f64| -> MultiPolygon {
        if let [a, b] = line[..] {
            // this library finds no strip along a straight line of two points
            line.insert(1, [0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])]);
        }
        let line: LineString = line.into();
        MultiLineString::new(vec![line]).offset(0.5 * width, JoinType::Round(0.002), EndType::OpenButt, 1e6)
    };
    for layer in &plan.layers {
        let rings = support::near::Rings::new(&layer.outline);
        let lines: Vec<Vec<[f64; 2]>> =
            layer.courses.iter().map(|c| support::curve::Line::new(&c.segments).chords(0.002)).collect();
        let width = plan.tow.width_mm;
        let tows: Vec<support::cover::Strip> = (lines.iter().zip(&layer.courses))
            .map(|(l, c)| support::cover::Strip { line: l.clone(), half: 0.5 * width, closed: c.closed })
            .collect();
        let beads: Vec<support::cover::Strip> = (layer.beads.iter())
            .map(|b| support::cover::Strip { line: b.line(), half: 0.5 * b.width_mm, closed: b.closed })
            .collect();
        let counted = support::cover::count(&rings, &tows, &beads);

        // strips of the good plan lie apart and in the outline, so areas add up;
        // unions would nest, and this library drops what lies inside a hole
        let outline: LineString = layer.outline[0].clone().into();
        let outline = Polygon::new(outline, Vec::new());
        let inside = |s: MultiPolygon| s.intersection(&outline, 1e6).unsigned_area();
        let tow: f64 = lines.into_iter().map(|l| inside(strip(l, width))).sum();
        let bead: f64 = layer.beads.iter().map(|b| inside(strip(b.line(), b.width_mm))).sum();
        let bare = outline.unsigned_area() - tow - bead;
        let within = 5.0 * counted.sigma + 0.05;
        for (what, a, b) in
            [("tow", counted.tow, tow), ("beads", counted.beads, bead), ("bare", counted.bare, bare)]
        {
            assert!((a - b).abs() <= within, "{what}: {a} counted, {b} by polygons, within {within}");
        }
    }
}

#[test]
fn what_a_map_asked_for_is_looked_up() {
    use support::parts::Asked;
    let plan = good::plan(Dialect::Arcs).to_string();
    let broken = |asked: Asked| {
        let mut findings = Findings::default();
        support::promises::asked(&mut findings, &plan, &[asked]);
        findings
    };
    let asked = Asked { region: "plate".to_owned(), ring: None, angles: None, min_bend_radius_mm: None };
    assert!(broken(asked.clone()).0.is_empty(), "nothing was asked for");
    let ring = Some(vec![[0.0, 0.0], [60.0, 0.0], [60.0, 30.0], [0.0, 30.0]]);
    assert!(broken(Asked { ring, ..asked.clone() }).has("room shape"), "courses lie beyond x 60");
    assert!(broken(Asked { min_bend_radius_mm: Some(5.5), ..asked }).has("bend"), "the S-bend has 5 mm");
}

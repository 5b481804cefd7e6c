//! Tow that trails its nozzle: where the plan says that it comes to lie is where a
//! point comes to lie that is drawn along the nozzle's way.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

use serde_json::Value;
use std::path::{Path, PathBuf};
use towpath::diagnostic::Notes;
use towpath::geom::{Arc, Point, Segment, polyline, pt, trig};
use towpath::job::builtin;
use towpath::plan::plan;

/// A plate with round corners and a hole, 80 by 40 mm.
const PLATE: &str = r#"<svg xmlns="http://www.w3.org/2000/svg" width="90mm" height="50mm" viewBox="0 0 90 50">
<rect x="5" y="5" width="80" height="40" rx="8"/><circle cx="28" cy="25" r="6"/></svg>"#;

/// Rows that are laid from either end, bends to both sides round the hole.
const MAP: &str = r#"
[[region]]
name = "edge"
shape = { outline = true }
layers = "2"
rule = "contour"
courses = 2
priority = 2
[[region]]
name = "field"
shape = { outline = true }
layers = "2-3"
rule = "unidirectional"
angle_deg = [0, 30]
priority = 1
"#;

const JOB: &str = r#"
[part]
name = "plate"
outline = "plate.svg"
thickness_mm = 0.8
[build]
printer = "shuttle-15"
matrix = "pa12"
tow = "tow.toml"
layer_height_mm = 0.2
[matrix]
perimeters = 1
bead_width_mm = 0.6
fill = "parallel"
[reinforcement]
map = "map.toml"
"#;

/// The job with tow that trails by so much, or not at all.
fn job(trail_mm: f64) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("trailing plate {trail_mm}"));
    std::fs::create_dir_all(&folder).expect("a scratch folder");
    let tow = builtin::TOWS.iter().find(|t| t.name == "carbon-1k-pa12").expect("it is built in");
    let told = format!("\ntrail_mm = {trail_mm:.1}\nwidth_mm");
    for (file, text) in [
        (
            "tow.toml",
            if trail_mm > 0.0 { tow.text.replace("\nwidth_mm", &told) } else { tow.text.to_owned() },
        ),
        ("plate.svg", PLATE.to_owned()),
        ("map.toml", MAP.to_owned()),
        ("job.toml", JOB.to_owned()),
    ] {
        std::fs::write(folder.join(file), text).expect("a scratch file");
    }
    folder.join("job.toml")
}

fn point(v: &Value) -> Point {
    pt(v[0].as_f64().expect("a number"), v[1].as_f64().expect("a number"))
}

fn segment(v: &Value) -> Segment {
    if let Some(line) = v.get("line") {
        return Segment::Line {
            from: point(line),
            to: pt(line[2].as_f64().expect("x"), line[3].as_f64().expect("y")),
        };
    }
    let arc = v.get("arc").expect("a line or an arc");
    Segment::Arc(Arc {
        from: point(&arc["from"]),
        to: point(&arc["to"]),
        centre: point(&arc["centre"]),
        ccw: arc["ccw"].as_bool().expect("a sense"),
    })
}

/// Moves a point straight to the nozzle, never nearer than it trails, in small steps.
fn drawn(way: &[Segment], trail_mm: f64) -> Vec<Point> {
    let mut tail = way[0].from();
    let mut out = vec![tail];
    for s in way {
        let n = (s.length() / 0.01).ceil();
        let mut k = 1.0;
        while k <= n {
            let nozzle = s.point_at(s.length() * k / n);
            let away = nozzle.dist(tail);
            if away > trail_mm {
                tail = nozzle + (tail - nozzle) * (trail_mm / away);
                out.push(tail);
            }
            k += 1.0;
        }
    }
    out
}

#[test]
fn tow_comes_to_lie_where_the_plan_says_from_whichever_end_it_is_laid() {
    for trail_mm in [1.0, 2.0] {
        // planned, and by that through its own check
        let planned = plan(&mut Notes::default(), &job(trail_mm)).expect("it is planned");
        let plan: Value = serde_json::from_str(&planned.plan).expect("the plan is JSON");
        let courses = plan["layers"].as_array().expect("layers").iter();
        let courses: Vec<&Value> =
            courses.flat_map(|l| l["courses"].as_array().expect("courses of a layer")).collect();
        assert!(courses.len() > 20, "{} courses", courses.len());
        let mut senses = [0, 0];
        for c in courses {
            let way: Vec<Segment> = c["segments"].as_array().expect("its way").iter().map(segment).collect();
            let laid: Vec<Point> =
                c["laid"]["points"].as_array().expect("its tow").iter().map(point).collect();
            let to_right = way[way.len() - 1].to().x > way[0].from().x;
            senses[usize::from(to_right)] += 1;
            for p in drawn(&way, trail_mm) {
                let off = laid
                    .windows(2)
                    .map(|w| polyline::point_segment_distance(p, w[0], w[1]))
                    .fold(f64::INFINITY, f64::min);
                assert!(off < 0.02, "{}: tow at {p:?}, {off} mm off what is told", c["id"]);
            }
        }
        assert!(senses[0] > 3 && senses[1] > 3, "laid from both ends: {senses:?}");
    }
}

/// The plan with tow that trails by so much, through its own check.
fn planned(trail_mm: f64) -> (Value, Notes) {
    let mut notes = Notes::default();
    let planned = plan(&mut notes, &job(trail_mm)).expect("it is planned");
    (serde_json::from_str(&planned.plan).expect("the plan is JSON"), notes)
}

/// The closed courses of each layer: whether they end where they begin, their way, and what
/// is told of where their tow lies, up to the last stretch and on it.
type Loop = (Vec<Segment>, [f64; 2]);

fn loops(plan: &Value) -> Vec<Vec<Loop>> {
    let layers = plan["layers"].as_array().expect("layers").iter();
    layers
        .map(|l| {
            let courses = l["courses"].as_array().expect("courses of a layer").iter();
            courses
                .filter(|c| c["closed"] == true)
                .map(|c| {
                    let way = c["segments"].as_array().expect("its way").iter().map(segment).collect();
                    let told = ["off_mm", "end_off_mm"].map(|k| c["laid"][k].as_f64().unwrap_or(0.0));
                    (way, told)
                })
                .collect()
        })
        .collect()
}

/// Points of a way, near enough for it.
fn points(way: &[Segment]) -> Vec<Point> {
    let of = |s: &Segment| -> Vec<Point> {
        (0..=200).map(|k| s.point_at(s.length() * f64::from(k) / 200.0)).collect()
    };
    way.iter().flat_map(of).collect()
}

/// How far tow lies off a line at most, up to the last stretch and on it, that is drawn along
/// a way from rest at its start.
fn off(way: &[Segment], line: &[Point], trail_mm: f64) -> [f64; 2] {
    let from = |p: Point| {
        let to = line.windows(2).map(|w| polyline::point_segment_distance(p, w[0], w[1]));
        to.fold(f64::INFINITY, f64::min)
    };
    let tow = drawn(way, trail_mm);
    let last = tow[tow.len() - 1];
    let end = way[way.len() - 1].to();
    let body = tow.iter().step_by(8).map(|p| from(*p)).fold(0.0, f64::max);
    let straight = (0..=20).map(|k| from(last.lerp(end, f64::from(k) / 20.0))).fold(0.0, f64::max);
    [body, straight]
}

#[test]
fn loops_lie_as_near_to_the_lines_wanted_as_is_told_from_their_first_millimetre_on() {
    // without a trail the nozzle goes where tow is wanted
    let wanted = loops(&planned(0.0).0);
    for (trail_mm, most) in [(1.0, 0.05), (2.0, 0.15)] {
        let (plan, notes) = planned(trail_mm);
        let led = loops(&plan);
        assert!(led.iter().map(Vec::len).sum::<usize>() >= 2, "there are loops");
        let mut told_off = 0;
        for (wanted, led) in wanted.iter().zip(&led) {
            for (way, told) in led {
                let (from, to) = (way[0].from(), way[way.len() - 1].to());
                assert!(from.dist(to) < 1e-3, "a closed course ends where it began: {from:?}, {to:?}");
                // its own line is the one that it is nearest to
                let lines = wanted.iter().map(|(line, _)| points(line));
                let offs = lines.map(|line| off(way, &line, trail_mm));
                let [body, end] = offs
                    .min_by(|a, b| a[0].total_cmp(&b[0]))
                    .expect("the loop is wanted without a trail too");
                assert!((body - told[0]).abs() < 0.01, "{body} mm off, {} told", told[0]);
                assert!((end - told[1]).abs() < 0.01, "{end} mm off at the end, {} told", told[1]);
                assert!(body.max(end) < most, "{body} and {end} mm off with {trail_mm} mm");
                told_off += usize::from(told[0].max(told[1]) > 0.05);
            }
            // what is judged here would be seen: along the lines themselves tow lies inside
            for (line, _) in wanted {
                let [body, end] = off(line, &points(line), trail_mm);
                assert!(body.max(end) > 0.4 * trail_mm * trail_mm / 8.0, "{body} and {end} mm off unled");
            }
        }
        let warned = notes.warnings.iter().any(|d| d.code == "trail-off");
        assert!(warned || told_off == 0, "{told_off} loops lie off and nothing is said");
    }
}

/// The tightest bend that tow comes to lie in, mm, that is drawn along a way: its angle to the
/// way, in steps far shorter than it trails.
fn tightest(way: &[Segment], trail_mm: f64) -> f64 {
    let start = way[0].from();
    let mut angle: Option<f64> = None;
    let mut most = 0.0_f64;
    for s in way {
        let bend = match s {
            Segment::Line { .. } => 0.0,
            Segment::Arc(a) => {
                if a.ccw {
                    1.0 / a.radius()
                } else {
                    -1.0 / a.radius()
                }
            }
        };
        let n = (s.length() / 2e-3).ceil();
        let step = s.length() / n;
        let mut k = 1.0;
        while k <= n {
            let nozzle = s.point_at(k * step);
            if let Some(a) = angle {
                angle = Some(a + step * (bend - trig::sin(a) / trail_mm));
            } else if nozzle.dist(start) >= trail_mm {
                let (link, way) = (nozzle - start, s.tangent_at(k * step));
                angle = Some(trig::atan2(link.cross(way), link.dot(way)));
            }
            most = most.max(angle.map_or(0.0, f64::abs));
            k += 1.0;
        }
    }
    trail_mm / trig::tan(most)
}

/// The tightest bend of each course's tow, by the plan's ways alone, and whether it is warned
/// about.
fn bends(job: &Path, trail_mm: f64) -> (Vec<f64>, bool) {
    let mut notes = Notes::default();
    let planned = plan(&mut notes, job).expect("it is planned");
    let plan: Value = serde_json::from_str(&planned.plan).expect("the plan is JSON");
    let courses = plan["layers"].as_array().expect("layers").iter();
    let tow = courses.flat_map(|l| l["courses"].as_array().expect("courses of a layer")).map(|c| {
        let way: Vec<Segment> = c["segments"].as_array().expect("its way").iter().map(segment).collect();
        tightest(&way, trail_mm)
    });
    (tow.collect(), notes.warnings.iter().any(|d| d.code == "trail-bends"))
}

#[test]
fn bends_of_the_tow_are_held_to_the_least_radius_and_told_where_they_are_not() {
    // the tow's, and what its bends may be tighter by: two hundredths, and what fits leave of those
    let (radius, least) = (4.0, 4.0 * 0.975);
    // as long as the tow trails half of what it may bend by every course can be led
    let (tow, warned) = bends(&job(2.0), 2.0);
    let bent = tow.iter().filter(|r| **r < 1.2 * radius).count();
    assert!(bent > 3, "{bent} courses bend about as tightly as they may");
    let tightest = tow.iter().fold(f64::INFINITY, |a, b| a.min(*b));
    assert!(tightest > least, "a bend of {tightest} mm");
    assert!(!warned, "told of {tightest} mm");
    // a nozzle that is as far ahead as the least radius cannot turn its tow soon enough
    let (tow, warned) = bends(&job(4.0), 4.0);
    let tightest = tow.iter().fold(f64::INFINITY, |a, b| a.min(*b));
    assert!(tightest < 0.9 * radius, "planted: {tightest} mm");
    assert!(warned, "{tightest} mm and nothing is said");
}

/// A plate whose inner loops may begin on their straights or in their corners, of 9 mm and
/// less, with ends wanted further apart than half of a loop is long: the ends below drive
/// them into the corners.
const ROUND: &str = r#"<svg xmlns="http://www.w3.org/2000/svg" width="90mm" height="50mm" viewBox="0 0 90 50">
<rect x="5" y="5" width="80" height="40" rx="9"/></svg>"#;

const LOOPS: &str = r#"
[[region]]
name = "edge"
shape = { outline = true }
layers = "2-5"
rule = "contour"
courses = 4
"#;

#[test]
fn a_loop_that_would_lie_astray_is_begun_where_it_does_not() {
    let path = job(3.0);
    let folder = path.parent().expect("its folder").with_file_name("trailing loops");
    std::fs::create_dir_all(&folder).expect("a scratch folder");
    std::fs::copy(path.with_file_name("tow.toml"), folder.join("tow.toml")).expect("its tow");
    let job = JOB.replace("layer_height_mm = 0.2", "layer_height_mm = 0.2\nend_stagger_mm = 60");
    let job = job.replace("thickness_mm = 0.8", "thickness_mm = 1.2");
    for (file, text) in [("plate.svg", ROUND), ("map.toml", LOOPS), ("job.toml", &job)] {
        std::fs::write(folder.join(file), text).expect("a scratch file");
    }
    let mut notes = Notes::default();
    let planned = plan(&mut notes, &folder.join("job.toml")).expect("it is planned");
    let plan: Value = serde_json::from_str(&planned.plan).expect("the plan is JSON");
    let per_layer: Vec<usize> = loops(&plan).iter().map(Vec::len).filter(|n| *n > 0).collect();
    assert_eq!(per_layer, [4; 4], "all of them are laid");
    // a quarter of the tow's width is the most that any may lie off
    for (_, told) in loops(&plan).iter().flatten() {
        assert!(told[0].max(told[1]) <= 0.15, "{told:?} mm off");
    }
    let close = notes.warnings.iter().any(|d| d.code == "ends-close");
    assert!(close, "ends that had to lie nearer than is asked are told");
}

#[test]
fn the_outermost_ring_has_its_corners_though_the_nozzle_swings_over_the_perimeters() {
    // corners of 8.1 to 5.1 mm: the nozzle swings 0.38 to 0.58 mm out of them, 0.3 mm to the
    // strip's edge, 0.9 mm to the part's
    for round in [6.0, 7.0, 9.0] {
        let path = job(2.5);
        let folder = path.parent().expect("its folder").with_file_name(format!("trailing rim {round}"));
        std::fs::create_dir_all(&folder).expect("a scratch folder");
        std::fs::copy(path.with_file_name("tow.toml"), folder.join("tow.toml")).expect("its tow");
        let drawn = ROUND.replace("rx=\"9\"", &format!("rx=\"{round}\""));
        let map = LOOPS.replace("courses = 4", "courses = 1");
        for (file, text) in [("plate.svg", drawn.as_str()), ("map.toml", &map), ("job.toml", JOB)] {
            std::fs::write(folder.join(file), text.replace("2-5", "2-3")).expect("a scratch file");
        }
        let planned = plan(&mut Notes::default(), &folder.join("job.toml")).expect("it is planned");
        let plan: Value = serde_json::from_str(&planned.plan).expect("the plan is JSON");
        let per_layer: Vec<usize> = loops(&plan).iter().map(Vec::len).filter(|n| *n > 0).collect();
        assert_eq!(per_layer, [1; 2], "corners of {round} mm");
        let layers = plan["layers"].as_array().expect("layers").iter();
        for c in layers.flat_map(|l| l["courses"].as_array().expect("courses of a layer")) {
            let off = ["off_mm", "end_off_mm"].map(|k| c["laid"][k].as_f64().expect("a distance"));
            assert!(off[0].max(off[1]) <= 0.15, "corners of {round} mm: {off:?} mm off");
            // the strip stays inside the perimeter but for that, the nozzle over the part
            let outside = |p: &Point, inset: f64| {
                let (r, q) = (round - inset, pt((p.x - 45.0).abs(), (p.y - 25.0).abs()));
                let in_corner = q - pt(40.0 - round, 20.0 - round);
                if in_corner.x > 0.0 && in_corner.y > 0.0 {
                    in_corner.norm() - r
                } else {
                    (q.x - 40.0 + inset).max(q.y - 20.0 + inset)
                }
            };
            let laid = c["laid"]["points"].as_array().expect("its tow").iter().map(point);
            let tow = laid.map(|p| outside(&p, 0.9)).fold(f64::MIN, f64::max);
            assert!(tow < off[0].max(off[1]) + 0.05, "corners of {round} mm: tow {tow} mm outside");
            let way: Vec<Segment> = c["segments"].as_array().expect("its way").iter().map(segment).collect();
            let nozzle = points(&way).iter().map(|p| outside(p, 0.0)).fold(f64::MIN, f64::max);
            assert!(nozzle < 0.0, "corners of {round} mm: the nozzle {nozzle} mm outside the part");
        }
    }
}

#[test]
fn the_tightest_bend_that_is_told_is_the_one_that_strains_the_edge_most() {
    for trail_mm in [0.0, 2.0] {
        let (plan, _) = planned(trail_mm);
        let width = plan["tow"]["width_mm"].as_f64().expect("a width");
        let layers = plan["layers"].as_array().expect("layers").iter();
        let mut bent = 0;
        for region in layers.filter_map(|l| l["regions"].as_array()).flatten() {
            let Some(least) = region["bend_radius_mm"]["least"].as_f64() else { continue };
            let strain = region["edge_strain"].as_f64().expect("a strain");
            assert!((strain * 2.0 * least - width).abs() < 2e-3 * width, "{strain} in a bend of {least} mm");
            bent += 1;
        }
        assert!(bent > 0, "some region has bends");
    }
}

//! Beginning a job, the manual page, and planning again when a file changes.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

mod support;

use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

fn scratch(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("comfort").join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a scratch folder");
    folder
}

fn towpath(folder: &Path, arguments: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_towpath"))
        .args(arguments)
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .output()
        .expect("the built program starts");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    (output.status.code(), text(output.stdout), text(output.stderr))
}

#[test]
fn a_new_job_plans_as_it_stands_and_keeps_every_promise() {
    let folder = scratch("new");
    let (status, out, told) = towpath(&folder, &["new", "Reed \"hook\" no. 2"]);
    assert_eq!((status, told.as_str()), (Some(0), ""), "{out}");
    for file in ["Reed-hook-no.-2.toml", "Reed-hook-no.-2.map.toml", "Reed-hook-no.-2.svg"] {
        assert!(folder.join(file).is_file() && out.contains(file), "{file}: {out}");
    }
    let ran = support::run::plan(&folder.join("Reed-hook-no.-2.toml"), &folder.join("out"));
    assert_eq!(ran.told, "", "a job to begin with plans without a warning");
    let findings = ran.checked().expect("a plan and a program");
    assert!(findings.0.is_empty(), "{}", findings.summary(3));
    assert!(ran.said.contains("Reed \"hook\" no. 2"), "{}", ran.said);
    let (_, plan) = ran.file(".plan.json").expect("a plan");
    for region in ["left pin", "right pin", "rim"] {
        assert!(plan.contains(region), "region {region} lays something");
    }
    // a hot nozzle just above the part scorches it: the end block finds it well clear
    let (_, program) = ran.file(".gcode").expect("a program");
    let heights: Vec<f64> =
        program.lines().filter_map(|l| l.strip_prefix("G0 Z")?.split(' ').next()?.parse().ok()).collect();
    let top = program
        .lines()
        .filter_map(|l| l.strip_prefix("(layer ")?.split(" z ").nth(1)?.trim_end_matches(')').parse().ok())
        .fold(0.0, f64::max);
    let last = heights.last().copied().unwrap_or_default();
    assert!(top > 0.0 && last >= top + 30.0 - 1e-9, "{last} mm at the end, {top} mm the part");
}

#[test]
fn straps_that_hold_no_pin_and_pins_in_no_hole_are_told() {
    let folder = scratch("straps");
    let job = "[part]\nname = \"yoke\"\noutline = \"yoke.svg\"\nthickness_mm = 0.4\n[build]\nprinter = \"shuttle-15\"\nmatrix = \"pa12\"\ntow = \"carbon-1k-pa12\"\nlayer_height_mm = 0.2\n[reinforcement]\nmap = \"map.toml\"\n";
    std::fs::write(folder.join("job.toml"), job).expect("the job");
    let told_of = |drawn: &str, pins: &str| {
        let svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"140mm\" height=\"40mm\" viewBox=\"0 0 140 40\"><path fill-rule=\"evenodd\" d=\"{drawn}\"/></svg>"
        );
        std::fs::write(folder.join("yoke.svg"), svg).expect("the drawing");
        let map = format!(
            "[[region]]\nname = \"belt\"\nshape = {{ pins_mm = {pins} }}\nlayers = \"2\"\nrule = \"strap\"\ncourses = 2\n"
        );
        std::fs::write(folder.join("map.toml"), map).expect("the map");
        let (status, said, told) = towpath(&folder, &["plan", "job.toml", "--out", "out"]);
        assert_eq!(status, Some(0), "{told}");
        (said, told)
    };
    let holes = "M16 20 a4 4 0 1 1 8 0 a4 4 0 1 1 -8 0 Z M116 20 a4 4 0 1 1 8 0 a4 4 0 1 1 -8 0 Z";
    let one = format!("M2 4 H138 V36 H2 Z {holes}");
    let two = format!("M2 4 H60 V36 H2 Z M80 4 H138 V36 H80 Z {holes}");
    let (said, told) = told_of(&one, "[[20, 20, 4], [120, 20, 4]]");
    assert!(said.contains("2 courses (2 closed)"), "{said}");
    for code in ["strap-open", "pin-in-no-hole", "outline-apart"] {
        assert!(!told.contains(code), "{told}");
    }
    let (_, told) = told_of(&one, "[[20, 20, 4], [108, 20, 4]]");
    assert!(
        told.contains("warning[pin-in-no-hole]: the pin of radius 4 mm at x 108.00 y 20.00 mm"),
        "{told}"
    );
    assert!(
        told.contains("the nearest is about x 120.00 y 20.00 mm") && told.contains("map.toml:3"),
        "{told}"
    );
    let (said, told) = told_of(&two, "[[20, 20, 4], [120, 20, 4]]");
    assert!(said.contains("(0 closed)"), "{said}");
    assert!(
        told.contains("warning[strap-open]: in 1 layer no strap of region `belt` goes all the way"),
        "{told}"
    );
    assert!(told.contains("warning[outline-apart]: the outline is 2 bodies"), "{told}");
}

#[test]
fn a_region_without_tow_is_named() {
    let folder = scratch("empty region");
    let (status, ..) = towpath(&folder, &["new", "arm", "--quiet"]);
    assert_eq!(status, Some(0));
    let map = folder.join("arm.map.toml");
    let mut text = std::fs::read_to_string(&map).expect("the map");
    text.push_str("\n[[region]]\nname = \"tiny patch\"\nshape = { polygon_mm = [[30, 14], [33, 14], [33, 17], [30, 17]] }\nrule = \"unidirectional\"\nangle_deg = 0\n");
    std::fs::write(&map, text).expect("the map");
    let (status, _, told) = towpath(&folder, &["plan", "arm.toml", "--out", "out"]);
    assert_eq!(status, Some(0), "{told}");
    assert!(told.contains("warning[region-empty]: region `tiny patch` gets no tow in any layer: "), "{told}");
    assert_eq!(told.matches("region-empty").count(), 1, "the others lay something: {told}");
}

/// A job of the small link that `new` writes, with other regions.
fn link(folder: &Path, map: &str) {
    assert_eq!(towpath(folder, &["new", "arm", "--quiet"]).0, Some(0));
    std::fs::write(folder.join("arm.map.toml"), map).expect("the map");
}

/// Plans it: what is told.
fn told_of(folder: &Path) -> String {
    let (status, _, told) = towpath(folder, &["plan", "arm.toml", "--out", "out"]);
    assert_eq!(status, Some(0), "{told}");
    told
}

fn region(name: &str, shape: &str, rule: &str, more: &str) -> String {
    format!(
        "[[region]]\nname = \"{name}\"\nshape = {{ {shape} }}\nlayers = \"3-4\"\nrule = \"{rule}\"\n{more}\n"
    )
}

const LEFT: &str = "hole_at_mm = [15.0, 15.0]";
const RIGHT: &str = "hole_at_mm = [65.0, 15.0]";
const BOTH: &str = "pins_mm = [[15, 15, 6], [65, 15, 6]]";

#[test]
fn what_is_left_out_is_summed_by_region_and_reason() {
    let folder = scratch("left out");
    let hoops = region("many", LEFT, "hoop", "courses = 100\npriority = 2");
    link(&folder, &(hoops + &region("rim", "outline = true", "contour", "courses = 2")));
    let told = told_of(&folder);
    let plan = std::fs::read_to_string(folder.join("out/arm.plan.json")).expect("a plan");
    let plan: serde_json::Value = serde_json::from_str(&plan).expect("JSON");
    let left_out = plan["left_out"].as_array().expect("a list");
    let mut sums = std::collections::BTreeMap::<(String, String), f64>::new();
    let mut short = std::collections::BTreeSet::new();
    for l in left_out {
        let word = |key: &str| l[key].as_str().expect("a word").to_owned();
        let length = l["length_mm"].as_f64().expect("a length");
        *sums.entry((word("region"), word("reason"))).or_default() += length;
        // of less than 1 mm there is one at most for each region, layer and reason
        let key = (word("region"), l["layer"].to_string(), word("reason"));
        assert!(length >= 1.0 || short.insert(key), "{l}");
    }
    let words = |mm: f64| if mm < 1000.0 { format!("{mm:.0} mm") } else { format!("{:.1} m", mm / 1000.0) };
    let total: f64 = sums.values().sum();
    let all = format!("{} of tow that the map asks for are not laid", words(total));
    assert!(told.contains(&all) && told.contains(&format!("in {} places: ", left_out.len())), "{told}");
    let mut sums: Vec<_> = sums.into_iter().collect();
    sums.sort_by(|a, b| b.1.total_cmp(&a.1));
    for ((region, reason), mm) in sums.iter().take(3) {
        let sum = format!("{} in region `{region}`, {reason}", words(*mm));
        assert!(told.contains(&sum), "{sum}: {told}");
    }
    assert_eq!(told.contains("for other reasons"), sums.len() > 3, "{told}");
    // as the plan counts them for its regions
    let layers = plan["layers"].as_array().expect("layers");
    let given_up = layers.iter().flat_map(|l| l["regions"].as_array().expect("regions"));
    let given_up: f64 = given_up.map(|r| r["given_up_mm"].as_f64().expect("a length")).sum();
    assert!((given_up - total).abs() < 0.01, "{given_up} {total}");
}

#[test]
fn hoops_of_which_none_closes_are_told_with_what_lies_across() {
    let folder = scratch("open hoops");
    let hoop = |more: &str| region("left pin", LEFT, "hoop", more);
    // the strap has the ground round both holes
    let strap = region("strap", BOTH, "strap", "courses = 2\npriority = 9");
    link(&folder, &(hoop("courses = 3") + &strap));
    let told = told_of(&folder);
    assert!(
        told.contains("warning[hoop-open]: no course of region `left pin` closes in any layer"),
        "{told}"
    );
    assert!(
        told.contains("arm.map.toml:3") && told.contains("laid before it, of region `strap`: "),
        "{told}"
    );
    assert_eq!(told.matches("hoop-open").count(), 1, "{told}");
    // as many as there is room for: some close
    std::fs::write(folder.join("arm.map.toml"), hoop("courses = 100")).expect("the map");
    let told = told_of(&folder);
    assert!(!told.contains("hoop-open"), "{told}");
}

#[test]
fn what_would_not_close_alone_either_blames_nobody() {
    let folder = scratch("blame");
    // no tow bends to 60 mm round pins in a link of 30 mm; and it is not in the others' way
    let hoop = region("left pin", LEFT, "hoop", "courses = 2\npriority = 9");
    link(&folder, &(hoop.clone() + &region("strap", BOTH, "strap", "courses = 2\nmin_bend_radius_mm = 60")));
    let told = told_of(&folder);
    assert!(told.contains("warning[strap-open]") && told.contains("a smaller bend radius"), "{told}");
    assert!(!told.contains("left pin"), "{told}");
    // more hoops than there is room for anywhere: none is laid, and none is said to be
    let hoops = region("right pin", RIGHT, "hoop", "courses = 200\nmin_bend_radius_mm = 60");
    std::fs::write(folder.join("arm.map.toml"), hoop + &hoops).expect("the map");
    let told = told_of(&folder);
    assert!(told.contains("no room for 200 of 200 hoops"), "{told}");
    assert!(told.contains("its `min_bend_radius_mm` is 60 mm, the tow's own 4 mm"), "{told}");
}

#[test]
fn a_strap_that_another_one_lies_across_names_it() {
    let folder = scratch("crossed straps");
    let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"80mm\" height=\"30mm\" viewBox=\"0 0 80 30\">\
        <rect width=\"80\" height=\"30\"/><circle cx=\"15\" cy=\"15\" r=\"6\"/>\
        <circle cx=\"65\" cy=\"15\" r=\"6\"/></svg>";
    let first = region("first", BOTH, "strap", "courses = 11\npriority = 9");
    let second = region("second", BOTH, "strap", "courses = 1");
    link(&folder, &(first + &second));
    std::fs::write(folder.join("arm.svg"), svg).expect("the drawing");
    let told = told_of(&folder);
    assert!(told.contains("warning[strap-open]: in 2 layers no strap of region `second`"), "{told}");
    assert!(told.contains("across its way lies what is laid before it, of region `first`"), "{told}");
    // woven, each closes in its turn, which is what was asked for
    let woven = |name: &str, courses: usize| {
        region(name, BOTH, "strap", &format!("courses = {courses}\nmeets = \"weave\""))
    };
    std::fs::write(folder.join("arm.map.toml"), woven("first", 11) + &woven("second", 1)).expect("the map");
    let told = told_of(&folder);
    assert!(!told.contains("strap-open"), "{told}");
}

/// Plans a plate of three pins with woven straps from the one in its corner to either other
/// one, and one more region: what is told.
fn woven_round_a_corner(folder: &Path, more: &str) -> String {
    let strap = |name: &str, far: &str| {
        let pins = format!("pins_mm = [[14, 14, 5], {far}]");
        region(name, &pins, "strap", "courses = 4\nmeets = \"weave\"\npriority = 2")
    };
    link(folder, &(strap("along", "[66, 14, 5]") + &strap("across", "[14, 66, 5]") + more));
    std::fs::write(folder.join("arm.svg"), CORNER).expect("the drawing");
    told_of(folder)
}

/// A plate with a hole in each of three corners.
const CORNER: &str = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"80mm\" height=\"80mm\" viewBox=\"0 0 80 80\">\
    <rect width=\"80\" height=\"80\"/><circle cx=\"14\" cy=\"66\" r=\"5\"/>\
    <circle cx=\"66\" cy=\"66\" r=\"5\"/><circle cx=\"14\" cy=\"14\" r=\"5\"/></svg>";

fn plan_of(folder: &Path) -> serde_json::Value {
    let plan = std::fs::read_to_string(folder.join("out/arm.plan.json")).expect("a plan");
    serde_json::from_str(&plan).expect("JSON")
}

/// The courses of a layer, counted from 0.
fn courses(folder: &Path, layer: usize) -> Vec<serde_json::Value> {
    plan_of(folder)["layers"][layer]["courses"].as_array().expect("courses").clone()
}

#[test]
fn a_woven_strap_that_waits_for_its_turn_lies_in_nobodys_way() {
    let folder = scratch("turns");
    let rim = region("rim", "outline = true", "contour", "courses = 2");
    let told = woven_round_a_corner(&folder, &rim);
    assert!(!told.contains("strap-open") && !told.contains("in region `a"), "{told}");
    let plan = std::fs::read_to_string(folder.join("out/arm.plan.json")).expect("a plan");
    let plan: serde_json::Value = serde_json::from_str(&plan).expect("JSON");
    for (layer, own, other) in [(2, "along", "across"), (3, "across", "along")] {
        let courses = plan["layers"][layer]["courses"].as_array().expect("courses");
        let closed =
            |name: &str| courses.iter().filter(|c| c["region"] == name && c["closed"] == true).count();
        // two round the outside and two round each hole
        assert_eq!((closed(own), closed("rim")), (4, 8), "layer {layer}");
        assert!(courses.iter().all(|c| c["region"] != other), "{other}");
        let left_out = plan["left_out"].as_array().expect("a list");
        let waits = |l: &&serde_json::Value| l["region"] == other && l["layer"] == layer + 1;
        let why = left_out.iter().find(waits).map(|l| &l["reason"]);
        assert!(why.is_some_and(|w| w.as_str().is_some_and(|w| w.starts_with("woven: "))), "{why:?}");
    }
    // nothing is missing where one waits: warning and report count the same places
    let reasons = plan["left_out"].as_array().into_iter().flatten().filter_map(|l| l["reason"].as_str());
    let (waiting, missing): (Vec<_>, Vec<_>) = reasons.partition(|r| r.starts_with("woven: "));
    let report = std::fs::read_to_string(folder.join("out/arm.report.html")).expect("the report");
    let words =
        format!("in {} places of one part. In {} more a woven region waits", missing.len(), waiting.len());
    assert!(!waiting.is_empty() && report.contains(&words), "{words}");
}

#[test]
fn a_woven_strap_that_is_wound_waits_for_its_turn_like_any_other() {
    for more in ["spiral = true", "few_cuts = true"] {
        let folder = scratch("turns of spirals");
        let strap = |name: &str, far: &str| {
            let pins = format!("pins_mm = [[14, 14, 5], {far}]");
            region(name, &pins, "strap", &format!("courses = 4\nmeets = \"weave\"\n{more}"))
        };
        link(&folder, &(strap("along", "[66, 14, 5]") + &strap("across", "[14, 66, 5]")));
        std::fs::write(folder.join("arm.svg"), CORNER).expect("the drawing");
        let told = told_of(&folder);
        assert!(!told.contains("strap-open") && !told.contains("left-out"), "{more}: {told}");
        for (layer, own) in [(2, "along"), (3, "across")] {
            let courses = courses(&folder, layer);
            assert!(courses.iter().all(|c| c["region"] == own), "{more}: layer {layer} is `{own}`'s");
            assert!(!courses.is_empty(), "{more}: layer {layer}");
        }
    }
}

#[test]
fn of_three_woven_straps_each_has_its_turn_and_too_few_layers_are_told() {
    // each side of a triangle crosses both others at its ends
    let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"80mm\" height=\"80mm\" viewBox=\"0 0 80 80\">\
        <rect width=\"80\" height=\"80\"/><circle cx=\"14\" cy=\"66\" r=\"5\"/>\
        <circle cx=\"66\" cy=\"66\" r=\"5\"/><circle cx=\"40\" cy=\"14\" r=\"5\"/></svg>";
    let pins = ["[14, 14, 5]", "[66, 14, 5]", "[40, 66, 5]"];
    let map = |layers: &str| -> String {
        let strap = |(k, name): (usize, &str)| {
            let shape = format!("pins_mm = [{}, {}]", pins[k], pins[(k + 1) % 3]);
            region(name, &shape, "strap", "courses = 3\nmeets = \"weave\"")
                .replace("layers = \"3-4\"", &format!("layers = \"{layers}\""))
        };
        ["base", "right", "left"].into_iter().enumerate().map(strap).collect()
    };
    let folder = scratch("three turns");
    link(&folder, &map("1-6"));
    std::fs::write(folder.join("arm.svg"), svg).expect("the drawing");
    let told = told_of(&folder);
    assert!(!told.contains("strap-open"), "each closes where it is its turn: {told}");
    for (layer, own) in ["base", "right", "left", "base", "right", "left"].into_iter().enumerate() {
        let courses = courses(&folder, layer);
        let named = |name: &str| courses.iter().filter(|c| c["region"] == name).count();
        let closed = courses.iter().filter(|c| c["closed"] == true).count();
        assert_eq!((named(own), closed, courses.len()), (3, 3, 3), "layer {layer} is `{own}`'s");
    }
    std::fs::write(folder.join("arm.map.toml"), map("3-4")).expect("the map");
    let told = told_of(&folder);
    assert!(
        told.contains("no strap of region `left`") && !told.contains("no strap of region `right`"),
        "{told}"
    );
    assert!(told.contains("it weaves with regions `base` and `right`"), "{told}");
    assert!(told.contains("put all of them into 3 layers or more"), "{told}");
}

#[test]
fn a_region_whose_ground_others_have_is_not_told_to_be_too_small() {
    let folder = scratch("under");
    let top = region("top", "outline = true", "unidirectional", "angle_deg = 0\npriority = 5");
    link(&folder, &(top + &region("under", "circle_mm = [40, 40, 15]", "contour", "")));
    std::fs::write(folder.join("arm.svg"), CORNER).expect("the drawing");
    let told = told_of(&folder);
    let line = told.lines().find(|l| l.contains("region `under` gets no tow")).unwrap_or_default();
    assert!(line.contains("fits beside the others"), "{told}");
}

#[test]
fn hoops_lie_in_the_body_of_their_hole_alone() {
    let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"80mm\" height=\"80mm\" viewBox=\"0 0 80 80\">\
        <rect width=\"38\" height=\"80\"/><rect x=\"42\" width=\"38\" height=\"80\"/>\
        <circle cx=\"61\" cy=\"40\" r=\"8\"/><circle cx=\"19\" cy=\"40\" r=\"8\"/></svg>";
    let folder = scratch("bodies");
    let u = region("rows", "outline = true", "unidirectional", "angle_deg = 90");
    let one = region("ring", "hole_at_mm = [61, 40]", "hoop", "priority = 2");
    link(&folder, &(u + &one));
    std::fs::write(folder.join("arm.svg"), svg).expect("the drawing");
    told_of(&folder);
    let left = |name: &str| {
        let from = |c: &serde_json::Value| {
            let s = &c["segments"][0];
            s["line"][0].as_f64().or(s["arc"]["from"][0].as_f64()).expect("where it begins")
        };
        courses(&folder, 2).iter().filter(|c| c["region"] == name && from(c) < 40.0).count()
    };
    assert!(left("ring") == 0 && left("rows") > 20, "the left body is no hoop's");
    // each of two holes has what goes round it
    let both = "polygon_mm = [[-1, -1], [81, -1], [81, 81], [-1, 81]]";
    std::fs::write(folder.join("arm.map.toml"), region("ring", both, "hoop", "")).expect("the map");
    told_of(&folder);
    let all = courses(&folder, 2);
    let mut mirrored: Vec<f64> = all.iter().filter_map(|c| c["length_mm"].as_f64()).collect();
    mirrored.sort_by(f64::total_cmp);
    let pairs = mirrored.chunks(2).filter(|p| p.len() == 2 && p[1] - p[0] < 0.5).count();
    assert_eq!((left("ring") * 2, pairs * 2), (all.len(), all.len()), "as many in one as in the other");
}

#[test]
fn what_runs_along_hoops_is_counted_as_ground_of_its_courses() {
    let folder = scratch("rim beside a hoop");
    let hoops = region("pin", "hole_at_mm = [66, 14]", "hoop", "courses = 4\npriority = 2");
    link(&folder, &(hoops + &region("rim", "outline = true", "contour", "courses = 2")));
    std::fs::write(folder.join("arm.svg"), CORNER).expect("the drawing");
    told_of(&folder);
    let plan = plan_of(&folder);
    let regions = plan["layers"][2]["regions"].as_array().expect("regions");
    let rim = regions.iter().find(|r| r["region"] == "rim").expect("the rim");
    let mm2 = |key: &str| rim[key].as_f64().expect("a figure");
    let strips = mm2("length_mm") * plan["tow"]["width_mm"].as_f64().expect("a width");
    assert!((mm2("covered_mm2") - strips).abs() < 0.04 * strips, "{} of {strips} mm2", mm2("covered_mm2"));
}

#[test]
fn woven_straps_that_close_nowhere_are_told() {
    let folder = scratch("turns in vain");
    let bar = region(
        "bar",
        "polygon_mm = [[36, 2], [44, 2], [44, 30], [36, 30]]",
        "unidirectional",
        "angle_deg = 90\npriority = 5",
    );
    let told = woven_round_a_corner(&folder, &bar);
    assert!(told.contains("warning[strap-open]: in 2 layers no strap of region `along`"), "{told}");
    assert!(!told.contains("no strap of region `across`"), "{told}");
}

#[test]
fn a_strap_along_a_bent_arm_blames_no_hole_beside_its_way() {
    let folder = scratch("bent arm");
    let half = |r: f64, k: u32| {
        let t = std::f64::consts::PI * f64::from(k) / 60.0;
        [100.0 + r * libm::cos(t), 100.0 - r * libm::sin(t)]
    };
    let ring: Vec<[f64; 2]> =
        (0..=60).map(|k| half(90.0, k)).chain((0..=60).rev().map(|k| half(50.0, k))).collect();
    let points: Vec<String> = ring.iter().map(|[x, y]| format!("{x:.3},{y:.3}")).collect();
    let svg = |more: &str| {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"200mm\" height=\"130mm\" viewBox=\"0 0 200 130\">\
             <polygon points=\"{}\"/><circle cx=\"31.06\" cy=\"87.84\" r=\"5\"/><circle cx=\"168.94\" cy=\"87.84\" r=\"5\"/>{more}</svg>",
            points.join(" ")
        )
    };
    link(
        &folder,
        &region("belt", "pins_mm = [[31.06, 42.16, 5], [168.94, 42.16, 5]]", "strap", "courses = 2"),
    );
    for more in ["", "<circle cx=\"100\" cy=\"30\" r=\"2\"/>", "<circle cx=\"100\" cy=\"17\" r=\"2\"/>"] {
        std::fs::write(folder.join("arm.svg"), svg(more)).expect("the drawing");
        let told = told_of(&folder);
        assert!(!told.contains("strap-bent") && !told.contains("strap-open"), "{more}: {told}");
    }
}

#[test]
fn a_strap_that_is_bent_round_a_hole_says_so() {
    let folder = scratch("bent strap");
    let svg = |third: &str| {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"80mm\" height=\"40mm\" viewBox=\"0 0 80 40\">\
             <rect width=\"80\" height=\"40\"/><circle cx=\"15\" cy=\"25\" r=\"6\"/>\
             <circle cx=\"65\" cy=\"25\" r=\"6\"/>{third}</svg>"
        )
    };
    link(&folder, &region("belt", BOTH, "strap", "courses = 2"));
    for (third, bent) in [
        // in the way of the upper side, beside the belt, and within it
        ("<circle cx=\"40\" cy=\"19\" r=\"3\"/>", true),
        ("<circle cx=\"40\" cy=\"8\" r=\"3\"/>", false),
        ("<circle cx=\"40\" cy=\"25\" r=\"2\"/>", false),
    ] {
        std::fs::write(folder.join("arm.svg"), svg(third)).expect("the drawing");
        let told = told_of(&folder);
        assert!(!told.contains("strap-open"), "{third}: {told}");
        assert_eq!(
            told.contains("warning[strap-bent]: straps of region `belt` are bent by"),
            bent,
            "{third}: {told}"
        );
        assert_eq!(told.contains("round the hole at x 40.00 y 21.00 mm"), bent, "{third}: {told}");
    }
}

#[test]
fn courses_that_all_lie_closed_leave_nothing_out_though_holes_are_too_small_to_follow() {
    let folder = scratch("rims of small holes");
    // bores of 2 mm and tow that bends to 4 mm: the first course round each lies further out
    let bores: String = [20, 40, 60].map(|x| format!("<circle cx=\"{x}\" cy=\"20\" r=\"2\"/>")).concat();
    link(&folder, &region("rim", "outline = true", "contour", "courses = 2"));
    let svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"80mm\" height=\"40mm\" viewBox=\"0 0 80 40\"><rect width=\"80\" height=\"40\" rx=\"8\"/>{bores}</svg>"
    );
    std::fs::write(folder.join("arm.svg"), svg).expect("the drawing");
    let (status, said, told) = towpath(&folder, &["plan", "arm.toml", "--out", "out"]);
    assert_eq!(status, Some(0), "{told}");
    assert!(!told.contains("left-out"), "{told}");
    let line = said.lines().find(|l| l.contains("rim: ")).expect("its cover");
    let cover: f64 = line
        .split("rim: ")
        .nth(1)
        .and_then(|s| s.split(' ').next())
        .and_then(|s| s.parse().ok())
        .expect("a share");
    // what bends are cut by in corners, and beside chords
    assert!(cover > 98.0 && line.contains("(16 closed)"), "{line}");
}

#[test]
fn round_a_hole_too_small_to_follow_contours_are_as_many_as_hoops() {
    let folder = scratch("small holes");
    link(&folder, "");
    for radius in [2.5, 3.3, 3.5, 3.53, 3.8] {
        let ring: String = (0..256)
            .map(|k| {
                let (sin, cos) = libm::sincos(-std::f64::consts::TAU * f64::from(k) / 256.0);
                format!(
                    "{} {:.4} {:.4}",
                    if k == 0 { "M" } else { "L" },
                    25.0 + radius * cos,
                    25.0 + radius * sin
                )
            })
            .collect();
        let svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"80mm\" height=\"50mm\" viewBox=\"0 0 80 50\"><path d=\"M 5 45 L 5 5 L 75 5 L 75 45 Z\"/><path d=\"{ring} Z\"/></svg>"
        );
        std::fs::write(folder.join("arm.svg"), svg).expect("the drawing");
        // perimeters of 1 mm and half a width: the first course would bend to 3.8 mm and more
        for rule in ["contour", "hoop"] {
            let map = region("round", "hole_at_mm = [25, 25]", rule, "courses = 4\nmin_bend_radius_mm = 5.0");
            std::fs::write(folder.join("arm.map.toml"), map).expect("the map");
            let (status, said, told) = towpath(&folder, &["plan", "arm.toml", "--out", "out"]);
            assert_eq!(status, Some(0), "{told}");
            assert!(
                said.contains("(8 closed)") && !told.contains("left-out"),
                "{rule} {radius}: {said}{told}"
            );
        }
    }
}

#[test]
fn two_hoops_round_a_small_hole_become_a_spiral_whatever_its_size() {
    let folder = scratch("small holes one by one");
    let map = "[[region]]\nname = \"h\"\nshape = { hole_at_mm = [40, 40] }\nlayers = \"2-4\"\nrule = \"hoop\"\ncourses = 2\n";
    link(&folder, map);
    let job = std::fs::read_to_string(folder.join("arm.toml")).expect("the job");
    let job = job.lines().map(|line| match line.split(" = ").next() {
        Some("printer") => "printer = \"reed-35\"".to_owned(),
        Some("thickness_mm") => "thickness_mm = 1.0".to_owned(),
        _ => line.to_owned(),
    });
    std::fs::write(folder.join("arm.toml"), job.collect::<Vec<_>>().join("\n")).expect("the job");
    // 25 and 29 mm long, 43 mm can be laid
    for r in [2.5, 2.73, 2.75, 2.8, 3.0] {
        let svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"80mm\" height=\"80mm\" viewBox=\"0 0 80 80\">\
             <rect width=\"80\" height=\"80\"/><circle cx=\"40\" cy=\"40\" r=\"{r}\"/></svg>"
        );
        std::fs::write(folder.join("arm.svg"), svg).expect("the drawing");
        let (status, out, told) = towpath(&folder, &["plan", "arm.toml", "--out", "out"]);
        assert_eq!(status, Some(0), "{r}: {told}");
        assert!(out.contains("3 courses (3 spirals)"), "{r}: {out}{told}");
    }
}

/// Closed courses and all of a map of one region on a drawing of one path.
fn laid(folder: &Path, drawn: &str, map: &str) -> (usize, usize) {
    let svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"120mm\" height=\"100mm\" viewBox=\"0 0 120 100\"><path fill-rule=\"evenodd\" d=\"{drawn}\"/></svg>"
    );
    std::fs::write(folder.join("part.svg"), svg).expect("the drawing");
    std::fs::write(folder.join("map.toml"), map).expect("the map");
    let job = "[part]\nname = \"part\"\noutline = \"part.svg\"\nthickness_mm = 0.2\n[build]\nprinter = \"shuttle-15\"\nmatrix = \"pa12\"\ntow = \"carbon-1k-pa12\"\nlayer_height_mm = 0.2\n[reinforcement]\nmap = \"map.toml\"\n";
    std::fs::write(folder.join("job.toml"), job).expect("the job");
    let ran = support::run::plan(&folder.join("job.toml"), &folder.join("out"));
    let findings = ran.checked().expect("a plan and a program");
    assert!(findings.0.is_empty(), "{}", findings.summary(3));
    let (_, plan) = ran.file(".plan.json").expect("a plan");
    let plan: serde_json::Value = serde_json::from_str(&plan).expect("JSON");
    let courses = plan["layers"][0]["courses"].as_array().cloned().unwrap_or_default();
    (courses.iter().filter(|c| c["closed"] == true).count(), courses.len())
}

#[test]
fn a_wall_of_just_so_many_widths_holds_that_many_hoops_and_straps() {
    // two perimeters of 0.5 mm on either side, tow of 0.6 mm
    for n in 2..=6_u32 {
        let folder = scratch(&format!("walls-{n}"));
        let count = usize::try_from(n).expect("a few");
        let (hole, rim) = (8.0, 10.0 + 0.6 * f64::from(n));
        let disc =
            |r: f64| format!("M{} 50 a{r} {r} 0 1 1 {} 0 a{r} {r} 0 1 1 {} 0 Z", 50.0 - r, 2.0 * r, -2.0 * r);
        let hoops = region("eye", "hole_at_mm = [50.0, 50.0]", "hoop", &format!("courses = {n}\n"))
            .replace("layers = \"3-4\"", "");
        let made = laid(&folder, &format!("{} {}", disc(rim), disc(hole)), &hoops);
        assert_eq!(made, (count, count), "hoops in a wall of {n}");
        let (left, right) = (30.0, 80.0);
        let hole_at = |x: f64| {
            format!(
                "M{} 50 a{hole} {hole} 0 1 1 {} 0 a{hole} {hole} 0 1 1 {} 0 Z",
                x - hole,
                2.0 * hole,
                -2.0 * hole
            )
        };
        let race = format!(
            "M{left} {} H{right} a{rim} {rim} 0 0 1 0 {} H{left} a{rim} {rim} 0 0 1 0 {} Z {} {}",
            50.0 - rim,
            2.0 * rim,
            -2.0 * rim,
            hole_at(left),
            hole_at(right)
        );
        let straps = region(
            "belt",
            "pins_mm = [[30.0, 50.0, 8.0], [80.0, 50.0, 8.0]]",
            "strap",
            &format!("courses = {n}\n"),
        )
        .replace("layers = \"3-4\"", "");
        assert_eq!(laid(&folder, &race, &straps), (count, count), "straps in a wall of {n}");
    }
}

#[test]
fn contours_close_past_teeth_tabs_and_notches() {
    let polar = |r: f64, share: f64| {
        let (sin, cos) = libm::sincos(std::f64::consts::TAU * share);
        format!("{:.3} {:.3} ", 60.0 + r * cos, 50.0 + r * sin)
    };
    let gear = |teeth: u32, height: f64| {
        let corners = (0..4 * teeth).map(|k| {
            polar(if k % 4 < 2 { 39.0 } else { 39.0 + height }, f64::from(k) / f64::from(4 * teeth))
        });
        format!("M{}Z", corners.collect::<String>())
    };
    for (name, drawn) in [
        ("a gear of small teeth", gear(24, 0.8)),
        ("a gear", gear(20, 3.0)),
        ("a plate with a tooth", "M10 20 H70 V50 H43 V54 H37 V50 H10 Z".to_owned()),
        ("a plate with a flat tooth", "M10 20 H70 V50 H43 V51 H37 V50 H10 Z".to_owned()),
        ("a plate with a notch", "M10 20 H70 V50 H43 V47 H37 V50 H10 Z".to_owned()),
        ("a rack", "M10 20 H90 V50 H80 V46 H74 V50 H60 V46 H54 V50 H40 V46 H34 V50 H10 Z".to_owned()),
    ] {
        for courses in [1, 3] {
            let folder = scratch("teeth");
            let map = region("rim", "outline = true", "contour", &format!("courses = {courses}\n"))
                .replace("layers = \"3-4\"", "");
            assert_eq!(laid(&folder, &drawn, &map), (courses, courses), "{courses} round {name}");
        }
    }
}

#[test]
fn loops_round_many_holes_stay_where_some_cannot_close() {
    // webs of 10 mm, where tow bends to 4 mm: an edge that is evened has none of them
    let hole = |k: u32| {
        let (x, y) = (16 + 12 * (k % 5), 16 + 12 * (k / 5));
        format!("M{} {y} a1 1 0 1 1 2 0 a1 1 0 1 1 -2 0 Z ", x - 1)
    };
    let drawn = format!("M10 10 H70 V58 H10 Z {}", (0..20).map(hole).collect::<String>());
    let map = region("rims", "outline = true", "contour", "courses = 2\n").replace("layers = \"3-4\"", "");
    let (closed, _) = laid(&scratch("many"), &drawn, &map);
    assert!(closed >= 25, "{closed} closed");
}

#[test]
fn contours_close_along_edges_drawn_with_many_rough_points() {
    let n = 5_000;
    let points = (0..n).map(|k| {
        let (sin, cos) = libm::sincos(std::f64::consts::TAU * f64::from(k) / f64::from(n));
        // two decimals, as some files keep
        format!("{:.2} {:.2} ", 60.0 + 45.0 * cos, 50.0 + 45.0 * sin)
    });
    let drawn = format!("M{}Z", points.collect::<String>());
    let map = region("rim", "outline = true", "contour", "courses = 3\n").replace("layers = \"3-4\"", "");
    assert_eq!(laid(&scratch("rough"), &drawn, &map), (3, 3));
}

#[test]
fn few_cuts_never_has_more_of_them() {
    let folder = scratch("few cuts");
    link(&folder, "");
    // an H: rows straight across it cover more than loops, in seven courses more
    let bolts: String = [(11, 12), (69, 12), (11, 58), (69, 58)]
        .map(|(x, y)| format!("<circle cx=\"{x}\" cy=\"{y}\" r=\"3\"/>"))
        .concat();
    let svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"80mm\" height=\"70mm\" viewBox=\"0 0 80 70\"><path d=\"M0 0H22V23H58V0H80V70H58V47H22V70H0Z\"/>{bolts}</svg>"
    );
    std::fs::write(folder.join("arm.svg"), svg).expect("the drawing");
    let cuts = |more: &str| -> usize {
        let map = region("fill", "outline = true", "contour", more).replace("3-4", "2");
        std::fs::write(folder.join("arm.map.toml"), map).expect("the map");
        let (status, said, told) = towpath(&folder, &["plan", "arm.toml", "--out", "out"]);
        assert_eq!(status, Some(0), "{told}");
        let line = said.lines().find(|l| l.starts_with("cuts ")).expect("its cuts");
        line.split_whitespace().nth(1).and_then(|n| n.parse().ok()).expect("a number")
    };
    let (plain, few) = (cuts(""), cuts("few_cuts = true"));
    assert!(few <= plain, "{few} cuts where few are asked for, {plain} else");
}

#[test]
fn a_region_that_meets_others_alone_is_told() {
    let folder = scratch("meets");
    let rim = |more: &str| region("rim", "outline = true", "contour", more);
    let strap = |more: &str| region("strap", BOTH, "strap", &format!("courses = 2\npriority = 2\n{more}"));
    let hoop = |more: &str| region("hoop", LEFT, "hoop", &format!("courses = 3\n{more}"));
    link(&folder, "");
    let told = |map: &str| {
        std::fs::write(folder.join("arm.map.toml"), map).expect("the map");
        let (status, _, told) = towpath(&folder, &["estimate", "arm.toml", "--quick"]);
        assert_eq!(status, Some(0), "{told}");
        told
    };
    let one = told(&(strap("meets = \"weave\"") + &hoop("") + &rim("")));
    assert!(
        one.contains("warning[meets-alone]: region `strap` says `meets = \"weave\"`, region `hoop` and 1 other, which it overlaps, do not"),
        "{one}"
    );
    assert!(one.contains("arm.map.toml:8:9"), "{one}");
    let one = told(&(strap("meets = \"butt\"") + &hoop("meets = \"weave\"")));
    assert_eq!(one.matches("meets-alone").count(), 2, "each asks for another thing: {one}");
    for word in ["weave", "butt"] {
        let meets = format!("meets = \"{word}\"");
        // what fills the rest need not say it
        let both = told(&(strap(&meets) + &hoop(&meets) + &rim("")));
        assert!(!both.contains("meets-alone"), "{both}");
    }
    let apart = told(
        &(region("a", LEFT, "hoop", "courses = 2\nmeets = \"butt\"")
            + &region("b", RIGHT, "hoop", "courses = 2")),
    );
    assert!(!apart.contains("meets-alone"), "they share no ground: {apart}");
}

#[test]
fn a_pin_that_does_not_fit_its_hole_is_told() {
    let folder = scratch("pin off hole");
    link(&folder, "");
    let told = |pin: &str| {
        let shape = format!("pins_mm = [{pin}, [65, 15, 6.4]]");
        std::fs::write(folder.join("arm.map.toml"), region("s", &shape, "strap", "courses = 2"))
            .expect("the map");
        let (status, _, told) = towpath(&folder, &["estimate", "arm.toml", "--quick"]);
        assert_eq!(status, Some(0), "{told}");
        told
    };
    for pin in ["[15, 15, 8]", "[15, 15, 3]", "[16.5, 15, 6]"] {
        let told = told(pin);
        assert!(told.contains("warning[pin-off-hole]: pin 1 of region `s`, of radius"), "{pin}: {told}");
        assert!(told.contains("as the hole is: [15.00, 15.00, 6.00]"), "{pin}: {told}");
        assert!(told.contains("arm.map.toml:3") && !told.contains("pin 2"), "{pin}: {told}");
    }
    for pin in ["[15, 15, 6]", "[15.3, 15.3, 6]", "[40, 15, 6]"] {
        assert!(!told(pin).contains("pin-off-hole"), "{pin}");
    }
}

#[test]
fn a_region_without_tow_tells_where_to_look() {
    let folder = scratch("empty regions");
    let tight = region("left pin", LEFT, "hoop", "courses = 3\nmin_bend_radius_mm = 50");
    std::fs::create_dir(folder.join("jobs")).expect("a folder");
    link(&folder.join("jobs"), &tight);
    let (_, _, told) = towpath(&folder, &["plan", "jobs/arm.toml", "--out", "out"]);
    assert!(told.contains("`towpath picture jobs/arm.toml --layer 4 --out layer.png`"), "{told}");
    let page = std::fs::read_to_string(folder.join("out/arm.report.html")).expect("a report");
    assert!(page.contains("towpath picture arm.toml --layer"), "no folder in an output");
    let job = std::fs::read_to_string(folder.join("jobs/arm.toml")).expect("the job");
    let job = job.replace("perimeters = 2", "perimeters = 30");
    std::fs::write(folder.join("jobs/arm.toml"), job).expect("the job");
    let (_, _, told) = towpath(&folder, &["plan", "jobs/arm.toml", "--out", "out"]);
    assert!(
        told.contains("perimeters leave no room: 30 of 0.5 mm take 15.00 mm from every boundary"),
        "{told}"
    );
}

#[test]
fn every_code_is_listed_with_its_first_sentence() {
    let folder = scratch("explain");
    let (status, said, told) = towpath(&folder, &["explain"]);
    assert_eq!((status, told.as_str()), (Some(0), ""));
    for code in towpath::diagnostic::codes::ALL {
        assert!(said.lines().any(|l| l == code.name), "{}", code.name);
    }
    assert!(
        said.contains("\nbead-section\n    A bead would be narrower than its layer is high.\n"),
        "{said}"
    );
    assert!(said.contains("\nstandby\n"), "checks of programs, too: {said}");
    let (_, listed, _) = towpath(&folder, &["explain", "--json"]);
    let listed: serde_json::Value = serde_json::from_str(&listed).expect("JSON");
    assert_eq!(listed[0]["code"], towpath::diagnostic::codes::ALL[0].name);
}

#[test]
fn values_that_nobody_measured_are_all_told_with_their_lines() {
    let folder = scratch("not measured");
    let (_, profile, _) = towpath(&folder, &["printer", "show", "shuttle-15"]);
    std::fs::write(folder.join("mine.toml"), &profile).expect("a profile");
    let (status, _, told) = towpath(&folder, &["printer", "check", "mine.toml"]);
    assert_eq!(status, Some(0), "{told}");
    let (first, rest) = told.split_once(" values that are to be measured").expect("the warning");
    let count = first.rsplit(' ').nth(2).expect("N of M");
    assert_eq!(rest.matches("(line ").count().to_string(), count, "{told}");
    for (n, line) in (1..).zip(profile.lines()) {
        for key in ["cutter_to_nozzle_mm", "anchor_mm"] {
            let whole = line.starts_with(&format!("{key} = "));
            assert!(!whole || told.contains(&format!("`{key}` (line {n})")), "{key}: {told}");
        }
    }
}

#[test]
fn another_printer_or_plan_is_said_first() {
    let folder = scratch("verify");
    for name in ["arm", "leg"] {
        assert_eq!(towpath(&folder, &["new", name, "--quiet"]).0, Some(0));
        let job = format!("{name}.toml");
        assert_eq!(towpath(&folder, &["plan", &job, "--out", "out", "--quiet"]).0, Some(0));
    }
    let verify = |more: &[&str]| {
        let (status, said, told) =
            towpath(&folder, &[&["verify", "out/arm.gcode", "--printer"], more].concat());
        (status, said, told)
    };
    let (status, said, _) = verify(&["shuttle-15", "--plan", "out/arm.plan.json"]);
    assert!(status == Some(0) && said.starts_with("check "), "{said}");
    let (status, said, _) = verify(&["reed-35"]);
    let first = "the program was written for the printer `shuttle-15`, not for `reed-35`: ";
    assert!(status == Some(1) && said.starts_with(first) && said.contains("\ncheck "), "{said}");
    let (status, said, _) = verify(&["shuttle-15", "--plan", "out/leg.plan.json"]);
    let first = "`out/leg.plan.json` is the plan of another program: it was made from another job";
    assert!(status == Some(1) && said.starts_with(first) && said.contains("\ncheck "), "{said}");
    // a profile of one's own, changed since
    let (_, profile, _) = towpath(&folder, &["printer", "show", "shuttle-15"]);
    std::fs::write(folder.join("mine.toml"), &profile).expect("a profile");
    let job = std::fs::read_to_string(folder.join("arm.toml")).expect("the job");
    std::fs::write(folder.join("arm.toml"), job.replace("\"shuttle-15\"", "\"mine.toml\"")).expect("the job");
    assert_eq!(towpath(&folder, &["plan", "arm.toml", "--out", "out", "--quiet"]).0, Some(0));
    let (_, said, _) = verify(&["mine.toml"]);
    assert!(said.starts_with("check "), "{said}");
    std::fs::write(folder.join("mine.toml"), profile + "# a note\n").expect("a profile");
    let (status, said, _) = verify(&["mine.toml"]);
    assert!(status == Some(0) && said.starts_with("`mine.toml` is not as it was when"), "{said}");
    for (file, is) in [
        ("arm.map.toml", "a reinforcement map"),
        ("arm.toml", "a job"),
        ("arm.svg", "XML, as a drawing is"),
        ("out/arm.gcode", "a program"),
        ("out/arm.report.html", "a web page, as a report is"),
    ] {
        let (status, _, told) = verify(&["mine.toml", "--plan", file]);
        let first = format!("error[plan-unreadable]: `{file}` is {is}; the plan of the program is expected");
        assert!(status == Some(1) && told.starts_with(&first), "{told}");
        assert!(told.contains("NAME.plan.json"), "{told}");
    }
}

#[test]
fn nothing_is_overwritten() {
    let folder = scratch("there");
    std::fs::write(folder.join("arm.map.toml"), "mine").expect("a scratch file");
    let (status, out, told) = towpath(&folder, &["new", "arm"]);
    assert_eq!((status, out.as_str()), (Some(2), ""), "{told}");
    assert!(told.contains("error[output-exists]") && told.contains("arm.map.toml"), "{told}");
    let kept = std::fs::read_to_string(folder.join("arm.map.toml")).expect("still there");
    assert_eq!(kept, "mine");
    let files = std::fs::read_dir(&folder).expect("the folder").count();
    assert_eq!(files, 1, "nothing half written stays");
    let (status, ..) = towpath(&folder, &["new", "arm", "--out", "else/where", "--quiet"]);
    assert_eq!(status, Some(0));
    assert!(folder.join("else/where/arm.toml").is_file());
    let (status, _, told) = towpath(&folder, &["new", " "]);
    assert!(status == Some(1) && told.contains("name"), "{told}");
}

#[test]
fn manual_pages() {
    let folder = scratch("manual");
    let (status, page, told) = towpath(&folder, &["manual"]);
    assert_eq!((status, told.as_str()), (Some(0), ""));
    assert!(page.contains(".TH") && page.contains("estimate") && page.contains("\\-\\-json"), "{page}");
    let (_, page, _) = towpath(&folder, &["manual", "estimate"]);
    assert!(page.contains("\\-\\-quantity") && page.contains("towpath\\-estimate"), "{page}");
    let (status, out, told) = towpath(&folder, &["manual", "estimat"]);
    assert_eq!((status, out.as_str()), (Some(1), ""));
    assert!(told.contains("did you mean `estimate`?"), "{told}");
}

/// A child that is ended with the test, whatever happens.
struct Watching(Child);

impl Drop for Watching {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// The lines of a stream as they come.
fn lines(stream: impl std::io::Read + Send + 'static) -> Receiver<String> {
    let (send, receive) = channel();
    std::thread::spawn(move || {
        for line in BufReader::new(stream).lines().map_while(Result::ok) {
            if send.send(line).is_err() {
                return;
            }
        }
    });
    receive
}

/// Waits for a line with a text; a machine under load may take its time.
fn wait_for(lines: &Receiver<String>, text: &str) -> String {
    let mut seen = String::new();
    loop {
        match lines.recv_timeout(Duration::from_secs(300)) {
            Ok(line) if line.contains(text) => return seen + &line,
            Ok(line) => seen.push_str(&(line + "\n")),
            Err(_) => panic!("`{text}` never came:\n{seen}"),
        }
    }
}

#[test]
fn watching_plans_again_and_goes_on_after_a_fault() {
    let folder = scratch("watch");
    assert_eq!(towpath(&folder, &["new", "arm"]).0, Some(0));
    let child = Command::new(env!("CARGO_BIN_EXE_towpath"))
        .args(["plan", "arm.toml", "--out", "out", "--watch"])
        .current_dir(&folder)
        .env("NO_COLOR", "1")
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the built program starts");
    let mut watching = Watching(child);
    let told = lines(watching.0.stderr.take().expect("piped"));
    let said = lines(watching.0.stdout.take().expect("piped"));
    wait_for(&told, "planned; watching 3 files");
    wait_for(&said, "written");
    let program = folder.join("out/arm.gcode");
    let first = std::fs::read(&program).expect("a program");
    let map = folder.join("arm.map.toml");
    let good = std::fs::read_to_string(&map).expect("the map");
    // a fault in between
    std::fs::write(&map, good.replace("\"hoop\"", "\"hop\"")).expect("a scratch file");
    let before = wait_for(&told, "not planned; watching");
    assert!(before.contains("did you mean `hoop`?"), "{before}");
    assert_eq!(std::fs::read(&program).expect("still there"), first, "the last good program stays");
    // a job that is no TOML names no files, but they are watched all the same
    let job = folder.join("arm.toml");
    let job_text = std::fs::read_to_string(&job).expect("the job");
    std::fs::write(&job, job_text.replace("[build]", "[build")).expect("a scratch file");
    wait_for(&told, "not planned; watching 3 files");
    std::fs::write(&job, &job_text).expect("a scratch file");
    wait_for(&told, "not planned; watching 3 files");
    std::fs::write(&map, good.replace("courses = 3", "courses = 2")).expect("a scratch file");
    wait_for(&said, "written");
    assert_ne!(std::fs::read(&program).expect("a program"), first, "the new map's program");
}

#[test]
fn tow_far_off_its_direction_is_told_and_straight_rows_can_be_had() {
    let folder = scratch("angle off");
    assert_eq!(towpath(&folder, &["new", "rail", "--quiet"]).0, Some(0));
    let svg = r#"<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="18mm" viewBox="0 0 80 18"><rect width="80" height="18"/></svg>"#;
    std::fs::write(folder.join("rail.svg"), svg).expect("a drawing");
    let map = |turns: &str| {
        let text = format!(
            "[[region]]\nname = \"across\"\nshape = {{ outline = true }}\nlayers = \"all\"\nrule = \"unidirectional\"\nangle_deg = 90\n{turns}"
        );
        std::fs::write(folder.join("rail.map.toml"), text).expect("a map");
        let (status, out, told) = towpath(&folder, &["plan", "rail.toml", "--out", "out"]);
        assert_eq!(status, Some(0), "{told}");
        (out, told)
    };
    let (out, told) = map("");
    assert!(told.contains("warning[angle-off]") && told.contains("`turns = false`"), "{out}{told}");
    // rows of 15 mm are shorter than a piece
    let (out, told) = map("turns = false\n");
    assert!(!told.contains("angle-off") && told.contains("region-empty"), "{out}{told}");
    let text = "[[region]]\nname = \"rim\"\nshape = { outline = true }\nlayers = \"all\"\nrule = \"contour\"\nturns = false\n";
    std::fs::write(folder.join("rail.map.toml"), text).expect("a map");
    let (_, _, told) = towpath(&folder, &["plan", "rail.toml", "--out", "out"]);
    assert!(told.contains("key-unused"), "{told}");
}

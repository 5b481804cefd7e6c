//! What a plan tells of a part that prints badly, and what messages give as the next step.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;

struct Ran {
    status: Option<i32>,
    out: String,
    told: String,
    folder: PathBuf,
}

impl Ran {
    fn of(folder: &Path, arguments: &[&str]) -> Self {
        let output = Command::new(env!("CARGO_BIN_EXE_towpath"))
            .args(arguments)
            .current_dir(folder)
            .env("NO_COLOR", "1")
            .output()
            .expect("the built program starts");
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
        Self {
            status: output.status.code(),
            out: text(output.stdout),
            told: text(output.stderr),
            folder: folder.to_owned(),
        }
    }

    /// A warning with its place and help; empty where it is not told.
    fn warning(&self, code: &str) -> String {
        let begins = |l: &&str| l.starts_with("warning[") || l.starts_with("error[");
        let mut lines = self.told.lines().skip_while(|l| !l.contains(&format!("[{code}]")));
        let first = lines.next().unwrap_or_default();
        let rest = lines.take_while(|l| !begins(l)).map(|l| format!("\n{l}"));
        std::iter::once(first.to_owned()).chain(rest).collect()
    }

    fn plan(&self) -> Value {
        let text = std::fs::read_to_string(self.folder.join("out/plate.plan.json")).expect("a plan");
        serde_json::from_str(&text).expect("JSON")
    }
}

fn scratch(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("told").join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a scratch folder");
    folder
}

/// Files of a job: the drawing's content on a page of 80 x 60 mm, keys behind `[build]`, the map.
fn write(folder: &Path, drawn: &str, keys: &str, map: &str) {
    let svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"80mm\" height=\"60mm\" viewBox=\"0 0 80 60\">{drawn}</svg>"
    );
    std::fs::write(folder.join("plate.svg"), svg).expect("the drawing");
    let thickness = if drawn.contains("data-z-mm") { "" } else { "thickness_mm = 0.6\n" };
    let job = format!(
        "[part]\nname = \"plate\"\noutline = \"plate.svg\"\n{thickness}[build]\nprinter = \"shuttle-15\"\nmatrix = \"pa12\"\ntow = \"carbon-1k-pa12\"\n{keys}\n[reinforcement]\nmap = \"plate.map.toml\"\n"
    );
    std::fs::write(folder.join("job.toml"), job).expect("the job");
    std::fs::write(folder.join("plate.map.toml"), map).expect("the map");
}

const RINGS: &str =
    "[[region]]\nname = \"rings\"\nshape = { outline = true }\nlayers = \"all\"\nrule = \"contour\"\n";

fn planned(folder: &Path, drawn: &str, keys: &str, map: &str) -> Ran {
    write(folder, drawn, keys, map);
    Ran::of(folder, &["plan", "job.toml", "--out", "out"])
}

/// A plate between two heights, so far from the page's edges.
fn plate(from: f64, to: f64, inset: f64) -> String {
    let [w, h] = [80.0 - 2.0 * inset, 60.0 - 2.0 * inset];
    format!(
        "<g data-z-mm=\"{from}-{to}\"><rect x=\"{inset}\" y=\"{inset}\" width=\"{w}\" height=\"{h}\" rx=\"6\"/></g>"
    )
}

#[test]
fn layers_laid_over_nothing_are_told_once_the_worst_first() {
    let folder = scratch("over nothing");
    // 40 x 20 mm, then 60 x 40 mm, then 80 x 60 mm: in layers 3 and 5 a rim of 10 mm hangs
    let drawn = plate(0.0, 0.4, 20.0) + &plate(0.4, 0.8, 10.0) + &plate(0.8, 1.2, 0.0);
    let ran = planned(&folder, &drawn, "", RINGS);
    assert_eq!(ran.status, Some(0), "{}", ran.told);
    let warning = ran.warning("unsupported");
    assert_eq!(ran.told.matches("[unsupported]").count(), 1, "{}", ran.told);
    // the corners of both plates are rounded alike
    assert!(warning.contains("2400.0 mm2 of layer 5 and "), "{warning}");
    assert!(warning.contains("so do parts of layer 3, in all 4000.0 mm2 and "), "{warning}");
    assert!(warning.contains("in the part: layer 5 (z 1.00 mm)"), "{warning}");
    assert!(warning.contains("help: ") && warning.contains("turn the part over"), "{warning}");
    // all tow of layer 5 but what lies within half its width of the middle plate
    let tow: f64 = warning
        .split("layer 5 and ")
        .nth(1)
        .and_then(|rest| rest.split(" m of tow").next())
        .and_then(|m| m.parse().ok())
        .expect("a length in m");
    let rim = 2400.0 - 2.0 * (80.0 + 60.0);
    assert!((tow * 1000.0 * 0.6 / rim - 1.0).abs() < 0.06, "{tow} m in a rim of {rim} mm2: {warning}");
    let place = warning.split("about x ").nth(1).expect("a place");
    let place: Vec<f64> = place.split([' ', '\n']).filter_map(|w| w.parse().ok()).take(2).collect();
    let outside = |v: f64, lo: f64, hi: f64| v < lo || v > hi;
    assert!(outside(place[0], 10.0, 70.0) || outside(place[1], 10.0, 50.0), "{place:?} hangs: {warning}");
}

#[test]
fn slopes_and_parts_that_grow_narrower_are_not_told_to_hang() {
    let folder = scratch("slopes");
    let slope = |step: f64| -> String {
        (0..4).map(f64::from).map(|k| plate(0.2 * k, 0.2 * k + 0.2, 4.0 - step * k)).collect()
    };
    for (step, hangs) in [(0.5, false), (-4.0, false), (1.2, true)] {
        let ran = planned(&folder, &slope(step), "", RINGS);
        assert_eq!(ran.status, Some(0), "{}", ran.told);
        assert_eq!(ran.told.contains("[unsupported]"), hangs, "{step} mm a layer: {}", ran.told);
    }
}

#[test]
fn tow_over_ground_left_open_is_told() {
    let folder = scratch("open ground");
    let drawn = "<rect x=\"0\" y=\"0\" width=\"80\" height=\"60\" rx=\"6\"/>";
    let map = |layers: &str| RINGS.replace("\"all\"", layers);
    for (fill, layers, hangs) in
        [("none", "\"3\"", true), ("parallel", "\"3\"", false), ("none", "\"all\"", false)]
    {
        let keys = format!("[matrix]\nfill = \"{fill}\"\nperimeters = 1\n");
        let ran = planned(&folder, drawn, &keys, &map(layers));
        assert_eq!(ran.status, Some(0), "{}", ran.told);
        let warning = ran.warning("unsupported");
        assert_eq!(!warning.is_empty(), hangs, "fill {fill}, tow in {layers}: {}", ran.told);
        assert!(
            !hangs || warning.contains("of layer 3 and ") && warning.contains("fill = \"none\""),
            "{warning}"
        );
    }
    // rows carry those across them, over gaps that they span
    let rows = "[[region]]\nname = \"rows\"\nshape = { outline = true }\nlayers = \"all\"\nrule = \"unidirectional\"\nangle_deg = [0, 90]\nspacing_mm = 4.0\nturns = false\n";
    let ran = planned(&folder, drawn, "[matrix]\nfill = \"none\"\n", rows);
    assert!(ran.status == Some(0) && !ran.told.contains("[unsupported]"), "{}", ran.told);
}

#[test]
fn what_pressing_leaves_of_the_height_is_told() {
    let folder = scratch("pressed");
    let drawn = "<rect x=\"0\" y=\"0\" width=\"80\" height=\"60\" rx=\"6\"/>";
    let ran = planned(&folder, drawn, "", RINGS);
    assert_eq!(ran.status, Some(0), "{}", ran.told);
    let estimate = &ran.plan()["estimate"];
    let figure = |key: &str| estimate[key].as_f64().expect("a number");
    let pressed = figure("pressed_thickness_mm");
    assert!((pressed - 0.6 * (1.0 - figure("printed_porosity"))).abs() < 1e-5, "{estimate}");
    // tow and matrix over the ground that they are pressed on
    let areas: f64 = ran.plan()["layers"]
        .as_array()
        .expect("layers")
        .iter()
        .map(|l| l["areas_mm2"]["outline"].as_f64().expect("an area"))
        .sum::<f64>()
        / 3.0;
    let solid = figure("fibre_length_mm") * 0.077 + figure("matrix_volume_mm3");
    assert!((pressed - solid / areas).abs() < 2e-3, "{pressed} mm, {} mm by volume", solid / areas);
    assert!(ran.out.contains(&format!("{pressed:.2} mm of height are left")), "{}", ran.out);
    assert!(ran.out.contains("% of the part, pores left out; where tow lies"), "{}", ran.out);
    let report = std::fs::read_to_string(folder.join("out/plate.report.html")).expect("the report");
    assert!(report.contains("height left where pressing closes it all"), "the report tells it, too");
    let schema = Ran::of(&folder, &["schema", "plan"]).out;
    assert!(
        schema.contains("pressed_thickness_mm") && schema.contains("assumes that every pore"),
        "{schema}"
    );
}

#[test]
fn strips_that_are_more_pore_than_tow_are_told() {
    let folder = scratch("pores");
    let drawn = "<rect x=\"0\" y=\"0\" width=\"80\" height=\"60\" rx=\"6\"/>";
    for (height, told) in [(0.2, false), (0.25, false), (0.3, true)] {
        let ran = planned(&folder, drawn, &format!("layer_height_mm = {height}\n"), RINGS);
        assert_eq!(ran.status, Some(0), "{}", ran.told);
        let warning = ran.warning("strips-porous");
        assert_eq!(!warning.is_empty(), told, "{height} mm: {}", ran.told);
        if told {
            // 0.077 mm2 of 0.6 x 0.3 mm
            assert!(warning.contains("57 % pore as printed, more than 50 %"), "{warning}");
            assert!(warning.contains("`[build] layer_height_mm` of 0.14 to 0.256 mm"), "{warning}");
        }
    }
}

#[test]
fn an_outline_without_an_ending_is_not_the_job() {
    let folder = scratch("no ending");
    write(&folder, "<rect x=\"0\" y=\"0\" width=\"80\" height=\"60\"/>", "", RINGS);
    let job = std::fs::read_to_string(folder.join("job.toml")).expect("the job");
    std::fs::write(folder.join("plate.toml"), job.replace("\"plate.svg\"", "\"plate\"")).expect("the job");
    let ran = Ran::of(&folder, &["plan", "plate.toml", "--out", "out"]);
    assert_eq!(ran.status, Some(1), "{}", ran.told);
    assert!(ran.told.contains("did you mean `plate.svg`?"), "{}", ran.told);
    assert!(!ran.told.contains("did you mean `plate.toml`?"), "{}", ran.told);
    std::fs::write(folder.join("plate.toml"), job.replace("\"plate.svg\"", "\"plat\"")).expect("the job");
    let ran = Ran::of(&folder, &["plan", "plate.toml", "--out", "out"]);
    assert!(ran.told.contains("an outline's name ends in .svg, .dxf, .3mf, .stl, .cli"), "{}", ran.told);
}

#[test]
fn another_file_in_the_place_of_a_profile_is_told_where_the_job_names_it() {
    let folder = scratch("another file");
    write(&folder, "<rect x=\"0\" y=\"0\" width=\"80\" height=\"60\"/>", "", RINGS);
    let job = std::fs::read_to_string(folder.join("job.toml")).expect("the job");
    for (from, to, place, help) in [
        ("\"shuttle-15\"", "\"plate.map.toml\"", "job.toml:6:11", "built in: "),
        ("map = \"plate.map.toml\"", "map = \"job.toml\"", "job.toml:11:7", "`[[region]]`"),
    ] {
        std::fs::write(folder.join("job.toml"), job.replace(from, to)).expect("the job");
        let ran = Ran::of(&folder, &["plan", "job.toml", "--out", "out"]);
        assert_eq!(ran.status, Some(1), "{}", ran.told);
        let error = ran.warning("file-of-another-kind");
        assert!(
            error.contains(place) && error.contains("named here") && error.contains(help),
            "{}",
            ran.told
        );
    }
}

#[test]
fn a_job_given_to_be_verified_is_sent_to_be_planned() {
    let folder = scratch("verify a job");
    write(&folder, "<rect x=\"0\" y=\"0\" width=\"80\" height=\"60\"/>", "", RINGS);
    let ran = Ran::of(&folder, &["verify", "job.toml", "--printer", "shuttle-15"]);
    assert_eq!((ran.status, ran.out.as_str()), (Some(1), ""), "{}", ran.told);
    assert!(ran.told.contains("`job.toml` is a job; a program is expected"), "{}", ran.told);
    assert!(ran.told.contains("towpath plan job.toml --out out"), "{}", ran.told);
    for (file, kind) in [("plate.map.toml", "a reinforcement map"), ("plate.svg", "XML, as a drawing is")] {
        let ran = Ran::of(&folder, &["verify", file, "--printer", "shuttle-15"]);
        assert!(ran.status == Some(1) && ran.told.contains(kind), "{file}: {}{}", ran.out, ran.told);
    }
}

#[test]
fn a_drawing_in_inches_by_mistake_is_told_its_unit() {
    let folder = scratch("inches");
    write(&folder, "", "", RINGS);
    let lines = [(0, 0, 184, 0), (184, 0, 184, 52), (184, 52, 0, 52), (0, 52, 0, 0)];
    let entities: String = lines
        .iter()
        .map(|(a, b, c, d)| format!("0\nLINE\n8\n0\n10\n{a}.0\n20\n{b}.0\n11\n{c}.0\n21\n{d}.0\n"))
        .collect();
    let dxf = format!(
        "0\nSECTION\n2\nHEADER\n9\n$INSUNITS\n70\n1\n0\nENDSEC\n0\nSECTION\n2\nENTITIES\n{entities}0\nENDSEC\n0\nEOF\n"
    );
    std::fs::write(folder.join("plate.dxf"), dxf).expect("the drawing");
    let job = std::fs::read_to_string(folder.join("job.toml")).expect("the job");
    std::fs::write(folder.join("job.toml"), job.replace("plate.svg", "plate.dxf")).expect("the job");
    let ran = Ran::of(&folder, &["plan", "job.toml", "--out", "out"]);
    let error = ran.warning("bed-full");
    assert!(error.contains("4673.6 x 1320.8 mm"), "{}", ran.told);
    assert!(error.contains("unit is inch, of 25.4 mm ($INSUNITS)"), "{error}");
    assert!(error.contains("drawn in mm it would be 184.0 x 52.0 mm"), "{error}");
}

#[test]
fn a_hole_of_a_drawing_is_found_from_its_lower_edge() {
    let folder = scratch("lower edge");
    let drawn =
        "<path fill-rule=\"evenodd\" d=\"M0 0 H80 V60 H0 Z M16 20 a4 4 0 1 1 8 0 a4 4 0 1 1 -8 0 Z\"/>";
    let hoop =
        "[[region]]\nname = \"pin\"\nshape = { hole_at_mm = [20, 20] }\nlayers = \"all\"\nrule = \"hoop\"\n";
    let ran = planned(&folder, drawn, "", hoop);
    let error = ran.warning("hole-missing");
    assert!(error.contains("holes stand at (20.0, 40.0)"), "{}", ran.told);
    assert!(
        error.contains("y = 60 - y of the drawing, so that y 20 of the drawing is 40 here"),
        "{}",
        ran.told
    );
    let ran = planned(&folder, drawn, "", &hoop.replace("[20, 20]", "[20, 40]"));
    assert_eq!(ran.status, Some(0), "{}", ran.told);
}

#[test]
fn a_file_in_the_place_of_the_folder_is_no_full_disk() {
    let folder = scratch("a file for a folder");
    write(&folder, "<rect x=\"0\" y=\"0\" width=\"80\" height=\"60\"/>", "", RINGS);
    let ran = Ran::of(&folder, &["plan", "job.toml", "--out", "plate.svg"]);
    assert_eq!(ran.status, Some(2), "{}", ran.told);
    let error = ran.warning("output-unwritable");
    assert!(error.contains("choose another folder with --out") && !error.contains("free space"), "{error}");
}

#[test]
fn explanations_in_short_repeat_nothing() {
    let folder = scratch("explain");
    let all = Ran::of(&folder, &["explain"]).out;
    assert!(all.matches("what it has just written").count() == 1 && all.contains("standby"), "{all}");
}

/// What is left open on purpose stands beside the pores, which it is none of.
#[test]
fn what_is_left_open_is_told_and_is_no_porosity() {
    let folder = scratch("left open");
    let drawn = "<rect x=\"0\" y=\"0\" width=\"80\" height=\"60\"/>";
    for (keys, least, most) in
        [("fill_fraction = 0.25", 0.5, 0.75), ("fill = \"none\"", 0.8, 0.97), ("", 0.0, 0.0)]
    {
        write(&folder, drawn, &format!("[matrix]\n{keys}\n"), RINGS);
        let job = std::fs::read_to_string(folder.join("job.toml")).expect("the job");
        let bare = job.split("[reinforcement]").next().expect("the job without its map");
        std::fs::write(folder.join("job.toml"), bare).expect("the job");
        let ran = Ran::of(&folder, &["plan", "job.toml", "--out", "out"]);
        assert_eq!(ran.status, Some(0), "{}", ran.told);
        let estimate = &ran.plan()["estimate"];
        let open = estimate["open_fraction"].as_f64().expect("a share");
        assert!((least..=most).contains(&open), "{keys}: {estimate}");
        let pores = estimate["printed_porosity"].as_f64().expect("a share");
        assert!(pores.to_bits() == 0 || pores.abs() > 1e-9, "{keys}: {estimate}");
        let told = ran.out.lines().find(|l| l.starts_with("left open on purpose"));
        let wanted = format!("{:.1} % of the part", 100.0 * open);
        assert_eq!(told.is_some_and(|l| l.ends_with(&wanted)), most > 0.0, "{}", ran.out);
        let quick = Ran::of(&folder, &["estimate", "job.toml", "--quick", "--json"]).out;
        let quick: Value = serde_json::from_str(&quick).expect("JSON");
        let rough = quick["estimate"]["open_fraction"].as_f64().expect("a share");
        assert!((rough - open).abs() < 0.03, "{keys}: {rough} for {open}");
    }
}

#[test]
fn one_layer_is_no_range_and_no_heater_heats_to_nothing() {
    let folder = scratch("words");
    let drawn = plate(0.0, 0.6, 2.0) + "<g data-z-mm=\"0-0.2\"><circle cx=\"0.8\" cy=\"30\" r=\"0.7\"/></g>";
    let ran = planned(&folder, &drawn, "", RINGS);
    let warning = ran.warning("outline-apart");
    assert!(warning.contains(" mm2 in layer 1, lies about"), "{}", ran.told);
    let job = std::fs::read_to_string(folder.join("job.toml")).expect("the job");
    std::fs::write(folder.join("job.toml"), job.replace("shuttle-15", "heddle-25")).expect("the job");
    let warning = Ran::of(&folder, &["plan", "job.toml", "--out", "out"]).warning("temperature-limit");
    assert!(warning.contains("`heddle-25` has no heated chamber: the part may warp"), "{warning}");
}

//! The quick estimate against whole plans: the examples, variants of them that differ
//! in machine, material, rules and fill, and the parts on which the laying rules are
//! measured, each on two machines. Each figure stays within what the quick estimate
//! says of itself, which is 10 % or less; courses and cuts are only of the same order,
//! and it says so.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]
#![allow(clippy::print_stdout, reason = "the table is what the set is for")]

mod support;

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use towpath::diagnostic::Notes;
use towpath::{estimate, plan};

fn scratch(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("quick").join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a scratch folder");
    folder
}

/// An example, with some of its job's and its map's text replaced.
fn example(of: &str, name: &str, changes: &[(&str, &str, &str)]) -> PathBuf {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(of);
    let folder = scratch(name);
    for entry in std::fs::read_dir(&from).expect("the example's folder") {
        let file = entry.expect("an entry").path();
        let target = folder.join(file.file_name().expect("a file"));
        std::fs::copy(&file, target).expect("a copy");
    }
    for (file, old, new) in changes {
        let path = folder.join(file);
        let text = std::fs::read_to_string(&path).expect("a text");
        assert!(text.contains(old), "{name}: `{old}` is not in {file}");
        std::fs::write(&path, text.replace(old, new)).expect("a scratch file");
    }
    folder.join("job.toml")
}

/// A job of its own: a drawing in mm and a map, 0.8 mm thick; the field of steered
/// regions runs along both arms of a bracket.
fn own(name: &str, size: [u32; 2], drawn: &str, map: &str) -> PathBuf {
    let folder = scratch(name);
    let [w, h] = size;
    let head = format!("width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {w} {h}\"");
    let svg = format!("<svg xmlns=\"http://www.w3.org/2000/svg\" {head}>{drawn}</svg>\n");
    let mut field = String::from("x_mm,y_mm,angle_deg\n");
    for k in 0..17 {
        let _ = write!(field, "{0},12.5,0\n12.5,{0},90\n", 5 * k);
    }
    let job = format!(
        "[part]\nname = \"{name}\"\noutline = \"part.svg\"\nthickness_mm = 0.8\n\n[build]\nprinter = \"shuttle-15\"\nmatrix = \"pa12\"\ntow = \"carbon-1k-pa12\"\n\n[reinforcement]\nmap = \"map.toml\"\n"
    );
    let files = [("part.svg", svg.as_str()), ("field.csv", &field), ("map.toml", map), ("job.toml", &job)];
    for (file, text) in files {
        std::fs::write(folder.join(file), text).expect("a scratch file");
    }
    folder.join("job.toml")
}

/// An L of 80 mm with a belt round three pins in every second layer, a field between.
const ARMS: &str = "<path d=\"M0 80 H80 V55 H31 A6 6 0 0 1 25 49 V0 H0 Z\"/><circle cx=\"12.5\" cy=\"67.5\" r=\"4\"/><circle cx=\"67\" cy=\"67.5\" r=\"4\"/><circle cx=\"12.5\" cy=\"13\" r=\"4\"/>";
const BELT_AND_FIELD: &str = r#"[[region]]
name = "belt"
shape = { pins_mm = [[12.5, 12.5, 5], [67, 12.5, 5], [12.5, 67, 5]] }
layers = "1-3/2"
rule = "strap"
courses = 5
priority = 2

[[region]]
name = "flow"
shape = { outline = true }
layers = "2-4/2"
rule = "steered"
field = "field.csv"
"#;

/// A bell crank: belts from its bearing along both arms, turn and turn about, and a rim.
const CRANK: &str = "<path d=\"M15 115 L110 112 A12 12 0 0 0 110 88 L43 86 A14 14 0 0 1 29 72 L27 15 A12 12 0 0 0 3 15 L0 100 A15 15 0 0 0 15 115 Z\"/><circle cx=\"15\" cy=\"100\" r=\"7\"/><circle cx=\"110\" cy=\"100\" r=\"5\"/><circle cx=\"15\" cy=\"15\" r=\"5\"/>";
const BELTS_AND_RIM: &str = r#"[[region]]
name = "long arm"
shape = { pins_mm = [[15, 15, 7], [110, 15, 5]] }
layers = "2-14"
rule = "strap"
courses = 4
priority = 3
meets = "weave"

[[region]]
name = "short arm"
shape = { pins_mm = [[15, 15, 7], [15, 100, 5]] }
layers = "2-14"
rule = "strap"
courses = 4
priority = 2
meets = "weave"

[[region]]
name = "rim"
shape = { outline = true }
layers = "2-14"
rule = "contour"
courses = 2
priority = 1
"#;

/// The bell crank, 3 mm thick and of coarse tow.
fn crank(name: &str, map: &str) -> PathBuf {
    let job = own(name, [125, 115], CRANK, map);
    let mut text = std::fs::read_to_string(&job).expect("the job");
    for (old, new) in [
        ("0.8", "3.0"),
        ("shuttle-15", "weir-20"),
        ("\"pa12\"", "\"pekk\""),
        ("carbon-1k-pa12", "carbon-3k-pekk"),
    ] {
        text = text.replace(old, new);
    }
    std::fs::write(&job, text).expect("a scratch file");
    job
}

/// A plate with two holes far apart.
const PLATE: &str = "<rect width=\"160\" height=\"120\" rx=\"6\"/><circle cx=\"30\" cy=\"30\" r=\"6\"/><circle cx=\"130\" cy=\"90\" r=\"10\"/>";
const RINGS: &str = "[[region]]\nname = \"all\"\nshape = { outline = true }\nrule = \"contour\"\n";

fn bench() -> Vec<(String, PathBuf)> {
    let mut all: Vec<(String, PathBuf)> = variants().into_iter().map(|(n, p)| (n.to_owned(), p)).collect();
    all.push(("arms, belt and field".to_owned(), own("arms", [80, 80], ARMS, BELT_AND_FIELD)));
    all.push(("bell crank, woven belts".to_owned(), crank("woven", BELTS_AND_RIM)));
    let belts = BELTS_AND_RIM.split("[[region]]\nname = \"rim\"").next().unwrap_or_default();
    let crossed = belts.replace("meets = \"weave\"\n", "").replace("courses = 4", "courses = 6");
    all.push(("bell crank, belts that cross".to_owned(), crank("crossed", &crossed)));
    all.push(("plate with two holes, rings".to_owned(), own("plate", [160, 120], PLATE, RINGS)));
    for part in support::bench_parts::parts() {
        for printer in ["shuttle-15", "reed-35"] {
            let name = format!("{}, {printer}", part.name);
            let folder = scratch(&name.replace([' ', ','], "-"));
            all.push((name, part.write(&folder, printer, false).expect("the part can be written")));
        }
    }
    all
}

fn variants() -> Vec<(&'static str, PathBuf)> {
    let whole_outline = "shape = { id = \"flanges\" }";
    vec![
        ("link", example("link", "link", &[])),
        ("bracket", example("bracket", "bracket", &[])),
        ("guide", example("guide", "guide", &[])),
        ("rocker", example("rocker", "rocker", &[])),
        ("link, matrix alone", example("link", "bare", &[("job.toml", "map = \"map.toml\"", "")])),
        (
            "link, three copies",
            example("link", "copies", &[("job.toml", "[matrix]", "copies = 3\n\n[matrix]")]),
        ),
        (
            "link, sparse",
            example(
                "link",
                "sparse",
                &[("job.toml", "fill = \"parallel\"", "fill = \"parallel\"\nfill_fraction = 0.5")],
            ),
        ),
        (
            "link, fill along the boundary",
            example("link", "contour", &[("job.toml", "\"parallel\"", "\"contour\"")]),
        ),
        (
            "link, other machine and polymer",
            example(
                "link",
                "reed",
                &[
                    ("job.toml", "shuttle-15", "reed-35"),
                    ("job.toml", "\"pa12\"", "\"peek\""),
                    ("job.toml", "carbon-1k-pa12", "carbon-1k5-peek"),
                ],
            ),
        ),
        (
            "link, rows all over",
            example(
                "link",
                "rows",
                &[
                    ("map.toml", whole_outline, "shape = { outline = true }"),
                    ("map.toml", "angle_deg = 0", "angle_deg = [0, 45, -45]"),
                ],
            ),
        ),
        (
            "bracket, one perimeter",
            example("bracket", "rim", &[("job.toml", "perimeters = 2", "perimeters = 1")]),
        ),
        (
            "bracket, half the rings",
            example("bracket", "rings", &[("map.toml", "courses = 6", "courses = 3")]),
        ),
        ("guide, wide beads", example("guide", "wide", &[("job.toml", "= 0.5", "= 0.8")])),
    ]
}

#[test]
fn the_quick_estimate_stays_within_what_it_says() {
    let mut table = format!(
        "{:<34}{:>12}{:>8}{:>12}{:>8}{:>10}{:>8}\n",
        "job", "fibre mm", "quick", "mass g", "quick", "time s", "quick"
    );
    let mut wrong = 0;
    let (mut fewest, mut most) = (f64::INFINITY, 0.0_f64);
    let (mut jobs, mut close) = (0_usize, 0_usize);
    for (name, job) in bench() {
        let mut notes = Notes::default();
        let begin = std::time::Instant::now();
        let (resolved, outline, tasks) =
            plan::placed_within(&mut notes, &job, estimate::ROUGH_MM).expect("a job that plans");
        let quick = estimate::quick(&resolved, &outline, &tasks);
        let ms = begin.elapsed().as_secs_f64() * 1e3;
        let whole = plan::plan(&mut notes, &job).expect("a job that plans").estimate;
        let error = |quick: f64, whole: f64| if whole > 0.0 { quick / whole - 1.0 } else { quick };
        let errors = [
            error(quick.fibre_length_mm, whole.fibre_length_mm),
            error(quick.part_mass_g, whole.part_mass_g),
            error(quick.time_s.total, whole.time_s.total),
        ];
        let _ = writeln!(
            table,
            "{name:<34}{:>12.0}{:>+7.1}%{:>12.2}{:>+7.1}%{:>10.0}{:>+7.1}%  {ms:.1} ms n {}/{} {}",
            whole.fibre_length_mm,
            errors[0] * 100.0,
            whole.part_mass_g,
            errors[1] * 100.0,
            whole.time_s.total,
            errors[2] * 100.0,
            quick.courses,
            whole.courses,
            split(&quick.time_s, &whole.time_s),
        );
        if whole.courses > 0 {
            let times = f64_of(whole.courses) / f64_of(quick.courses);
            fewest = fewest.min(times);
            most = most.max(times);
        } else {
            wrong += quick.courses;
        }
        let within = [estimate::WITHIN.fibre_length, estimate::WITHIN.mass, estimate::WITHIN.time];
        jobs += 1;
        close += usize::from(errors.iter().all(|e| e.abs() <= 0.1));
        wrong += errors.iter().zip(within).filter(|(e, w)| e.is_nan() || e.abs() > *w).count();
    }
    println!(
        "{table}within 10 % in all three: {close} of {jobs}; {fewest:.2} to {most:.2} times the courses"
    );
    // what is said is what was found, rounded outwards: neither too little nor far too much
    let (low, high) = (estimate::WITHIN.courses_least_times, estimate::WITHIN.courses_most_times);
    assert!(low <= fewest && fewest < 1.2 * low, "plans have {fewest:.3} times the courses\n{table}");
    assert!(most <= high && high < 1.2 * most, "plans have {most:.3} times the courses\n{table}");
    let told = format!("bench set of {jobs} jobs");
    assert!(include_str!("../README.md").contains(&told), "README says on how many: {jobs}");
    assert_eq!(wrong, 0, "{wrong} figures are further off than the quick estimate says\n{table}");
    assert!(close == jobs, "{close} of {jobs} jobs lie within 10 %\n{table}");
}

#[allow(clippy::cast_precision_loss, reason = "numbers of courses")]
fn f64_of(n: usize) -> f64 {
    n as f64
}

/// Where the time goes, quick over whole, s.
fn split(quick: &estimate::TimeSplit, whole: &estimate::TimeSplit) -> String {
    format!(
        "fibre {:.0}/{:.0} matrix {:.0}/{:.0} travel {:.0}/{:.0} heads {:.0}/{:.0} heat {:.0}/{:.0} other {:.0}/{:.0}",
        quick.fibre,
        whole.fibre,
        quick.matrix,
        whole.matrix,
        quick.travel,
        whole.travel,
        quick.head_change,
        whole.head_change,
        quick.heating,
        whole.heating,
        quick.other,
        whole.other
    )
}

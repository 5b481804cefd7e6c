//! The ends of every range can be planned with: what the tables of keys allow by itself never
//! ends in a program that does not pass its own check.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::atomic::{AtomicUsize, Ordering};
use towpath::job::schema;

/// Hoops, rings and joined rows, in two layers: what chords, beads, cuts and trails bear on.
const SVG: &str = r#"<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="30mm" viewBox="0 0 80 30">
<path d="M 15 0 H 65 A 15 15 0 0 1 65 30 H 15 A 15 15 0 0 1 15 0 Z"/>
<circle cx="15" cy="15" r="6"/><circle cx="65" cy="15" r="6"/></svg>"#;

const MAP: &str = r#"[[region]]
name = "pin"
shape = { hole_at_mm = [15.0, 15.0] }
rule = "hoop"
courses = 3
priority = 2
[[region]]
name = "rim"
shape = { outline = true }
rule = "contour"
courses = 2
priority = 1
[[region]]
name = "rows"
shape = { polygon_mm = [[30, 4], [55, 4], [55, 26], [30, 26]] }
rule = "unidirectional"
angle_deg = [0, 45]
"#;

const JOB: &str = r#"[part]
name = "link"
outline = "link.svg"
thickness_mm = 0.4
[build]
printer = "printer.toml"
matrix = "matrix.toml"
tow = "tow.toml"
[matrix]
perimeters = 1
[reinforcement]
map = "link.map.toml"
"#;

/// The files of a job, each with its name.
const FILES: [&str; 4] = ["printer", "matrix", "tow", "job"];

/// Keys that by themselves ask for nothing that a printer or the part could not have: at both
/// ends there has to be a program.
const PLANNED: [&str; 9] = [
    "printer.controller.chord_mm",
    "printer.controller.block_time_s",
    "printer.clearance.travel_lift_mm",
    "printer.times.head_change_s",
    "printer.heads.matrix.standby_drop_k",
    "printer.heads.fibre.standby_drop_k",
    "tow.trail_mm",
    "job.build.course_deviation_mm",
    "job.matrix.bead_width_mm",
];

/// Likewise, at the low end: a cutter may be too far away for the part, and for the bed.
const PLANNED_LOW: [&str; 1] = ["printer.cutter_to_nozzle_mm"];

/// A number at an end of its range.
struct End {
    /// Place in [`FILES`].
    file: usize,
    path: Vec<String>,
    value: f64,
    low: bool,
    whole: bool,
}

impl End {
    fn key(&self) -> String {
        format!("{}.{}", FILES[self.file], self.path.join("."))
    }
}

/// A low end that is not in a range itself is approached so near, as a share of the high end or
/// of one.
const NEAR: f64 = 1e-3;

fn ends(file: usize, schema: &Value, path: &[String], out: &mut Vec<End>) {
    for (key, property) in schema["properties"].as_object().into_iter().flatten() {
        let path = [path, std::slice::from_ref(key)].concat();
        let whole = property["type"] == "integer";
        if !whole && property["type"] != "number" {
            ends(file, property, &path, out);
            continue;
        }
        let high = property["maximum"].as_f64();
        let above =
            property["exclusiveMinimum"].as_f64().map(|low| low + NEAR * high.unwrap_or(1.0).min(1.0));
        let low = property["minimum"].as_f64().or(above);
        for (value, low) in [(low, true), (high, false)] {
            let path = path.clone();
            out.extend(value.map(|value| End { file, path, value, low, whole }));
        }
    }
}

fn files() -> [toml::Table; 4] {
    let profiles = Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles");
    let read = |name: &str| std::fs::read_to_string(profiles.join(name)).expect("a built-in file");
    // arcs become chords, which is harder
    let printer = read("printers/shuttle-15.toml").replace("arcs = true", "arcs = false");
    let texts = [printer, read("matrices/pa12.toml"), read("tows/carbon-1k-pa12.toml"), JOB.to_owned()];
    texts.map(|text| toml::from_str(&text).expect("TOML"))
}

/// Writes the job with one number set.
fn write(folder: &Path, end: &End) {
    let mut files = files();
    let (key, tables) = end.path.split_last().expect("a path");
    let mut table = &mut files[end.file];
    for name in tables {
        let inner = table.entry(name.clone()).or_insert_with(|| toml::Value::Table(toml::Table::new()));
        table = inner.as_table_mut().expect("a table");
    }
    #[expect(clippy::cast_possible_truncation, reason = "a whole number of a schema")]
    let value =
        if end.whole { toml::Value::Integer(end.value as i64) } else { toml::Value::Float(end.value) };
    table.insert(key.clone(), value);
    // the narrowest bead is no wider than a layer that takes no tow
    if key == "bead_width_mm" && end.value < 0.2 {
        files[3].remove("reinforcement");
        let build = files[3]["build"].as_table_mut().expect("a table");
        build.insert("layer_height_mm".to_owned(), toml::Value::Float(end.value));
    }
    let _ = std::fs::remove_dir_all(folder);
    std::fs::create_dir_all(folder).expect("a scratch folder");
    for (name, file) in FILES.iter().zip(&files) {
        let text = toml::to_string(file).expect("a table");
        std::fs::write(folder.join(format!("{name}.toml")), text).expect("a scratch file");
    }
    std::fs::write(folder.join("link.svg"), SVG).expect("a scratch file");
    std::fs::write(folder.join("link.map.toml"), MAP).expect("a scratch file");
}

/// What is wrong with planning at an end.
fn fault(folder: &Path, end: &End) -> Option<String> {
    write(folder, end);
    let output = Command::new(env!("CARGO_BIN_EXE_towpath"))
        .args(["--quiet", "plan", "job.toml", "--out", "out", "-j", "1"])
        .current_dir(folder)
        .output()
        .expect("the built program starts");
    let told = String::from_utf8_lossy(&output.stderr);
    let key = end.key();
    let planned = output.status.code() == Some(0);
    let needed = PLANNED.contains(&key.as_str()) || (end.low && PLANNED_LOW.contains(&key.as_str()));
    let refused = output.status.code() == Some(1) && !needed;
    let right = (planned || refused) && !told.contains("error[planner-fault]") && !told.contains("panicked");
    (!right).then(|| format!("{key} = {}: status {:?}\n{told}\n", end.value, output.status.code()))
}

/// Examples with rules that fit lines to lines, each with the deviation that leaves them the
/// most: neither courses beside each other nor a course beside itself may use it up twice.
#[test]
fn examples_can_be_planned_with_the_largest_deviation() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples");
    for (name, files) in [
        ("guide", &["guide.3mf", "map.toml"][..]),
        ("rocker", &["rocker.svg", "map.toml", "forces.csv"]),
        ("bracket", &["bracket.stl", "map.toml"]),
    ] {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("ranges/deviation-{name}"));
        std::fs::create_dir_all(&folder).expect("a scratch folder");
        for file in files {
            std::fs::copy(root.join(name).join(file), folder.join(file)).expect("a file of the example");
        }
        let job = std::fs::read_to_string(root.join(name).join("job.toml")).expect("the example's job");
        let job = job.replacen("[build]\n", "[build]\ncourse_deviation_mm = 0.1\n", 1);
        assert!(job.contains("course_deviation_mm = 0.1"));
        std::fs::write(folder.join("job.toml"), job).expect("a scratch file");
        let output = Command::new(env!("CARGO_BIN_EXE_towpath"))
            .args(["--quiet", "plan", "job.toml", "--out", "out"])
            .current_dir(&folder)
            .output()
            .expect("the built program starts");
        let told = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success() && !told.contains("planner-fault"), "{name}: {told}");
    }
}

#[test]
fn the_ends_of_every_range_can_be_planned_with() {
    let material = schema::material();
    let mut all: Vec<End> = Vec::new();
    ends(0, &schema::printer(), &[], &mut all);
    ends(1, &material["oneOf"][0], &[], &mut all);
    ends(2, &material["oneOf"][1], &[], &mut all);
    let mut of_job: Vec<End> = Vec::new();
    ends(3, &schema::job(), &[], &mut of_job);
    // the others are for estimates
    all.extend(of_job.into_iter().filter(|e| ["part", "build", "matrix"].contains(&e.path[0].as_str())));
    assert!(all.len() > 120, "only {} ends", all.len());
    for key in PLANNED.into_iter().chain(PLANNED_LOW) {
        assert_eq!(all.iter().filter(|e| e.key() == key).count(), 2, "{key}");
    }
    let next = AtomicUsize::new(0);
    let scratch: PathBuf = Path::new(env!("CARGO_TARGET_TMPDIR")).join("ranges");
    let work = |worker: usize| {
        let folder = scratch.join(worker.to_string());
        let mut wrong = String::new();
        while let Some(end) = all.get(next.fetch_add(1, Ordering::Relaxed)) {
            wrong.extend(fault(&folder, end));
        }
        wrong
    };
    let workers = std::thread::available_parallelism().map_or(1, usize::from).min(8);
    let wrong: String = std::thread::scope(|scope| {
        let running: Vec<_> = (0..workers).map(|k| scope.spawn(move || work(k))).collect();
        running.into_iter().map(|w| w.join().expect("a worker ends")).collect()
    });
    assert!(wrong.is_empty(), "{wrong}");
}

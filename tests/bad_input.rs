//! Bad input: a clear error that names file and place, exit status 1, nothing
//! written, no panic. One good job; each case spoils one thing of it.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

use std::path::{Path, PathBuf};
use std::process::Command;

const JOB: &str = r#"[part]
name = "strap"
outline = "strap.svg"
thickness_mm = 0.4

[build]
printer = "shuttle-15"
matrix = "pa12"
tow = "carbon-1k-pa12"
layer_height_mm = 0.2

[matrix]
perimeters = 2
bead_width_mm = 0.5

[reinforcement]
map = "strap.map.toml"
"#;

const MAP: &str = r#"[[region]]
name = "pin"
shape = { hole_at_mm = [20.0, 20.0] }
layers = "all"
rule = "hoop"
courses = 2
"#;

const SVG: &str = r#"<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="40mm" viewBox="0 0 80 40">
<rect x="0" y="0" width="80" height="40" rx="10"/>
<circle cx="20" cy="20" r="6"/>
</svg>
"#;

struct Case {
    name: &'static str,
    /// job | map | svg, what to replace, by what.
    file: &'static str,
    from: &'static str,
    to: &'static str,
    /// All of these must stand in the message.
    says: &'static [&'static str],
}

const fn case(
    name: &'static str,
    file: &'static str,
    from: &'static str,
    to: &'static str,
    says: &'static [&'static str],
) -> Case {
    Case { name, file, from, to, says }
}

const CASES: &[Case] = &[
    case(
        "misspelt key",
        "job",
        "thickness_mm",
        "thicknes_mm",
        &["job.toml:4", "thicknes_mm", "did you mean"],
    ),
    case("unknown table", "job", "[matrix]", "[matricks]", &["job.toml:", "matricks"]),
    case("unknown printer", "job", "shuttle-15", "shuttel-15", &["job.toml:7", "shuttel-15", "did you mean"]),
    case("unknown matrix", "job", "\"pa12\"", "\"pa13\"", &["job.toml:8", "pa13"]),
    case("unknown tow", "job", "carbon-1k-pa12", "carbon-9k-pa12", &["job.toml:9", "carbon-9k-pa12"]),
    case("missing name", "job", "name = \"strap\"\n", "", &["job.toml", "name"]),
    case("missing outline key", "job", "outline = \"strap.svg\"\n", "", &["job.toml", "outline"]),
    case("outline not there", "job", "strap.svg", "other.svg", &["other.svg"]),
    case("outline of an unknown kind", "job", "strap.svg", "strap.map.toml", &["strap.map.toml"]),
    case("map not there", "job", "strap.map.toml", "other.map.toml", &["other.map.toml"]),
    case(
        "text for a number",
        "job",
        "thickness_mm = 0.4",
        "thickness_mm = \"0.4\"",
        &["job.toml:4", "thickness_mm"],
    ),
    case("negative thickness", "job", "thickness_mm = 0.4", "thickness_mm = -0.4", &["job.toml:4", "-0.4"]),
    case("infinite thickness", "job", "thickness_mm = 0.4", "thickness_mm = inf", &["job.toml:4"]),
    case("not a number", "job", "layer_height_mm = 0.2", "layer_height_mm = nan", &["job.toml:10"]),
    case("zero layer height", "job", "layer_height_mm = 0.2", "layer_height_mm = 0", &["job.toml:10"]),
    case("no thickness", "job", "thickness_mm = 0.4\n", "", &["thickness_mm"]),
    case("zero bead width", "job", "bead_width_mm = 0.5", "bead_width_mm = 0", &["job.toml:14"]),
    case("negative perimeters", "job", "perimeters = 2", "perimeters = -2", &["job.toml:13"]),
    case(
        "unknown fill",
        "job",
        "perimeters = 2",
        "fill = \"paralel\"",
        &["job.toml:13", "paralel", "did you mean"],
    ),
    case("fraction above one", "job", "perimeters = 2", "fill_fraction = 1.5", &["job.toml:13", "1.5"]),
    case("zero copies", "job", "layer_height_mm = 0.2", "copies = 0", &["job.toml:10"]),
    case(
        "too many copies",
        "job",
        "layer_height_mm = 0.2",
        "layer_height_mm = 0.2\ncopies = 5000",
        &["5000"],
    ),
    case("syntax", "job", "[build]", "[build", &["job.toml:6"]),
    case("tow of another polymer", "job", "carbon-1k-pa12", "carbon-1k5-peek", &["job.toml", "PEEK"]),
    case("a key twice", "job", "name = \"strap\"\n", "name = \"strap\"\nname = \"strop\"\n", &["job.toml:3"]),
    case("unknown rule", "map", "\"hoop\"", "\"hop\"", &["strap.map.toml:5", "hop", "did you mean"]),
    case(
        "steered without a field",
        "map",
        "\"hoop\"",
        "\"steered\"",
        &["strap.map.toml:5", "steered", "field"],
    ),
    case(
        "a field that is not there",
        "map",
        "hole_at_mm = [20.0, 20.0] }\nlayers = \"all\"\nrule = \"hoop\"",
        "outline = true }\nlayers = \"all\"\nrule = \"steered\"\nfield = \"wind.csv\"",
        &["strap.map.toml:6", "wind.csv"],
    ),
    case("a strap without pins", "map", "\"hoop\"", "\"strap\"", &["strap.map.toml:3", "pins_mm"]),
    case(
        "pins without a strap",
        "map",
        "hole_at_mm = [20.0, 20.0]",
        "pins_mm = [[20.0, 20.0, 5.0], [60.0, 20.0, 5.0]]",
        &["strap.map.toml:3", "strap"],
    ),
    case(
        "a pin of no size",
        "map",
        "hole_at_mm = [20.0, 20.0] }\nlayers = \"all\"\nrule = \"hoop\"",
        "pins_mm = [[20.0, 20.0, 5.0], [60.0, 20.0, -5.0]] }\nlayers = \"all\"\nrule = \"strap\"",
        &["strap.map.toml:3", "-5"],
    ),
    case(
        "one pin",
        "map",
        "hole_at_mm = [20.0, 20.0] }\nlayers = \"all\"\nrule = \"hoop\"",
        "pins_mm = [[20.0, 20.0, 5.0]] }\nlayers = \"all\"\nrule = \"strap\"",
        &["strap.map.toml:3", "pin"],
    ),
    case("unknown map key", "map", "courses", "coarses", &["strap.map.toml:6", "coarses", "did you mean"]),
    case("unknown shape", "map", "hole_at_mm", "hole_mm", &["strap.map.toml:3", "hole_mm"]),
    case("no hole there", "map", "[20.0, 20.0]", "[70.0, 20.0]", &["strap.map.toml:3", "pin"]),
    case("layers reversed", "map", "\"all\"", "\"9-3\"", &["strap.map.toml:4"]),
    case("a layer too many", "map", "\"all\"", "\"1-3\"", &["strap.map.toml:4", "3", "2"]),
    case("layers unreadable", "map", "\"all\"", "\"some\"", &["strap.map.toml:4", "some"]),
    case("heights without layer", "map", "\"all\"", "\"z 5-6\"", &["strap.map.toml:4"]),
    case("spacing below the tow", "map", "courses = 2", "spacing_mm = 0.1", &["strap.map.toml:6", "0.1"]),
    case(
        "radius below the tow's",
        "map",
        "courses = 2",
        "min_bend_radius_mm = 0.5",
        &["strap.map.toml:6", "0.5"],
    ),
    case("zero courses", "map", "courses = 2", "courses = 0", &["strap.map.toml:6"]),
    case(
        "unidirectional in a hole",
        "map",
        "\"hoop\"",
        "\"unidirectional\"\nangle_deg = 0",
        &["strap.map.toml:3"],
    ),
    case(
        "an id that is not there",
        "map",
        "{ hole_at_mm = [20.0, 20.0] }",
        "{ id = \"rim\" }",
        &["strap.map.toml:3", "rim"],
    ),
    case(
        "shape outside the part",
        "map",
        "{ hole_at_mm = [20.0, 20.0] }\nlayers = \"all\"\nrule = \"hoop\"",
        "{ circle_mm = [500.0, 500.0, 5.0] }\nlayers = \"all\"\nrule = \"contour\"",
        &["strap.map.toml:3"],
    ),
    case("broken XML", "svg", "</svg>", "", &["strap.svg"]),
    case(
        "bad path",
        "svg",
        "<circle cx=\"20\" cy=\"20\" r=\"6\"/>",
        "<path d=\"M 1 1 L 2 x Z\"/>",
        &["strap.svg:3"],
    ),
    case(
        "open path",
        "svg",
        "<circle cx=\"20\" cy=\"20\" r=\"6\"/>",
        "<path d=\"M 1 1 L 9 1 L 9 9\"/>",
        &["strap.svg:3"],
    ),
    case("bad number", "svg", "r=\"6\"", "r=\"six\"", &["strap.svg:3"]),
    case("far away", "svg", "cx=\"20\"", "cx=\"1e12\"", &["strap.svg"]),
    case(
        "nothing drawn",
        "svg",
        "<rect x=\"0\" y=\"0\" width=\"80\" height=\"40\" rx=\"10\"/>\n<circle cx=\"20\" cy=\"20\" r=\"6\"/>",
        "",
        &["strap.svg"],
    ),
    case(
        "larger than the bed",
        "svg",
        "width=\"80mm\" height=\"40mm\"",
        "width=\"800mm\" height=\"400mm\"",
        &["mm"],
    ),
];

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("bad input").join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a scratch folder");
    folder
}

/// Status, stderr, and whether anything was written.
fn run(folder: &Path) -> (Option<i32>, String, bool) {
    let out = folder.join("out");
    let output = Command::new(env!("CARGO_BIN_EXE_towpath"))
        .args(["plan", "job.toml", "--out", "out"])
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .output()
        .expect("the built program starts");
    let wrote = std::fs::read_dir(&out).is_ok_and(|mut d| d.next().is_some());
    (output.status.code(), String::from_utf8_lossy(&output.stderr).into_owned(), wrote)
}

fn write(folder: &Path, job: &str, map: &str, svg: &str) {
    for (name, text) in [("job.toml", job), ("strap.map.toml", map), ("strap.svg", svg)] {
        std::fs::write(folder.join(name), text).expect("a scratch file");
    }
}

#[test]
fn the_unspoilt_job_plans() {
    let folder = folder("good");
    write(&folder, JOB, MAP, SVG);
    let (status, told, wrote) = run(&folder);
    assert_eq!(status, Some(0), "{told}");
    assert!(wrote, "the program and the plan are there");
}

#[test]
fn each_fault_is_told_with_its_place_and_nothing_is_written() {
    assert!(CASES.len() >= 30, "at least thirty cases");
    let mut wrong = String::new();
    for c in CASES {
        let folder = folder(c.name);
        let spoilt = |file: &str, text: &str| {
            if c.file == file {
                assert!(text.contains(c.from), "{}: nothing to replace", c.name);
                text.replacen(c.from, c.to, 1)
            } else {
                text.to_owned()
            }
        };
        write(&folder, &spoilt("job", JOB), &spoilt("map", MAP), &spoilt("svg", SVG));
        let (status, told, wrote) = run(&folder);
        let missing: Vec<&&str> = c.says.iter().filter(|s| !told.contains(**s)).collect();
        if status != Some(1)
            || wrote
            || !missing.is_empty()
            || told.contains("panicked")
            || !told.contains("error[")
        {
            wrong.push_str(&format!(
                "{}: status {status:?}, wrote {wrote}, does not say {missing:?}\n{told}\n",
                c.name
            ));
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
}

#[test]
fn all_faults_of_a_file_are_told_at_once() {
    let folder = folder("three at once");
    let job = JOB
        .replace("thickness_mm", "thicknes_mm")
        .replace("shuttle-15", "shuttel-15")
        .replace("= 0.5", "= 0");
    write(&folder, &job, MAP, SVG);
    let (status, told, _) = run(&folder);
    assert_eq!(status, Some(1), "{told}");
    for line in ["job.toml:4", "job.toml:7", "job.toml:14"] {
        assert!(told.contains(line), "{line} is missing:\n{told}");
    }
}

#[test]
fn a_missing_job_is_no_fault_of_the_job() {
    let folder = folder("no job");
    let (status, told, wrote) = run(&folder);
    assert_eq!(status, Some(2), "{told}");
    assert!(!wrote && told.contains("job.toml"), "{told}");
}

#[test]
fn junk_is_refused() {
    let folder = folder("junk");
    write(&folder, JOB, MAP, SVG);
    std::fs::write(folder.join("job.toml"), [0xff_u8, 0xfe, 0x00, 0x41]).expect("a scratch file");
    let (status, told, wrote) = run(&folder);
    assert!(status == Some(1) && !wrote && told.contains("job.toml"), "{status:?} {told}");
}

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
    case(
        "too many copies, at its key",
        "job",
        "layer_height_mm = 0.2",
        "layer_height_mm = 0.2\ncopies = 900",
        &["job.toml:11:10", "900 copies"],
    ),
    case(
        "a decimal comma",
        "job",
        "thickness_mm = 0.4",
        "thickness_mm = 0,4",
        &["job.toml:4", "the decimal sign is a point: 0.4"],
    ),
    case(
        "a circle of no size",
        "map",
        "{ hole_at_mm = [20.0, 20.0] }\nlayers = \"all\"\nrule = \"hoop\"",
        "{ circle_mm = [40.0, 15.0, 1e-9] }\nlayers = \"all\"\nrule = \"contour\"",
        &["strap.map.toml:3", "0.000000001 mm", "shape-empty"],
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
        &["job.toml:3", "800.0 x 400.0 mm"],
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

/// What follows from a fault is not told as another one.
#[test]
fn one_slip_is_one_error() {
    for (name, angle) in [("a turn too far", "720"), ("no direction", "[]"), ("in words", "\"east\"")] {
        let folder = folder(name);
        let rule = format!("\"unidirectional\"\nangle_deg = {angle}");
        let map = MAP.replace("hole_at_mm = [20.0, 20.0]", "outline = true").replace("\"hoop\"", &rule);
        write(&folder, JOB, &map.replace("courses = 2\n", ""), SVG);
        let (status, told, _) = run(&folder);
        assert_eq!((status, told.matches("error[").count()), (Some(1), 1), "{angle}: {told}");
        assert!(told.contains("strap.map.toml:6") && told.contains("`region.angle_deg`"), "{told}");
    }
}

const STEERED: &str = r#"[[region]]
name = "wind"
shape = { outline = true }
rule = "steered"
field = "wind.csv"
"#;

/// A file that plainly is another one: a single message says which.
#[test]
fn files_that_were_swapped_are_told_in_one_message() {
    const ZIP: &[u8] = b"PK\x03\x04\x14\x00\x00\x00\x08\x00\xff\xfe";
    let cases: &[(&str, &str, &[u8], &[&str])] = &[
        ("map as printer", "mine.toml", MAP.as_bytes(), &["a reinforcement map", "a printer profile is"]),
        ("job as printer", "mine.toml", JOB.as_bytes(), &["is a job", "a printer profile is"]),
        ("drawing as map", "strap.map.toml", SVG.as_bytes(), &["is XML", "a reinforcement map is"]),
        ("job as map", "strap.map.toml", JOB.as_bytes(), &["is a job", "a reinforcement map is"]),
        ("archive as map", "strap.map.toml", ZIP, &["ZIP archive"]),
        ("drawing as job", "job.toml", SVG.as_bytes(), &["is XML", "a job is"]),
        ("map as job", "job.toml", MAP.as_bytes(), &["a reinforcement map", "a job is"]),
        ("drawing as field", "wind.csv", SVG.as_bytes(), &["is XML", "x_mm,y_mm,angle_deg"]),
        ("map as field", "wind.csv", MAP.as_bytes(), &["is TOML", "x_mm,y_mm,angle_deg"]),
        ("archive as field", "wind.csv", ZIP, &["ZIP archive"]),
    ];
    for (name, file, bytes, says) in cases {
        let folder = folder(name);
        let job = if *file == "mine.toml" { JOB.replace("shuttle-15", "mine.toml") } else { JOB.to_owned() };
        write(&folder, &job, if *file == "wind.csv" { STEERED } else { MAP }, SVG);
        std::fs::write(folder.join(file), bytes).expect("a scratch file");
        let (status, told, wrote) = run(&folder);
        assert_eq!((status, wrote, told.matches("error[").count()), (Some(1), false, 1), "{name}: {told}");
        assert!(told.contains("error[file-of-another-kind]") && told.contains(file), "{name}: {told}");
        assert!(says.iter().all(|s| told.contains(s)), "{name}: {told}");
    }
    // a slip within the right kind is told as that
    let folder = folder("nearly a map");
    write(&folder, JOB, &MAP.replace("[[region]]", "[[regoin]]"), SVG);
    let (_, told, _) = run(&folder);
    assert!(told.contains("did you mean `region`?"), "{told}");
}

#[test]
fn tables_of_another_make_are_told_once_with_a_hint() {
    for (name, text, says) in [
        ("semicolons", "x_mm;y_mm;angle_deg\n10;5;0\n20;5;0\n", "semicolons"),
        ("semicolons and commas", "10,5;5,0;0\n20,5;5,0;0\n", "semicolons"),
        ("tabs", "10\t5\t0\n", "tabs"),
        ("decimal commas", "10,5,20,0,30,0\n11,5,20,0,30,0\n", "decimal signs"),
    ] {
        let folder = folder(name);
        write(&folder, JOB, STEERED, SVG);
        std::fs::write(folder.join("wind.csv"), text).expect("a scratch file");
        let (status, told, _) = run(&folder);
        assert_eq!((status, told.matches("error[").count()), (Some(1), 1), "{name}: {told}");
        assert!(told.contains("wind.csv:1") && told.contains(says), "{name}: {told}");
        assert!(told.contains("points in numbers: 10.5,20,45"), "{name}: {told}");
    }
}

/// Runs the quick estimate of a job, which plans no layer: status and stderr.
fn warned(folder: &Path) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_towpath"))
        .args(["estimate", "job.toml", "--quick"])
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .output()
        .expect("the built program starts");
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(0), "{told}");
    told
}

#[test]
fn fields_that_contradict_themselves_or_lie_elsewhere_are_warned_about() {
    let folder = folder("fields");
    write(&folder, JOB, STEERED, SVG);
    let with = |text: &str| {
        std::fs::write(folder.join("wind.csv"), text).expect("a scratch file");
        warned(&folder)
    };
    let told = with("x_mm,y_mm,angle_deg\n40,15,0\n# of another mesh\n60,20,10\n40,15,90\n");
    assert!(told.contains("warning[field-clash]: lines 2 and 5 ask for 0 and 90 degrees"), "{told}");
    assert!(told.contains("wind.csv:5:1") && told.contains("x 40 y 15 mm"), "{told}");
    // a direction has no sense, and rounding is no contradiction
    for same in ["40,15,0\n40,15,180\n", "40,15,-89.8\n40,15,90\n", "40,15,0\n40.001,15,90\n"] {
        let told = with(same);
        assert!(!told.contains("field-clash") && !told.contains("field-elsewhere"), "{same}: {told}");
    }
    let told = with("4000,1500,0\n6000,2000,10\n");
    assert!(told.contains("warning[field-elsewhere]") && told.contains("strap.map.toml:5"), "{told}");
    // 3921 beyond x 79 and 1461 beyond y 39: perimeters take a millimetre
    assert!(told.contains("the nearest is 4184.3 mm off"), "{told}");
    let told = with("4000,1500,0\n60,20,10\n");
    assert!(!told.contains("field-elsewhere"), "one lies within: {told}");
}

#[test]
fn a_pin_given_twice_is_warned_about() {
    let folder = folder("pin twice");
    let pins = |third: &str| {
        let shape = format!("pins_mm = [[20.0, 20.0, 7.0], [60.0, 20.0, 7.0], [{third}]]");
        let map = MAP.replace("hole_at_mm = [20.0, 20.0]", &shape).replace("\"hoop\"", "\"strap\"");
        write(&folder, JOB, &map, SVG);
        warned(&folder)
    };
    let told = pins("20.0, 20.0, 7.0");
    assert!(told.contains("warning[pin-twice]: region `pin`: pins 1 and 3 are the same"), "{told}");
    assert!(told.contains("strap.map.toml:3"), "{told}");
    let told = pins("40.0, 20.0, 7.0");
    assert!(!told.contains("pin-twice"), "{told}");
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

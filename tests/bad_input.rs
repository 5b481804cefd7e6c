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
    /// Of the first error.
    code: &'static str,
    /// job | map | svg, what to replace, by what.
    file: &'static str,
    from: &'static str,
    to: &'static str,
    /// All of these must stand in the message.
    says: &'static [&'static str],
}

const fn case(
    name: &'static str,
    code: &'static str,
    file: &'static str,
    from: &'static str,
    to: &'static str,
    says: &'static [&'static str],
) -> Case {
    Case { name, code, file, from, to, says }
}

const CASES: &[Case] = &[
    case(
        "misspelt key",
        "unknown-key",
        "job",
        "thickness_mm",
        "thicknes_mm",
        &["job.toml:4", "thicknes_mm", "did you mean"],
    ),
    case("unknown table", "unknown-key", "job", "[matrix]", "[matricks]", &["job.toml:", "matricks"]),
    case(
        "unknown printer",
        "unknown-name",
        "job",
        "shuttle-15",
        "shuttel-15",
        &["job.toml:7", "shuttel-15", "did you mean"],
    ),
    case("unknown matrix", "unknown-name", "job", "\"pa12\"", "\"pa13\"", &["job.toml:8", "pa13"]),
    case(
        "unknown tow",
        "unknown-name",
        "job",
        "carbon-1k-pa12",
        "carbon-9k-pa12",
        &["job.toml:9", "carbon-9k-pa12"],
    ),
    case("missing name", "missing-key", "job", "name = \"strap\"\n", "", &["job.toml", "name"]),
    case(
        "missing outline key",
        "missing-key",
        "job",
        "outline = \"strap.svg\"\n",
        "",
        &["job.toml", "outline"],
    ),
    case("outline not there", "file-missing", "job", "strap.svg", "other.svg", &["other.svg"]),
    case(
        "outline of an unknown kind",
        "format-unknown",
        "job",
        "strap.svg",
        "strap.map.toml",
        &["strap.map.toml"],
    ),
    case("map not there", "file-missing", "job", "strap.map.toml", "other.map.toml", &["other.map.toml"]),
    case(
        "text for a number",
        "wrong-type",
        "job",
        "thickness_mm = 0.4",
        "thickness_mm = \"0.4\"",
        &["job.toml:4", "thickness_mm"],
    ),
    case(
        "thickness in metres",
        "outline-thin",
        "job",
        "thickness_mm = 0.4",
        "thickness_mm = 0.0004",
        &["job.toml:4", "half a layer", "`thickness_mm`"],
    ),
    case(
        "negative thickness",
        "out-of-range",
        "job",
        "thickness_mm = 0.4",
        "thickness_mm = -0.4",
        &["job.toml:4", "-0.4"],
    ),
    case(
        "infinite thickness",
        "out-of-range",
        "job",
        "thickness_mm = 0.4",
        "thickness_mm = inf",
        &["job.toml:4"],
    ),
    case(
        "not a number",
        "out-of-range",
        "job",
        "layer_height_mm = 0.2",
        "layer_height_mm = nan",
        &["job.toml:10"],
    ),
    case(
        "zero layer height",
        "out-of-range",
        "job",
        "layer_height_mm = 0.2",
        "layer_height_mm = 0",
        &["job.toml:10"],
    ),
    case("no thickness", "thickness-missing", "job", "thickness_mm = 0.4\n", "", &["thickness_mm"]),
    case(
        "zero bead width",
        "out-of-range",
        "job",
        "bead_width_mm = 0.5",
        "bead_width_mm = 0",
        &["job.toml:14"],
    ),
    case("negative perimeters", "out-of-range", "job", "perimeters = 2", "perimeters = -2", &["job.toml:13"]),
    case(
        "unknown fill",
        "unknown-name",
        "job",
        "perimeters = 2",
        "fill = \"paralel\"",
        &["job.toml:13", "paralel", "did you mean"],
    ),
    case(
        "fraction above one",
        "out-of-range",
        "job",
        "perimeters = 2",
        "fill_fraction = 1.5",
        &["job.toml:13", "1.5"],
    ),
    case("zero copies", "out-of-range", "job", "layer_height_mm = 0.2", "copies = 0", &["job.toml:10"]),
    case(
        "too many copies",
        "out-of-range",
        "job",
        "layer_height_mm = 0.2",
        "layer_height_mm = 0.2\ncopies = 5000",
        &["5000"],
    ),
    case("syntax", "toml-syntax", "job", "[build]", "[build", &["job.toml:6"]),
    case(
        "tow of another polymer",
        "polymer-mismatch",
        "job",
        "carbon-1k-pa12",
        "carbon-1k5-peek",
        &["job.toml", "PEEK"],
    ),
    case(
        "a key twice",
        "toml-syntax",
        "job",
        "name = \"strap\"\n",
        "name = \"strap\"\nname = \"strop\"\n",
        &["job.toml:3"],
    ),
    case(
        "unknown rule",
        "unknown-name",
        "map",
        "\"hoop\"",
        "\"hop\"",
        &["strap.map.toml:5", "hop", "did you mean"],
    ),
    case(
        "steered without a field",
        "missing-key",
        "map",
        "\"hoop\"",
        "\"steered\"",
        &["strap.map.toml:5", "steered", "field"],
    ),
    case(
        "a field that is not there",
        "file-missing",
        "map",
        "hole_at_mm = [20.0, 20.0] }\nlayers = \"all\"\nrule = \"hoop\"",
        "outline = true }\nlayers = \"all\"\nrule = \"steered\"\nfield = \"wind.csv\"",
        &["strap.map.toml:6", "wind.csv"],
    ),
    case(
        "a strap without pins",
        "rule-shape",
        "map",
        "\"hoop\"",
        "\"strap\"",
        &["strap.map.toml:3", "pins_mm"],
    ),
    case(
        "pins without a strap",
        "rule-shape",
        "map",
        "hole_at_mm = [20.0, 20.0]",
        "pins_mm = [[20.0, 20.0, 5.0], [60.0, 20.0, 5.0]]",
        &["strap.map.toml:3", "strap"],
    ),
    case(
        "a pin of no size",
        "shape-empty",
        "map",
        "hole_at_mm = [20.0, 20.0] }\nlayers = \"all\"\nrule = \"hoop\"",
        "pins_mm = [[20.0, 20.0, 5.0], [60.0, 20.0, -5.0]] }\nlayers = \"all\"\nrule = \"strap\"",
        &["strap.map.toml:3", "-5"],
    ),
    case(
        "one pin",
        "wrong-type",
        "map",
        "hole_at_mm = [20.0, 20.0] }\nlayers = \"all\"\nrule = \"hoop\"",
        "pins_mm = [[20.0, 20.0, 5.0]] }\nlayers = \"all\"\nrule = \"strap\"",
        &["strap.map.toml:3", "pin"],
    ),
    case(
        "unknown map key",
        "unknown-key",
        "map",
        "courses",
        "coarses",
        &["strap.map.toml:6", "coarses", "did you mean"],
    ),
    case("unknown shape", "unknown-key", "map", "hole_at_mm", "hole_mm", &["strap.map.toml:3", "hole_mm"]),
    case(
        "no hole there",
        "hole-missing",
        "map",
        "[20.0, 20.0]",
        "[70.0, 20.0]",
        &["strap.map.toml:3", "pin"],
    ),
    case("layers reversed", "layers-syntax", "map", "\"all\"", "\"9-3\"", &["strap.map.toml:4"]),
    case("a layer too many", "layer-missing", "map", "\"all\"", "\"1-3\"", &["strap.map.toml:4", "3", "2"]),
    case("layers unreadable", "layers-syntax", "map", "\"all\"", "\"some\"", &["strap.map.toml:4", "some"]),
    case("heights without layer", "layers-empty", "map", "\"all\"", "\"z 5-6\"", &["strap.map.toml:4"]),
    case(
        "spacing below the tow",
        "spacing-too-small",
        "map",
        "courses = 2",
        "spacing_mm = 0.1",
        &["strap.map.toml:6", "0.1"],
    ),
    case(
        "radius below the tow's",
        "bend-radius-too-small",
        "map",
        "courses = 2",
        "min_bend_radius_mm = 0.5",
        &["strap.map.toml:6", "0.5"],
    ),
    case("zero courses", "out-of-range", "map", "courses = 2", "courses = 0", &["strap.map.toml:6"]),
    case(
        "unidirectional in a hole",
        "rule-shape",
        "map",
        "\"hoop\"",
        "\"unidirectional\"\nangle_deg = 0",
        &["strap.map.toml:3"],
    ),
    case(
        "an id that is not there",
        "id-missing",
        "map",
        "{ hole_at_mm = [20.0, 20.0] }",
        "{ id = \"rim\" }",
        &["strap.map.toml:3", "rim"],
    ),
    case(
        "shape outside the part",
        "shape-outside",
        "map",
        "{ hole_at_mm = [20.0, 20.0] }\nlayers = \"all\"\nrule = \"hoop\"",
        "{ circle_mm = [500.0, 500.0, 5.0] }\nlayers = \"all\"\nrule = \"contour\"",
        &["strap.map.toml:3"],
    ),
    case(
        "too many copies, at its key",
        "bed-full",
        "job",
        "layer_height_mm = 0.2",
        "layer_height_mm = 0.2\ncopies = 900",
        &["job.toml:11:10", "900 copies"],
    ),
    case(
        "a decimal comma",
        "toml-syntax",
        "job",
        "thickness_mm = 0.4",
        "thickness_mm = 0,4",
        &["job.toml:4", "the decimal sign is a point: 0.4"],
    ),
    case(
        "a decimal comma in quotes",
        "wrong-type",
        "job",
        "thickness_mm = 0.4",
        "thickness_mm = \"0,4\"",
        &["job.toml:4", "the decimal sign is a point, and a number stands without quotes: 0.4"],
    ),
    case(
        "points between thousands",
        "toml-syntax",
        "job",
        "thickness_mm = 0.4",
        "thickness_mm = 1.234,50",
        &["job.toml:4", "the decimal sign is a point: 1234.50"],
    ),
    case(
        "a list with semicolons",
        "toml-syntax",
        "job",
        "perimeters = 2",
        "fill_angles_deg = [0; 45]",
        &["job.toml:13", "its values apart by commas: [0, 45]"],
    ),
    case(
        "a list in quotes",
        "wrong-type",
        "job",
        "perimeters = 2",
        "fill_angles_deg = \"0; 45,5\"",
        &["job.toml:13", "its values apart by commas: [0, 45.5]"],
    ),
    case(
        "a circle of no size",
        "shape-empty",
        "map",
        "{ hole_at_mm = [20.0, 20.0] }\nlayers = \"all\"\nrule = \"hoop\"",
        "{ circle_mm = [40.0, 15.0, 1e-9] }\nlayers = \"all\"\nrule = \"contour\"",
        &["strap.map.toml:3", "0.000000001 mm", "shape-empty"],
    ),
    case("broken XML", "xml-unreadable", "svg", "</svg>", "", &["strap.svg"]),
    case(
        "bad path",
        "element-unreadable",
        "svg",
        "<circle cx=\"20\" cy=\"20\" r=\"6\"/>",
        "<path d=\"M 1 1 L 2 x Z\"/>",
        &["strap.svg:3"],
    ),
    case(
        "open path",
        "outline-open",
        "svg",
        "<circle cx=\"20\" cy=\"20\" r=\"6\"/>",
        "<path d=\"M 1 1 L 9 1 L 9 9\"/>",
        &["strap.svg:3"],
    ),
    case("bad number", "element-unreadable", "svg", "r=\"6\"", "r=\"six\"", &["strap.svg:3"]),
    case("far away", "outline-too-large", "svg", "cx=\"20\"", "cx=\"1e12\"", &["strap.svg"]),
    case(
        "nothing drawn",
        "outline-empty",
        "svg",
        "<rect x=\"0\" y=\"0\" width=\"80\" height=\"40\" rx=\"10\"/>\n<circle cx=\"20\" cy=\"20\" r=\"6\"/>",
        "",
        &["strap.svg"],
    ),
    case(
        "larger than the bed",
        "bed-full",
        "svg",
        "width=\"80mm\" height=\"40mm\"",
        "width=\"800mm\" height=\"400mm\"",
        &["job.toml:3", "800.0 x 400.0 mm"],
    ),
    case(
        "a bead narrower than a layer",
        "bead-section",
        "job",
        "bead_width_mm = 0.5",
        "bead_width_mm = 0.15",
        &["job.toml:14:17", "0.15 mm", "0.2 mm"],
    ),
    case(
        "a layer too thin for the tow",
        "layer-too-thin",
        "job",
        "layer_height_mm = 0.2",
        "layer_height_mm = 0.1",
        &[
            "job.toml:10",
            "0.077 mm2, spread over its width of 0.6 mm, is 0.129 mm high",
            "from 0.14 mm on, the height",
        ],
    ),
    case(
        "a misspelt file",
        "file-missing",
        "job",
        "strap.svg",
        "starp.svg",
        &["job.toml:3", "in the folder `", "a misspelt file`", "did you mean `strap.svg`?"],
    ),
    case(
        "a folder that is not there",
        "file-missing",
        "job",
        "strap.svg",
        "drawings/strap.svg",
        &["there is no folder `drawings`"],
    ),
    case(
        "a number with its unit",
        "toml-syntax",
        "job",
        "thickness_mm = 0.4",
        "thickness_mm = 0.4mm",
        &["job.toml:4", "the key says the unit: 0.4"],
    ),
    case(
        "a number with its unit, in quotes",
        "wrong-type",
        "job",
        "thickness_mm = 0.4",
        "thickness_mm = \"0.4 mm\"",
        &["job.toml:4", "the key says the unit: 0.4"],
    ),
    case(
        "a backslash",
        "toml-syntax",
        "job",
        "strap.map.toml",
        "maps\\strap.map.toml",
        &["job.toml:17", "write / in paths"],
    ),
    case(
        "a backslash that makes a line break",
        "out-of-range",
        "job",
        "strap.map.toml",
        "maps\\new.map.toml",
        &["job.toml:17", "write / in paths"],
    ),
    case(
        "a region in the job",
        "unknown-key",
        "job",
        "[reinforcement]",
        "[[region]]\nname = \"pin\"\n[reinforcement]",
        &["job.toml:16", "regions stand in the map file"],
    ),
    case(
        "one region in single brackets",
        "wrong-type",
        "map",
        "[[region]]",
        "[region]",
        &["strap.map.toml:1", "write [[region]] for each region"],
    ),
    case(
        "layers without quotes",
        "toml-syntax",
        "map",
        "\"all\"",
        "3-13",
        &["strap.map.toml:4", "`layers` is text: \"3-13\""],
    ),
    case(
        "layers as a list",
        "wrong-type",
        "map",
        "\"all\"",
        "[3, 5, 7]",
        &["strap.map.toml:4", "`layers` is text: \"3-7/2\""],
    ),
    case(
        "layers as two numbers",
        "wrong-type",
        "map",
        "\"all\"",
        "[3, 13]",
        &["\"3-13\" from one to the other", "\"3-13/10\" those two alone"],
    ),
    case(
        "layers as a list that is no range",
        "wrong-type",
        "map",
        "\"all\"",
        "[3, 4, 7]",
        &["strap.map.toml:4", "one of \"all\", \"4\", \"3-17\""],
    ),
    case(
        "a pin outside",
        "shape-outside",
        "map",
        "hole_at_mm = [20.0, 20.0] }\nlayers = \"all\"\nrule = \"hoop\"",
        "pins_mm = [[20.0, 20.0, 6.0], [200.0, 20.0, 6.0]] }\nlayers = \"all\"\nrule = \"strap\"",
        &[
            "strap.map.toml:3",
            "pin 2 of region `pin`, at x 200.00 y 20.00 mm, lies outside",
            "x 0.00 to 80.00 mm",
        ],
    ),
    case(
        "a pin too large",
        "shape-outside",
        "map",
        "hole_at_mm = [20.0, 20.0] }\nlayers = \"all\"\nrule = \"hoop\"",
        "pins_mm = [[20.0, 20.0, 60.0], [60.0, 20.0, 6.0]] }\nlayers = \"all\"\nrule = \"strap\"",
        &["strap.map.toml:3", "pin 1 of region `pin`, at x 20.00 y 20.00 mm, has a radius of 60 mm"],
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
        let code = told.split("error[").nth(1).and_then(|rest| rest.split(']').next());
        if status != Some(1)
            || wrote
            || !missing.is_empty()
            || told.contains("panicked")
            || code != Some(c.code)
        {
            wrong.push_str(&format!(
                "{}: status {status:?}, wrote {wrote}, {code:?} for {}, does not say {missing:?}\n{told}\n",
                c.name, c.code
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

/// A key that is needed, misspelt, is not missing, too.
#[test]
fn a_misspelt_key_is_one_error() {
    for (file, from, to) in [
        ("job.toml", "outline = ", "outlin = "),
        ("job.toml", "[build]", "[biuld]"),
        ("job.toml", "printer = ", "pritner = "),
        ("strap.map.toml", "shape = ", "shapes = "),
        ("strap.map.toml", "rule = ", "rul = "),
        ("strap.map.toml", "hole_at_mm = ", "hole_at = "),
    ] {
        let folder = folder(to);
        write(&folder, JOB, MAP, SVG);
        let text = std::fs::read_to_string(folder.join(file)).expect("written just now");
        std::fs::write(folder.join(file), text.replacen(from, to, 1)).expect("a scratch file");
        let (status, told, _) = run(&folder);
        assert_eq!((status, told.matches("error[").count()), (Some(1), 1), "{to}: {told}");
        assert!(told.contains("error[unknown-key]") && told.contains("did you mean `"), "{to}: {told}");
    }
}

#[test]
fn single_brackets_are_told_once() {
    let region = |head: &str, name: &str| MAP.replace("[[region]]", head).replace("\"pin\"", name);
    for heads in [["[region]", "[[region]]", "[[region]]"], ["[region]", "[region]", "[region]"]] {
        let folder = folder("single brackets");
        let names = ["\"a\"", "\"b\"", "\"c\""];
        let map: String = heads.iter().zip(names).map(|(head, name)| region(head, name)).collect();
        write(&folder, JOB, &format!("# {}\n{map}", heads[1]), SVG);
        let (status, told, _) = run(&folder);
        assert_eq!((status, told.matches("error[").count()), (Some(1), 1), "{told}");
        assert!(told.contains("strap.map.toml:2:1"), "{told}");
        assert!(told.contains("help: write [[region]] for each region"), "{told}");
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
    // two that are one are a single pin
    let shape = "pins_mm = [[20.0, 20.0, 7.0], [20.0, 20.0, 7.0]]";
    let map = MAP.replace("hole_at_mm = [20.0, 20.0]", shape).replace("\"hoop\"", "\"strap\"");
    write(&folder, JOB, &map, SVG);
    let (status, told, _) = run(&folder);
    assert!(status == Some(1) && told.contains("error[shape-empty]"), "{told}");
    assert!(told.contains("a strap needs two of them"), "{told}");
}

/// The job without its map.
fn bare() -> String {
    JOB.replace("[reinforcement]\nmap = \"strap.map.toml\"\n", "")
}

#[test]
fn a_part_smaller_than_a_bead_is_refused() {
    let folder = folder("nothing laid");
    let svg = SVG
        .replace("width=\"80\" height=\"40\" rx=\"10\"", "width=\"0.2\" height=\"0.2\"")
        .replace("<circle cx=\"20\" cy=\"20\" r=\"6\"/>", "");
    write(&folder, &bare(), MAP, &svg);
    let (status, told, wrote) = run(&folder);
    assert_eq!((status, wrote), (Some(1), false), "{told}");
    assert!(told.contains("error[nothing-laid]") && told.contains("0.200 x 0.200 mm"), "{told}");
}

#[test]
fn a_file_beyond_all_measure_is_not_read() {
    let folder = folder("too large");
    write(&folder, JOB, MAP, SVG);
    let file = std::fs::File::create(folder.join("strap.svg")).expect("a scratch file");
    // holes take no room on the disk
    file.set_len((1 << 30) + 1).expect("a long file");
    let (status, told, wrote) = run(&folder);
    assert_eq!((status, wrote), (Some(1), false), "{told}");
    assert!(told.contains("error[file-too-large]") && told.contains("1073741825 bytes"), "{told}");
    assert!(told.contains("job.toml:3"), "{told}");
}

#[test]
fn tow_pressed_flatter_than_stated_is_warned_about() {
    let folder = folder("flat");
    write(&folder, &JOB.replace("layer_height_mm = 0.2", "layer_height_mm = 0.13"), MAP, SVG);
    let told = warned(&folder);
    assert!(told.contains("warning[layer-too-thin]: a layer of 0.130 mm"), "{told}");
    assert!(told.contains("`carbon-1k-pa12` states, 0.14 mm") && told.contains("job.toml:10"), "{told}");
}

#[test]
fn a_layer_without_outline_below_others_is_warned_about() {
    let folder = folder("empty layer");
    let group = |z: &str| {
        format!("<g data-z-mm=\"{z}\"><rect x=\"0\" y=\"0\" width=\"80\" height=\"40\" rx=\"10\"/></g>\n")
    };
    let (head, _) = SVG.split_once('\n').expect("lines");
    let svg = format!("{head}\n{}{}</svg>\n", group("0-0.4"), group("0.6-0.8"));
    write(&folder, &bare().replace("thickness_mm = 0.4\n", ""), MAP, &svg);
    let (status, told, _) = run(&folder);
    assert_eq!(status, Some(0), "{told}");
    assert!(told.contains("warning[layer-empty]: layer 3 is empty: what is laid over it"), "{told}");
}

#[test]
fn a_line_that_crosses_itself_says_what_its_rule_makes_of_it() {
    let folder = folder("crossed");
    // the middle of the star is gone round twice
    let star = "M 40 4 L 52 38 L 22 16 L 58 16 L 28 38 Z";
    let eight = "M 5 5 L 75 35 L 75 5 L 5 35 Z";
    for (path, rule, says) in [
        (star, "nonzero", "mm2 that it goes round twice are filled by its fill rule, nonzero"),
        (
            star,
            "evenodd",
            "mm2 that it goes round twice are left out, as a hole is, by its fill rule, evenodd",
        ),
        (eight, "nonzero", "its loops, 1050.000 mm2 in all, are filled whichever way they turn"),
    ] {
        let (head, _) = SVG.split_once('\n').expect("lines");
        let svg = format!("{head}\n<path fill-rule=\"{rule}\" d=\"{path}\"/>\n</svg>\n");
        write(&folder, &bare(), MAP, &svg);
        let told = warned(&folder);
        assert!(told.contains("warning[outline-crossed]: `path` crosses itself: "), "{rule}: {told}");
        assert!(told.contains(says) && told.contains("strap.svg:2"), "{rule}: {told}");
    }
}

#[test]
fn more_corners_than_anybody_types_belong_into_a_drawing() {
    let folder = folder("corners");
    let corners: Vec<String> = (0..20_001_u32).map(|k| format!("[{k}, {}]", k % 2)).collect();
    let shape = format!("polygon_mm = [{}]", corners.join(", "));
    let map =
        format!("[[region]]\nname = \"a\"\nshape = {{ {shape} }}\nlayers = \"all\"\nrule = \"contour\"\n");
    write(&folder, JOB, &map, SVG);
    let (status, told, wrote) = run(&folder);
    assert!(status == Some(1) && !wrote, "{told}");
    assert!(told.contains("`region.shape.polygon_mm` has 20001 points, it may have 20000"), "{told}");
}

#[test]
fn spirals_that_are_not_wound_are_warned_about() {
    let folder = folder("spiral");
    write(&folder, JOB, &MAP.replace("courses = 2", "courses = 2\nspiral = true\nspacing_mm = 5"), SVG);
    let (status, told, _) = run(&folder);
    assert_eq!(status, Some(0), "{told}");
    assert!(
        told.contains("warning[spiral-not-wound]: region `pin` asks for spirals, its 4 closed"),
        "{told}"
    );
    assert!(!told.contains("hoop-open"), "{told}");
    write(&folder, JOB, &MAP.replace("courses = 2", "courses = 2\nspiral = true"), SVG);
    let (_, told, _) = run(&folder);
    assert_eq!(told, "", "wound, it is as good as closed");
}

#[test]
fn tow_strained_beyond_its_limit_is_warned_about() {
    let folder = folder("wrinkles");
    let profiles = Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles/tows/carbon-1k-pa12.toml");
    let tow = std::fs::read_to_string(profiles).expect("a built-in tow");
    // 0.6 mm wide: at 7.3 mm round the hole its edge is strained by 0.041
    let tow = tow.replacen("width_mm = ", "wrinkle_strain = 0.03\nwidth_mm = ", 1);
    write(&folder, &JOB.replace("carbon-1k-pa12", "mine.toml"), MAP, SVG);
    std::fs::write(folder.join("mine.toml"), tow).expect("a scratch file");
    let (status, told, _) = run(&folder);
    assert_eq!(status, Some(0), "{told}");
    assert!(
        told.contains("warning[tow-wrinkles]: the tow's edge is strained by more than its 0.030"),
        "{told}"
    );
    assert!(told.contains("4 courses") && told.contains("`min_bend_radius_mm = 10.0`"), "{told}");
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

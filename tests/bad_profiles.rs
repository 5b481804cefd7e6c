//! Bad printers and materials of one's own: each fault is told with file and
//! line, by `check` and by a job that names the file alike.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

use std::path::{Path, PathBuf};
use std::process::Command;

/// What is spoilt: a built-in file, what to replace, by what; and what is told:
/// the line is that of the replaced text unless it says another.
struct Case {
    name: &'static str,
    from: &'static str,
    to: &'static str,
    code: &'static str,
    says: &'static [&'static str],
}

const fn case(
    name: &'static str,
    from: &'static str,
    to: &'static str,
    code: &'static str,
    says: &'static [&'static str],
) -> Case {
    Case { name, from, to, code, says }
}

const PRINTER: &[Case] = &[
    case("misspelt key", "chord_mm", "cord_mm", "unknown-key", &["did you mean `chord_mm`"]),
    case("key without unit", "anchor_mm", "anchor", "unknown-key", &["did you mean `anchor_mm`"]),
    case("key of another table", "copy_gap_mm = 8.0", "chord_mm = 8.0", "unknown-key", &["`[controller]`"]),
    case("text for a number", "anchor_mm = 5.0", "anchor_mm = \"5.0\"", "wrong-type", &["without quotes"]),
    case("text for a flag", "arcs = true", "arcs = \"yes\"", "wrong-type", &["true or false"]),
    case("a word that is none", "\"absolute\"", "\"absolut\"", "unknown-name", &["did you mean `absolute`"]),
    case("three of four corners", "385.0, 275.0]", "385.0]", "wrong-type", &["3 values", "4"]),
    case(
        "chord too coarse",
        "chord_mm = 0.01",
        "chord_mm = 0.05",
        "out-of-range",
        &["at most 0.02 mm", "too near to each other"],
    ),
    case(
        "filament in cm",
        "diameter_mm = 1.75",
        "diameter_mm = 0.175",
        "out-of-range",
        &["at least 0.5", "1.75 and 2.85"],
    ),
    case(
        "cutter in the nozzle",
        "cutter_to_nozzle_mm = 15.0",
        "cutter_to_nozzle_mm = 0",
        "out-of-range",
        &["0.1 where the cutter is at the nozzle"],
    ),
    case(
        "standby in degC",
        "standby_drop_k = 60",
        "standby_drop_k = 400",
        "out-of-range",
        &["at most 150 K", "freezes"],
    ),
    case("no speed", "fibre = 15.0", "fibre = 0", "out-of-range", &["at least 0.1"]),
    case("one tool for both", "fibre = 2\n", "fibre = 1\n", "profile-limits", &["T1"]),
    case(
        "bed out of reach",
        "[45.0, 25.0, 385.0",
        "[15.0, 25.0, 385.0",
        "profile-geometry",
        &["fibre nozzle"],
    ),
    case("bed upside down", "[45.0, 25.0, 385.0", "[445.0, 25.0, 385.0", "profile-geometry", &["encloses"]),
    case("reach upside down", "x = [0.0, 390.0]", "x = [390.0, 0.0]", "profile-geometry", &["comes first"]),
    case("purge on the bed", "[60.0, 10.0]", "[60.0, 100.0]", "profile-geometry", &["purge line"]),
    // less than 3 mm beside the bed, which begins at x 45
    case(
        "purge beside the bed",
        "[60.0, 10.0]       # mm, start, machine coordinates of the nozzle\nmatrix_line_mm = 80.0",
        "[4.0, 100.0]\nmatrix_line_mm = 40.0",
        "profile-geometry",
        &["purge line", "3 mm"],
    ),
    case("purge out of reach", "[60.0, 10.0]", "[360.0, 10.0]", "profile-geometry", &["purge line"]),
    case("faster than the axis", "travel = 180.0", "travel = 400.0", "profile-limits", &["250 mm/s"]),
    case("tow faster than its feed", "fibre = 15.0", "fibre = 70.0", "profile-limits", &["60 mm/s"]),
    case(
        "unknown name in a block",
        "{{ bed_temperature_c }}\nM104",
        "{{ bed_temp_c }}\nM104",
        "block-template",
        &["bed_temp_c"],
    ),
    case(
        "broken block",
        "{% if chamber_temperature_c > 0 -%}\nM191",
        "{% if chamber_temperature_c > -%}\nM191",
        "block-template",
        &["start"],
    ),
    case("move in the cut", "M10\n", "G1 X5\n", "block-words", &["must not move"]),
    case("feed in the cut", "M10\n", "G92 E0\n", "block-words", &["must not move"]),
    case("comment of another style", "M10\n", "M10 ; clamp\n", "block-words", &["comment style"]),
    case("head change in a block", "M106 S120\n", "T2 M6\n", "block-words", &["selects no head"]),
    case("feeds counted the other way", "M82\n", "M83\n", "block-words", &["`start` writes `M83`", "M82"]),
    case("nothing that cuts", "M10\nG4 P0.35\nM11\nG4 P0.15\n", "", "block-words", &["`cut` is empty"]),
    case(
        "a cut in no time",
        "M10\nG4 P0.35\nM11\nG4 P0.15\n",
        "M10\nG4 P0.003\n",
        "block-words",
        &["0.003 s", "`times.cut_s` is 0.5 s", "dwell_unit"],
    ),
    case(
        "minutes of waiting behind a change",
        "M106 S120\n",
        "M106 S120\nG4 P400\n",
        "block-words",
        &["dwells for 400 s", "`times.head_change_s` is 4 s", "dwell_unit"],
    ),
    case(
        "a dwell where a head is waited for",
        "M109 T{{ tool }} S{{ temperature_c }}\n",
        "M109 T{{ tool }} S{{ temperature_c }}\nG4 P10\n",
        "block-words",
        &["`heat_wait` dwells for 10 s", "leave the dwell out"],
    ),
    case(
        "nothing that waits for a head",
        "M109 T{{ tool }} S{{ temperature_c }}",
        "M104 T{{ tool }} S{{ temperature_c }}",
        "block-words",
        &["`heat_wait` writes what `heat` writes", "a cold head would feed"],
    ),
    case("homing with a part on the bed", "M106 S120\n", "G28\n", "block-words", &["must not move"]),
    case("relative behind a change", "M106 S120\n", "G91\n", "block-words", &["`to_fibre` writes `G91`"]),
    case("arcs from the origin", "G90 G94\n", "G90 G94\nG90.1\n", "block-words", &["centres of arcs"]),
    case("turned coordinates", "G90 G94\n", "G90 G94\nG68 R30\n", "block-words", &["would be turned"]),
    case("polar coordinates", "G90 G94\n", "G90 G94\nG16\n", "block-words", &["would be polar"]),
    case("scaled coordinates", "G90 G94\n", "G90 G94\nG51 P2000\n", "block-words", &["would be scaled"]),
    case("shifted coordinates", "G90 G94\n", "G90 G94\nG52 X5\n", "block-words", &["would be shifted"]),
    case("an axis set anew", "G90 G94\n", "G90 G94\nG92 X0\n", "block-words", &["coordinates of an axis"]),
    case(
        "parked on the bed",
        "[tools]",
        "[head_change]\nway = \"park\"\nmatrix_at_mm = [160.0, 150.0]\nfibre_at_mm = [420.0, 280.0]\n[tools]",
        "profile-geometry",
        &["matrix head is put aside at x 160, y 150 mm", "3 mm away"],
    ),
    case(
        "docked beside the bed",
        "[tools]",
        "[head_change]\nway = \"dock\"\nmatrix_at_mm = [160.0, 280.0]\nfibre_at_mm = [387.0, 150.0]\n[tools]",
        "profile-geometry",
        &["fibre head is put aside at x 387, y 150 mm", "`head_change.fibre_at_mm`"],
    ),
    case(
        "idle below the working one",
        "fibre = [38.0, -1.5, 0.0]",
        "fibre = [38.0, -1.5, -4.2]",
        "profile-geometry",
        &["idle fibre nozzle hangs 1.200 mm below", "raises it by 3 mm"],
    ),
    case(
        "a place and no way",
        "[tools]",
        "[head_change]\nmatrix_at_mm = [10.0, 100.0]\n[tools]",
        "profile-geometry",
        &["`head_change.matrix_at_mm`", "`way = \"park\"`"],
    ),
    case("word that is none", "M107\n", "FAN_OFF\n", "block-words", &["FAN_OFF"]),
    case("syntax", "[tools]", "[tools", "toml-syntax", &["not TOML"]),
    case("a table twice", "[tools]", "[controller]", "toml-syntax", &["not TOML"]),
];

const TOW: &[Case] = &[
    case("unknown kind", "kind = \"tow\"", "kind = \"rope\"", "unknown-name", &["rope"]),
    case("misspelt key", "filaments = 3000", "filamnts = 3000", "unknown-key", &["did you mean `filaments`"]),
    case("half a filament", "filaments = 3000", "filaments = 0.5", "wrong-type", &["whole number"]),
    case("fibre does not fit", "height_mm = 0.2 ", "height_mm = 0.1 ", "tow-section", &["do not fit"]),
    case("tow does not fit", "area_mm2 = 0.1925", "area_mm2 = 0.3", "tow-section", &["does not fit"]),
    case("more fibre than tow", "filaments = 3000", "filaments = 6000", "tow-section", &["fraction 1.2"]),
    case("too light", "density_g_cm3 = 1.584", "density_g_cm3 = 1.2", "tow-density", &["impregnation"]),
    case(
        "no inner edge",
        "min_bend_radius_mm = 6.0",
        "min_bend_radius_mm = 0.4",
        "tow-bend",
        &["half the tow's width", "5 to 15 %"],
    ),
    case("no radius", "min_bend_radius_mm = 6.0", "min_bend_radius_mm = 0", "out-of-range", &["above 0"]),
];

const MATRIX: &[Case] = &[
    case("no density", "density_g_cm3 = 1.29", "density_g_cm3 = nan", "out-of-range", &["finite"]),
    case(
        "out of its own range",
        "process_temperature_c = 360",
        "process_temperature_c = 400",
        "material-temperature",
        &["380"],
    ),
    case("range upside down", "[330, 380]", "[380, 330]", "material-temperature", &["comes first"]),
    case("range of one", "[330, 380]", "[330]", "wrong-type", &["1 value"]),
];

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("bad profiles").join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a scratch folder");
    folder
}

/// Status and stderr; stdout must be empty.
fn towpath(folder: &Path, arguments: &[&str]) -> (Option<i32>, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_towpath"))
        .args(arguments)
        .current_dir(folder)
        .output()
        .expect("the built program starts");
    if output.status.code() != Some(0) {
        assert!(output.stdout.is_empty(), "{}", String::from_utf8_lossy(&output.stdout));
    }
    (output.status.code(), String::from_utf8_lossy(&output.stderr).into_owned())
}

/// A plan says so of each region that gets nothing because its tow trails too far.
#[test]
fn tow_that_trails_too_far_for_a_region_is_told_by_its_name() {
    let folder = folder("trailing");
    let profiles = Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles");
    let tow = std::fs::read_to_string(profiles.join("tows/carbon-3k-pekk.toml")).expect("a built-in file");
    let svg = r#"<svg xmlns="http://www.w3.org/2000/svg" width="90mm" height="40mm" viewBox="0 0 90 40"><rect x="0" y="0" width="90" height="40"/><circle cx="20" cy="20" r="6"/><circle cx="70" cy="20" r="6"/></svg>"#;
    let pin = |name: &str, x: i32| {
        format!(
            "[[region]]\nname = \"{name}\"\nshape = {{ hole_at_mm = [{x}.0, 20.0] }}\nrule = \"hoop\"\ncourses = 2\n"
        )
    };
    let job = job("tow") + "[reinforcement]\nmap = \"p.map.toml\"\n";
    for (name, text) in [
        ("mine.toml", tow.replacen("height_mm = ", "trail_mm = 8.0\nheight_mm = ", 1)),
        ("job.toml", job),
        ("p.svg", svg.to_owned()),
        ("p.map.toml", pin("left pin", 20) + &pin("right pin", 70)),
    ] {
        std::fs::write(folder.join(name), text).expect("a scratch file");
    }
    let (status, told) = towpath(&folder, &["plan", "job.toml", "--out", "out"]);
    assert_eq!(status, Some(0), "{told}");
    for pin in ["left pin", "right pin"] {
        let of_it =
            format!("warning[region-empty]: region `{pin}` gets no tow in any layer: tow that trails");
        assert_eq!(told.matches(&of_it).count(), 1, "{told}");
    }
    assert_eq!(told.matches("the tow's `trail_mm` is 8 mm: measure it").count(), 2, "{told}");
    let said = Command::new(env!("CARGO_BIN_EXE_towpath"))
        .args(["material", "check", "mine.toml"])
        .current_dir(&folder)
        .output()
        .expect("the built program starts");
    let said = String::from_utf8_lossy(&said.stdout).into_owned();
    assert!(
        said.contains("8 mm behind the nozzle") && said.contains("least hoop: round a hole of"),
        "{said}"
    );
}

/// A job in which `key` names the file `mine.toml`.
fn job(key: &str) -> String {
    let name = |k: &str, own: &str| if k == key { "mine.toml".to_owned() } else { own.to_owned() };
    format!(
        "[part]\nname = \"p\"\noutline = \"p.svg\"\nthickness_mm = 0.4\n[build]\nprinter = \"{}\"\nmatrix = \"{}\"\ntow = \"{}\"\n",
        name("printer", "shuttle-15"),
        name("matrix", "pekk"),
        name("tow", "carbon-3k-pekk")
    )
}

const SVG: &str = r#"<svg xmlns="http://www.w3.org/2000/svg" width="30mm" height="20mm" viewBox="0 0 30 20"><rect x="0" y="0" width="30" height="20"/></svg>"#;

fn all(key: &str, kind: &str, built_in: &str, cases: &[Case]) {
    let profiles = Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles");
    let good = std::fs::read_to_string(profiles.join(built_in)).expect("a built-in file");
    let mut wrong = String::new();
    for c in cases {
        let folder = folder(&format!("{key} {}", c.name));
        let at = good.find(c.from).unwrap_or_else(|| panic!("{}: nothing to replace", c.name));
        let line = good[..at].matches('\n').count() + 1;
        for (name, text) in
            [("mine.toml", good.replacen(c.from, c.to, 1)), ("job.toml", job(key)), ("p.svg", SVG.to_owned())]
        {
            std::fs::write(folder.join(name), text).expect("a scratch file");
        }
        for arguments in [&[kind, "check", "mine.toml"][..], &["plan", "job.toml", "--out", "out"]] {
            let (status, told) = towpath(&folder, arguments);
            // a few faults show at the value beside the one that was changed
            let near = (line.saturating_sub(4)..=line + 7).any(|l| told.contains(&format!("mine.toml:{l}:")));
            let code = told.contains(&format!("error[{}]", c.code));
            let says = c.says.iter().all(|s| told.contains(s));
            let wrote = folder.join("out").exists();
            if status != Some(1) || !near || !code || !says || wrote || told.contains("panicked") {
                wrong.push_str(&format!(
                    "{} {arguments:?}: status {status:?}, line {line} {near}, code {code}, says {says}, wrote {wrote}\n{told}\n",
                    c.name
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
}

#[test]
fn printers() {
    all("printer", "printer", "printers/shuttle-15.toml", PRINTER);
}

#[test]
fn tows() {
    all("tow", "material", "tows/carbon-3k-pekk.toml", TOW);
}

#[test]
fn matrices() {
    all("matrix", "material", "matrices/pekk.toml", MATRIX);
}

#[test]
fn every_fault_of_a_profile_at_once() {
    let folder = folder("at once");
    let profiles = Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles");
    let good = std::fs::read_to_string(profiles.join("printers/shuttle-15.toml")).expect("a built-in file");
    let bad = good
        .replacen("arcs = true", "arcs = 1", 1)
        .replacen("z = 200.0", "z = -1", 1)
        .replacen("[60.0, 10.0]", "[60.0, 100.0]", 1)
        .replacen("M11", "X1", 1)
        .replacen("{{ tool }}", "{{ tol }}", 2);
    std::fs::write(folder.join("mine.toml"), bad).expect("a scratch file");
    let (status, told) = towpath(&folder, &["printer", "check", "mine.toml"]);
    assert_eq!(status, Some(1));
    assert_eq!(told.matches("error[").count(), 6, "{told}");
}

#[test]
fn two_syntax_errors_are_both_told() {
    let folder = folder("two syntax errors");
    std::fs::write(folder.join("mine.toml"), "a = \nb = 3\nc = [1, 2\nd = 4\n").expect("a scratch file");
    let (status, told) = towpath(&folder, &["printer", "check", "mine.toml"]);
    assert_eq!(status, Some(1));
    assert!(told.matches("error[toml-syntax]").count() >= 2, "{told}");
}

#[test]
fn a_profile_of_ones_own_prints_as_the_built_in_one() {
    let folder = folder("own");
    let profiles = Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles");
    std::fs::copy(profiles.join("printers/shuttle-15.toml"), folder.join("mine.toml")).expect("a copy");
    std::fs::write(folder.join("p.svg"), SVG).expect("a scratch file");
    let mut programs = Vec::new();
    for (out, key) in [("own", "printer"), ("built in", "none")] {
        std::fs::write(folder.join("job.toml"), job(key)).expect("a scratch file");
        let (status, told) = towpath(&folder, &["plan", "job.toml", "--out", out]);
        assert_eq!(status, Some(0), "{told}");
        programs.push(std::fs::read_to_string(folder.join(out).join("p.gcode")).expect("a program"));
    }
    // the header tells the job's hash, which differs; the moves do not
    let moves = |p: &str| p.lines().filter(|l| l.starts_with('G')).map(str::to_owned).collect::<Vec<_>>();
    assert_eq!(moves(&programs[0]), moves(&programs[1]));
}

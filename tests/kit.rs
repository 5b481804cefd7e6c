//! The printer kit from outside: new, check, trial, fit, and the walk-through of
//! DEVELOPERS.md with the document's own commands.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

mod support;

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use support::machine::Machine;
use support::{parts, run};
use towpath::diagnostic::Source;
use towpath::job::printer;
use towpath::verify::timeline::Timeline;

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("kit").join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a scratch folder");
    folder
}

/// Status, stdout, stderr.
fn towpath(folder: &Path, arguments: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_towpath"))
        .args(arguments)
        .current_dir(folder)
        .output()
        .expect("the built program starts");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code(), text(&output.stdout), text(&output.stderr))
}

fn fine(folder: &Path, arguments: &[&str]) -> String {
    let (status, out, told) = towpath(folder, arguments);
    assert_eq!(status, Some(0), "{arguments:?}: {told}");
    // the machines of these tests are invented, which is told
    let only = told.is_empty() || told.starts_with("warning[profile-not-measured]");
    assert!(only && told.matches("[").count() < 2, "{arguments:?}: {told}");
    out
}

const BUILT_IN: [&str; 4] = ["shuttle-15", "reed-35", "heddle-25", "weir-20"];

fn built_in(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("profiles/printers/{name}.toml"));
    std::fs::read_to_string(path).expect("a built-in profile")
}

#[test]
fn a_new_profile_passes_and_is_not_overwritten() {
    let folder = folder("new");
    let said = fine(&folder, &["printer", "new", "sley-30", "--out", "sley.toml"]);
    assert!(said.contains("printer.schema.json"), "{said}");
    let text = std::fs::read_to_string(folder.join("sley.toml")).expect("written");
    assert!(text.starts_with("#:schema printer.schema.json\n"), "editors find the schema");
    let schema = std::fs::read_to_string(folder.join("printer.schema.json")).expect("written");
    assert_eq!(schema, fine(&folder, &["schema", "printer"]), "the schema beside it");
    let schema: serde_json::Value = serde_json::from_str(&schema).expect("JSON");
    let file: serde_json::Value = toml::from_str(&text).expect("TOML");
    assert!(jsonschema::is_valid(&schema, &file), "an editor finds no fault in it");
    let (_, said, told) = towpath(&folder, &["printer", "check", "sley.toml"]);
    assert!(said.contains("no faults") && said.contains("(course L1.1)"), "{said}");
    assert!(told.contains("warning[profile-not-measured]"), "values that nobody measured: {told}");
    // and wherever it is planned with, in the report too; a built-in machine is known to be one
    let link = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link");
    for file in ["link.svg", "map.toml"] {
        std::fs::copy(link.join(file), folder.join(file)).expect("a copy");
    }
    let job = std::fs::read_to_string(link.join("job.toml")).expect("the example's job");
    std::fs::write(folder.join("built-in.toml"), &job).expect("a scratch file");
    std::fs::write(folder.join("own.toml"), job.replace("\"shuttle-15\"", "\"sley.toml\""))
        .expect("a scratch file");
    for arguments in [&["plan", "own.toml", "--out", "out"][..], &["estimate", "own.toml", "--quick"]] {
        let (status, _, told) = towpath(&folder, arguments);
        assert_eq!(status, Some(0), "{told}");
        assert_eq!(told.matches("warning[profile-not-measured]").count(), 1, "{told}");
    }
    let report = std::fs::read_to_string(folder.join("out/treadle-link.report.html")).expect("a report");
    assert!(report.contains("values that are to be measured on the machine are those of"), "in the report");
    let (_, _, told) = towpath(&folder, &["estimate", "built-in.toml", "--quick"]);
    assert!(!told.contains("profile-not-measured"), "{told}");
    let (_, _, told) = towpath(&folder, &["printer", "trial", "sley.toml", "--out", "trials"]);
    assert!(told.contains("warning[profile-not-measured]"), "{told}");
    let (status, out, told) = towpath(&folder, &["printer", "new", "other", "--out", "sley.toml"]);
    assert_eq!((status, out.as_str()), (Some(2), ""), "{told}");
    assert!(told.contains("error[output-exists]"), "{told}");
    assert_eq!(std::fs::read_to_string(folder.join("sley.toml")).expect("still there"), text);
    let (status, _, told) = towpath(&folder, &["printer", "new", " ", "--out", "blank.toml"]);
    assert_eq!(status, Some(1), "{told}");
    assert!(!folder.join("blank.toml").exists(), "nothing is written of a bad name");
}

#[test]
fn the_small_program_is_small_and_of_the_machine() {
    let folder = folder("check");
    for name in BUILT_IN {
        let text = built_in(name);
        std::fs::write(folder.join("p.toml"), &text).expect("a scratch file");
        let said = fine(&folder, &["printer", "check", "p.toml", "--json"]);
        let said: serde_json::Value = serde_json::from_str(&said).expect("JSON");
        let program = said["sample"]["program"].as_str().expect("a program");
        assert!(program.lines().count() < 250, "{name}: {} lines", program.lines().count());
        assert_eq!(said["replay"]["faults"], 0, "{name}: {:#}", said["replay"]);
        let profile: toml::Table = toml::from_str(&text).expect("TOML");
        let controller = &profile["controller"];
        let arcs = program.lines().any(|l| l.starts_with("G2 ") || l.starts_with("G3 "));
        assert_eq!(Some(arcs), controller["arcs"].as_bool(), "{name}: arcs");
        let semicolons = program.starts_with(';');
        assert_eq!(semicolons, controller["comment"].as_str() == Some("semicolon"), "{name}: comments");
        let m6 = program.lines().any(|l| l.starts_with('T') && l.ends_with("M6"));
        assert_eq!(Some(m6), controller["tool_change_m6"].as_bool(), "{name}: M6");
        let cuts = program.matches("cut\n").count() + program.matches("cut)\n").count();
        assert_eq!(cuts, 4, "{name}: two courses in two layers");
        // a stepped machine takes as long as it says
        let seconds = said["sample"]["time_s"]["total"].as_f64().expect("seconds");
        let stepped = Machine::of(&text).run(program).total;
        assert!((stepped / seconds - 1.0).abs() < 1e-3, "{name}: {seconds} s, stepped {stepped} s");
    }
}

#[test]
fn the_built_in_printers_cover_the_ways_of_controllers_and_heads() {
    let has = |path: &[&str], value: &str| {
        BUILT_IN.iter().any(|name| {
            let profile: toml::Value = toml::from_str(&built_in(name)).expect("TOML");
            let found = path.iter().try_fold(&profile, |v, key| v.get(key));
            found.is_some_and(|v| v.to_string().trim_matches('"') == value)
        })
    };
    for (key, values) in [
        ("arcs", ["true", "false"]),
        ("extrusion", ["absolute", "relative"]),
        ("offsets_applied_by", ["program", "controller"]),
        ("comment", ["parentheses", "semicolon"]),
        ("tool_change_m6", ["true", "false"]),
        ("dwell_unit", ["s", "ms"]),
    ] {
        for value in values {
            assert!(has(&["controller", key], value), "no printer with {key} = {value}");
        }
    }
    assert!(has(&["head_change", "way"], "park") && has(&["head_change", "way"], "dock"), "ways to change");
}

/// What no schema sees, one fault each: what to replace, by what, the code, and
/// what is said.
const FAULTS: &[(&str, &str, &str, &str, &str)] = &[
    ("reed-35", "x = [-46.0, 374.0]", "x = [410.0, 830.0]", "profile-geometry", "both nozzles reach only"),
    ("reed-35", "z = [0.0, 250.0]", "z = [0.0, 4.0]", "profile-geometry", "4.0 mm of height"),
    (
        "heddle-25",
        "matrix_at_mm = [-60.0, 155.0]",
        "matrix_at_mm = [-80.0, 155.0]",
        "profile-geometry",
        "put aside",
    ),
    (
        "heddle-25",
        "fibre_at_mm = [430.0, 155.0]",
        "fibre_at_mm = [200.0, 155.0]",
        "profile-geometry",
        "on the bed where parts lie",
    ),
    (
        "weir-20",
        "matrix_at_mm = [60.0, 315.0]",
        "matrix_at_mm = [60.0, 272.0]",
        "profile-geometry",
        "3 mm away",
    ),
    ("shuttle-15", "dwell_unit = \"s\"", "dwell_unit = \"ms\"", "block-words", "dwells for 0.0005 s in all"),
    ("reed-35", "M83\n", "M82\n", "block-words", "`controller.extrusion` is \"relative\""),
    (
        "heddle-25",
        "matrix_at_mm = [20.0, 8.0]",
        "matrix_at_mm = [300.0, 8.0]",
        "profile-geometry",
        "purge line",
    ),
    ("weir-20", "time_constant_s = 240.0", "time_constant_s = 90.0", "profile-limits", "nears 380 degC"),
    ("weir-20", "heating_k_s = 0.2  ", "heating_k_s = 0.1  ", "profile-limits", "chamber"),
    ("weir-20", "G28\n", "G28\nM104 T2 S600\n", "block-words", "at most 480 degC"),
    ("weir-20", "G28\n", "G28\nM190 S300\n", "block-words", "the bed gets at most 230 degC"),
    ("reed-35", "G28\n", "G28\nG2 X5 Y5 I5 J0 F600\n", "block-words", "`controller.arcs` is false"),
    ("reed-35", "G28\n", "G28\nM104 T5 S100\n", "block-words", "no head has the number T5"),
];

#[test]
fn faults_that_no_schema_sees_are_told_with_their_line() {
    let folder = folder("faults");
    let schema = towpath::job::schema::printer();
    for (name, from, to, code, says) in FAULTS {
        let good = built_in(name);
        assert!(good.contains(from), "{name}: nothing to replace: {from}");
        let text = good.replacen(from, to, 1);
        let value: serde_json::Value = toml::from_str(&text).expect("TOML");
        assert!(jsonschema::is_valid(&schema, &value), "{name} {to}: the schema sees it");
        std::fs::write(folder.join("p.toml"), &text).expect("a scratch file");
        let (status, out, told) = towpath(&folder, &["printer", "check", "p.toml"]);
        assert_eq!((status, out.as_str()), (Some(1), ""), "{name} {to}: {told}");
        assert!(told.contains(&format!("error[{code}]")) && told.contains(says), "{name} {to}: {told}");
        assert!(told.contains("p.toml:"), "{name} {to}: {told}");
    }
}

/// What a start block lacks is told as a warning, by `printer check` and by `plan`.
#[test]
fn a_start_block_that_leaves_something_out_is_told() {
    let folder = folder("lacks");
    let good = built_in("shuttle-15");
    let at = good.find("start = '''\n").expect("the block") + "start = '''\n".len();
    let end = at + good[at..].find("'''").expect("its end");
    let empty = format!("{}{}", &good[..at], &good[end..]);
    let homing = "no homing (G28)";
    let cases: [(&str, String, &[&str]); 5] = [
        ("homing", good.replacen("G28\n", "", 1), &[homing]),
        ("wait", good.replacen("M190 S{{ bed_temperature_c }}\n", "", 1), &["no wait for the bed (M190)"]),
        ("mode", good.replacen("M82\n", "", 1), &["no M82 for the profile's `extrusion = \"absolute\"`"]),
        (
            "chamber",
            good.replacen("M191 S{{ chamber_temperature_c }}\n", "", 1),
            &["no heating of the chamber (M141 or M191)"],
        ),
        (
            "all",
            empty,
            &[homing, "no heating of the bed (M140 and M190)", "no heating of the chamber", "no M82"],
        ),
    ];
    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link");
    for file in ["link.svg", "map.toml"] {
        std::fs::copy(example.join(file), folder.join(file)).expect("an example's file");
    }
    let job = std::fs::read_to_string(example.join("job.toml")).expect("an example");
    std::fs::write(folder.join("job.toml"), job.replace("\"shuttle-15\"", "\"p.toml\"")).expect("a file");
    for (name, text, says) in cases {
        assert_ne!(text, good, "{name}");
        std::fs::write(folder.join("p.toml"), text).expect("a scratch file");
        let (_, said, told) = towpath(&folder, &["printer", "check", "p.toml"]);
        let warned = told.lines().find(|l| l.starts_with("warning[block-lacks]: the block `start` has "));
        let warned = warned.unwrap_or_else(|| panic!("{name}: {told}"));
        assert_eq!(warned.matches("no ").count(), says.len(), "{name}: {warned}");
        assert!(says.iter().all(|s| warned.contains(s)) && told.contains("p.toml:"), "{name}: {told}");
        assert!(said.contains("(course L1.1)"), "{name}: the small program is shown all the same");
        if name == "homing" {
            let (status, _, told) = towpath(&folder, &["plan", "job.toml", "--out", "o", "--no-verify"]);
            assert_eq!(status, Some(0), "{told}");
            assert!(told.contains(warned), "{told}");
        }
    }
}

#[test]
fn a_small_program_that_would_not_melt_is_told() {
    let folder = folder("cold");
    let text = built_in("shuttle-15");
    let hottest = "max_temperature_c = 450";
    assert!(text.contains(hottest), "nothing to replace");
    std::fs::write(folder.join("p.toml"), text.replacen(hottest, "max_temperature_c = 200", 1))
        .expect("a file");
    let (status, said, told) = towpath(&folder, &["printer", "check", "p.toml"]);
    assert_eq!(status, Some(0), "{told}");
    assert!(told.contains("warning[temperature-limit]: the matrix head gets at most 200 degC"), "{told}");
    assert!(told.contains("laid at 240 degC") && said.contains("laid too cold"), "{told}{said}");
}

/// Faults of the small program: the heading does not deny them, and each check names the
/// keys that it depends on.
#[test]
fn faults_of_the_small_program_name_the_keys_of_the_profile() {
    let folder = folder("keys");
    let good = built_in("shuttle-15");
    for (from, to, check, key) in [
        (
            "M109 T{{ tool }} S{{ temperature_c }}",
            "M109 T{{ tool }} S{{ temperature_c - 20 }}",
            "temperature",
            "blocks.heat_wait",
        ),
        ("M104 T{{ matrix_tool }} S0\n", "", "ending", "blocks.end"),
    ] {
        assert!(good.contains(from), "nothing to replace: {from}");
        std::fs::write(folder.join("p.toml"), good.replacen(from, to, 1)).expect("a scratch file");
        let (status, said, told) = towpath(&folder, &["printer", "check", "p.toml"]);
        assert_eq!(status, Some(1), "{told}");
        let first = said.lines().next().expect("a heading");
        assert!(first.starts_with("p.toml: ") && first.contains("fault"), "{first}");
        assert!(!said.contains("no faults"), "{said}");
        let section =
            said.split("\n\n").find(|s| s.starts_with(&format!("{check}: "))).expect("its findings");
        assert!(
            section.contains("keys of the profile that it depends on")
                && section.contains(&format!("`{key}`")),
            "{section}"
        );
        let (_, said, _) = towpath(&folder, &["printer", "check", "p.toml", "--json"]);
        let json: serde_json::Value = serde_json::from_str(&said).expect("JSON");
        assert_eq!(json["faults"], json["replay"]["faults"], "one count of faults");
    }
}

#[test]
fn trials_are_programs_with_a_sheet() {
    let folder = folder("trials");
    for name in BUILT_IN {
        fine(&folder, &["printer", "trial", name, "--out", name]);
        let sheet = std::fs::read_to_string(folder.join(name).join("sheet.md")).expect("a sheet");
        for word in [
            "emergency stop",
            "fumes",
            "burn",
            "`cutter_to_nozzle_mm`",
            "`offsets_mm.fibre`",
            "`heads.fibre.feed_scale`",
            "`heads.matrix.feed_scale`",
            "`min_bend_radius_mm`",
            "`width_mm`",
            "printer fit",
        ] {
            assert!(sheet.contains(word), "{name}: the sheet does not speak of {word}");
        }
        let profile: toml::Value = toml::from_str(&built_in(name)).expect("TOML");
        let tail = profile["cutter_to_nozzle_mm"].as_float().expect("mm");
        for trial in ["cut-distance", "bend-comb", "tow-spacing", "head-offset", "feed-tow", "feed-matrix"] {
            assert!(sheet.contains(&format!("`{trial}.gcode`")), "{name}: {trial} is not on the sheet");
            let text =
                std::fs::read_to_string(folder.join(name).join(format!("{trial}.gcode"))).expect("a program");
            // tow is fed to the nozzle once for each cut
            let marks = |word: &str| {
                text.lines().filter(|l| l.trim_matches(['(', ')', ';', ' ']).starts_with(word)).count()
            };
            let (courses, cuts) = (marks("course "), marks("cut"));
            assert_eq!(courses, cuts, "{name} {trial}");
            let fed = text.lines().filter(|l| {
                let l = l.split(" F").next().unwrap_or(l);
                l.strip_prefix("G1 E")
                    .and_then(|e| e.parse::<f64>().ok())
                    .is_some_and(|e| (e - tail).abs() < 1e-9)
            });
            assert_eq!(fed.count(), courses, "{name} {trial}: tow to the nozzle");
            // what is too tight or too close on purpose is found, and nothing else
            let file = format!("{name}/{trial}.gcode");
            let (status, out, _) = towpath(&folder, &["verify", &file, "--printer", name, "--json"]);
            let found: serde_json::Value = serde_json::from_str(&out).expect("JSON");
            let checks = found["checks"].as_array().expect("checks");
            let at_fault: Vec<&str> =
                checks.iter().filter(|c| c["faults"] != 0).filter_map(|c| c["check"].as_str()).collect();
            let arcs = profile["controller"]["arcs"].as_bool() == Some(true);
            let told: &[&str] = match trial {
                "bend-comb" if arcs => &["bend"],
                "bend-comb" => &["bend", "joint"],
                "tow-spacing" => &["apart"],
                _ => &[],
            };
            assert_eq!(at_fault, told, "{file}");
            assert_eq!(status, Some(i32::from(!told.is_empty())), "{file}");
            assert!(
                told.iter().all(|t| sheet.contains(&format!("`{t}`"))),
                "{name}: {trial} tells of {told:?}"
            );
        }
    }
    let (status, _, told) = towpath(&folder, &["printer", "trial", "shutle-15", "--out", "x"]);
    assert_eq!(status, Some(1), "{told}");
    assert!(told.contains("did you mean `shuttle-15`"), "{told}");
    let (status, _, told) = towpath(
        &folder,
        &["printer", "trial", "reed-35", "--out", "x", "--tow", "carbon-1k5-peek", "--matrix", "pa13"],
    );
    assert_eq!(status, Some(1), "{told}");
    assert!(told.contains("did you mean `pa12`"), "{told}");
}

#[test]
fn a_sheet_that_has_been_filled_in_is_kept() {
    let folder = folder("filled sheet");
    let again = || towpath(&folder, &["printer", "trial", "reed-35", "--out", "t"]);
    let sheet = folder.join("t/sheet.md");
    fine(&folder, &["printer", "trial", "reed-35", "--out", "t"]);
    let fresh = std::fs::read_to_string(&sheet).expect("a sheet");
    // nobody has written into it, an editor has only saved it with line ends of its own
    std::fs::write(&sheet, fresh.replace('\n', "\r\n")).expect("the sheet");
    let (status, _, told) = again();
    assert_eq!(status, Some(0), "{told}");
    assert_eq!(std::fs::read_to_string(&sheet).expect("a sheet"), fresh);
    let filled = fresh.replacen("______ mm", "14.6 mm", 1);
    std::fs::write(&sheet, &filled).expect("the sheet");
    std::fs::remove_file(folder.join("t/feed-tow.gcode")).expect("a trial");
    let (status, _, told) = again();
    assert!(status == Some(2) && told.contains("error[output-exists]"), "{told}");
    assert!(told.contains("sheet.md` is not as it was written"), "{told}");
    assert_eq!(std::fs::read_to_string(&sheet).expect("a sheet"), filled);
    assert!(!folder.join("t/feed-tow.gcode").exists(), "nothing was written");
}

#[test]
fn loops_of_blocks_end() {
    let folder = folder("loops");
    let loops = "{% for a in range(9999) %}{% for b in range(9999) %}{% endfor %}{% endfor %}";
    let profile = built_in("reed-35").replacen("end = '''", &format!("end = '''\n{loops}"), 1);
    std::fs::write(folder.join("p.toml"), profile).expect("a profile");
    let (status, _, told) = towpath(&folder, &["printer", "check", "p.toml"]);
    assert!(status == Some(1) && told.contains("error[block-template]"), "{told}");
    assert!(told.contains("does a loop run too often?"), "{told}");
}

/// Where the beads and courses of a trial lie: commanded x of lines along y.
#[test]
fn the_lines_of_the_head_offset_trial_are_a_vernier() {
    let folder = folder("vernier");
    fine(&folder, &["printer", "trial", "reed-35", "--out", "t"]);
    let text = std::fs::read_to_string(folder.join("t/head-offset.gcode")).expect("a program");
    let at = text.find("; layer 2 ").expect("a second layer");
    let (mut x, mut y) = (0.0, 0.0);
    let (mut beads, mut courses) = (Vec::new(), Vec::new());
    let mut fibre = false;
    for line in text[at..].lines() {
        if line.starts_with('T') {
            fibre = line == "T1";
        }
        let word = |l: char| line.split(' ').find_map(|w| w.strip_prefix(l)?.parse::<f64>().ok());
        let to = (word('X').unwrap_or(x), word('Y').unwrap_or(y));
        let long = f64::abs(to.1 - y) > 9.0 && f64::abs(to.0 - x) < 1e-9;
        if line.starts_with("G1 ") && long {
            if fibre { courses.push(to.0) } else { beads.push(to.0) }
        }
        (x, y) = to;
    }
    courses.sort_by(f64::total_cmp);
    courses.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
    beads.sort_by(f64::total_cmp);
    assert_eq!((beads.len(), courses.len()), (13, 13), "thirteen of each");
    for k in 0..13 {
        let shift = courses[k] - beads[k];
        let want = 0.1 * (k as f64 - 6.0);
        assert!((shift - want).abs() < 0.002, "line {k}: {shift} mm");
    }
}

/// `h:mm:ss` as a watch shows it.
fn clock(seconds: f64) -> String {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "hours of printing")]
    let s = seconds.round() as u64;
    format!("{}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60)
}

/// A planned program of a part, on the profile as it stands.
fn planned(folder: &Path, seed: u64) -> String {
    let mut part = parts::part(seed);
    for name in ["shuttle-15", "reed-35"] {
        part.job = part.job.replace(&format!("printer = \"{name}\""), "printer = \"../public.toml\"");
    }
    let at = folder.join(format!("part {seed}"));
    let job = part.write(&at).expect("the part can be written");
    let ran = run::plan(&job, &at.join("out"));
    assert_eq!(ran.status, Some(0), "{}", ran.told);
    ran.file(".gcode").expect("a program").1
}

/// Machines whose controllers are not as their profile says are timed (in steps,
/// by code of its own) and fitted; programs that were not timed then take the
/// time that the fit foretells.
#[test]
fn a_fit_foretells_programs_that_were_not_timed() {
    let shuttle = built_in("shuttle-15");
    let reed = built_in("reed-35");
    let hidden = |text: &str, change: &[(&str, &str)]| {
        change.iter().fold(text.to_owned(), |t, (from, to)| {
            assert!(t.contains(from), "nothing to replace: {from}");
            t.replacen(from, to, 1)
        })
    };
    let machines = [
        (
            &shuttle,
            hidden(
                &shuttle,
                &[
                    ("head_change_s = 4.0", "head_change_s = 9.7"),
                    ("dwell_unit = \"s\"", "block_time_s = 0.007\ndwell_unit = \"s\""),
                    ("work = 1000.0", "work = 430.0"),
                    ("travel = 2000.0", "travel = 900.0"),
                ],
            ),
        ),
        (
            &reed,
            hidden(
                &reed,
                &[
                    ("head_change_s = 7.0", "head_change_s = 5.2"),
                    ("dwell_unit = \"ms\"", "block_time_s = 0.02\ndwell_unit = \"ms\""),
                    ("work = 600.0", "work = 1150.0"),
                    ("travel = 1500.0", "travel = 2400.0"),
                ],
            ),
        ),
    ];
    for (k, (public, secret)) in machines.into_iter().enumerate() {
        let folder = folder(&format!("fit {k}"));
        std::fs::write(folder.join("public.toml"), public).expect("a scratch file");
        fine(&folder, &["printer", "trial", "public.toml", "--out", "trials"]);
        let machine = Machine::of(&secret);
        let mut arguments: Vec<String> =
            ["printer", "fit", "public.toml", "--out", "fitted.toml", "--json"].map(str::to_owned).to_vec();
        for name in ["time-changes", "time-lines", "time-work", "time-travel"] {
            let file = format!("trials/{name}.gcode");
            let text = std::fs::read_to_string(folder.join(&file)).expect("a program");
            let took = clock(machine.run(&text).total);
            arguments.extend(["--program".to_owned(), file, "--took".to_owned(), took]);
        }
        let text = planned(&folder, 7);
        std::fs::write(folder.join("seven.gcode"), &text).expect("a scratch file");
        let took = clock(machine.run(&text).total);
        arguments.extend(["--program".to_owned(), "seven.gcode".to_owned(), "--took".to_owned(), took]);
        let borrowed: Vec<&str> = arguments.iter().map(String::as_str).collect();
        let said: serde_json::Value = serde_json::from_str(&fine(&folder, &borrowed)).expect("JSON");
        assert_eq!(said["rank"], 4, "machine {k}: all four are told: {said:#}");
        let fitted = std::fs::read_to_string(folder.join("fitted.toml")).expect("written");
        assert_eq!(
            fitted.lines().count() - usize::from(!public.contains("block_time_s")),
            public.lines().count(),
            "comments and all else stay"
        );
        let source = |text: &str| Arc::new(Source { name: "p.toml".to_owned(), text: text.to_owned() });
        let fitted = printer::read(&source(&fitted)).expect("a profile");
        let before = printer::read(&source(public)).expect("a profile");
        for seed in [11, 23, 38] {
            let text = planned(&folder, seed);
            let took = machine.run(&text).total;
            let of = |p: &printer::Printer| {
                Timeline::of(p, "x", text.as_bytes()).expect("a program").seconds(p) / took - 1.0
            };
            let (old, new) = (of(&before), of(&fitted));
            assert!(new.abs() < 0.02, "machine {k}, part {seed}: off by {:.2} %", 100.0 * new);
            assert!(new.abs() < old.abs(), "machine {k}, part {seed}: no better than before, {old} {new}");
        }
    }
}

#[test]
fn a_fit_says_what_its_times_cannot_tell() {
    let folder = folder("untold");
    fine(&folder, &["printer", "trial", "shuttle-15", "--out", "t"]);
    // only head changes: nothing about lines or work
    let text = std::fs::read_to_string(folder.join("t/time-changes.gcode")).expect("a program");
    let machine = Machine::of(&built_in("shuttle-15").replace("head_change_s = 4.0", "head_change_s = 6.5"));
    let took = clock(machine.run(&text).total);
    let arguments = ["printer", "fit", "shuttle-15", "--program", "t/time-changes.gcode", "--took", &took];
    let said = fine(&folder, &arguments);
    assert!(said.contains("tell 1 of 4 directions apart"), "{said}");
    assert!(said.contains("hardly depend on") || said.contains("cannot tell"), "{said}");
    let json = fine(&folder, &[&arguments[..], &["--json"]].concat());
    let json: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    let fitted = json["parameters"][0]["fitted"].as_f64().expect("seconds");
    assert!((fitted - 6.5).abs() < 0.1, "head change {fitted} s");
    let untold = json["untold"].to_string();
    for key in ["controller.block_time_s", "limits.acceleration_mm_s2.work"] {
        assert!(untold.contains(key), "{untold}");
    }
}

/// The four trials tell all that there is to tell; without the strokes of work the
/// accelerations cannot be told apart, and a time that nothing explains writes no profile.
#[test]
fn the_trials_tell_accelerations_apart_and_no_fit_is_made_up() {
    let folder = folder("apart");
    let public = built_in("shuttle-15");
    std::fs::write(folder.join("public.toml"), &public).expect("a scratch file");
    fine(&folder, &["printer", "trial", "public.toml", "--out", "t"]);
    let secret = public
        .replacen("head_change_s = 4.0", "head_change_s = 9.0", 1)
        .replacen("work = 1000.0", "work = 300.0", 1)
        .replacen("travel = 2000.0", "travel = 700.0", 1);
    let machine = Machine::of(&secret);
    let timed = |name: &str| {
        let file = format!("t/{name}.gcode");
        let text = std::fs::read_to_string(folder.join(&file)).expect("a program");
        ["--program".to_owned(), file, "--took".to_owned(), clock(machine.run(&text).total)]
    };
    let fit = |programs: &[[String; 4]], out: &str| {
        let more = programs.iter().flatten().map(String::as_str);
        let all: Vec<&str> =
            ["printer", "fit", "public.toml", "--json", "--out", out].into_iter().chain(more).collect();
        towpath(&folder, &all)
    };
    let four = ["time-changes", "time-lines", "time-work", "time-travel"].map(timed);
    let (status, said, told) = fit(&four, "all.toml");
    assert_eq!(status, Some(0), "{told}");
    let json: serde_json::Value = serde_json::from_str(&said).expect("JSON");
    for (key, want) in [
        ("times.head_change_s", 9.0),
        ("limits.acceleration_mm_s2.work", 300.0),
        ("limits.acceleration_mm_s2.travel", 700.0),
    ] {
        let parameters = json["parameters"].as_array().expect("a list");
        let fitted = parameters.iter().find(|p| p["key"] == key).expect("the key")["fitted"].as_f64();
        let fitted = fitted.expect("a number");
        assert!((fitted / want - 1.0).abs() < 0.05, "{key}: {fitted}, {want} is right");
    }
    // heating that is denied is no acceleration: the fit says that it is far off
    let more: Vec<&str> = four.iter().flatten().map(String::as_str).collect();
    let (_, said, _) = towpath(&folder, &[&["printer", "fit", "public.toml", "--hot"][..], &more].concat());
    assert!(
        said.contains("`limits.acceleration_mm_s2.work` comes out") && said.contains("times less"),
        "{said}"
    );
    // strokes of both kinds in one program: one time for two accelerations
    let [work, travel] = ["work", "travel"]
        .map(|n| std::fs::read_to_string(folder.join(format!("t/time-{n}.gcode"))).expect("a program"));
    // out of one program the moves, behind those of the other
    let moves: String =
        travel.lines().filter(|l| l.starts_with("G0 X")).fold(String::new(), |t, l| t + l + "\n");
    let last = work.rfind("\nM107").expect("the end block");
    std::fs::write(folder.join("t/both.gcode"), format!("{}\n{moves}{}", &work[..last], &work[last + 1..]))
        .expect("a scratch file");
    let (status, said, told) = fit(&[timed("time-changes"), timed("both")], "both.toml");
    assert_eq!((status, said.contains("\"errors\"")), (Some(1), true), "{said}");
    assert!(told.contains("error[fit-off]: `t/both.gcode` took "), "{told}");
    assert!(
        told.contains("cannot tell `limits.acceleration_mm_s2.work` and `limits.acceleration_mm_s2.travel` apart: they stay as they were"),
        "{told}"
    );
    // no values explain these
    for took in ["0:05:00", "100:00:00"] {
        let wrong = ["--program", "t/time-lines.gcode", "--took", took].map(str::to_owned);
        let (status, _, told) = fit(&[wrong], "wrong.toml");
        assert_eq!(status, Some(1), "{told}");
        assert!(told.contains(&format!("error[fit-off]: `t/time-lines.gcode` took {took}")), "{told}");
    }
    for file in ["both.toml", "wrong.toml"] {
        assert!(!folder.join(file).exists(), "{file} was written");
    }
}

#[test]
fn what_the_times_hardly_depend_on_stays_as_it_was() {
    let folder = folder("held");
    let job = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link/job.toml");
    towpath(&folder, &["--quiet", "plan", &job.display().to_string(), "--out", "o"]);
    let program = "o/treadle-link.gcode";
    let arguments = ["printer", "fit", "shuttle-15", "--program", program, "--took", "1:38:00", "--json"];
    let json: serde_json::Value = serde_json::from_str(&fine(&folder, &arguments)).expect("JSON");
    let untold = json["untold"].to_string();
    let mut held = 0;
    for p in json["parameters"].as_array().expect("a list") {
        let key = p["key"].as_str().expect("a key");
        if untold.contains(&format!("hardly depend on `{key}`")) {
            held += 1;
            assert_eq!(p["before"], p["fitted"], "{key}");
        }
    }
    assert!(held > 0, "one program tells little: {untold}");
}

#[test]
fn bad_data_for_a_fit_are_told() {
    let folder = folder("bad fit");
    std::fs::write(folder.join("a.gcode"), "G21\nG1 X5 F600\n").expect("a scratch file");
    let fit = |more: &[&str]| towpath(&folder, &[&["printer", "fit", "reed-35"], more].concat());
    let (status, _, told) = fit(&["--program", "a.gcode", "--took", "0:10:00"]);
    assert_eq!(status, Some(1), "{told}");
    assert!(told.contains("error[program-unread]") && told.contains("T0"), "{told}");
    let (status, _, told) = fit(&["--program", "a.gcode", "--took", "0:10:00", "--took", "0:11:00"]);
    assert_eq!(status, Some(2), "{told}");
    assert!(told.contains("error[fit-pairs]"), "{told}");
    let (status, _, told) = fit(&["--program", "a.gcode", "--took", "ten"]);
    assert_eq!(status, Some(2), "{told}");
    assert!(told.contains("h:mm:ss"), "{told}");
    let (status, _, told) = fit(&["--program", "none.gcode", "--took", "0:10:00"]);
    assert_eq!(status, Some(2), "{told}");
    assert!(told.contains("error[input-missing]"), "{told}");
}

/// The walk-through of DEVELOPERS.md, with its own files and commands.
#[test]
fn the_walk_through_ends_with_a_program() {
    let folder = folder("walk-through");
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("DEVELOPERS.md");
    let text = std::fs::read_to_string(path).expect("the document");
    let section =
        text.split("\n## ").find(|s| s.starts_with("A printer from a blank file")).expect("its section");
    let (mut commands, mut files) = (0, 0);
    let mut rest = section;
    while let Some((_, after)) = rest.split_once("\n```") {
        let (block, behind) = after.split_once("\n```").expect("a block ends");
        let (kind, body) = block.split_once('\n').expect("a kind and a text");
        match kind {
            "sh" => {
                for line in body.lines().filter(|l| !l.trim().is_empty()) {
                    let words: Vec<&str> = line.split_whitespace().take_while(|w| *w != "#").collect();
                    assert_eq!(words[0], "towpath", "{line}");
                    let (status, _, told) = towpath(&folder, &words[1..]);
                    assert_eq!(status, Some(0), "{line}: {told}");
                    assert!(!told.contains("error["), "{line}: {told}");
                    commands += 1;
                }
            }
            // a change: `-` lines are replaced by the `+` lines after them
            "diff" => {
                let name = body.lines().next().expect("a file").trim_start_matches('#').trim();
                let file = folder.join(name);
                let mut text = std::fs::read_to_string(&file).expect("the file is there");
                let lines: Vec<&str> = body.lines().skip(1).collect();
                for pair in lines.chunks(2) {
                    let old = pair[0].strip_prefix('-').expect("what was");
                    let new = pair[1].strip_prefix('+').expect("what is");
                    assert_eq!(text.matches(&format!("\n{old}\n")).count(), 1, "{old}");
                    text = text.replace(&format!("\n{old}\n"), &format!("\n{new}\n"));
                }
                std::fs::write(&file, text).expect("a scratch file");
                files += 1;
            }
            _ => {
                let name = body.lines().next().expect("a file").trim_matches(['#', '<', '>', '!', '-', ' ']);
                std::fs::write(folder.join(name), body).expect("a scratch file");
                files += 1;
            }
        }
        rest = behind;
    }
    assert!(commands >= 5 && files >= 3, "{commands} commands, {files} files");
    let program = std::fs::read_to_string(folder.join("out/first-strap.gcode")).expect("a program");
    let profile = std::fs::read_to_string(folder.join("sley-30.toml")).expect("the profile");
    assert!(program.contains("T3 M6"), "the profile's own heads");
    // it takes the time that it says
    let plan = std::fs::read_to_string(folder.join("out/first-strap.plan.json")).expect("a plan");
    let plan: serde_json::Value = serde_json::from_str(&plan).expect("JSON");
    let total = plan["estimate"]["time_s"]["total"].as_f64().expect("seconds");
    let stepped = Machine::of(&profile).run(&program).total;
    assert!((stepped / total - 1.0).abs() < 1e-3, "{total} s, stepped {stepped} s");
}

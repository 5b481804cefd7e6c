//! Every command but `plan`'s work: what goes to stdout, what to stderr, and the
//! exit status.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

struct Ran {
    status: Option<i32>,
    out: String,
    told: String,
}

fn command() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_towpath"));
    command.env_remove("NO_COLOR").env_remove("CLICOLOR_FORCE");
    command
}

fn towpath(arguments: &[&str]) -> Ran {
    run(command().args(arguments))
}

fn run(command: &mut Command) -> Ran {
    let output = command.output().expect("the built program starts");
    Ran {
        status: output.status.code(),
        out: String::from_utf8(output.stdout).expect("stdout is UTF-8"),
        told: String::from_utf8(output.stderr).expect("stderr is UTF-8"),
    }
}

/// Runs well: status 0, nothing on stderr.
fn fine(arguments: &[&str]) -> String {
    let ran = towpath(arguments);
    assert_eq!((ran.status, ran.told.as_str()), (Some(0), ""), "{arguments:?}");
    ran.out
}

fn json(text: &str) -> Value {
    serde_json::from_str(text).expect("stdout is JSON")
}

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("commands").join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a scratch folder");
    folder
}

fn path(file: &Path) -> &str {
    file.to_str().expect("a plain path")
}

#[test]
fn a_wrong_command_line_is_told_as_json_too() {
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_towpath"))
        .args(["--json", "plan", "job.toml", "--out", "o", "-j", "0"])
        .output()
        .expect("the built program starts");
    assert_eq!(output.status.code(), Some(2));
    let told: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(told["errors"][0]["code"], "command-line");
    assert!(told["errors"][0]["message"].as_str().expect("text").contains("threads"), "{told}");
    assert!(String::from_utf8_lossy(&output.stderr).contains("error: "), "and as text");
    for (arguments, message, help) in [
        (&["--json", "plan"][..], "<JOB.toml>", ""),
        (&["--json", "plan", "--otu", "x"], "--otu", "as a value"),
    ] {
        let ran = towpath(arguments);
        let error = json(&ran.out)["errors"][0].clone();
        assert!(
            ran.status == Some(2) && error["message"].as_str().is_some_and(|m| m.contains(message)),
            "{error}"
        );
        assert!(help.is_empty() || error["help"].to_string().contains(help), "{error}");
    }
}

#[test]
fn each_built_in_printer_is_listed_shown_and_passes_its_check() {
    let listed = json(&fine(&["printer", "list", "--json"]));
    let printers = listed.as_array().expect("a list");
    assert!(printers.len() >= 2, "{listed}");
    let text = fine(&["printer", "list"]);
    for p in printers {
        let name = p["name"].as_str().expect("a name");
        assert!(text.contains(name), "{text}");
        let shown = fine(&["printer", "show", name]);
        assert_eq!(json(&fine(&["--json", "printer", "show", name])), *p, "{name}");
        let file = folder(name).join("mine.toml");
        std::fs::write(&file, &shown).expect("a scratch file");
        let ran = towpath(&["printer", "check", path(&file)]);
        let checked = &ran.out;
        assert!(checked.contains("no faults") && checked.contains("shortest course"), "{checked}");
        // a file with the values of an invented machine
        let warned = ran.told.starts_with("warning[profile-not-measured]") && ran.told.contains(name);
        assert!(ran.status == Some(0) && warned, "{}", ran.told);
        let ran = towpath(&["printer", "check", path(&file), "--json"]);
        let checked = json(&ran.out);
        assert_eq!((ran.status, &checked["faults"]), (Some(0), &Value::from(0)));
        assert_eq!(checked["warnings"][0]["code"], "profile-not-measured");
        assert_eq!(fine(&["printer", "check", path(&file), "--quiet"]), "");
    }
}

#[test]
fn the_printers_differ_where_printers_differ() {
    let listed = json(&fine(&["printer", "list", "--json"]));
    let seen = |pointer: &str| -> Vec<String> {
        let mut values: Vec<String> = listed
            .as_array()
            .expect("a list")
            .iter()
            .map(|p| p.pointer(pointer).expect("every profile has it").to_string())
            .collect();
        values.sort();
        values.dedup();
        values
    };
    assert_eq!(seen("/controller/arcs"), ["false", "true"]);
    assert_eq!(seen("/controller/extrusion"), ["\"absolute\"", "\"relative\""]);
    assert_eq!(seen("/controller/offsets_applied_by"), ["\"controller\"", "\"program\""]);
    assert_eq!(seen("/controller/comment"), ["\"parentheses\"", "\"semicolon\""]);
    assert_eq!(seen("/controller/dwell_unit"), ["\"ms\"", "\"s\""]);
    assert!(seen("/cutter_to_nozzle_mm").len() > 1);
}

#[test]
fn each_built_in_material_is_listed_shown_and_passes_its_check() {
    let listed = json(&fine(&["material", "list", "--json"]));
    let text = fine(&["material", "list"]);
    for (kind, least) in [("matrix", 3), ("tow", 3)] {
        let of_kind: Vec<&Value> =
            listed.as_array().expect("a list").iter().filter(|m| m["kind"] == kind).collect();
        assert!(of_kind.len() >= least, "{kind}: {listed}");
        for m in of_kind {
            let name = m["name"].as_str().expect("a name");
            assert!(text.contains(name), "{text}");
            let file = folder(name).join("mine.toml");
            std::fs::write(&file, fine(&["material", "show", name])).expect("a scratch file");
            assert!(fine(&["material", "check", path(&file)]).contains("no faults"));
        }
    }
}

#[test]
fn a_tow_matches_each_matrix() {
    let listed = json(&fine(&["material", "list", "--json"]));
    let polymers = |kind: &str| -> Vec<&str> {
        let all = listed.as_array().expect("a list").iter().filter(|m| m["kind"] == kind);
        all.map(|m| m["polymer"].as_str().expect("a polymer")).collect()
    };
    for polymer in polymers("matrix") {
        assert!(polymers("tow").contains(&polymer), "no tow for {polymer}");
    }
}

#[test]
fn unknown_names_are_told_with_what_was_meant() {
    for (arguments, meant) in [
        (["printer", "show", "shuttle-51"], "shuttle-15"),
        (["material", "show", "peak"], "peek"),
        (["explain", "unknown-kye", "--quiet"], "unknown-key"),
    ] {
        let ran = towpath(&arguments);
        assert_eq!((ran.status, ran.out.as_str()), (Some(1), ""), "{arguments:?}");
        assert!(ran.told.contains(&format!("did you mean `{meant}`?")), "{}", ran.told);
    }
}

#[test]
fn schemas_are_schemas() {
    for what in ["job", "map", "printer", "material", "plan"] {
        let schema = json(&fine(&["schema", what]));
        assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema", "{what}");
        assert!(jsonschema::meta::is_valid(&schema), "{what}");
    }
}

#[test]
fn every_code_is_explained() {
    for code in towpath::diagnostic::codes::ALL {
        let text = fine(&["explain", code.name]);
        assert!(text.starts_with(code.name) && text.lines().all(|l| l.len() <= 100), "{text}");
        assert_eq!(json(&fine(&["explain", code.name, "--json"]))["code"], code.name);
    }
    let ran = towpath(&["explain", "no such thing"]);
    assert_eq!((ran.status, ran.out.as_str()), (Some(1), ""));
    assert!(
        ran.told.starts_with("error[unknown-code]: there is no diagnostic and no check `no such thing`"),
        "{}",
        ran.told
    );
}

#[test]
fn completions_for_every_shell() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = fine(&["completions", shell]);
        assert!(script.contains("towpath") && script.contains("explain"), "{shell}");
    }
    let fish = fine(&["completions", "fish"]);
    let behind = |when: &str| {
        let when = format!("complete -c towpath -n \"__fish_towpath_using_subcommand {when}\" -f -a \"");
        let line = fish.lines().find_map(|l| l.strip_prefix(&when));
        line.unwrap_or_else(|| panic!("nothing behind {when}: {fish}")).to_owned()
    };
    assert!(behind("schema").starts_with("job map printer"), "{fish}");
    assert!(behind("completions").contains("zsh"), "{fish}");
    assert!(behind("explain").contains("left-out"), "{fish}");
    assert!(behind("printer; and __fish_seen_subcommand_from show").contains("shuttle-15"), "{fish}");
    assert!(behind("material; and __fish_seen_subcommand_from show").contains("pa12"), "{fish}");
}

#[test]
fn help_and_version_are_data() {
    assert!(fine(&["--help"]).contains("Usage: towpath"));
    assert!(fine(&["plan", "--help"]).contains("--threads"));
    assert_eq!(fine(&["--version"]), format!("towpath {}\n", env!("CARGO_PKG_VERSION")));
}

#[test]
fn a_command_line_that_makes_no_sense_could_not_run() {
    for arguments in [
        &["frobnicate"][..],
        &["plan"],
        &["plan", "job.toml"],
        &["plan", "job.toml", "--out", "o", "--threads", "0"],
        &["plan", "job.toml", "--out", "o", "--color", "pink"],
        &["schema", "table"],
        &["printer"],
        &["completions", "tcsh9"],
        &[],
    ] {
        let ran = towpath(arguments);
        assert_eq!((ran.status, ran.out.as_str()), (Some(2), ""), "{arguments:?}");
        assert!(ran.told.contains("Usage:") || ran.told.starts_with("error: "), "{}", ran.told);
    }
}

#[test]
fn what_comes_later_is_not_offered() {
    let help = fine(&["--help"]);
    for later in ["propose", "strength", "press"] {
        assert!(!help.lines().any(|l| l.trim().starts_with(later)), "{later}:\n{help}");
        assert_eq!(towpath(&[later]).status, Some(2), "{later}");
    }
}

#[test]
fn a_file_named_on_the_command_line_that_is_missing_or_a_folder_could_not_run() {
    let folder = folder("none");
    let missing = folder.join("none.toml");
    for arguments in [
        vec!["plan", path(&missing), "--out", path(&folder)],
        vec!["plan", path(&folder), "--out", path(&folder)],
        vec!["printer", "check", path(&missing)],
        vec!["material", "check", path(&folder)],
    ] {
        let ran = towpath(&arguments);
        assert_eq!((ran.status, ran.out.as_str()), (Some(2), ""), "{arguments:?}");
        assert!(ran.told.starts_with("error[input-"), "{}", ran.told);
    }
}

/// 1: the job, part, profile or program is at fault, a file that it names and that is
/// missing, too. 2: it could not run; the job itself is missing.
#[test]
fn exit_statuses_are_the_same_for_every_command() {
    let folder = folder("statuses");
    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link");
    for name in ["map.toml", "link.svg"] {
        std::fs::copy(example.join(name), folder.join(name)).expect("a copy");
    }
    let good = std::fs::read_to_string(example.join("job.toml")).expect("the job");
    let job = |name: &str, from: &str, to: &str| -> String {
        let path = folder.join(name);
        assert!(good.contains(from), "{from}");
        std::fs::write(&path, good.replace(from, to)).expect("a job");
        path.to_str().expect("a plain path").to_owned()
    };
    let right = job("right.toml", "x", "x");
    let at_fault = [
        job("word.toml", "\"shuttle-15\"", "\"nope\""),
        job("path.toml", "\"shuttle-15\"", "\"./nope.toml\""),
        job("map-missing.toml", "\"map.toml\"", "\"nope.map.toml\""),
        job("outline-missing.toml", "\"link.svg\"", "\"nope.svg\""),
        job("wrong.toml", "[build]", "[biuld]"),
    ];
    let missing = path(&folder.join("none.toml")).to_owned();
    let out = path(&folder.join("out")).to_owned();
    let status = |arguments: &[&str]| {
        let ran = towpath(arguments);
        assert!(!ran.told.contains("panicked"), "{}", ran.told);
        ran.status
    };
    for wrong in &at_fault {
        assert_eq!(status(&["plan", wrong, "--out", &out]), Some(1), "{wrong}");
        assert_eq!(status(&["estimate", wrong, "--quick"]), Some(1), "{wrong}");
        assert_eq!(status(&["estimate", &right, wrong, "--quick"]), Some(1), "{wrong} among others");
    }
    assert_eq!(status(&["plan", &missing, "--out", &out]), Some(2));
    assert_eq!(status(&["estimate", &missing, "--quick"]), Some(2));
    assert_eq!(status(&["estimate", &right, &missing, "--quick"]), Some(2), "missing among others");
    assert_eq!(status(&["estimate", &at_fault[0], &missing, "--quick"]), Some(2), "whatever else is wrong");
    assert_eq!(status(&["estimate", &right, &right, "--quick"]), Some(0));
    // a name that is not built in is a wrong name, a path that is not there a missing file
    assert_eq!(status(&["verify", &missing, "--printer", "nope"]), Some(1));
    assert_eq!(status(&["verify", &right, "--printer", &missing]), Some(2));
    assert_eq!(status(&["verify", &missing, "--printer", "shuttle-15"]), Some(2));
    assert_eq!(status(&["printer", "check", &missing]), Some(2));
    assert_eq!(status(&["printer", "check", &right]), Some(1), "a job is no profile");
    assert!(!Path::new(&out).exists(), "nothing was written");
}

/// Two jobs that call their parts alike: the second says what it replaces.
#[test]
fn replacing_the_program_of_another_job_is_told() {
    let folder = folder("alike");
    let tests = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/verify");
    for name in ["plate.svg", "plate.map.toml"] {
        std::fs::copy(tests.join(name), folder.join(name)).expect("a scratch copy");
    }
    let text = std::fs::read_to_string(tests.join("arcs.toml")).expect("the job");
    let out = folder.join("out");
    let plan = |name: &str| {
        let job = folder.join(name);
        std::fs::write(&job, &text).expect("a job");
        fine_but_for_warnings(&["plan", path(&job), "--out", path(&out), "--json"])
    };
    let report = || std::fs::read(out.join("plate-arcs.report.html")).expect("the report");
    assert!(!plan("left.toml").told.contains("output-of-another-job"), "nothing was there");
    let again = plan("left.toml");
    assert!(!again.told.contains("output-of-another-job"), "its own: {}", again.told);
    let other = plan("right.toml");
    assert!(other.told.contains("warning[output-of-another-job]"), "{}", other.told);
    assert!(other.told.contains("job `left.toml`") && other.told.contains("`plate-arcs`"), "{}", other.told);
    let codes = json(&other.out)["warnings"].to_string();
    assert!(codes.contains("output-of-another-job"), "{codes}");
    // the same job gives the same bytes whatever lay there before
    let over = report();
    assert!(!plan("right.toml").told.contains("output-of-another-job"), "its own by now");
    assert!(over == report(), "the report is not about the folder");
    // what is no plan of towpath's is nobody's
    std::fs::write(out.join("plate-arcs.plan.json"), "{\"inputs\": 3}").expect("a file");
    assert!(!plan("left.toml").told.contains("output-of-another-job"));
}

#[test]
fn faults_as_json() {
    let folder = folder("faults");
    let file = folder.join("mine.toml");
    let text = fine(&["printer", "show", "reed-35"]).replace("chord_mm = 0.01", "chord_mn = 0.01");
    let text: String =
        text.lines().filter(|l| !l.starts_with("anchor_mm")).map(|l| format!("{l}\n")).collect();
    std::fs::write(&file, text).expect("a scratch file");
    let ran = towpath(&["printer", "check", path(&file), "--json"]);
    assert_eq!(ran.status, Some(1));
    let errors = &json(&ran.out)["errors"];
    let codes: Vec<&str> =
        errors.as_array().expect("a list").iter().map(|e| e["code"].as_str().expect("a code")).collect();
    assert_eq!(codes, ["missing-key", "unknown-key"], "{}", ran.out);
    assert_eq!(errors[1]["help"][0], "did you mean `chord_mm`?");
    assert!(errors[0]["message"].as_str().is_some_and(|m| m.contains("`anchor_mm`")), "{}", ran.out);
    assert!(errors[1]["line"].as_u64().is_some_and(|l| l > 10), "{}", ran.out);
    assert!(ran.told.contains("error[unknown-key]"), "errors are told in text, too: {}", ran.told);
}

#[test]
fn colour_only_where_it_is_wanted() {
    let wrong = ["explain", "nothing"];
    assert!(!towpath(&wrong).told.contains('\u{1b}'), "a pipe is no terminal");
    assert!(towpath(&["explain", "nothing", "--color", "always"]).told.contains("\u{1b}["));
    assert!(!towpath(&["explain", "nothing", "--color", "never"]).told.contains('\u{1b}'));
    let ran = run(command().args(wrong).env("NO_COLOR", "1"));
    assert!(!ran.told.contains('\u{1b}'), "{}", ran.told);
}

#[test]
fn a_pipe_that_nobody_reads_is_no_error() {
    for arguments in
        [&["schema", "job"][..], &["printer", "show", "reed-35"], &["--help"], &["completions", "zsh"]]
    {
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        let child = command().args(arguments).stdout(writer).stderr(Stdio::piped()).spawn();
        let output = child.and_then(std::process::Child::wait_with_output).expect("the built program starts");
        assert_eq!(output.status.code(), Some(0), "{arguments:?}");
        assert!(output.stderr.is_empty(), "{}", String::from_utf8_lossy(&output.stderr));
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_told() {
    let full = std::fs::OpenOptions::new().write(true).open("/dev/full").expect("linux has it");
    let ran = run(command().args(["schema", "job"]).stdout(full).stderr(Stdio::piped()));
    assert_eq!(ran.status, Some(2));
    assert!(ran.told.starts_with("error[output-unwritable]"), "{}", ran.told);
    for words in [["--help"], ["--version"]] {
        let full = std::fs::OpenOptions::new().write(true).open("/dev/full").expect("linux has it");
        let ran = run(command().args(words).stdout(full).stderr(Stdio::piped()));
        assert_eq!(ran.status, Some(2), "{words:?}");
    }
}

#[test]
fn an_output_folder_that_cannot_be_made_could_not_run() {
    let folder = folder("no room");
    let file = folder.join("taken");
    std::fs::write(&file, "a file, no folder").expect("a scratch file");
    let job = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link/job.toml");
    let ran = towpath(&["plan", path(&job), "--out", path(&file)]);
    assert_eq!((ran.status, ran.out.as_str()), (Some(2), ""), "{}", ran.told);
    assert!(ran.told.contains("error[output-unwritable]"), "{}", ran.told);
    let kept = std::fs::read_to_string(&file).expect("the file is still there");
    assert_eq!(kept, "a file, no folder");
    // and before the work: a job that is not there is not looked for
    let mut places = vec![path(&file).to_owned(), file.join("below").display().to_string()];
    if cfg!(target_os = "linux") {
        places.push("/proc/none".to_owned());
    }
    for place in places {
        let picture = format!("{place}/layer.svg");
        for arguments in [
            &["plan", "none.toml", "--out", &place][..],
            &["picture", "none.toml", "-l", "1", "--out", &picture],
        ] {
            let ran = towpath(arguments);
            assert_eq!(ran.status, Some(2), "{}", ran.told);
            let told = ran.told.contains("error[output-unwritable]") && ran.told.contains("with --out");
            assert!(told && !ran.told.contains("none.toml"), "{}", ran.told);
        }
    }
    let new = folder.join("new/below");
    let ran = towpath(&["plan", "none.toml", "--out", path(&new)]);
    assert!(ran.told.contains("error[input-missing]"), "{}", ran.told);
    let left: Vec<_> = std::fs::read_dir(&folder).expect("the folder").collect();
    assert_eq!(left.len(), 1, "nothing was made but the scratch file: {left:?}");
}

#[test]
fn quiet_and_json_of_a_plan() {
    let folder = folder("plan");
    let job = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link/job.toml");
    let plan = |more: &[&str]| {
        let mut arguments = vec!["plan", path(&job), "--out", path(&folder)];
        arguments.extend_from_slice(more);
        fine_but_for_warnings(&arguments)
    };
    let ran = plan(&["--quiet"]);
    assert_eq!((ran.out.as_str(), ran.told.as_str()), ("", ""));
    let ran = plan(&["--json", "-j", "2", "--quiet"]);
    let result = json(&ran.out);
    assert!(result["estimate"]["fibre_length_mm"].as_f64().is_some_and(|l| l > 0.0), "{result}");
    let ran = plan(&[]);
    assert!(ran.out.contains("link"), "{}", ran.out);
    assert!(!ran.told.contains('\r') && !ran.told.contains('\u{1b}'), "no progress in a pipe: {}", ran.told);
}

/// A folder where the report would be: nothing else is written over either.
#[test]
fn an_output_that_cannot_take_its_name_leaves_the_others_alone() {
    let out = folder("taken");
    std::fs::create_dir_all(out.join("treadle-link.report.html")).expect("a folder");
    std::fs::write(out.join("treadle-link.gcode"), "from before").expect("a file");
    let job = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link/job.toml");
    let ran = towpath(&["plan", path(&job), "--out", path(&out), "--quiet"]);
    assert_eq!(ran.status, Some(2), "{}", ran.told);
    assert!(
        ran.told.contains("error[output-unwritable]") && ran.told.contains("is a folder"),
        "{}",
        ran.told
    );
    let before = std::fs::read_to_string(out.join("treadle-link.gcode")).expect("the old one");
    assert_eq!(before, "from before");
    let left = std::fs::read_dir(&out).expect("the folder").count();
    assert_eq!(left, 2, "no temporary file is left");
}

/// The lots typed in the job stand in the program's header, the plan and the report;
/// a sign that would end a comment does not.
#[test]
fn material_lots_can_be_traced() {
    let folder = folder("lots");
    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link");
    for name in ["job.toml", "map.toml", "link.svg"] {
        std::fs::copy(example.join(name), folder.join(name)).expect("a copy");
    }
    let job = folder.join("job.toml");
    let text = std::fs::read_to_string(&job).expect("the job");
    let text = text.replace("[lots]", "[lots_before]");
    let lots = "\n[lots]\nmatrix = \"M 26-114 <b>\"\ntow = \"T (0931)\\u00e9\"\n";
    assert!(!text.contains("lots_before"), "the example has no lots of its own");
    std::fs::write(&job, text + lots).expect("a job");
    fine_but_for_warnings(&["plan", path(&job), "--out", path(&folder.join("out")), "--quiet"]);
    let read = |ending: &str| {
        std::fs::read_to_string(folder.join(format!("out/treadle-link{ending}"))).expect("a product")
    };
    let program = read(".gcode");
    let header: Vec<&str> = program.lines().take_while(|l| !l.contains("layer 1 ")).collect();
    assert!(header.iter().any(|l| l.contains("matrix pa12, lot M 26-114")), "{header:#?}");
    let tow = header.iter().find(|l| l.contains("tow carbon-1k-pa12, lot T ")).expect("the tow's lot");
    assert_eq!(tow.matches('(').count(), tow.matches(')').count(), "one comment: {tow}");
    assert!(tow.is_ascii() && tow.contains("0931"), "{tow}");
    let plan = json(&read(".plan.json"));
    assert_eq!(plan["matrix"]["lot"], "M 26-114 <b>");
    assert_eq!(plan["tow"]["lot"], "T (0931)\u{e9}");
    let report = read(".report.html");
    assert!(report.contains("M 26-114 &lt;b&gt;") && report.contains("T (0931)\u{e9}"), "in the report");
    // a lot that looks like the header's figures, in a job whose tow has a built-in one's
    // name and other limits: the check of the program is not misled
    let own = fine(&["material", "show", "carbon-1k-pa12"]);
    let wider = own.replace("min_bend_radius_mm = 4.0", "min_bend_radius_mm = 3.0");
    assert_ne!(own, wider, "the built-in tow's radius is another one");
    std::fs::write(folder.join("tow.toml"), wider).expect("a tow");
    let odd = std::fs::read_to_string(&job)
        .expect("the job")
        .replace("M 26-114 <b>", "2026-05-01 10:30:00, layers 3, copies 4, fibre length 5 mm")
        .replace("tow = \"carbon-1k-pa12\"", "tow = \"tow.toml\"");
    let misled = folder.join("odd.toml");
    std::fs::write(&misled, odd).expect("a job");
    fine_but_for_warnings(&["plan", path(&misled), "--out", path(&folder.join("odd")), "--quiet"]);
    let program = folder.join("odd/treadle-link.gcode");
    let ran = fine_but_for_warnings(&["verify", path(&program), "--printer", "shuttle-15"]);
    let bend = ran.out.lines().find(|l| l.starts_with("bend ")).expect("a line for bends");
    assert!(bend.contains(" 0.0000 mm  ok"), "limits of a tow of the user's own are not known: {bend}");
    // names of materials are the user's words too
    for (k, name) in
        ["PA12 (black)", "PA12, natur, lot 3", "Polyamid f\u{fc}r \u{201e}X\u{201c}"].iter().enumerate()
    {
        let matrix =
            fine(&["material", "show", "pa12"]).replace("name = \"pa12\"", &format!("name = \"{name}\""));
        assert!(matrix.contains(name), "{matrix}");
        std::fs::write(folder.join("own.toml"), matrix).expect("a matrix");
        let tow = own.replace("name = \"carbon-1k-pa12\"", &format!("name = \"tow, {name}\""));
        std::fs::write(folder.join("tow.toml"), tow).expect("a tow");
        let named = folder.join("named.toml");
        let text = std::fs::read_to_string(&misled)
            .expect("a job")
            .replace("matrix = \"pa12\"", "matrix = \"own.toml\"");
        std::fs::write(&named, text).expect("a job");
        let out = folder.join(format!("named{k}"));
        fine_but_for_warnings(&["plan", path(&named), "--out", path(&out), "--quiet"]);
        let (program, plan) = (out.join("treadle-link.gcode"), out.join("treadle-link.plan.json"));
        fine_but_for_warnings(&["verify", path(&program), "--printer", "shuttle-15", "--plan", path(&plan)]);
    }
    // a job without lots says so where somebody looks for them
    let bare = folder.join("bare");
    fine_but_for_warnings(&["plan", path(&example.join("job.toml")), "--out", path(&bare), "--quiet"]);
    let program = std::fs::read_to_string(bare.join("treadle-link.gcode")).expect("a program");
    assert!(program.contains("matrix pa12, lot not given"), "{}", program.lines().next().unwrap_or_default());
}

fn fine_but_for_warnings(arguments: &[&str]) -> Ran {
    let ran = towpath(arguments);
    assert_eq!(ran.status, Some(0), "{}", ran.told);
    assert!(!ran.told.contains("error["), "{}", ran.told);
    ran
}

/// A good program with its plan, in a folder.
fn program(name: &str) -> (String, String) {
    let out = folder(name);
    let job = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/verify/arcs.toml");
    let ran = towpath(&["plan", job, "--out", path(&out), "--quiet"]);
    assert_eq!(ran.status, Some(0), "{}", ran.told);
    (path(&out.join("plate-arcs.gcode")).to_owned(), path(&out.join("plate-arcs.plan.json")).to_owned())
}

#[test]
fn verify_tells_a_good_program_from_a_bad_one() {
    let (program, plan) = program("verify");
    let table = fine(&["verify", &program, "--printer", "shuttle-15", "--plan", &plan]);
    assert!(table.contains("no faults") && table.contains("\nbend ") && !table.contains("FAULT"), "{table}");
    assert!(table.contains(" by its own clock: no faults"), "a time that the header need not share: {table}");
    let alone = fine(&["verify", &program, "--printer", "shuttle-15"]);
    assert!(alone.contains("without a plan"), "{alone}");
    assert_eq!(fine(&["verify", &program, "--printer", "shuttle-15", "--quiet"]), "");
    let good = json(&fine(&["verify", &program, "--printer", "shuttle-15", "--plan", &plan, "--json"]));
    assert_eq!((&good["faults"], &good["with_plan"]), (&Value::from(0), &Value::from(true)));

    let text = std::fs::read_to_string(&program).expect("the program").replacen("F900", "F1900", 1);
    std::fs::write(&program, text).expect("a scratch file");
    let ran = towpath(&["verify", &program, "--printer", "shuttle-15", "--json"]);
    assert_eq!(ran.status, Some(1));
    let checks = json(&ran.out)["checks"].as_array().expect("a list").clone();
    let speed = checks.iter().find(|c| c["check"] == "speed").expect("a check of speeds");
    assert_eq!(speed["verdict"], "fault");
    assert!(speed["place"]["line"].as_u64() > Some(1) && speed["limit"].as_f64() > Some(0.9), "{speed}");
    let ran = towpath(&["verify", &program, "--printer", "shuttle-15", "--quiet"]);
    assert!(ran.status == Some(1) && ran.out.contains("FAULT"), "{}", ran.out);
}

#[test]
fn verify_tells_what_it_cannot_read() {
    let (program, plan) = program("verify-unread");
    // a file that the command line names and that is not there: nothing could be checked
    for (arguments, code, status) in [
        (vec!["verify", &program, "--printer", "shutle-15"], "unknown-name", 1),
        (vec!["verify", "nowhere.gcode", "--printer", "shuttle-15"], "input-missing", 2),
        (vec!["verify", &program, "--printer", "shuttle-15", "--plan", &program], "plan-unreadable", 1),
        (vec!["verify", &program, "--printer", "shuttle-15", "--plan", "nowhere.json"], "input-missing", 2),
    ] {
        let ran = towpath(&arguments);
        assert!(ran.status == Some(status) && ran.told.contains(code), "{arguments:?}: {}", ran.told);
    }
    // shares of nothing are told as missing
    let empty = folder("verify-empty").join("empty.gcode");
    std::fs::write(&empty, "").expect("a file");
    let ran = towpath(&["verify", path(&empty), "--printer", "shuttle-15", "--plan", &plan, "--json"]);
    assert_eq!(ran.status, Some(1), "{}", ran.told);
    let checks = json(&ran.out)["checks"].as_array().expect("a list").clone();
    for (name, says) in [("estimate", "none of it found"), ("estimate-time", "nothing moves")] {
        let check = checks.iter().find(|c| c["check"] == name).expect("a check");
        assert_eq!(
            (&check["verdict"], check["worst"].as_f64()),
            (&Value::from("fault"), Some(100.0)),
            "{check}"
        );
        assert!(check["findings"][0]["text"].as_str().is_some_and(|t| t.contains(says)), "{check}");
    }
    // another printer's program is told, not refused
    let ran = towpath(&["verify", &program, "--printer", "reed-35", "--plan", &plan]);
    assert!(ran.status == Some(1) && ran.out.contains("plan-printer"), "{}", ran.out);
}

#[test]
fn a_reach_without_the_heads_offset_is_doubted_and_small_parts_can_be_made() {
    let to = folder("idle-reach");
    let profile = fine(&["printer", "show", "shuttle-15"]);
    let wrong = profile.replacen("x = [38.0, 428.0]", "x = [0.0, 390.0]", 1);
    assert_ne!(profile, wrong);
    std::fs::write(to.join("mine.toml"), wrong).expect("a scratch file");
    let says = "while the matrix nozzle works at x 385 mm, which is on `bed_mm`, the fibre nozzle on the same carriage is at x 423.000 mm: it reaches 0 to 390 mm";
    let ran = towpath(&["printer", "check", path(&to.join("mine.toml"))]);
    assert!(ran.status == Some(0) && ran.told.contains(says), "{}", ran.told);
    assert!(ran.told.contains("38.000 mm more, by `offsets_mm`: 38.000 to 428.000 mm"), "{}", ran.told);
    let tests = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/verify");
    for name in ["plate.svg", "plate.map.toml"] {
        std::fs::copy(tests.join(name), to.join(name)).expect("a scratch copy");
    }
    let text = std::fs::read_to_string(tests.join("arcs.toml")).expect("the job");
    std::fs::write(to.join("job.toml"), text.replace("shuttle-15", "mine.toml")).expect("a scratch file");
    let ran = towpath(&["plan", path(&to.join("job.toml")), "--out", path(&to.join("out"))]);
    assert!(
        ran.status == Some(0) && !ran.told.contains("[idle-reach]"),
        "it gets nowhere near: {}",
        ran.told
    );
}

#[test]
fn blocks_that_depend_on_values_are_the_profiles_own() {
    let to = folder("own-blocks");
    let file = to.join("mine.toml");
    let good = fine(&["printer", "show", "shuttle-15"]);
    let check = |from: &str, with: &str| {
        let changed = good.replacen(from, with, 1);
        assert_ne!(changed, good, "{from}");
        std::fs::write(&file, changed).expect("a scratch file");
        towpath(&["printer", "check", path(&file)])
    };
    for end in [
        "end = '''\nM106 S0\n{% if bed_temperature_c > 100 %}G4 P60\n{% endif -%}\nG28 X0 Y0\n",
        "end = '''\nM106 S{{ bed_temperature_c }}\nG28 X0 Y0\n",
    ] {
        let ran = check("end = '''\n", end);
        assert_eq!(ran.status, Some(0), "{end}: {}{}", ran.out, ran.told);
    }
    // a bed that the controller heats by itself
    let bare = good
        .lines()
        .filter(|l| !(l.starts_with("M140 S{{") || l.starts_with("M190 S{{")))
        .map(|l| format!("{l}\n"))
        .collect::<String>();
    assert_ne!(bare.len(), good.len());
    std::fs::write(&file, bare).expect("a scratch file");
    let ran = towpath(&["printer", "check", path(&file)]);
    assert!(ran.status == Some(0) && ran.told.contains("block-lacks"), "{}{}", ran.out, ran.told);
}

#[test]
fn a_start_block_may_move_before_a_head_is_selected() {
    let to = folder("start-moves");
    let file = to.join("mine.toml");
    let check = |moves: &str| {
        let profile =
            fine(&["printer", "show", "shuttle-15"]).replacen("G28\n", &format!("G28\n{moves}\n"), 1);
        std::fs::write(&file, profile).expect("a scratch file");
        towpath(&["printer", "check", path(&file)])
    };
    let ran = check("G0 Z5 F600\nG0 X10 Y5 F6000");
    assert_eq!(ran.status, Some(0), "{}{}", ran.out, ran.told);
    let ran = check("G1 X10 E5 F600");
    assert_eq!(ran.status, Some(1), "tow or matrix of which head: {}", ran.out);
}

#[test]
fn a_program_that_fails_its_check_is_not_left() {
    let job = folder("planner-fault");
    let tests = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/verify");
    for name in ["plate.svg", "plate.map.toml"] {
        std::fs::copy(tests.join(name), job.join(name)).expect("a scratch copy");
    }
    // two units on one line: which of them holds, a controller decides
    let profile = fine(&["printer", "show", "shuttle-15"]).replacen("G28\n", "G28\nG21 G20\n", 1);
    std::fs::write(job.join("mine.toml"), profile).expect("a scratch file");
    let text = std::fs::read_to_string(tests.join("arcs.toml")).expect("the job");
    std::fs::write(job.join("job.toml"), text.replace("shuttle-15", "mine.toml")).expect("a scratch file");
    let (file, out) = (job.join("job.toml"), job.join("out"));
    let ran = towpath(&["plan", path(&file), "--out", path(&out)]);
    assert!(ran.status == Some(1) && ran.told.contains("planner-fault"), "{}", ran.told);
    assert!(ran.told.contains("`controller`") && ran.told.contains("line "), "{}", ran.told);
    let help = "help: keys of the profile that it depends on: `controller`, `blocks`";
    assert!(ran.told.contains(help) && !ran.told.contains("; :"), "{}", ran.told);
    assert!(!out.exists(), "not even the folder is made");
    let ran = towpath(&["plan", path(&file), "--out", path(&out), "--no-verify"]);
    assert_eq!((ran.status, out.join("plate-arcs.gcode").exists()), (Some(0), true), "{}", ran.told);
}

/// Parts of matrix alone that are all short beads: the plan's own check of its time, of its
/// flow and of what stays bare passes.
#[test]
fn plates_of_small_holes_and_strips_of_one_bead_are_planned() {
    let folder = folder("fine");
    let mut holes = String::new();
    for k in 0..16 {
        let (x, y) = (10.0 + 5.5 * f64::from(k % 4), 10.0 + 5.5 * f64::from(k / 4));
        holes += &format!("<circle cx='{x}' cy='{y}' r='1.6'/>");
    }
    for (name, body) in [
        ("plate", format!("<rect x='5' y='5' width='27' height='27'/>{holes}").as_str()),
        ("strip", "<rect x='5' y='5' width='40' height='0.5'/>"),
        ("sliver", "<rect x='5' y='5' width='0.6' height='8'/>"),
        ("wedge", "<polygon points='5,5 6.1,5 5,45'/>"),
    ] {
        let svg = format!(
            "<svg xmlns='http://www.w3.org/2000/svg' width='60mm' height='60mm' viewBox='0 0 60 60'>{body}</svg>"
        );
        std::fs::write(folder.join("part.svg"), svg).expect("a drawing");
        let job = folder.join("job.toml");
        let text = format!(
            "[part]\nname = \"{name}\"\noutline = \"part.svg\"\nthickness_mm = 0.4\n[build]\nprinter = \"shuttle-15\"\nmatrix = \"pa12\"\ntow = \"carbon-1k-pa12\"\n"
        );
        std::fs::write(&job, text).expect("a job");
        let ran = fine_but_for_warnings(&["plan", path(&job), "--out", path(&folder.join("out"))]);
        assert!(ran.out.contains("build time"), "{name}: {}", ran.out);
        let plan = std::fs::read_to_string(folder.join(format!("out/{name}.plan.json"))).expect("a plan");
        let plan = json(&plan);
        for bead in plan["layers"][0]["beads"].as_array().expect("beads") {
            let (width, area) = (bead["width_mm"].as_f64(), bead["area_mm2"].as_f64());
            let share = area.expect("an area") / (0.2 * width.expect("a width"));
            assert!((0.5..2.5).contains(&share), "{name}: a bead's section against its width: {bead}");
        }
    }
}

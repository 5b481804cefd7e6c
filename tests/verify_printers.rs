//! Every example on every built-in printer, and on printers that are changed where
//! planner and check must understand each other: the check finds nothing, and warns of
//! nothing.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

use serde_json::Value;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use towpath::diagnostic::Notes;
use towpath::job::builtin;
use towpath::plan::{Planned, plan};
use towpath::verify::findings::Check;
use towpath::verify::{Verdict, verify};

/// A copy of an example for another printer's profile; its job.
fn job(example: &str, folder: &str, profile: &str) -> PathBuf {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(example);
    let to = Path::new(env!("CARGO_TARGET_TMPDIR")).join("printers").join(folder).join(example);
    std::fs::create_dir_all(&to).expect("a folder");
    for entry in std::fs::read_dir(&from).expect("the example") {
        let file = entry.expect("a file").path();
        std::fs::copy(&file, to.join(file.file_name().expect("a name"))).expect("a copy");
    }
    std::fs::write(to.join("printer.toml"), profile).expect("a profile");
    let job = to.join("job.toml");
    let text = std::fs::read_to_string(&job).expect("the job");
    let lines =
        text.lines().map(|l| if l.starts_with("printer = ") { "printer = \"printer.toml\"" } else { l });
    std::fs::write(&job, lines.fold(String::new(), |text, l| text + l + "\n")).expect("the job again");
    job
}

fn planned(job: &Path) -> (Planned, Verdict) {
    let planned = plan(&mut Notes::default(), job).expect("it is planned");
    let verdict = verify(
        "p.gcode",
        planned.program.as_bytes(),
        &planned.job.printer,
        Some(("p.plan.json", planned.plan.as_bytes())),
    )
    .expect("plan and profile are readable");
    (planned, verdict)
}

/// Checks that found a fault or warn, one line each.
fn found(what: &str, verdict: &Verdict) -> String {
    let checks = verdict.ledger.json();
    let mut out = String::new();
    for c in checks.as_array().expect("a list of checks") {
        if c["verdict"] == "fault" || c["verdict"] == "warning" {
            let _ = writeln!(out, "{what}: {} {}: {}", c["check"], c["verdict"], c["findings"][0]["text"]);
        }
    }
    out
}

fn worst(verdict: &Verdict, check: Check) -> f64 {
    let checks = verdict.ledger.json();
    let row = checks.as_array().expect("a list").iter().find(|c| c["check"] == check.name());
    row.and_then(|c| c["worst"].as_f64()).unwrap_or(f64::NAN)
}

fn profile(name: &str) -> String {
    builtin::PRINTERS.iter().find(|p| p.name == name).expect("it is built in").text.to_owned()
}

/// Heads that heat and cool as slowly as asked for.
fn slower(text: &str, by: f64) -> String {
    let mut table = "";
    text.lines().fold(String::new(), |mut out, l| {
        if l.starts_with('[') {
            table = l;
        }
        let rate = l.strip_prefix("heating_k_s = ").filter(|_| table.starts_with("[heads."));
        let time = l.strip_prefix("time_constant_s = ").filter(|_| table.starts_with("[heads."));
        let number =
            |s: &str| s.split([' ', '#']).next().and_then(|n| n.parse::<f64>().ok()).expect("a number");
        let _ = match (rate, time) {
            (Some(v), _) => writeln!(out, "heating_k_s = {}", number(v) / by),
            (_, Some(v)) => writeln!(out, "time_constant_s = {}", number(v) * by),
            _ => writeln!(out, "{l}"),
        };
        out
    })
}

#[test]
fn every_example_on_every_printer_is_found_without_fault_or_warning() {
    let mut text = String::new();
    for p in builtin::PRINTERS {
        for example in ["guide", "link"] {
            let (_, verdict) = planned(&job(example, p.name, p.text));
            text += &found(&format!("{example} on {}", p.name), &verdict);
        }
    }
    let (_, verdict) = planned(&job("rocker", "weir-20", &profile("weir-20")));
    text += &found("rocker on weir-20", &verdict);
    assert!(text.is_empty(), "{text}");
}

/// With heads that take minutes to heat the first turn is too short to heat the other
/// one in: it is waited for, and the head that was put aside cools meanwhile.
#[test]
fn slow_heads_are_not_left_hot_while_the_other_is_waited_for() {
    let mut text = String::new();
    for name in ["weir-20", "reed-35"] {
        let (planned, verdict) =
            planned(&job("guide", &format!("slow {name}"), &slower(&profile(name), 12.0)));
        text += &found(name, &verdict);
        assert!(planned.estimate.time_s.heating > 200.0, "{name}: heads are waited for");
        let rows = verdict.ledger.json();
        let standby =
            rows.as_array().expect("a list").iter().find(|c| c["check"] == "standby").expect("a row");
        assert!(standby["worst"].as_f64() < standby["limit"].as_f64(), "{standby}");
    }
    assert!(text.is_empty(), "{text}");
}

/// What a head must be told for each mm that it feeds stands in its profile, and in the
/// plan: E is longer or shorter by that, tow laid and volumes are what they are.
#[test]
fn a_drive_that_slips_is_told_more() {
    let name = "shuttle-15";
    let (straight, plain) = planned(&job("link", "scale 1", &profile(name)));
    let scaled = profile(name)
        .replace("[heads.matrix]\n", "[heads.matrix]\nfeed_scale = 1.05\n")
        .replace("[heads.fibre]\n", "[heads.fibre]\nfeed_scale = 0.98\n");
    let (slipping, verdict) = planned(&job("link", "scale other", &scaled));
    assert_eq!(found("scaled", &verdict), "");
    let plan: Value = serde_json::from_str(&slipping.plan).expect("the plan is JSON");
    assert_eq!(plan["printer"]["feed_scale"]["matrix"].as_f64(), Some(1.05));
    assert_eq!(plan["printer"]["feed_scale"]["fibre"].as_f64(), Some(0.98));
    let (a, b) = (plain.figures, verdict.figures);
    assert!((a.fibre_mm - b.fibre_mm).abs() < 1e-6, "{} and {} mm laid", a.fibre_mm, b.fibre_mm);
    assert!((a.matrix_mm3 / b.matrix_mm3 - 1.0).abs() < 1e-4, "{} and {} mm3", a.matrix_mm3, b.matrix_mm3);
    // the tow's way from cutter to nozzle, as written
    let cutter = straight.job.printer.cutter_to_nozzle_mm;
    for (planned, scale) in [(&straight, 1.0), (&slipping, 0.98)] {
        let threads = planned.program.lines().filter(|l| l.starts_with("G1 E")).map(|l| {
            l["G1 E".len()..].split(' ').next().and_then(|n| n.parse::<f64>().ok()).expect("a length")
        });
        for e in threads {
            assert!((e - scale * cutter).abs() < 1e-5, "E{e} where {cutter} mm are fed, times {scale}");
        }
    }
    // the same program on a printer whose drives do not slip is found out
    let wrong = verify("p", slipping.program.as_bytes(), &straight.job.printer, None).expect("a verdict");
    for check in [Check::Threading, Check::Feed, Check::Balance] {
        assert!(wrong.ledger.faults_of(check) > 0, "{}:\n{}", check.name(), wrong.ledger.table());
    }
}

/// Dwells and moves in the blocks of a head change and of the end are in the times that
/// the profile tells; they are not counted twice.
#[test]
fn blocks_take_the_time_that_the_profile_tells() {
    let text = profile("shuttle-15");
    let waits = text
        .replace("to_matrix = '''\n", "to_matrix = '''\nG4 P9\n")
        .replace("to_fibre = '''\n", "to_fibre = '''\nG4 P9\n")
        .replace("M140 S0\n", "M140 S0\nG4 P90\n")
        .replace("head_change_s = 4.0", "head_change_s = 9.5")
        .replace("end_s = 5.0", "end_s = 91.0");
    assert_ne!(text, waits, "the blocks were found");
    let (_, verdict) = planned(&job("guide", "waits", &waits));
    assert_eq!(found("waits", &verdict), "");
    assert!(worst(&verdict, Check::HeaderTime) < 0.1, "{}", verdict.ledger.table());
}

/// What the start block heats and moves by itself is in the planned time, or takes the
/// profile's own; a chamber and a bed that the controller heats are waited for all the same; a
/// head may be waited for by a line of its own, and heated by a code of its own.
#[test]
fn start_blocks_and_heating_words_of_many_kinds_are_understood() {
    let (heads, chamber) = (
        "M104 T{{ matrix_tool }} S{{ matrix_standby_c }}\nM104 T{{ fibre_tool }} S{{ fibre_standby_c }}\n",
        "{% if chamber_temperature_c > 0 -%}\nM191 S{{ chamber_temperature_c }}\n{% endif -%}\n",
    );
    let (heat, wait) = ("M104 T{{ tool }} S{{ temperature_c }}", "M109 T{{ tool }} S{{ temperature_c }}");
    let of_each = |a: u32, b: u32| {
        format!("{{% if tool == matrix_tool %}}M{a}{{% else %}}M{b}{{% endif %}} S{{{{ temperature_c }}}}")
    };
    let own_words = |set: &str, waits: &str| profile("shuttle-15").replace(heat, set).replace(wait, waits);
    let text = profile("shuttle-15");
    let mut out = String::new();
    for (what, spoilt) in [
        ("raised", text.replace("M190 S", "G0 Z40\nM190 S")),
        ("to a place", text.replace("M190 S", "G0 X200 Y120 Z30\nM190 S")),
        ("heads at work", text.replace(heads, "M109 T1 S{{ matrix_temperature_c }}\n")),
        ("heads cold", text.replace(heads, "")),
        ("chamber by the controller", text.replace(chamber, "")),
        (
            "more behind a change",
            text.replace("to_fibre = '''\n", "to_fibre = '''\n{% if layers < 15 %}M106 P2 S255\n{% endif %}"),
        ),
        (
            "another word behind a change",
            text.replace("M106 S120", "{% if layers < 15 %}M108{% else %}M106 S120{% endif %}"),
        ),
        (
            "less at the end",
            text.replace("end = '''\nM107\n", "end = '''\n{% if layers > 15 %}M107\n{% endif %}"),
        ),
        ("less at the start", text.replace("G28\n", "G28\n{% if layers > 15 %}M106 S0\n{% endif %}")),
        (
            "two lines to wait",
            own_words(
                "M568 P{{ tool }} S{{ temperature_c }}",
                "M568 P{{ tool }} S{{ temperature_c }}\nM116 P{{ tool }}",
            ),
        ),
        ("a code for each head", own_words(&of_each(301, 302), &of_each(311, 312))),
    ] {
        assert_ne!(text, spoilt, "{what}: the words were found");
        let (_, verdict) = planned(&job("rocker", "start", &spoilt));
        let _ = write!(out, "{}", found(what, &verdict));
        let _ = write!(out, "{}", if worst(&verdict, Check::HeaderTime) < 0.1 { "" } else { what });
    }
    assert_eq!(out, "");
}

/// Words that only some jobs reach are held against the printer when they are written.
#[test]
fn a_block_that_goes_wrong_in_one_job_alone_is_refused_there() {
    let text = profile("shuttle-15");
    let branch = |words: &str| format!("to_fibre = '''\n{{% if layers < 15 %}}{words}\n{{% endif %}}");
    for words in ["T1", "G0 Z2", "G92 E5", "G90.1"] {
        let hot = text.replace("to_fibre = '''\n", &branch(words));
        let path = job("rocker", "branch", &hot);
        let planned = towpath::plan::plan(&mut towpath::diagnostic::Notes::default(), &path);
        let codes: Vec<&str> =
            planned.err().map(|e| e.0.iter().map(|d| d.code).collect()).unwrap_or_default();
        assert_eq!(codes, ["block-words"], "{words}");
    }
}

/// A built-in profile with other values.
fn changed(name: &str, values: &[(&[&str], toml::Value)]) -> String {
    let mut table: toml::Table = profile(name).parse().expect("a profile");
    for (path, value) in values {
        let (key, tables) = path.split_last().expect("a key");
        let place = tables.iter().fold(&mut table, |t, name| t[*name].as_table_mut().expect("a table"));
        assert!(place.insert((*key).to_owned(), value.clone()).is_some(), "{path:?} was there");
    }
    table.to_string()
}

/// What a machine makes of chords, and how it takes up a head whose nozzle hangs lower, is the
/// same to the planner as to the check.
#[test]
fn chorded_bends_and_nozzles_at_other_heights_are_understood_alike() {
    let mut out = String::new();
    for (work, corner, fibre) in [(200.0, 0.005, 50.0), (200.0, 0.001, 30.0), (50.0, 0.001, 15.0)] {
        let slow = changed(
            "shuttle-15",
            &[
                (&["controller", "arcs"], false.into()),
                (&["controller", "chord_mm"], 0.02.into()),
                (&["limits", "corner_deviation_mm"], corner.into()),
                (&["limits", "speed_mm_s", "fibre"], fibre.into()),
                (&["limits", "acceleration_mm_s2", "work"], work.into()),
            ],
        );
        let (_, verdict) = planned(&job("link", "chorded", &slow));
        out += &found(&format!("{work} mm/s2, {corner} mm, {fibre} mm/s"), &verdict);
    }
    for by in ["program", "controller"] {
        for z in [-2.0, -0.5, 0.5, 2.0] {
            let offset: toml::Value = vec![38.0, -1.5, z].into();
            let heights = changed(
                "shuttle-15",
                &[(&["controller", "offsets_applied_by"], by.into()), (&["offsets_mm", "fibre"], offset)],
            );
            let (_, verdict) = planned(&job("guide", "heights", &heights));
            out += &found(&format!("fibre nozzle at {z} mm, offsets by the {by}"), &verdict);
        }
    }
    assert!(out.is_empty(), "{out}");
}

/// Without perimeters courses end at the edge of the part: copies that the printer puts close
/// together stand a tow's width apart.
#[test]
fn copies_without_perimeters_keep_a_tow_between_them() {
    for gap in [0.0_f64, 0.1, 5.0] {
        let close = changed("shuttle-15", &[(&["copy_gap_mm"], gap.into())]);
        let path = job("link", "copies", &close);
        let text = std::fs::read_to_string(&path).expect("the job");
        let mut typed: toml::Table = text.parse().expect("a job");
        typed["matrix"]["perimeters"] = 0.into();
        typed["build"].as_table_mut().expect("a table").insert("copies".to_owned(), 4.into());
        std::fs::write(&path, typed.to_string()).expect("the job again");
        let (planned, verdict) = planned(&path);
        assert_eq!(found(&format!("{gap} mm"), &verdict), "");
        let [a, b] = [planned.work.program.placements[0], planned.work.program.placements[1]];
        let between = b.x - a.x - planned.work.outline.size_mm()[0];
        assert!((between - gap.max(planned.job.tow.width_mm)).abs() < 2e-3, "{gap} mm: {between} mm");
    }
}

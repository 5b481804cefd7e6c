//! The time of whole programs, the second way: fifty generated jobs on machines
//! of all kinds, planned by the built program and run again in small steps of
//! time by `support::machine`, which shares no code with the planner.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

mod support;

use std::fmt::Write as _;
use std::path::Path;
use support::machine::Machine;
use support::{parts, run};

/// A profile of the repository, or one of our own made from it.
fn profile(which: u64) -> String {
    let read = |name: &str| {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("profiles/printers/{name}.toml"));
        std::fs::read_to_string(path).expect("a built-in profile")
    };
    let names = ["shuttle-15", "reed-35", "heddle-25", "weir-20"];
    if let Ok(k) = usize::try_from(which)
        && k < names.len()
    {
        return read(names[k]);
    }
    // slow to read, slow to change its acceleration, with heaters that tire
    read("reed-35")
        .replace("dwell_unit = \"ms\"", "block_time_s = 0.012\ndwell_unit = \"ms\"")
        .replace("corner_deviation_mm = 0.03", "jerk_mm_s3 = 15000.0\ncorner_deviation_mm = 0.03")
        .replace("[heads.matrix]\n", "[heads.matrix]\ntime_constant_s = 300.0\n")
}

fn number(plan: &serde_json::Value, key: &str) -> f64 {
    plan["estimate"]["time_s"][key].as_f64().expect("seconds")
}

/// What differs; `None` where all agree.
fn differs(seed: u64) -> Option<String> {
    let which = seed % 5;
    let text = profile(which);
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("time stepping/{seed:03}"));
    let _ = std::fs::remove_dir_all(&folder);
    let mut part = parts::part(seed);
    for name in ["shuttle-15", "reed-35"] {
        part.job = part.job.replace(&format!("printer = \"{name}\""), "printer = \"printer.toml\"");
    }
    let job = part.write(&folder).expect("the part can be written");
    std::fs::write(folder.join("printer.toml"), &text).expect("the profile can be written");
    let ran = run::plan(&job, &folder.join("out"));
    assert_eq!(ran.status, Some(0), "part {seed}: {}", ran.told);
    let (_, program) = ran.file(".gcode").expect("a program");
    let (_, plan) = ran.file(".plan.json").expect("a plan");
    let plan: serde_json::Value = serde_json::from_str(&plan).expect("JSON");
    let stepped = Machine::of(&text).run(&program);
    let mut out = String::new();
    for (key, is) in [
        ("total", stepped.total),
        ("fibre", stepped.fibre),
        ("matrix", stepped.matrix),
        ("travel", stepped.travel),
        ("head_change", stepped.head_change),
    ] {
        let planned = number(&plan, key);
        // the whole within a thousandth; its shares, which are short moves at times, within
        // half a per cent, and a hundredth of a second is as fine as it is told
        let share = if key == "total" { 1e-3 } else { 5e-3 };
        if (is - planned).abs() > share * planned + 0.02 {
            let _ = writeln!(out, "  {key}: planned {planned:.2} s, stepped {is:.2} s");
        }
    }
    // waits are what other times leave of a heater's: they inherit those times' errors
    let (planned, is) = (number(&plan, "heating"), stepped.heating);
    if (is - planned).abs() > 1e-3 * number(&plan, "total") {
        let _ = writeln!(out, "  heating: planned {planned:.2} s, stepped {is:.2} s");
    }
    let _ = std::fs::remove_dir_all(&folder);
    (!out.is_empty()).then(|| format!("part {seed} on machine {which}:\n{out}"))
}

fn agree(seeds: std::ops::Range<u64>) {
    let all: Vec<String> = seeds.filter_map(differs).collect();
    assert!(all.is_empty(), "{} programs differ\n{}", all.len(), all.join(""));
}

#[test]
fn programs_1_to_25_take_the_stepped_time() {
    agree(1..26);
}

#[test]
fn programs_26_to_50_take_the_stepped_time() {
    agree(26..51);
}

//! Beginning a job, the manual page, and planning again when a file changes.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

mod support;

use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

fn scratch(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("comfort").join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a scratch folder");
    folder
}

fn towpath(folder: &Path, arguments: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_towpath"))
        .args(arguments)
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .output()
        .expect("the built program starts");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    (output.status.code(), text(output.stdout), text(output.stderr))
}

#[test]
fn a_new_job_plans_as_it_stands_and_keeps_every_promise() {
    let folder = scratch("new");
    let (status, out, told) = towpath(&folder, &["new", "Reed \"hook\" no. 2"]);
    assert_eq!((status, told.as_str()), (Some(0), ""), "{out}");
    for file in ["Reed-hook-no.-2.toml", "Reed-hook-no.-2.map.toml", "Reed-hook-no.-2.svg"] {
        assert!(folder.join(file).is_file() && out.contains(file), "{file}: {out}");
    }
    let ran = support::run::plan(&folder.join("Reed-hook-no.-2.toml"), &folder.join("out"));
    assert_eq!(ran.told, "", "a job to begin with plans without a warning");
    let findings = ran.checked().expect("a plan and a program");
    assert!(findings.0.is_empty(), "{}", findings.summary(3));
    assert!(ran.said.contains("Reed \"hook\" no. 2"), "{}", ran.said);
    let (_, plan) = ran.file(".plan.json").expect("a plan");
    for region in ["left pin", "right pin", "rim"] {
        assert!(plan.contains(region), "region {region} lays something");
    }
    // a hot nozzle just above the part scorches it: the end block finds it well clear
    let (_, program) = ran.file(".gcode").expect("a program");
    let heights: Vec<f64> =
        program.lines().filter_map(|l| l.strip_prefix("G0 Z")?.split(' ').next()?.parse().ok()).collect();
    let top = program
        .lines()
        .filter_map(|l| l.strip_prefix("(layer ")?.split(" z ").nth(1)?.trim_end_matches(')').parse().ok())
        .fold(0.0, f64::max);
    let last = heights.last().copied().unwrap_or_default();
    assert!(top > 0.0 && last >= top + 30.0 - 1e-9, "{last} mm at the end, {top} mm the part");
}

#[test]
fn straps_that_hold_no_pin_and_pins_in_no_hole_are_told() {
    let folder = scratch("straps");
    let job = "[part]\nname = \"yoke\"\noutline = \"yoke.svg\"\nthickness_mm = 0.4\n[build]\nprinter = \"shuttle-15\"\nmatrix = \"pa12\"\ntow = \"carbon-1k-pa12\"\nlayer_height_mm = 0.2\n[reinforcement]\nmap = \"map.toml\"\n";
    std::fs::write(folder.join("job.toml"), job).expect("the job");
    let told_of = |drawn: &str, pins: &str| {
        let svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"140mm\" height=\"40mm\" viewBox=\"0 0 140 40\"><path fill-rule=\"evenodd\" d=\"{drawn}\"/></svg>"
        );
        std::fs::write(folder.join("yoke.svg"), svg).expect("the drawing");
        let map = format!(
            "[[region]]\nname = \"belt\"\nshape = {{ pins_mm = {pins} }}\nlayers = \"2\"\nrule = \"strap\"\ncourses = 2\n"
        );
        std::fs::write(folder.join("map.toml"), map).expect("the map");
        let (status, said, told) = towpath(&folder, &["plan", "job.toml", "--out", "out"]);
        assert_eq!(status, Some(0), "{told}");
        (said, told)
    };
    let holes = "M16 20 a4 4 0 1 1 8 0 a4 4 0 1 1 -8 0 Z M116 20 a4 4 0 1 1 8 0 a4 4 0 1 1 -8 0 Z";
    let one = format!("M2 4 H138 V36 H2 Z {holes}");
    let two = format!("M2 4 H60 V36 H2 Z M80 4 H138 V36 H80 Z {holes}");
    let (said, told) = told_of(&one, "[[20, 20, 4], [120, 20, 4]]");
    assert!(said.contains("2 courses (2 closed)"), "{said}");
    for code in ["strap-open", "pin-in-no-hole", "outline-apart"] {
        assert!(!told.contains(code), "{told}");
    }
    let (_, told) = told_of(&one, "[[20, 20, 4], [108, 20, 4]]");
    assert!(
        told.contains("warning[pin-in-no-hole]: the pin of radius 4 mm at x 108.00 y 20.00 mm"),
        "{told}"
    );
    assert!(
        told.contains("the nearest is about x 120.00 y 20.00 mm") && told.contains("map.toml:3"),
        "{told}"
    );
    let (said, told) = told_of(&two, "[[20, 20, 4], [120, 20, 4]]");
    assert!(said.contains("(0 closed)"), "{said}");
    assert!(
        told.contains("warning[strap-open]: in 1 layer no strap of region `belt` goes all the way"),
        "{told}"
    );
    assert!(told.contains("warning[outline-apart]: the outline is 2 bodies"), "{told}");
}

#[test]
fn a_region_without_tow_is_named() {
    let folder = scratch("empty region");
    let (status, ..) = towpath(&folder, &["new", "arm", "--quiet"]);
    assert_eq!(status, Some(0));
    let map = folder.join("arm.map.toml");
    let mut text = std::fs::read_to_string(&map).expect("the map");
    text.push_str("\n[[region]]\nname = \"tiny patch\"\nshape = { polygon_mm = [[30, 14], [33, 14], [33, 17], [30, 17]] }\nrule = \"unidirectional\"\nangle_deg = 0\n");
    std::fs::write(&map, text).expect("the map");
    let (status, _, told) = towpath(&folder, &["plan", "arm.toml", "--out", "out"]);
    assert_eq!(status, Some(0), "{told}");
    assert!(told.contains("warning[region-empty]: region `tiny patch` gets no tow in any layer: "), "{told}");
    assert_eq!(told.matches("region-empty").count(), 1, "the others lay something: {told}");
}

#[test]
fn nothing_is_overwritten() {
    let folder = scratch("there");
    std::fs::write(folder.join("arm.map.toml"), "mine").expect("a scratch file");
    let (status, out, told) = towpath(&folder, &["new", "arm"]);
    assert_eq!((status, out.as_str()), (Some(2), ""), "{told}");
    assert!(told.contains("error[output-exists]") && told.contains("arm.map.toml"), "{told}");
    let kept = std::fs::read_to_string(folder.join("arm.map.toml")).expect("still there");
    assert_eq!(kept, "mine");
    let files = std::fs::read_dir(&folder).expect("the folder").count();
    assert_eq!(files, 1, "nothing half written stays");
    let (status, ..) = towpath(&folder, &["new", "arm", "--out", "else/where", "--quiet"]);
    assert_eq!(status, Some(0));
    assert!(folder.join("else/where/arm.toml").is_file());
    let (status, _, told) = towpath(&folder, &["new", " "]);
    assert!(status == Some(1) && told.contains("name"), "{told}");
}

#[test]
fn manual_pages() {
    let folder = scratch("manual");
    let (status, page, told) = towpath(&folder, &["manual"]);
    assert_eq!((status, told.as_str()), (Some(0), ""));
    assert!(page.contains(".TH") && page.contains("estimate") && page.contains("\\-\\-json"), "{page}");
    let (_, page, _) = towpath(&folder, &["manual", "estimate"]);
    assert!(page.contains("\\-\\-quantity") && page.contains("towpath\\-estimate"), "{page}");
    let (status, out, told) = towpath(&folder, &["manual", "estimat"]);
    assert_eq!((status, out.as_str()), (Some(1), ""));
    assert!(told.contains("did you mean `estimate`?"), "{told}");
}

/// A child that is ended with the test, whatever happens.
struct Watching(Child);

impl Drop for Watching {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// The lines of a stream as they come.
fn lines(stream: impl std::io::Read + Send + 'static) -> Receiver<String> {
    let (send, receive) = channel();
    std::thread::spawn(move || {
        for line in BufReader::new(stream).lines().map_while(Result::ok) {
            if send.send(line).is_err() {
                return;
            }
        }
    });
    receive
}

/// Waits for a line with a text; a machine under load may take its time.
fn wait_for(lines: &Receiver<String>, text: &str) -> String {
    let mut seen = String::new();
    loop {
        match lines.recv_timeout(Duration::from_secs(300)) {
            Ok(line) if line.contains(text) => return seen + &line,
            Ok(line) => seen.push_str(&(line + "\n")),
            Err(_) => panic!("`{text}` never came:\n{seen}"),
        }
    }
}

#[test]
fn watching_plans_again_and_goes_on_after_a_fault() {
    let folder = scratch("watch");
    assert_eq!(towpath(&folder, &["new", "arm"]).0, Some(0));
    let child = Command::new(env!("CARGO_BIN_EXE_towpath"))
        .args(["plan", "arm.toml", "--out", "out", "--watch"])
        .current_dir(&folder)
        .env("NO_COLOR", "1")
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the built program starts");
    let mut watching = Watching(child);
    let told = lines(watching.0.stderr.take().expect("piped"));
    let said = lines(watching.0.stdout.take().expect("piped"));
    wait_for(&told, "planned; watching 3 files");
    wait_for(&said, "written");
    let program = folder.join("out/arm.gcode");
    let first = std::fs::read(&program).expect("a program");
    let map = folder.join("arm.map.toml");
    let good = std::fs::read_to_string(&map).expect("the map");
    // a fault in between
    std::fs::write(&map, good.replace("\"hoop\"", "\"hop\"")).expect("a scratch file");
    let before = wait_for(&told, "not planned; watching");
    assert!(before.contains("did you mean `hoop`?"), "{before}");
    assert_eq!(std::fs::read(&program).expect("still there"), first, "the last good program stays");
    // a job that is no TOML names no files, but they are watched all the same
    let job = folder.join("arm.toml");
    let job_text = std::fs::read_to_string(&job).expect("the job");
    std::fs::write(&job, job_text.replace("[build]", "[build")).expect("a scratch file");
    wait_for(&told, "not planned; watching 3 files");
    std::fs::write(&job, &job_text).expect("a scratch file");
    wait_for(&told, "not planned; watching 3 files");
    std::fs::write(&map, good.replace("courses = 3", "courses = 2")).expect("a scratch file");
    wait_for(&said, "written");
    assert_ne!(std::fs::read(&program).expect("a program"), first, "the new map's program");
}

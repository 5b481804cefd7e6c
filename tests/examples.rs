//! Every example is planned and checked against every promise, and gives the
//! same bytes when it is planned again.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

mod support;

use std::path::{Path, PathBuf};
use support::run;

/// Jobs in the folders of `examples/`.
fn jobs() -> Vec<PathBuf> {
    let examples = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples");
    let mut jobs: Vec<PathBuf> = std::fs::read_dir(&examples)
        .expect("the examples' folder")
        .filter_map(|entry| entry.ok().map(|e| e.path().join("job.toml")))
        .filter(|job| job.is_file())
        .collect();
    jobs.sort();
    jobs
}

#[test]
fn every_example_keeps_every_promise() {
    let jobs = jobs();
    assert!(!jobs.is_empty(), "no example has a job.toml");
    let mut text = String::new();
    for job in jobs {
        let name = job.parent().and_then(Path::file_name).map(|n| n.to_string_lossy().into_owned());
        let name = name.expect("a job lies in a folder");
        let out = Path::new(env!("CARGO_TARGET_TMPDIR")).join("examples").join(&name);
        let again = Path::new(env!("CARGO_TARGET_TMPDIR")).join("examples again").join(&name);
        for folder in [&out, &again] {
            let _ = std::fs::remove_dir_all(folder);
        }
        let ran = run::plan(&job, &out);
        match ran.checked() {
            Err(e) => text.push_str(&format!("{name}: {e}\n")),
            Ok(findings) if !findings.0.is_empty() => {
                text.push_str(&format!("{name}:\n{}\n", findings.summary(3)))
            }
            Ok(_) => {
                let second = run::plan(&job, &again);
                for ending in [".plan.json", ".gcode", ".report.html"] {
                    let (a, b) = (ran.file(ending), second.file(ending));
                    let same = matches!((&a, &b), (Ok(a), Ok(b)) if a.1 == b.1);
                    if !same {
                        text.push_str(&format!("{name}: {ending} is another one the second time\n"));
                    }
                }
            }
        }
    }
    assert!(text.is_empty(), "{text}");
}

/// The number of threads is nothing that an output could tell.
#[test]
fn one_thread_and_two_give_the_same_bytes() {
    for job in jobs() {
        let name = job.parent().and_then(Path::file_name).map(|n| n.to_string_lossy().into_owned());
        let name = name.expect("a job lies in a folder");
        let outputs = ["1", "2"].map(|threads| {
            let out = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("threads/{threads}")).join(&name);
            let _ = std::fs::remove_dir_all(&out);
            let status = std::process::Command::new(env!("CARGO_BIN_EXE_towpath"))
                .args(["plan", "--quiet", "-j", threads, "--out"])
                .args([&out, &job])
                .status()
                .expect("the built program starts");
            assert!(status.success(), "{name} with {threads} threads: {status}");
            let mut files: Vec<PathBuf> = std::fs::read_dir(&out)
                .expect("the output")
                .filter_map(|entry| entry.ok().map(|e| e.path()))
                .collect();
            files.sort();
            assert!(files.len() >= 2, "{name}: {files:?}");
            files
        });
        for (one, two) in outputs[0].iter().zip(&outputs[1]) {
            assert_eq!(one.file_name(), two.file_name(), "{name}");
            let same = std::fs::read(one).ok() == std::fs::read(two).ok();
            assert!(same, "{name}: {} depends on the number of threads", one.display());
        }
    }
}

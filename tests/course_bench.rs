//! The laying rules measured on a set of parts: cover of the regions' area, cover
//! of what can be reached, cuts. Prints the table and holds its figures.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]
#![allow(clippy::print_stdout, reason = "the table is what the set is for")]

mod support;

use std::fmt::Write as _;
use std::path::Path;
use support::{bench_parts, run};
use towpath::diagnostic::Notes;
use towpath::{fibre, job, outline, reinforcement};

/// Sums over the regions of one part.
#[derive(Default)]
struct Row {
    layable: f64,
    covered: f64,
    reachable: f64,
    courses: usize,
    plain: usize,
    given_up: f64,
    millis: f64,
}

fn measure(part: &bench_parts::BenchPart, printer: &str) -> (Row, String) {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"))
        .join(format!("bench/{}-{printer}", part.name.replace([' ', ','], "-")));
    let path = part.write(&folder, printer).expect("the part can be written");
    let mut notes = Notes::default();
    let job = job::read(&mut notes, &path).unwrap_or_else(|e| panic!("{}: {e:?}", part.name));
    let (part_outline, _) =
        outline::read(&mut notes, &job.outline, job.layer_height_mm).expect("its outline reads");
    let tasks = reinforcement::place(&job, &part_outline).expect("its map fits");
    let begin = std::time::Instant::now();
    let layers = fibre::lay(&mut notes, &job, &part_outline, &tasks);
    let mut row = Row { millis: begin.elapsed().as_secs_f64() * 1e3, ..Row::default() };
    let mut text = String::new();
    for layer in &layers {
        // rings have no rows to join
        let rows = layer.courses.iter().filter(|c| c.rule == job::Rule::Unidirectional).count();
        row.courses += rows;
        row.plain += rows + layer.cuts_saved;
        for q in &layer.quality {
            row.layable += q.layable_mm2;
            row.covered += q.covered_mm2;
            row.reachable += q.reachable_mm2;
            row.given_up += q.given_up_mm;
            let _ = writeln!(
                text,
                "    {:<10} {:>5.1} %  {:>3} courses {:>5.0} to {:>6.0} mm, {} gaps, the largest {:.0} mm2, overlap {:.2} mm2, given up {:.0} mm, angle {:?}",
                q.region,
                100.0 * q.covered_mm2 / q.layable_mm2,
                q.courses,
                q.shortest_mm,
                q.longest_mm,
                q.gap_count,
                q.gaps.first().map_or(0.0, |g| g.area_mm2),
                q.overlap_mm2,
                q.given_up_mm,
                q.angle.map(|a| [a.mean_deg.round(), a.p95_deg.round(), a.worst_deg.round()]),
            );
        }
    }
    (row, text)
}

fn table(printer: &str) -> (f64, f64, f64) {
    let mut sums = (0.0, 0.0, 0usize, 0usize);
    let parts = bench_parts::parts();
    println!("\n{printer}: part, tow, cover of the region, of the reachable, courses/plain, given up, ms");
    for part in &parts {
        if std::env::var("TP_PART").is_ok_and(|p| !part.name.contains(&p)) { continue; }
        let (row, text) = measure(part, printer);
        let (cover, reached) = (row.covered / row.layable, row.covered / row.reachable);
        println!(
            "{:<24} {:>3} R{:<4} {:>5.1} % {:>5.1} %  {:>3}/{:<3} {:>6.0} mm {:>5.0} ms",
            part.name,
            part.tow.0,
            part.tow.1,
            100.0 * cover,
            100.0 * reached,
            row.courses,
            row.plain,
            row.given_up,
            row.millis
        );
        print!("{text}");
        sums = (sums.0 + cover, sums.1 + reached, sums.2 + row.courses, sums.3 + row.plain);
    }
    let n = parts.len() as f64;
    let cuts = sums.2 as f64 / sums.3 as f64;
    println!(
        "mean cover {:.1} %, of the reachable {:.1} %, cuts {:.2} of plain",
        100.0 * sums.0 / n,
        100.0 * sums.1 / n,
        cuts
    );
    (sums.0 / n, sums.1 / n, cuts)
}

/// The figures reached, less one hundredth: what is laid may only get better.
#[test]
fn cover_with_15_mm_from_cutter_to_nozzle() {
    let (cover, reached, cuts) = table("shuttle-15");
    assert!(cover >= 0.89 && reached >= 0.89, "pieces of 20 mm and more: {cover:.3}, {reached:.3}");
    assert!(cuts <= 0.82, "cuts of unidirectional courses, of the plain rule's: {cuts:.2}");
}

#[test]
fn cover_with_35_mm_from_cutter_to_nozzle() {
    let (cover, reached, cuts) = table("reed-35");
    assert!(cover >= 0.83 && reached >= 0.83, "pieces of 43 mm and more: {cover:.3}, {reached:.3}");
    assert!(cuts <= 0.72, "cuts of unidirectional courses, of the plain rule's: {cuts:.2}");
}

#[test]
fn every_promise_holds_on_the_bench_set() {
    let mut text = String::new();
    for part in bench_parts::parts() {
        for printer in ["shuttle-15", "reed-35"] {
            let folder = Path::new(env!("CARGO_TARGET_TMPDIR"))
                .join(format!("bench/checked-{}-{printer}", part.name.replace([' ', ','], "-")));
            let job = part.write(&folder, printer).expect("the part can be written");
            match run::plan(&job, &folder.join("out")).checked() {
                Err(e) => text.push_str(&format!("{} {printer}: {e}\n", part.name)),
                Ok(f) if f.0.is_empty() => {}
                Ok(f) => text.push_str(&format!("{} {printer}:\n{}", part.name, f.summary(3))),
            }
        }
    }
    assert!(text.is_empty(), "{text}");
}

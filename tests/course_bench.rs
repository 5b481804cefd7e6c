//! The laying rules measured on a set of parts: cover of the regions' area, cover
//! of what can be reached, cuts against a plain rule's. Prints the tables and holds
//! their figures. Each map is laid twice: as it is, and with few cuts asked for in
//! every region, since what saves cuts costs cover.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]
#![allow(clippy::print_stdout, reason = "the table is what the set is for")]

mod plain_rule;
mod support;

use plain_rule::Count;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use support::{bench_parts, run};
use towpath::diagnostic::Notes;
use towpath::{fibre, job, outline, reinforcement};

/// Sums over the regions of one part.
#[derive(Default)]
struct Row {
    layable: f64,
    covered: f64,
    reachable: f64,
    /// Pieces and tow as laid, and by the plain rule.
    cuts: Count,
    plain: Count,
    given_up: f64,
    millis: f64,
}

fn folder(part: &bench_parts::BenchPart, of: &str) -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("bench/{}-{of}", part.name.replace([' ', ','], "-")))
}

fn measure(part: &bench_parts::BenchPart, printer: &str, few_cuts: bool) -> (Row, String) {
    let few = if few_cuts { "-few-cuts" } else { "" };
    let path = part
        .write(&folder(part, &format!("{printer}{few}")), printer, few_cuts)
        .expect("the part can be written");
    let mut notes = Notes::default();
    let job = job::read(&mut notes, &path).unwrap_or_else(|e| panic!("{}: {e:?}", part.name));
    let (part_outline, _) =
        outline::read(&mut notes, &job.outline, job.layer_height_mm).expect("its outline reads");
    let tasks = reinforcement::place(&job, &part_outline).expect("its map fits");
    let begin = std::time::Instant::now();
    let layers = fibre::lay(&mut notes, &job, &part_outline, &tasks);
    let mut row = Row { millis: begin.elapsed().as_secs_f64() * 1e3, ..Row::default() };
    let plain = plain_rule::lay(&job, &part_outline, &tasks);
    row.plain = plain;
    let mut text = String::new();
    for layer in &layers {
        layer.courses.iter().for_each(|c| row.cuts.add(c.length_mm()));
        for q in &layer.quality {
            assert!(
                q.covered_mm2 <= 1.001 * q.reachable_mm2 && q.reachable_mm2 <= 1.001 * q.layable_mm2,
                "{}, {}: {} of {} of {} mm2",
                part.name,
                q.region,
                q.covered_mm2,
                q.reachable_mm2,
                q.layable_mm2
            );
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

/// Means over the set: cover, cover of the reachable, and all cuts per metre of tow
/// over the plain rule's.
struct Means {
    cover: f64,
    reached: f64,
    cuts: f64,
}

fn table(printer: &str, few_cuts: bool) -> Means {
    let mut means = Means { cover: 0.0, reached: 0.0, cuts: 0.0 };
    let (mut laid, mut plain) = (Count::default(), Count::default());
    let parts = bench_parts::parts();
    let mut out = format!(
        "\n{printer}{}: part, tow, cover of the region, of the reachable, courses, plain rule's, of its cuts per metre, given up, ms\n",
        if few_cuts { ", few cuts" } else { "" }
    );
    for part in &parts {
        let (row, text) = measure(part, printer, few_cuts);
        let (cover, reached) = (row.covered / row.layable, row.covered / row.reachable);
        let cuts = row.cuts.per_metre() / row.plain.per_metre();
        let _ = writeln!(
            out,
            "{:<25} {:>3} R{:<4} {:>5.1} % {:>5.1} %  {:>3} in {:>5.1} m  {:>3} in {:>5.1} m  {cuts:.2}  {:>6.0} mm {:>5.0} ms",
            part.name,
            part.tow.0,
            part.tow.1,
            100.0 * cover,
            100.0 * reached,
            row.cuts.pieces,
            1e-3 * row.cuts.length_mm,
            row.plain.pieces,
            1e-3 * row.plain.length_mm,
            row.given_up,
            row.millis
        );
        out.push_str(&text);
        let n = parts.len() as f64;
        means.cover += cover / n;
        means.reached += reached / n;
        laid.put(row.cuts);
        plain.put(row.plain);
    }
    means.cuts = laid.per_metre() / plain.per_metre();
    println!(
        "{out}mean cover {:.1} %, of the reachable {:.1} %; cuts per metre {:.2} of plain",
        100.0 * means.cover,
        100.0 * means.reached,
        means.cuts
    );
    means
}

/// The figures reached, less a little: what is laid may only get better.
#[test]
fn cover_with_15_mm_from_cutter_to_nozzle() {
    let Means { cover, reached, cuts } = table("shuttle-15", false);
    assert!(cover >= 0.939 && reached >= 0.95, "pieces of 20 mm and more: {cover:.3}, {reached:.3}");
    assert!(cuts <= 0.85, "cuts per metre, of the plain rule's: {cuts:.2}");
}

#[test]
fn cover_with_35_mm_from_cutter_to_nozzle() {
    let Means { cover, reached, cuts } = table("reed-35", false);
    assert!(cover >= 0.888 && reached >= 0.897, "pieces of 43 mm and more: {cover:.3}, {reached:.3}");
    assert!(cuts <= 0.86, "cuts per metre, of the plain rule's: {cuts:.2}");
}

#[test]
fn few_cuts_and_most_of_the_cover_where_they_are_asked_for() {
    let tables = [("shuttle-15", 0.92), ("reed-35", 0.87)].map(|(p, least)| (p, least, table(p, true)));
    for (printer, least, Means { cover, cuts, .. }) in tables {
        assert!(cuts <= 0.60, "{printer}: cuts per metre, of the plain rule's: {cuts:.2}");
        assert!(cover >= least, "{printer}: {cover:.3}");
    }
}

#[test]
fn every_promise_holds_on_the_bench_set() {
    let mut text = String::new();
    for part in bench_parts::parts() {
        for printer in ["shuttle-15", "reed-35"] {
            for few_cuts in [false, true] {
                let of = format!("checked-{printer}-{few_cuts}");
                let folder = folder(&part, &of);
                let job = part.write(&folder, printer, few_cuts).expect("the part can be written");
                match run::plan(&job, &folder.join("out")).checked() {
                    Err(e) => text.push_str(&format!("{} {of}: {e}\n", part.name)),
                    Ok(f) if f.0.is_empty() => {}
                    Ok(f) => text.push_str(&format!("{} {of}:\n{}", part.name, f.summary(3))),
                }
            }
        }
    }
    assert!(text.is_empty(), "{text}");
}

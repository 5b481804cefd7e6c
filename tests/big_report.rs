//! A part of 1,000 layers of 5,000 segments each: the report stays one file that
//! can be mailed. The browser test opens what this test leaves behind.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

use std::path::Path;
use towpath::diagnostic::Notes;
use towpath::estimate::{self, TimeSplit};
use towpath::fibre::Course;
use towpath::geom::{Path as Line, Point, Segment, combine, pt};
use towpath::job::{Head, Rule};
use towpath::matrix::{Areas, Bead, BeadKind, LayerBeads};
use towpath::outline::{Layer, Outline};
use towpath::report::{Told, Work, page};
use towpath::sequence::{Laid, Move, Program};

const LAYERS: usize = 1000;

/// In a layer: 400 beads of 12 segments, and 25 courses of 8.
const BEADS: usize = 400;
const COURSES: usize = 25;

fn whole(n: usize) -> f64 {
    f64::from(u32::try_from(n).expect("a small number"))
}

/// A wavy line along x. No two layers are alike, so that nothing is stored once
/// for many.
fn wave(layer: usize, y: f64, from: f64, step: f64, points: usize) -> Vec<Point> {
    let sway = |k: usize, n: usize| 0.002 * whole((k * 7919 + layer * 104_729 + n) % 211);
    (0..points)
        .map(|k| pt(from + whole(k) * step + sway(k, 17), y + 0.005 * whole(layer) + sway(k, 0)))
        .collect()
}

/// Work of the size that matters; the moves are the real kinds in a real order.
fn work(width_mm: f64, height_mm: f64) -> Work {
    let mut work = Work::default();
    let mut outline = Outline::default();
    let ring = [pt(0.0, 0.0), pt(200.0, 0.0), pt(200.0, 110.0), pt(0.0, 110.0)];
    let mut program = Program { placements: vec![pt(0.0, 0.0)], ..Program::default() };
    let mut moves = Vec::new();
    let mut seconds = Vec::new();
    let mut push = |m: Move, s: f64| {
        moves.push(m);
        seconds.push(s);
    };
    for i in 0..LAYERS {
        let z_bottom_mm = whole(i) * height_mm;
        let layer = Layer { number: i + 1, z_bottom_mm, height_mm, outline: combine::ring_area(&ring) };
        push(Move::Layer { number: i + 1, z_mm: layer.z_top_mm() }, 0.0);
        outline.layers.push(layer);
        let head = |h: Head| Move::Select(h);
        push(head(Head::Matrix), 4.0);
        let mut beads = Vec::new();
        for b in 0..BEADS {
            let (row, column) = (b / 4, b % 4);
            let points = wave(i, 1.0 + whole(row) * 0.5, 2.0 + whole(column) * 49.0, 4.0, 13);
            // times differ as the ways do
            push(Move::Travel(points[0]), 0.2 + 0.001 * whole((b * 7919 + i * 31) % 1009));
            push(Move::Bead { index: b, copy: 0, reversed: false, start: 0 }, 0.0);
            for p in &points[1..] {
                push(Move::Extrude { to: *p, volume_mm3: 0.4 }, 0.1);
            }
            let kind = if row == 0 { BeadKind::Perimeter } else { BeadKind::Fill };
            beads.push(Bead { kind, width_mm: 0.5, area_mm2: 0.1, closed: false, points });
        }
        let areas = Areas { outline: 22000.0, tow: 5000.0, matrix: 9000.0, open: 0.0, unfilled: 8000.0 };
        work.beads.push(LayerBeads { beads, areas, ..LayerBeads::default() });
        push(head(Head::Fibre), 4.0);
        let mut laid = Vec::new();
        for c in 0..COURSES {
            let y = 55.0 + whole(c) * width_mm.max(2.0) + 0.005 * whole(i);
            // eight straight pieces: joints that bend belong to the planner's own tests
            let at = |k: usize| pt(5.0 + whole(k) * 23.0, y);
            let segments: Vec<Segment> =
                (0..8).map(|k| Segment::Line { from: at(k), to: at(k + 1) }).collect();
            let path = Line::new(segments.clone(), false);
            let course =
                Course::new("bars".into(), Rule::Unidirectional, 0, path, 5.0, 20.0).expect("a course");
            let id = format!("L{}.{}", i + 1, c + 1);
            push(Move::CourseStart(id.clone()), 0.0);
            push(Move::Travel(at(0)), 1.0);
            push(Move::Thread(15.0), 1.0);
            for segment in &segments[..7] {
                push(Move::Lay { segment: *segment, fed: true }, 2.0);
            }
            push(Move::Cut, 0.5);
            push(Move::Lay { segment: segments[7], fed: false }, 2.0);
            push(Move::CourseEnd(id.clone()), 0.0);
            laid.push(Laid { id, course, cut_at_mm: 161.0 });
        }
        program.courses.push(laid);
        work.angles_deg.push(vec![(0, 0.0)]);
    }
    program.moves = moves;
    work.seconds = seconds;
    work.outline = outline;
    work.program = program;
    work
}

/// 40 MB.
const MOST_BYTES: usize = 40_000_000;

#[test]
fn a_thousand_layers_of_five_thousand_segments_stay_one_file_of_40_mb() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link/job.toml");
    let job = towpath::job::read(&mut Notes::default(), &path).expect("the example's job");
    let work = work(job.tow.width_mm, 0.2);
    let estimate = estimate::of(&job, &work.outline, &work.program, &work.beads, 0, TimeSplit::default());
    let told = Told {
        job: &job,
        work: &work,
        estimate: &estimate,
        left_out: &[],
        cover: &[],
        warnings: &[],
        follow: false,
    };
    let text = page(&told);
    let segments = LAYERS * (BEADS * 12 + COURSES * 8);
    println!(
        "{segments} segments, {} bytes, {:.2} a segment",
        text.len(),
        whole(text.len()) / whole(segments)
    );
    assert_eq!(segments, 5_000_000, "the size that is promised for");
    let blocks = text.matches("<script type=\"text/plain\"").count();
    assert!(blocks >= 3 * LAYERS, "{blocks} blocks: layers are alike that should not be");
    assert!(text.len() <= MOST_BYTES, "{} bytes", text.len());
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("big report");
    std::fs::create_dir_all(&folder).expect("a scratch folder");
    std::fs::write(folder.join("big.report.html"), text).expect("a scratch file");
}

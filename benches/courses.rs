//! Courses against layers and vertices: the whole bracket, a plate of 10 to 40
//! layers that all differ, one outline with 500 to 4 000 corners, and ground that two hoops
//! part between them.

#![allow(clippy::print_stdout, reason = "the exponents are what it is for")]

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use towpath::diagnostic::Notes;
use towpath::{fibre, job, outline, reinforcement};

struct Case {
    job: job::Job,
    outline: outline::Outline,
    tasks: Vec<reinforcement::LayerTasks>,
}

fn case(path: &Path) -> Case {
    let mut notes = Notes::default();
    let job = job::read(&mut notes, path).expect("the job reads");
    let (outline, _) =
        outline::read(&mut notes, &job.outline, job.layer_height_mm).expect("its outline reads");
    let tasks = reinforcement::place(&job, &outline).expect("its map fits");
    Case { job, outline, tasks }
}

fn lay(case: &Case) -> usize {
    fibre::lay(&mut Notes::default(), &case.job, &case.outline, &case.tasks)
        .iter()
        .map(|l| l.courses.len())
        .sum()
}

/// A wavy disc of so many corners and layers, each layer with its own direction.
fn written(corners: u32, layers: u32) -> PathBuf {
    let mut d = String::new();
    for k in 0..corners {
        let t = std::f64::consts::TAU * f64::from(k) / f64::from(corners);
        let r = 40.0 + 4.0 * libm::cos(5.0 * t) + 0.5 * libm::cos(21.0 * t);
        let _ = write!(
            d,
            "{}{:.4} {:.4} ",
            if k == 0 { 'M' } else { 'L' },
            50.0 + r * libm::cos(t),
            50.0 + r * libm::sin(t)
        );
    }
    let svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"100mm\" height=\"100mm\" viewBox=\"0 0 100 100\"><path d=\"{d}Z\"/></svg>"
    );
    let angles: Vec<String> = (0..layers).map(|k| format!("{:.1}", 4.3 * f64::from(k))).collect();
    let map = format!(
        "[[region]]\nname = \"rim\"\nshape = {{ outline = true }}\nrule = \"contour\"\ncourses = 3\npriority = 1\n\n[[region]]\nname = \"field\"\nshape = {{ outline = true }}\nrule = \"unidirectional\"\nangle_deg = [{}]\n",
        angles.join(", ")
    );
    files(&format!("{corners}-{layers}"), &svg, &map, layers)
}

/// A job of a drawing and a map, with so many layers.
fn files(name: &str, svg: &str, map: &str, layers: u32) -> PathBuf {
    let folder = std::env::temp_dir().join(format!("towpath-bench-{name}"));
    std::fs::create_dir_all(&folder).expect("a folder");
    std::fs::write(folder.join("part.svg"), svg).expect("a drawing");
    std::fs::write(folder.join("map.toml"), map).expect("a map");
    let job = folder.join("job.toml");
    let text = format!(
        "[part]\nname = \"bench\"\noutline = \"part.svg\"\nthickness_mm = {:.1}\n\n[build]\nprinter = \"shuttle-15\"\nmatrix = \"peek\"\ntow = \"carbon-1k5-peek\"\nlayer_height_mm = 0.2\n\n[reinforcement]\nmap = \"map.toml\"\n",
        0.2 * f64::from(layers)
    );
    std::fs::write(&job, text).expect("a job");
    job
}

fn courses(c: &mut Criterion) {
    let mut group = c.benchmark_group("courses");
    group.sample_size(10);
    let bracket = case(&Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/bracket/job.toml"));
    group.bench_function("bracket, 40 layers", |b| b.iter(|| lay(&bracket)));
    for layers in [10, 20, 40] {
        let plate = case(&written(500, layers));
        group.bench_with_input(BenchmarkId::new("layers", layers), &plate, |b, p| b.iter(|| lay(p)));
    }
    for corners in [500, 1000, 2000, 4000] {
        let plate = case(&written(corners, 1));
        group.bench_with_input(BenchmarkId::new("corners", corners), &plate, |b, p| b.iter(|| lay(p)));
    }
    group.finish();
}

/// Least time of three, s.
fn seconds(case: &Case) -> f64 {
    let once = || {
        let begin = std::time::Instant::now();
        std::hint::black_box(lay(case));
        begin.elapsed().as_secs_f64()
    };
    (0..3).map(|_| once()).fold(f64::INFINITY, f64::min)
}

/// Prints the exponents of growth: the slope of log time over log size, ends only.
fn growth(_: &mut Criterion) {
    let slope = |sizes: [u32; 2], case: &dyn Fn(u32) -> PathBuf| {
        let [few, many] = sizes.map(|n| seconds(&self::case(&case(n))));
        libm::log(many / few) / libm::log(f64::from(sizes[1]) / f64::from(sizes[0]))
    };
    println!("growth with layers n^{:.2}", slope([10, 40], &|n| written(500, n)));
    println!("growth with corners n^{:.2}", slope([500, 4000], &|n| written(n, 1)));
}

/// Two hoops as wide as they go that part the ground of a link between them, its outline drawn
/// with so many corners.
fn meeting(c: &mut Criterion) {
    let mut group = c.benchmark_group("hoops that butt");
    for corners in [350, 1_400] {
        let half = corners / 2;
        let end = |x: f64, from: f64| {
            (0..=half).fold(String::new(), move |mut d, k| {
                let t = from + std::f64::consts::PI * f64::from(k) / f64::from(half);
                let _ = write!(d, "{:.4} {:.4} L", x + 16.0 * libm::cos(t), 20.0 + 16.0 * libm::sin(t));
                d
            })
        };
        let (right, left) = (end(120.0, -0.5 * std::f64::consts::PI), end(20.0, 0.5 * std::f64::consts::PI));
        let svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"140mm\" height=\"40mm\" viewBox=\"0 0 140 40\"><path d=\"M{right}{}Z\"/><circle cx=\"20\" cy=\"20\" r=\"6\"/><circle cx=\"120\" cy=\"20\" r=\"6\"/></svg>",
            left.trim_end_matches('L')
        );
        let map: String = [20, 120]
            .map(|x| format!("[[region]]\nname = \"pin at {x}\"\nshape = {{ hole_at_mm = [{x}, 20] }}\nrule = \"hoop\"\nmeets = \"butt\"\n"))
            .concat();
        let case = case(&files(&format!("butt-{corners}"), &svg, &map, 1));
        group.bench_function(BenchmarkId::from_parameter(corners), |b| {
            b.iter(|| reinforcement::place(&case.job, &case.outline).expect("its map fits").len());
        });
    }
    group.finish();
}

criterion_group!(benches, courses, growth, meeting);
criterion_main!(benches);

//! One layer of the link, and the bare polygon operations that it needs, in one
//! run: read the ratio, not the times.

use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;
use std::path::Path;
use towpath::diagnostic::Notes;
use towpath::geom::{bend, combine, offset};
use towpath::{fibre, job, matrix, outline, reinforcement};

fn layer(c: &mut Criterion) {
    let mut notes = Notes::default();
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link/job.toml");
    let job = job::read(&mut notes, &path).expect("the example reads");
    let (mut part, _) =
        outline::read(&mut notes, &job.outline, job.layer_height_mm).expect("its outline reads");
    let mut tasks = reinforcement::place(&job, &part).expect("its map fits");
    // one layer of the middle: all regions
    part.layers = part.layers.split_off(7);
    part.layers.truncate(1);
    tasks = tasks.split_off(7);
    tasks.truncate(1);
    let courses = fibre::lay(&mut notes, &job, &part, &tasks);
    let layer = &part.layers[0];

    let mut group = c.benchmark_group("link layer");
    group.sample_size(20);
    group.bench_function("courses", |b| b.iter(|| fibre::lay(&mut Notes::default(), &job, &part, &tasks)));
    group.bench_function("beads", |b| {
        b.iter(|| matrix::fill(&layer.outline, &courses[0].strips, &job.beads, 0, layer.height_mm));
    });
    // what no planner can do without: an inset per course, a strip per course,
    // one union, one difference, the perimeters' insets
    group.bench_function("bare kernel calls", |b| {
        b.iter(|| {
            let chord = bend::PROPOSAL_CHORD_MM;
            let strips: Vec<_> = courses[0]
                .courses
                .iter()
                .map(|c| {
                    black_box(offset::grown(&layer.outline, -1.5, chord));
                    offset::strip(&c.path().flatten(chord), job.tow.width_mm, c.path().closed, chord)
                })
                .collect();
            let tow = combine::union_all(&strips);
            for k in 0..job.beads.perimeters {
                black_box(offset::grown(&layer.outline, if k == 0 { -0.25 } else { -0.75 }, chord));
            }
            combine::difference(&layer.outline, &tow)
        });
    });
    group.finish();
}

criterion_group!(benches, layer);
criterion_main!(benches);

//! The reader alone and the whole check, in MB/s of program text.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use std::hint::black_box;
use std::path::Path;
use towpath::diagnostic::Notes;
use towpath::verify::stream::Lines;
use towpath::verify::verify;
use towpath::verify::words::{self, Line};
use towpath::{job, plan};

fn reader(c: &mut Criterion) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link/job.toml");
    let planned = plan::plan(&mut Notes::default(), &path).expect("the example is planned");
    let (_, printer) = job::printer_named(&planned.job.printer.name).expect("it is built in");
    let text = planned.program.as_bytes();

    let mut group = c.benchmark_group("program");
    group.sample_size(10);
    group.throughput(Throughput::Bytes(text.len() as u64));
    group.bench_function("lines and words", |b| {
        b.iter(|| {
            let mut lines = Lines::new(text);
            let (mut line, mut words) = (Line::default(), 0);
            while lines
                .next(|l| words += if words::read(l, &mut line).is_ok() { line.words.len() } else { 0 })
                .expect("memory is readable")
            {}
            black_box(words)
        });
    });
    group.bench_function("check without plan", |b| b.iter(|| verify("p", text, &printer, None)));
    let plan = planned.plan.as_bytes();
    group.bench_function("check with plan", |b| b.iter(|| verify("p", text, &printer, Some(("plan", plan)))));
    group.finish();
}

criterion_group!(benches, reader);
criterion_main!(benches);

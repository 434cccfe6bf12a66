//! How fast keyway runs, as rates and as ratios to a naive loop over the same core.
//!
//! `cargo bench` first lets criterion measure each job alone (rates, and changes since the last time), then prints
//! ratios keyway/naive, then runs generated suites of growing size. A ratio needs both sides measured within the same
//! milliseconds, or a busy machine speaks through it; criterion finishes one job before it begins the next, so
//! `ratio` alternates them by itself and takes the median. Nothing here fails for being slow.
//!
//! With `-- ratios` only the ratios are measured, with `-- fuzzing` only what fuzzing takes, with `-- proving` only proofs; with other arguments (a filter, `--save-baseline`, ...) only criterion
//! runs.

mod checksum;
mod detection;
mod fuzzing;
mod naive;
mod processor;
mod proving;
mod ratio;
mod suites;
mod watch;

use std::hint::black_box;
use std::time::Duration;

use criterion::{Criterion, Throughput};

use checksum::Checksum;
use detection::Detection;

fn main() {
    if let Some(cases) = suites::asked_for() {
        return suites::measure(cases);
    }
    if std::env::args().any(|argument| argument == "ratios") {
        return ratio::table();
    }
    if std::env::args().any(|argument| argument == "fuzzing") {
        return fuzzing::table();
    }
    if std::env::args().any(|argument| argument == "proving") {
        return proving::table();
    }
    let mut criterion = Criterion::default()
        .warm_up_time(Duration::from_millis(500))
        .measurement_time(Duration::from_secs(3))
        .configure_from_args();
    rates(&mut criterion);
    criterion.final_summary();
    let own_arguments = std::env::args().skip(1).any(|argument| argument != "--bench");
    if !own_arguments {
        ratio::table();
        suites::table();
        fuzzing::table();
        proving::table();
    }
}

fn rates(criterion: &mut Criterion) {
    let mut detection = Detection::new();
    let mut group = criterion.benchmark_group("detection");
    group.throughput(Throughput::Elements(1));
    group.bench_function("keyway", |bench| bench.iter(|| black_box(detection.keyway.run())));
    group.bench_function("naive", |bench| bench.iter(|| black_box(detection.naive.run())));
    group.bench_function("keyway, watched", |bench| bench.iter(|| black_box(detection.keyway_watched.run_watched())));
    group.bench_function("keyway, coverage", |bench| bench.iter(|| black_box(detection.keyway_covered.run_covered())));
    group.bench_function("naive, watched", |bench| bench.iter(|| black_box(detection.naive_watched.run())));
    group.finish();

    let mut checksum = Checksum::new();
    let mut group = criterion.benchmark_group("checksum of 2 MiB");
    group.throughput(Throughput::Elements(checksum.instructions()));
    group.sample_size(20);
    group.bench_function("keyway", |bench| bench.iter(|| black_box(checksum.keyway.run())));
    group.bench_function("naive", |bench| bench.iter(|| black_box(checksum.naive.run())));
    group.finish();
}

//! Ratios keyway/naive, corrected processor/core alone, and watched/plain: both sides take turns of a few milliseconds, and the medians of their turns are compared.

use std::cell::RefCell;
use std::hint::black_box;
use std::sync::Arc;
use std::time::{Duration, Instant};

use keyway::check::Watch;
use keyway::explain::Tracer;
use keyway::run::Machine;

use crate::checksum::Checksum;
use crate::detection::Detection;
use crate::processor::{JOBS, Processor};
use crate::suites;

/// Turns of each side.
pub const TURNS: usize = 1001;

/// Runs of a short job in a turn.
pub const RUNS: u32 = 200;

/// Cases of the small suite.
const SUITE: usize = 2000;

/// Measures and prints the table.
pub fn table() {
    let mut detection = Detection::new();
    let instructions = detection.instructions();
    println!("\n{:<44}{:>14}{:>14}{:>8}{:>7}", "median of turns", "keyway", "naive", "ratio", "aim");
    let Detection { keyway, naive, keyway_watched, naive_watched, keyway_traced, keyway_covered } = &mut detection;
    let pair = compare(TURNS, RUNS, || black_box(keyway.run()), || black_box(naive.run()));
    row(&format!("(a) detections of {instructions} instructions"), "runs/s", pair, 1, 2.0);
    let pair = compare(TURNS, RUNS, || black_box(keyway_watched.run_watched()), || black_box(naive_watched.run()));
    row("(b) with edges and window reads observed", "runs/s", pair, 1, 1.8);
    let traced = compare(TURNS, RUNS, || black_box(keyway_traced.run_traced()), || black_box(keyway.run()));
    let covered = compare(TURNS, RUNS, || black_box(keyway_covered.run_covered()), || black_box(keyway.run()));
    let mut checksum = Checksum::new();
    let instructions = checksum.instructions();
    let Checksum { keyway, naive } = &mut checksum;
    let pair = compare(TURNS / 40, 1, || black_box(keyway.run()), || black_box(naive.run()));
    row("(c) checksum of 2 MiB", "instr/s", pair, instructions, 1.2);
    println!("\n{:<44}{:>14}{:>14}{:>8}{:>7}", "the processor", "corrected", "core alone", "ratio", "aim");
    for (name, code) in JOBS {
        let processor = RefCell::new(Processor::new(code));
        let instructions = processor.borrow().instructions;
        let pair = compare(
            TURNS,
            1,
            || black_box(processor.borrow_mut().corrected()),
            || black_box(processor.borrow_mut().core_alone()),
        );
        row(name, "instr/s", pair, instructions, 0.87);
    }
    println!("\n{:<44}{:>14}{:>14}{:>8}{:>7}", "the price of watching", "watched", "plain", "ratio", "aim");
    row("(g) detections with coverage", "runs/s", covered, 1, 0.6);
    row("(h) detections with their data followed", "runs/s", traced, 1, 0.2);
    let suite = suites::small(SUITE);
    let plain = || assert_eq!(suites::check(&suite, Watch::default()), SUITE);
    let covered = || assert_eq!(suites::check(&suite, Watch { coverage: true, ..Watch::default() }), SUITE);
    row("(i) a suite with coverage", "cases/s", compare(TURNS / 20, 1, covered, plain), SUITE as u64, 0.6);
    let rig = &suite.harness.rig;
    let mut plain = Machine::new(Arc::clone(rig));
    let mut traced = Machine::watched(Arc::clone(rig), Tracer::new(Arc::clone(rig)));
    let traced = || {
        suites::run(&suite, |case, fills| {
            traced.observer().start(&case.setup);
            traced.run(&case.setup, fills).branch()
        })
    };
    let plain = || suites::run(&suite, |case, fills| plain.run(&case.setup, fills).branch());
    row("(j) a suite with its data followed", "cases/s", compare(TURNS / 20, 1, traced, plain), SUITE as u64, 0.2);
}

/// Median times of one run, in seconds.
pub fn compare<A, B>(turns: usize, runs: u32, mut keyway: impl FnMut() -> A, mut naive: impl FnMut() -> B) -> [f64; 2] {
    let mut times = [Vec::with_capacity(turns), Vec::with_capacity(turns)];
    for _ in 0..turns {
        times[0].push(time(runs, &mut keyway));
        times[1].push(time(runs, &mut naive));
    }
    times.map(|mut times| {
        times.sort_unstable();
        times[turns / 2].as_secs_f64() / f64::from(runs)
    })
}

fn time<T>(runs: u32, job: &mut impl FnMut() -> T) -> Duration {
    let start = Instant::now();
    for _ in 0..runs {
        job();
    }
    start.elapsed()
}

pub fn row(name: &str, unit: &str, [keyway, naive]: [f64; 2], each: u64, aim: f64) {
    let rate = |seconds: f64| each as f64 / seconds;
    println!(
        "{:<44}{:>14.0}{:>14.0}{:>8.2}{aim:>7.2}",
        format!("{name}, {unit}"),
        rate(keyway),
        rate(naive),
        naive / keyway
    );
}

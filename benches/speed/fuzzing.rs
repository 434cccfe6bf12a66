//! Fuzzing: what feedback costs, what is saved by knowing runs, and how long it takes to find things, on one core.

use std::hint::black_box;
use std::ops::ControlFlow;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::Instant;

use keyway::fuzz::{Event, Feedback, Fuzz, Plug, Prober, Promises, Trial};
use keyway::run::Machine;
use keyway::suite::Harness;

use crate::detection::{Detection, Keyway, harness_path};
use crate::ratio::{RUNS, TURNS, compare, row};

/// Seeds over which times are taken.
const SEEDS: std::ops::RangeInclusive<u64> = 1..=5;

/// Measures and prints the tables.
pub fn table() {
    let harness = Arc::new(Harness::load(harness_path()).expect("the demo harness"));
    println!("\n{:<44}{:>14}{:>14}{:>8}{:>7}", "fuzzing", "this", "that", "ratio", "aim");
    feedback(&harness);
    memo(&harness);
    every_branch();
    defects();
    memory(&harness);
}

/// Row (k): a detection with feedback, and the same observed by the plain watch of row (b).
fn feedback(harness: &Arc<Harness>) {
    let mut detection = Detection::new();
    let setup = detection.keyway_watched.setup().clone();
    let mut fed = Keyway::new(Machine::watched(Arc::clone(&harness.rig), Feedback::new(&harness.rig)), setup);
    let mut run_fed = || {
        fed.machine.observer().begin();
        fed.run()
    };
    assert_eq!(run_fed(), harness.branch("patched"));
    let watched = &mut detection.keyway_watched;
    let pair = compare(TURNS, RUNS, || black_box(run_fed()), || black_box(watched.run_watched()));
    row("(k) detections with feedback, observed", "runs/s", pair, 1, 0.75);
}

/// Row (l): trials that are known, and the same trials run.
fn memo(harness: &Arc<Harness>) {
    let trial = Trial::of(Plug::erased(1 << 20, &harness.layout), harness);
    let fuzz = Fuzz::new(harness).trials(1000);
    let cases = fuzz.run().expect("a work").cases;
    assert!(!cases.is_empty());
    let mut prober = Prober::new(harness, Promises::all(), 1);
    // Refused after 2000 looks at the pedal: the longest way of the demo.
    let mut own = trial;
    if let Some(plug) = &mut own.plug {
        for (at, text) in [(0x100, "PARLOR16 SYSTEM "), (0x180, "AW-9999-00    ")] {
            (at..).zip(text.bytes()).for_each(|(offset, byte)| plug.put(offset, byte, &harness.layout));
        }
    }
    let mut drums = own.clone();
    if let Some(plug) = &mut drums.plug {
        (0x180..).zip("AW-2100-00    ".bytes()).for_each(|(offset, byte)| plug.put(offset, byte, &harness.layout));
    }
    let mut features = Vec::new();
    for (name, trial) in [("(l) drum library, known and run", drums), ("(m) refused by the pedal, known and run", own)]
    {
        prober.run(&trial);
        features.extend(prober.features());
        prober.learn(&features);
        prober.try_out(&trial);
        assert!(prober.try_out(&trial).known);
        let prober = std::cell::RefCell::new(&mut prober);
        let pair = compare(
            TURNS / 10,
            RUNS,
            || black_box(prober.borrow_mut().try_out(&trial).known),
            || black_box(prober.borrow_mut().run(&trial).known),
        );
        row(name, "trials/s", pair, 1, 1.0);
    }
}

/// A harness of the repository, with one thread to work on.
fn alone<T: Send>(work: impl FnOnce() -> T + Send) -> T {
    rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a thread").install(work)
}

/// The time until all branches of the demo have been reached, from nothing; without the acceptance table, so that only the
/// ROM says which codes there are.
fn every_branch() {
    let text = std::fs::read_to_string(harness_path()).expect("the demo harness");
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["aria.elf", "patch.bin"] {
        std::fs::copy(harness_path().with_file_name(name), folder.path().join(name)).expect("a copy");
    }
    let blind = folder.path().join("blind.yaml");
    std::fs::write(&blind, &text[..text.find("acceptance:").expect("a table")]).expect("a file");
    println!("\n{:<44}{:>14}{:>14}", "until every branch is reached, one core", "seconds", "trials");
    for (name, path) in [("with the acceptance table", harness_path()), ("without", blind)] {
        let harness = Arc::new(Harness::load(&path).expect("a harness"));
        for seed in SEEDS {
            let (seconds, trials) = alone(|| {
                until(
                    &Fuzz::new(&harness).seed(seed),
                    |event| matches!(event, Event::Batch(status) if status.branches == status.of_branches),
                )
            });
            println!("{:<44}{seconds:>14.4}{trials:>14}", format!("{name}, seed {seed}"));
        }
    }
}

/// The time until a broken demo is found out, for the slowest of the seeds.
fn defects() {
    println!("\n{:<44}{:>14}{:>14}", "until a promise is found broken, one core", "seconds", "trials");
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("harness/defects");
    let files = std::fs::read_dir(folder).expect("the broken demos").map(|file| file.expect("a file").path());
    let mut files: Vec<_> = files.filter(|file| file.extension().is_some_and(|ending| ending == "yaml")).collect();
    files.sort();
    for file in files {
        let harness = Arc::new(Harness::load(&file).expect("a harness"));
        let times = SEEDS
            .map(|seed| alone(|| until(&Fuzz::new(&harness).seed(seed), |event| matches!(event, Event::Found(_)))));
        let (seconds, trials) = times.max_by(|one, two| one.0.total_cmp(&two.0)).expect("seeds");
        let name = file.file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().into_owned());
        println!("{name:<44}{seconds:>14.4}{trials:>14}");
    }
}

/// Works until something happens: seconds and trials.
fn until(fuzz: &Fuzz, happened: impl Fn(&Event) -> bool) -> (f64, u64) {
    let began = Instant::now();
    let stop = AtomicBool::new(false);
    let report =
        fuzz.run_with(&stop, |event| if happened(&event) { ControlFlow::Break(()) } else { ControlFlow::Continue(()) });
    let report = report.expect("a work");
    (began.elapsed().as_secs_f64(), report.status.trials)
}

/// Memory after more and more trials, on systems that tell it.
fn memory(harness: &Arc<Harness>) {
    println!("\n{:<44}{:>14}{:>14}", "memory, two threads", "trials", "MiB");
    let pool = rayon::ThreadPoolBuilder::new().num_threads(2).build().expect("threads");
    for trials in [100_000, 300_000, 1_000_000, 3_000_000] {
        let report = pool.install(|| Fuzz::new(harness).trials(trials).run()).expect("a work");
        let resident = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
        let kib = resident.lines().find_map(|line| line.strip_prefix("VmRSS:")?.trim().strip_suffix(" kB"));
        let mib = kib.and_then(|kib| kib.trim().parse::<f64>().ok()).map_or(f64::NAN, |kib| kib / 1024.0);
        println!("{:<44}{:>14}{mib:>14.1}", "resident", report.status.trials);
    }
}

//! Proofs: how long they take on one core, as times and as ratios to the demo in the same run, and what memory they need.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

use keyway::compare::Compare;
use keyway::prove::{Prove, Sealed};
use keyway::suite::{Demanded, Harness};
use keyway::trial::Promise;

/// Turns of each proof; the median counts.
const TURNS: usize = 5;

fn harness(name: &str) -> Arc<Harness> {
    let file = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(name);
    Arc::new(Harness::load(file).expect("a harness"))
}

fn routine(name: &str) -> Arc<Harness> {
    harness(&format!("tests/proving/routines/harness/{name}.yaml"))
}

/// The median time of a few turns.
fn median(mut work: impl FnMut()) -> Duration {
    let mut times: Vec<Duration> = (0..TURNS)
        .map(|_| {
            let began = Instant::now();
            work();
            began.elapsed()
        })
        .collect();
    times.sort();
    times[TURNS / 2]
}

/// Measures and prints the table.
pub fn table() {
    println!("\n{:<44}{:>14}{:>14}{:>14}{:>8}", "proofs, one core", "seconds", "to the demo", "peak MiB", "aim s");
    let demo = harness("harness/aria.yaml");
    let base = median(|| proved(&Prove::new(&demo)));
    row("(n) the demo", base, base, "0.05");
    row("    explored, and asked for crashes alone", median(|| explored(&Prove::new(&demo))), base, "");
    for (entries, aim) in [(5, ""), (10, ""), (20, ""), (40, ""), (80, "0.5")] {
        let harness = routine(&format!("table_{entries}"));
        row(&format!("(o) a table of {entries} entries"), median(|| proved(&Prove::new(&harness))), base, aim);
        row("    explored, and asked for crashes alone", median(|| explored(&Prove::new(&harness))), base, "");
    }
    for (fields, aim) in [(3, ""), (10, "0.1")] {
        let harness = routine(&format!("fields_{fields}"));
        row(&format!("(p) {fields} independent fields"), median(|| proved(&Prove::new(&harness))), base, aim);
        row("    explored, and asked for crashes alone", median(|| explored(&Prove::new(&harness))), base, "");
    }
    for (polls, aim) in [(2000, ""), (20_000, "15")] {
        let prove = Prove::new(&routine(&format!("poll_{polls}"))).let_be_unknown("pedal").expect("a port");
        row(&format!("(q) {polls} reads of an unknown port"), median(|| proved(&prove)), base, aim);
    }
    let pressed = Prove::new(&demo).let_be_unknown("pedal").expect("a port");
    row("(r) the demo with every read unknown", median(|| proved(&pressed)), base, "");
    let edited = harness("tests/proving/routines/edits/known-03.yaml");
    let compared = median(|| {
        let compare = Compare::new(Prove::new(&demo), Prove::new(&edited)).expect("two builds");
        let sealed = compare.run();
        assert!(matches!(sealed, Sealed::Proved(_)) && sealed.found().changes.len() == 1);
    });
    row("(s) two builds of the demo compared", compared, base, "0.3");
}

fn proved(prove: &Prove) {
    let sealed = prove.run().expect("a proof");
    assert!(matches!(sealed, Sealed::Proved(_)), "{:?}", sealed.doubts());
}

/// The exploration with its gates and witnesses, and one question: without conditions, paths, influence and table.
fn explored(prove: &Prove) {
    let reasons = prove.demand(&[Demanded::Keeps(Promise::Crash)]);
    assert!(reasons.is_empty(), "{reasons:?}");
}

fn row(name: &str, time: Duration, base: Duration, aim: &str) {
    let ratio = time.as_secs_f64() / base.as_secs_f64();
    println!("{name:<44}{:>14.3}{ratio:>14.2}{:>14.1}{aim:>8}", time.as_secs_f64(), peak());
}

/// The most memory that the process has used so far: the rows come in the order in which it grows.
fn peak() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let kib = status.lines().find_map(|line| line.strip_prefix("VmHWM:")?.trim().strip_suffix(" kB"));
    kib.and_then(|kib| kib.trim().parse::<f64>().ok()).map_or(f64::NAN, |kib| kib / 1024.0)
}

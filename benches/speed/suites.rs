//! Generated suites of growing size, from the YAML to the verdicts: time and memory should grow with them and no faster.
//!
//! Each size runs in a process of its own, because the kernel's memory peak only ever rises.

use std::fmt::Write;
use std::ops::ControlFlow;
use std::process::Command;
use std::sync::Arc;
use std::time::Instant;

use keyway::board::RamFill;
use keyway::check::{Job, Source, Watch, check_all};
use keyway::suite::{Case, Suite};
use keyway::verdict::Verdict;

use crate::detection::harness_path;

const SIZES: [usize; 3] = [10_000, 30_000, 100_000];

/// Set in the processes that run one suite.
const VARIABLE: &str = "KEYWAY_BENCH_CASES";

/// The size of the one suite that this process shall run.
pub fn asked_for() -> Option<usize> {
    std::env::var(VARIABLE).ok()?.parse().ok()
}

/// Runs all sizes and prints a table.
pub fn table() {
    println!("\n(d) {:<14}{:>16}{:>16}{:>14}{:>14}", "cases", "load, us/case", "check, us/case", "peak, MiB", "B/case");
    for size in SIZES {
        let program = std::env::current_exe().expect("the path of this program");
        let status = Command::new(program).env(VARIABLE, size.to_string()).status().expect("this program again");
        assert!(status.success(), "the suite of {size} cases failed");
    }
}

/// Checks one suite and prints its row.
pub fn measure(cases: usize) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("generated.yaml");
    std::fs::write(&path, text(cases)).expect("a suite file");
    let before = peak();
    let start = Instant::now();
    let suite = Suite::load(&path).unwrap_or_else(|complaint| panic!("{}", complaint.message));
    let loaded = start.elapsed();
    assert_eq!(suite.len(), cases);
    let job = Job { cases: (0..cases as u32).collect(), source: Source::Suite(Arc::new(suite)) };
    let mut held = 0;
    let start = Instant::now();
    let done = check_all(&[job], Watch::default(), |result| {
        held += usize::from(matches!(result.verdict, Verdict::Held));
        ControlFlow::Continue(())
    });
    let checked = start.elapsed();
    done.expect("cases that can be made");
    assert_eq!(held, cases);
    let each = |time: std::time::Duration| time.as_secs_f64() * 1e6 / cases as f64;
    let grown = (peak() - before) * 1024.0 * 1024.0 / cases as f64;
    println!("    {cases:<14}{:>16.1}{:>16.1}{:>14.1}{grown:>14.0}", each(loaded), each(checked), peak());
}

/// A small suite, to be checked again and again.
pub fn small(cases: usize) -> Arc<Suite> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("generated.yaml");
    std::fs::write(&path, text(cases)).expect("a suite file");
    Arc::new(Suite::load(&path).unwrap_or_else(|complaint| panic!("{}", complaint.message)))
}

/// Checks all cases of a suite; how many held.
pub fn check(suite: &Arc<Suite>, watch: Watch) -> usize {
    let job = Job { cases: (0..suite.len() as u32).collect(), source: Source::Suite(Arc::clone(suite)) };
    let mut held = 0;
    let done = check_all(&[job], watch, |result| {
        held += usize::from(matches!(result.verdict, Verdict::Held));
        ControlFlow::Continue(())
    });
    done.expect("cases that can be made");
    held
}

/// Makes each case of a suite and runs it once, on this thread; all must come to a branch.
pub fn run(suite: &Suite, mut run: impl FnMut(&Case, &[RamFill]) -> Option<usize>) {
    for case in suite.cases() {
        let case = case.expect("a case that can be made");
        let branch = run(&case, case.fills.first().map_or(&[], Vec::as_slice));
        assert!(branch.is_some());
    }
}

/// Nine cartridges of other publishers to each pressing of the drum library that differs in a byte.
fn text(cases: usize) -> String {
    let numbers = |count: usize| (0..count).map(|number| format!("\"{number:06}\"")).collect::<Vec<_>>().join(", ");
    let mut text = format!("harness: {:?}\n", harness_path());
    text.push_str("cartridges:\n");
    text.push_str("  other: {signature: \"PARLOR16 SYSTEM \", product: \"{maker}-{number}\", size: 1 MiB}\n");
    text.push_str("  drums: {signature: \"PARLOR16 SYSTEM \", product: AW-2100-02, bytes: {0x300: \"{number}\"}}\n");
    text.push_str("cases:\n");
    let tenth = numbers(cases / 10);
    let _ = writeln!(
        text,
        "  - name: others are noise\n    for: {{maker: [B, C, D, E, F, G, H, I, J], number: [{tenth}]}}"
    );
    text.push_str("    attach: other\n    expect: {branch: noise}\n");
    let _ = writeln!(text, "  - name: drums are patched\n    for: {{number: [{tenth}]}}");
    text.push_str("    attach: drums\n    expect: {branch: patched}\n");
    text
}

/// The largest memory this process has had, in MiB; 0 where the system does not say.
fn peak() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kilobytes = line.and_then(|line| line.split_whitespace().next()?.parse::<f64>().ok());
    kilobytes.unwrap_or(0.0) / 1024.0
}

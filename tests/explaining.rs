//! Explanations of detection routines of many shapes.
//!
//! The routines, their harnesses and cases stand in tests/explaining/, with what a right explanation says as comments in
//! the case files, written from the sources. `facts` asserts that, `snapshots` holds the text as it is shown, and
//! `influence` runs changed cartridges against what an explanation says had no influence.

mod facts;
mod influence;
mod snapshots;
mod told;

use std::collections::BTreeSet;
use std::path::PathBuf;

use keyway::explain::Step;
use keyway::{Case, Checker, Suite};

use crate::support::{Project, root};

/// The case files of the shapes, in order.
fn case_files() -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(root().join("tests/explaining/cases"))
        .expect("the shapes")
        .map(|entry| entry.expect("a case file").path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "yaml"))
        .collect();
    files.sort();
    assert!(files.len() > 16, "the shapes are gone");
    files
}

fn cases(suite: &Suite) -> Vec<Case> {
    suite.cases().map(|case| case.expect("a case")).collect()
}

/// The kinds of steps, as the model names them. A new kind does not compile until it stands here; then some shape has to
/// reach it.
fn kind(step: &Step) -> &'static str {
    match step {
        Step::Compare(_) => "compare",
        Step::Scan(_) => "scan",
        Step::Test(_) => "test",
        Step::Jump(_) => "jump",
        Step::Lookup(_) => "lookup",
        Step::Write(_) => "write",
        Step::Exception(_) => "exception",
        Step::Told(_) => "told",
        Step::Omitted(_) => "omitted",
    }
}

/// All but `omitted`: no shape decides often enough; see the next test.
const KINDS: [&str; 8] = ["compare", "scan", "test", "jump", "lookup", "write", "exception", "told"];

#[test]
fn every_kind_of_step_is_reached_by_some_shape() {
    let mut reached = BTreeSet::new();
    for file in case_files() {
        let suite = Suite::load(&file).expect("a case file");
        let mut checker = Checker::new(suite.harness.clone());
        for case in cases(&suite) {
            reached.extend(checker.explain(&case).steps.iter().map(kind));
        }
    }
    assert_eq!(reached, BTreeSet::from(KINDS));
}

/// Eighty tests of as many bytes, none like another: the first and the last thirty are told, and how many are not.
#[test]
fn the_middle_of_a_long_story_is_counted() {
    // tst.b 0x200100+n; bne.s over a NOP, eighty times; then the exit.
    let mut words: Vec<u16> = (0..80).flat_map(|n| [0x4A39, 0x0020, 0x0100 + n, 0x6602, 0x4E71]).collect();
    words.push(0x4E71);
    let end = 2 * words.len() as u32 - 2;
    let extra =
        format!("routine: {{entry: 0x0, stack: 0xE0FE00}}\nbranches: {{done: {{kind: rejected, at: 0x{end:X}}}}}\n");
    let project = Project::with_rom(&words, &[("first", 0)], &extra);
    project.write(
        "cases/long.yaml",
        "harness: ../harness/rom.yaml\ncases:\n  - {name: a, attach: {size: 1 KiB}, expect: {branch: done}}\n",
    );
    let shown = project.run(&["explain"]);
    assert_eq!(shown.code, 0, "{}", shown.err);
    assert_eq!(shown.out.matches("  tested  ").count(), 60, "{}", shown.out);
    assert!(shown.out.contains("20 more decisions, left out here"), "{}", shown.out);
}

/// A shape that does not end as its case says would prove nothing.
#[test]
fn every_shape_takes_its_branch() {
    for file in case_files() {
        let suite = Suite::load(&file).expect("a case file");
        let mut checker = Checker::new(suite.harness.clone());
        for case in cases(&suite) {
            let result = checker.check(&case);
            assert!(!result.verdict.failed(), "{}: {}: {:?}", file.display(), case.name, result.verdict);
        }
    }
}

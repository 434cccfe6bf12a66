//! The twelve broken demos (harness/defects/): a proof finds each out, with a case that fails there and holds on the demo.

use std::sync::Arc;

use keyway::check::Checker;
use keyway::prove::Prove;
use keyway::suite::Suite;
use keyway::trial::Promise;
use keyway::{Harness, Verdict};

use crate::support::root;

fn load(file: &str) -> Arc<Harness> {
    Arc::new(Harness::load(root().join(file)).unwrap_or_else(|complaint| panic!("{complaint}")))
}

/// What must be found, written down from the patches before anything was run (see tests/fuzzing/defects.rs).
const DEFECTS: &[(&str, Promise)] = &[
    ("last-byte", Promise::Accepts),
    ("stride", Promise::Refuses),
    ("first-entry", Promise::Refuses),
    ("signature-short", Promise::Accepts),
    ("odd-word", Promise::Crash),
    ("stray-write", Promise::StrayWrites),
    ("hang", Promise::Hang),
    ("preset-range", Promise::Ends),
    ("latch-on", Promise::Latches),
    ("early-read", Promise::Forbidden),
    ("sum-wraps", Promise::Accepts),
    ("shadowed", Promise::Branch),
];

/// Proves a broken demo: the promise breaks, with a case that fails there and holds on the whole demo of that size.
fn has_its_counterexample(file: &str, promise: Promise, whole: &str) {
    let (broken, whole) = (load(file), load(whole));
    let sealed = Prove::new(&broken).run().unwrap();
    let violations = &sealed.found().violations;
    let found = violations.iter().find(|violation| violation.promise == promise);
    let found = found.unwrap_or_else(|| panic!("{file}: {violations:?}"));
    assert!(!found.reasons.is_empty(), "{file}: no case fails\n{}", found.case);
    let case = tempfile::Builder::new().suffix(".yaml").tempfile().unwrap();
    std::fs::write(case.path(), &found.case).unwrap();
    let verdict = |harness: &Arc<Harness>| {
        let suite = Suite::load_for(case.path(), 1, harness).unwrap_or_else(|complaint| panic!("{complaint}"));
        Checker::new(Arc::clone(harness)).check(&suite.case(0).unwrap()).verdict
    };
    assert!(matches!(verdict(&broken), Verdict::Failed { .. }), "{file}\n{}", found.case);
    assert_eq!(verdict(&whole), Verdict::Held, "{file}\n{}", found.case);
}

#[test]
fn each_broken_demo_has_its_counterexample() {
    for (name, promise) in DEFECTS {
        has_its_counterexample(&format!("harness/defects/{name}.yaml"), *promise, "harness/aria.yaml");
    }
}

/// The same with more products behind the five of the demo; nothing is broken in the whole demo of these sizes.
#[test]
fn each_broken_demo_at_other_table_sizes() {
    for size in [20, 80] {
        let file = |name: &str| format!("tests/proving/routines/sizes/{name}-{size}.yaml");
        let whole = file("whole");
        let sealed = Prove::new(&load(&whole)).run().unwrap();
        assert!(sealed.found().proved, "{whole}: {:?}", sealed.doubts());
        assert_eq!(sealed.found().violations.len(), 0, "{whole}");
        assert_eq!(sealed.found().kept.len(), Promise::ALL.len(), "{whole}");
        for (name, promise) in DEFECTS {
            has_its_counterexample(&file(name), *promise, &whole);
        }
    }
}

/// Nothing is broken in the whole demo, whatever the pedal says.
#[test]
fn the_whole_demo_keeps_every_promise() {
    for pedal in [false, true] {
        let mut prove = Prove::new(&load("harness/aria.yaml"));
        if pedal {
            prove = prove.let_be_unknown("pedal").unwrap();
        }
        let sealed = prove.run().unwrap();
        assert!(sealed.found().proved, "{:?}", sealed.doubts());
        assert_eq!(sealed.found().violations.len(), 0);
        assert_eq!(sealed.found().kept.len(), Promise::ALL.len());
        // With a pedal that is never pressed one branch's second way is dead, and its rule is idle.
        assert_eq!(sealed.found().rules.iter().all(|rule| rule.decides), pedal);
        assert_eq!(sealed.found().dead.is_empty(), pedal);
    }
}

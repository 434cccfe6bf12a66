//! The twelve broken demos (harness/defects/): a proof finds each out, with a case that fails there and holds on the demo.

use std::sync::Arc;

use keyway::check::Checker;
use keyway::prove::Prove;
use keyway::suite::Suite;
use keyway::trial::Promise;
use keyway::{Harness, Verdict};

use crate::support::root;

fn harness(name: &str) -> Arc<Harness> {
    Arc::new(Harness::load(root().join("harness").join(name)).unwrap_or_else(|complaint| panic!("{complaint}")))
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

#[test]
fn each_broken_demo_has_its_counterexample() {
    let whole = harness("aria.yaml");
    for (name, promise) in DEFECTS {
        let broken = harness(&format!("defects/{name}.yaml"));
        let sealed = Prove::new(&broken).run().unwrap();
        let violations = &sealed.found().violations;
        let found = violations.iter().find(|violation| violation.promise == *promise);
        let found = found.unwrap_or_else(|| panic!("{name}: {violations:?}"));
        assert!(!found.reasons.is_empty(), "{name}: no case fails\n{}", found.case);
        let file = tempfile::Builder::new().suffix(".yaml").tempfile().unwrap();
        std::fs::write(file.path(), &found.case).unwrap();
        let verdict = |harness: &Arc<Harness>| {
            let suite = Suite::load_for(file.path(), 1, harness).unwrap_or_else(|complaint| panic!("{complaint}"));
            Checker::new(Arc::clone(harness)).check(&suite.case(0).unwrap()).verdict
        };
        assert!(matches!(verdict(&broken), Verdict::Failed { .. }), "{name}\n{}", found.case);
        assert_eq!(verdict(&whole), Verdict::Held, "{name}\n{}", found.case);
    }
}

/// The same with the polls and the tables of other sizes that the routines have: nothing is broken in the whole demo.
#[test]
fn the_whole_demo_keeps_every_promise() {
    for pedal in [false, true] {
        let mut prove = Prove::new(&harness("aria.yaml"));
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

//! Comparing builds: the C routine at four levels of optimisation, and edits of the demo.

use std::path::PathBuf;
use std::sync::Arc;

use keyway::Harness;
use keyway::compare::{Compare, Comparison};
use keyway::prove::{Prove, Sealed};
use pretty_assertions::assert_eq;

use super::path;
use crate::support::root;

fn compare(old: PathBuf, new: PathBuf, pedal: bool) -> Sealed<Comparison> {
    let question = |file: PathBuf| {
        let harness = Arc::new(Harness::load(file).unwrap_or_else(|complaint| panic!("{complaint}")));
        let prove = Prove::new(&harness);
        if pedal { prove.let_be_unknown("pedal").unwrap() } else { prove }
    };
    Compare::new(question(old), question(new)).unwrap().run()
}

fn proved(sealed: &Sealed<Comparison>) -> &Comparison {
    match sealed {
        Sealed::Proved(proved) => proved.get(),
        Sealed::Inconclusive(_, doubts) => panic!("{doubts:?}"),
    }
}

fn edit(name: &str) -> PathBuf {
    root().join("tests/proving/routines/edits").join(format!("{name}.yaml"))
}

fn demo() -> PathBuf {
    root().join("harness/aria.yaml")
}

/// The compiler may do what it likes: the four builds are one routine.
#[test]
fn four_levels_of_optimisation_are_equivalent() {
    let builds = ["detect-O0", "detect-O1", "detect-O2", "detect-Os"];
    for (index, old) in builds.iter().enumerate() {
        for new in &builds[index + 1..] {
            let sealed = compare(path(old), path(new), false);
            let comparison = proved(&sealed);
            assert!(!comparison.differs(), "{old} {new}: {:?} {:?}", comparison.changes, comparison.effects);
            assert_eq!(comparison.same, ["alone", "combination", "noise", "patched", "refused"], "{old} {new}");
        }
    }
}

/// A build that knows one product more.
#[test]
fn one_product_more() {
    for (old, new) in [(path("detect-O2"), path("detect-changed")), (demo(), edit("known-03"))] {
        let sealed = compare(old, new, false);
        let comparison = proved(&sealed);
        assert_eq!(comparison.effects, []);
        let [change] = &comparison.changes[..] else { panic!("{:?}", comparison.changes) };
        assert_eq!((change.before.as_str(), change.after.as_str()), ("refused", "patched"));
        let condition = change.condition.as_ref().unwrap();
        assert_eq!(condition.text, "signature = \"PARLOR16 SYSTEM\" and product = \"AW-2100-03\"");
        assert_eq!(comparison.same, ["alone", "combination", "noise"]);
    }
}

/// A latch that is left on: the branch is the same, what is written is not.
#[test]
fn a_latch_that_is_left_on() {
    let sealed = compare(path("detect-O2"), path("detect-latch"), false);
    let comparison = proved(&sealed);
    assert_eq!(comparison.changes, []);
    let [effect, held] = &comparison.effects[..] else { panic!("{:?}", comparison.effects) };
    assert_eq!((held.branch.as_str(), held.before.as_str(), held.after.as_str()), ("patched", "0x00", "0x01"));
    assert_eq!((effect.branch.as_str(), effect.what.as_str()), ("patched", "writes to ports"));
    assert_eq!((effect.before.as_str(), effect.after.as_str()), ("latch 0x01, latch 0x00", "latch 0x01"));
}

/// The same behaviour in another order.
#[test]
fn a_reordered_demo_is_the_same() {
    let sealed = compare(demo(), edit("reordered"), false);
    assert!(!proved(&sealed).differs());
}

/// Another hash: no branch changes, what the noise branch shows does.
#[test]
fn another_hash_changes_what_is_shown() {
    let sealed = compare(demo(), edit("other-hash"), false);
    let comparison = proved(&sealed);
    assert_eq!(comparison.changes, []);
    assert!(!comparison.effects.is_empty());
    assert!(comparison.effects.iter().all(|effect| effect.branch == "noise"), "{:?}", comparison.effects);
    assert!(comparison.effects.iter().any(|effect| effect.what == "preset"));
}

/// Each broken demo differs from the whole one in a way that is told.
#[test]
fn every_broken_demo_differs() {
    for name in ["last-byte", "stride", "first-entry", "signature-short", "odd-word", "hang", "latch-on", "shadowed"] {
        let broken = root().join("harness/defects").join(format!("{name}.yaml"));
        let sealed = compare(demo(), broken, false);
        assert!(sealed.found().differs(), "{name}: {:?}", sealed.doubts());
    }
    // A write that goes astray and a read of RAM are no other branch and no other effect.
    let early = compare(demo(), root().join("harness/defects/early-read.yaml"), false);
    assert!(!early.found().differs() || !early.found().effects.is_empty());
}

//! Each gate, broken on purpose: the verdict must refuse to be a proof.

use std::sync::Arc;

use pretty_assertions::assert_eq;

use super::Domain;
use super::ending::{Close, Ending};
use super::explored::Budget;
use super::gates::{Doubt, Evidence, Partition, Replayed, Sealed};
use super::ground::Logic;
use super::logic::Checker;
use super::plan::Prove;
use super::proof::study_all;
use super::study::Study;
use super::witness::Replayer;
use crate::suite::{DEFAULT_SEED, Harness};

/// The demo, explored.
struct Demo {
    harness: Arc<Harness>,
    logic: Logic,
    studies: Vec<Study>,
}

fn demo(budget: Option<u64>) -> (Demo, Evidence) {
    let harness = Arc::new(Harness::load(concat!(env!("CARGO_MANIFEST_DIR"), "/harness/aria.yaml")).unwrap());
    let prove = budget.map_or_else(|| Prove::new(&harness), |steps| Prove::new(&harness).steps(steps));
    let (mut logic, mut evidence) = (Logic::default(), Evidence::default());
    let studies = study_all(&mut logic, &mut evidence, &prove);
    (Demo { harness, logic, studies }, evidence)
}

/// The ends that some input comes to; the others could be lost without harm.
fn endings(demo: &mut Demo) -> Vec<Ending> {
    let mut evidence = Evidence::default();
    let all = demo.studies[0].explored.endings.clone();
    let mut met = |ending: &Ending| evidence.never(&mut demo.logic, &[ending.guard()]).unwrap().is_err();
    all.into_iter().filter(|ending| met(ending)).collect()
}

/// Without damage everything passes: the tests below see what they break.
#[test]
fn the_demo_passes_every_gate() {
    let (mut demo, mut evidence) = demo(None);
    assert_eq!(evidence.doubts(), []);
    let endings = endings(&mut demo);
    assert!(endings.len() > 3, "{endings:?}");
    Partition::check(&mut demo.logic, &endings).unwrap();
    evidence.witness(Ok(Replayed(())));
    assert!(matches!(evidence.seal(()), Sealed::Proved(_)));
}

/// Gate (a): an end that was lost, whichever it is.
#[test]
fn a_lost_state_is_no_proof() {
    let (mut demo, _) = demo(None);
    let whole = endings(&mut demo);
    for lost in 0..whole.len() {
        let mut endings = whole.clone();
        endings.remove(lost);
        let doubts = Partition::check(&mut demo.logic, &endings).unwrap_err();
        assert_eq!(doubts, [Doubt::Lost], "{:?}", whole[lost].close);
    }
}

/// Gate (b): an end that takes inputs of another one.
#[test]
fn an_overlap_is_no_proof() {
    let (mut demo, _) = demo(None);
    let whole = endings(&mut demo);
    for wide in 0..whole.len() {
        let mut endings = whole.clone();
        let other = endings[(wide + 1) % whole.len()].guard();
        endings[wide].state.guard = demo.logic.terms.or(endings[wide].guard(), other);
        let doubts = Partition::check(&mut demo.logic, &endings).unwrap_err();
        assert_eq!(doubts, [Doubt::Overlap], "{:?}", whole[wide].close);
    }
}

/// Gate (c): an exploration that was cut short, wherever that happens.
#[test]
fn a_cap_that_is_hit_is_no_proof() {
    for steps in [1, 10, 100, 300] {
        let (_, mut evidence) = demo(Some(steps));
        evidence.witness(Ok(Replayed(())));
        let cut = evidence.doubts().iter().any(|doubt| matches!(doubt, Doubt::Cut { .. }));
        assert!(cut, "{steps}: {:?}", evidence.doubts());
        assert!(matches!(evidence.seal(()), Sealed::Inconclusive(..)), "{steps}");
    }
    assert!(Budget::default().steps > 300);
}

/// Gate (d): a claim of the solver that does not follow.
#[test]
fn a_wrong_refutation_is_no_proof() {
    let mut checker = Checker::default();
    checker.add_original(&[1, 2]);
    checker.add_original(&[-1, 2]);
    assert!(checker.refute(&[-2]).is_some(), "this one follows");
    assert!(checker.refute(&[2]).is_none(), "this one does not");
    assert!(checker.add_learnt(&[-2]).is_err());
}

/// Gate (e): a witness that comes to another end on the machine.
#[test]
fn a_witness_that_replays_elsewhere_is_no_proof() {
    let (mut demo, mut evidence) = demo(None);
    let mut replayer = Replayer::new(&demo.harness, DEFAULT_SEED);
    let study = &demo.studies[0];
    let mut refused = 0;
    for ending in &study.explored.endings {
        let asked = evidence.never(&mut demo.logic, &[ending.guard()]).unwrap();
        let Err(model) = asked else { continue };
        let witness = replayer.witness(&mut demo.logic, &study.explored, study.way(), ending.guard(), &model);
        replayer.replay(&mut demo.logic, ending, &witness).unwrap();
        for close in study.closes() {
            let wrong = Ending { close: close.clone(), ..ending.clone() };
            if close != ending.close && matches!(close, Close::Branch(_)) {
                assert!(matches!(replayer.replay(&mut demo.logic, &wrong, &witness), Err(Doubt::Replay(_))));
                refused += 1;
            }
        }
    }
    assert!(refused > 3);
    evidence.witness(Err(Doubt::Replay("elsewhere".to_owned())));
    assert!(matches!(evidence.seal(()), Sealed::Inconclusive(..)));
}

/// A proof of nothing is none.
#[test]
fn nothing_explored_or_nothing_replayed_is_no_proof() {
    assert!(matches!(Evidence::default().seal(()), Sealed::Inconclusive((), doubts) if doubts == [Doubt::Empty]));
    let mut logic = Logic::default();
    assert_eq!(Partition::check(&mut logic, &[]).unwrap_err(), [Doubt::Empty]);
    let (_, evidence) = demo(None);
    assert!(matches!(evidence.seal(()), Sealed::Inconclusive((), doubts) if doubts == [Doubt::Empty]));
}

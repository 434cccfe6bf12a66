//! The decision map, against graphs drawn by hand.

use std::ops::ControlFlow;
use std::sync::Arc;

use keyway::Suite;
use keyway::check::{Job, Source, Watch, check_all};
use keyway::coverage::{Coverage, NodeKind, build};
use pretty_assertions::assert_eq;

use super::routines::{LETTERS, LETTERS_CASES, LETTERS_HARNESS, measure};
use crate::support::root;

/// Each edge: from, to, direction, cases. A node is its name, or the address of its instruction.
fn edges(coverage: &Coverage) -> Vec<(String, Option<bool>, String, u64)> {
    let name = |place: usize| {
        let node = &coverage.map.nodes[place];
        match (node.kind, &node.at) {
            (NodeKind::Decision | NodeKind::Jump, Some(at)) => format!("{:X}", at.address),
            _ => node.name.clone(),
        }
    };
    let edges = coverage.map.edges.iter();
    edges.map(|edge| (name(edge.from), edge.taken, name(edge.to), edge.cases)).collect()
}

fn edge(from: &str, taken: Option<bool>, to: &str, cases: u64) -> (String, Option<bool>, String, u64) {
    (from.to_owned(), taken, to.to_owned(), cases)
}

#[test]
fn a_compare_loop() {
    let coverage = measure(LETTERS, LETTERS_HARNESS, LETTERS_CASES);
    let by_hand = [
        edge("start", None, "10C", 2),
        edge("10C", Some(true), "10C", 2),
        edge("10C", Some(false), "110", 2),
        edge("110", Some(true), "11E", 1),
        edge("110", Some(false), "found", 1),
        edge("11E", Some(true), "second", 0),
        edge("11E", Some(false), "found", 1),
    ];
    assert_eq!(edges(&coverage), by_hand);
    let nodes: Vec<_> = coverage.map.nodes.iter().map(|node| (node.kind, node.cases)).collect();
    let by_hand = [
        (NodeKind::Entry, 2),
        (NodeKind::Decision, 2),
        (NodeKind::Decision, 2),
        (NodeKind::Decision, 1),
        (NodeKind::Branch, 2),
        (NodeKind::Branch, 0),
    ];
    assert_eq!(nodes, by_hand);
}

/// A subroutine with a loop, called twice, and in between a test. The first return leads to the test, the second one to
/// the end; where the test leads without a case, the subroutine is entered.
#[test]
fn decisions_in_a_subroutine() {
    let code = [
        0x6110, //                 100          bsr.s   wait
        0x4A39, 0x0020, 0x0100, // 102          tst.b   0x200100
        0x6704, //                 108          beq.s   end
        0x6106, //                 10A          bsr.s   wait
        0x4E71, //                 10C          nop
        0x4E71, //                 10E  end:    nop
        0x4E71, //                 110          nop
        0x7001, //                 112  wait:   moveq   #1,d0
        0x51C8, 0xFFFE, //         114  again:  dbra    d0,again
        0x4E75, //                 118          rts
    ];
    let harness = "routine: {entry: 0x100, stack: 0xE0FE00}\nbranches: {end: {kind: fallback, at: 0x10E}}\n";
    let case =
        |empty: &str| format!("  - {{name: {empty}, attach: nothing, empty: {empty}, expect: {{branch: end}}}}\n");
    let zeros = format!("harness: ../harness/rom.yaml\ncases:\n{}", case("zeros"));
    let both = format!("{zeros}{}", case("ones"));
    let by_hand = |ones: u64| {
        let mut edges = vec![
            edge("start", None, "114", 1 + ones),
            edge("108", Some(true), "end", 1),
            edge("108", Some(false), "114", ones),
            edge("114", Some(true), "114", 1 + ones),
            edge("114", Some(false), "108", 1 + ones),
        ];
        // The second return: without a case, its place behind the call is one where no case has been.
        edges.push(edge("114", Some(false), "end", ones));
        edges
    };
    assert_eq!(edges(&measure(&code, harness, &both)), by_hand(1));
    assert_eq!(edges(&measure(&code, harness, &zeros)), by_hand(0));
}

/// The demo's second routine: interrupts start a graph of their own, and the loop goes on as if there were none.
#[test]
fn an_interrupt_does_not_tear_the_graph() {
    let suite = Arc::new(Suite::load(root().join("cases/blanks.yaml")).expect("the demo"));
    let job = Job { cases: (0..suite.len() as u32).collect(), source: Source::Suite(Arc::clone(&suite)) };
    let watch = Watch { coverage: true, ..Watch::default() };
    let gathered = check_all(&[job], watch, |_| ControlFlow::Continue(())).expect("cases").expect("coverage");
    let coverage = build(&suite.harness, &gathered);
    let handlers: Vec<_> = coverage.map.nodes.iter().filter(|node| node.kind == NodeKind::Handler).collect();
    assert_eq!(handlers.len(), 1);
    // One of the nine cases has no blank at all.
    assert_eq!((handlers[0].name.as_str(), handlers[0].cases), ("level 6 interrupt", 8));
    let loop_edges = edges(&coverage);
    assert!(loop_edges.iter().all(|(from, ..)| from != "level 6 interrupt"), "the handler decides nothing");
    let ends: Vec<_> = loop_edges.iter().filter(|(_, _, to, _)| to == "stands" || to == "blind").collect();
    assert_eq!(ends.iter().map(|(.., cases)| cases).sum::<u64>(), 9, "each case has one end");
}

//! A run allocates nothing after the machine's first: counted by an allocator of this test's own.

use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;
use std::sync::Arc;

use keyway::board::{Access, Observer};
use keyway::run::Machine;
use keyway::{Case, Harness, Suite};

struct Counting;

thread_local! {
    static COUNT: Cell<u64> = const { Cell::new(0) };
}

// SAFETY: every call goes on to the system's allocator as it is; counting touches no memory of the caller.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        // A thread that is ending has no counter any more, and nothing to count.
        let _ = COUNT.try_with(|count| count.set(count.get() + 1));
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        unsafe { System.dealloc(pointer, layout) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

/// How often something was allocated meanwhile.
fn allocations(work: impl FnOnce()) -> u64 {
    let before = COUNT.get();
    work();
    COUNT.get() - before
}

/// Watches and counts, without keeping anything.
#[derive(Default)]
struct Counter(u64);

impl Observer for Counter {
    fn read(&mut self, _: &Access) {
        self.0 += 1;
    }

    fn edge(&mut self, _: u32, _: u32) {
        self.0 += 1;
    }
}

/// The demo's cases, every branch among them; the longest first, so that every buffer has its size.
fn cases() -> (Arc<Harness>, Vec<Case>) {
    let mut harness = None;
    let mut cases = Vec::new();
    for file in ["own-unknown", "drums", "choir", "others", "sockets", "contacts"] {
        let suite = Suite::load(format!("cases/{file}.yaml")).expect("a suite of the demo");
        harness = Some(Arc::clone(&suite.harness));
        cases.extend(suite.cases().map(|case| case.expect("a case")));
    }
    (harness.expect("a harness"), cases)
}

fn check<O: Observer>(mut machine: Machine<O>, cases: &[Case]) {
    let mut reached = std::collections::BTreeSet::new();
    let mut run_all = |machine: &mut Machine<O>| {
        for case in cases {
            for fills in &case.fills {
                reached.insert(machine.run(&case.setup, fills).branch());
            }
        }
    };
    run_all(&mut machine);
    let again = allocations(|| {
        for case in cases {
            for fills in &case.fills {
                std::hint::black_box(machine.run(&case.setup, fills));
            }
        }
    });
    assert_eq!(again, 0, "allocations in {} cases", cases.len());
    assert_eq!(reached.iter().flatten().count(), 5, "every branch of the demo is among the runs");
}

#[test]
fn the_counter_counts() {
    assert!(allocations(|| drop(std::hint::black_box(vec![1u8, 2, 3]))) > 0);
}

#[test]
fn a_plain_machine_allocates_nothing_after_its_first_runs() {
    let (harness, cases) = cases();
    check(Machine::new(Arc::clone(&harness.rig)), &cases);
}

#[test]
fn a_watched_machine_allocates_nothing_after_its_first_runs() {
    let (harness, cases) = cases();
    check(Machine::watched(Arc::clone(&harness.rig), Counter::default()), &cases);
}

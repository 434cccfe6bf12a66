//! Runs of cases of which coverage is gathered.

use std::sync::Arc;

use super::reads::ReadsObserver;
use crate::board::{Bus, RamFill};
use crate::cartridge::Layout;
use crate::coverage::{CoverageObserver, Gathered};
use crate::run::{Machine, Outcome, Rig};
use crate::suite::{Case, Harness};

/// The first read where a case allows none: bus address, image offset, program counter.
pub(super) type Stray = (u32, Option<u32>, u32);

/// What a run left behind.
pub(super) type Ran<'a> = (&'a Outcome, &'a Bus, Option<Stray>);

/// The machines of one checker, which share one count.
#[derive(Debug)]
pub(super) struct Covering {
    rig: Arc<Rig>,
    layout: Layout,
    machine: Machine<CoverageObserver>,
    /// For cases that confine reads; made when the first one comes. Its count is an empty one between runs.
    reading: Option<Machine<(CoverageObserver, ReadsObserver)>>,
}

impl Covering {
    pub fn new(harness: &Harness) -> Self {
        let (rig, layout) = (Arc::clone(&harness.rig), harness.layout.clone());
        let machine = Machine::watched(Arc::clone(&rig), CoverageObserver::new(&rig, &layout));
        Self { rig, layout, machine, reading: None }
    }

    /// A case begins.
    pub fn begin(&mut self, job: usize, case: u32) {
        self.machine.observer().begin_case(job, case);
    }

    /// Runs the case with its fills of this index.
    pub fn run(&mut self, case: &Case, index: usize, fills: &[RamFill]) -> Ran<'_> {
        self.machine.observer().begin_run(index);
        match &case.expectation.reads {
            None => self.run_alone(case, fills),
            Some(allowed) => {
                let reads = ReadsObserver { allowed: allowed.clone(), ..ReadsObserver::default() };
                self.run_reading(case, fills, reads)
            }
        }
    }

    fn run_alone(&mut self, case: &Case, fills: &[RamFill]) -> Ran<'_> {
        self.machine.run(&case.setup, fills);
        let (observer, outcome, bus) = self.machine.watched_run();
        observer.finish_run(outcome);
        (outcome, bus, None)
    }

    fn run_reading(&mut self, case: &Case, fills: &[RamFill], reads: ReadsObserver) -> Ran<'_> {
        let (rig, layout) = (&self.rig, &self.layout);
        let machine = self.reading.get_or_insert_with(|| {
            let both = (CoverageObserver::new(rig, layout), ReadsObserver::default());
            Machine::watched(Arc::clone(rig), both)
        });
        machine.observer().1 = reads;
        std::mem::swap(self.machine.observer(), &mut machine.observer().0);
        machine.run(&case.setup, fills);
        let (both, outcome, bus) = machine.watched_run();
        both.0.finish_run(outcome);
        let stray = both.1.stray;
        std::mem::swap(self.machine.observer(), &mut both.0);
        (outcome, bus, stray)
    }

    /// All runs of the case are over.
    pub fn finish(&mut self, case: &Case) {
        self.machine.observer().finish_case(case.setup.inputs.attached.image.as_deref());
    }

    /// What the cases have done.
    pub fn gathered(&mut self) -> Gathered {
        self.machine.observer().gathered()
    }
}

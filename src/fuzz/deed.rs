//! What a trial has done, in a few words that can be kept by the million; and [`Prober`], which finds it out.

use std::sync::Arc;

use super::feedback::{Feature, Feedback, Way};
use super::memo::Memo;
use super::promise::{Promise, Promises, against_table, broken};
use super::trial::Trial;
use crate::board::RamFill;
use crate::run::{End, Machine, Outcome, Setup};
use crate::suite::Harness;
use crate::verdict::{Decision, Table, told_by_chance};

/// What the runs of a trial have done: one, or one for each RAM fill if RAM at power-on matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Deed {
    /// How the first run ended.
    pub end: End,
    /// Where: the last instruction of the first run.
    pub last: u32,
    /// The promises that were broken, those of the acceptance table left out.
    pub broken: Promises,
    /// A hash of the ways that were taken.
    pub ways: u64,
    /// Instructions of all runs.
    pub instructions: u64,
    /// Whether it went a way that was not known then. What was not novel once never will be.
    pub novel: bool,
}

/// A trial that was tried.
#[derive(Clone, Debug)]
pub struct Tried {
    /// What it did.
    pub deed: Deed,
    /// What the acceptance table says of it.
    pub decision: Decision,
    /// All promises that it broke.
    pub broken: Promises,
    /// Whether the runs were skipped, as they were known.
    pub known: bool,
}

/// Tries trials, one after the other.
#[derive(Debug)]
pub struct Prober {
    harness: Arc<Harness>,
    machine: Machine<Feedback>,
    memo: Memo,
    setup: Setup,
    fills: Vec<Vec<RamFill>>,
    promises: Promises,
    table: Table,
    seed: u64,
    /// How many of the known features its feedback has learnt.
    pub learnt: usize,
}

impl Prober {
    /// A prober for trials of a harness.
    pub fn new(harness: &Arc<Harness>, promises: Promises, seed: u64) -> Self {
        Self {
            machine: Machine::watched(Arc::clone(&harness.rig), Feedback::new(&harness.rig)),
            harness: Arc::clone(harness),
            memo: Memo::default(),
            setup: Setup::default(),
            fills: Harness::fills(&harness.power_on),
            promises,
            table: Table::default(),
            seed,
            learnt: 0,
        }
    }

    /// Learns the features that became known since the last time.
    pub fn learn(&mut self, known: &[Feature]) {
        self.machine.observer().learn(&known[self.learnt..]);
        self.learnt = known.len();
    }

    /// Tries a trial. Runs that would do the same as earlier ones are skipped, unless these were novel: then it is told
    /// again, as the order of the batch decides who was first, and as not everybody who tries tells what is novel.
    pub fn try_out(&mut self, trial: &Trial) -> Tried {
        trial.set_up(&mut self.setup, &self.harness, self.seed);
        let known = self.memo.look_up(trial, &self.setup.inputs, &self.harness).copied();
        let known = known.filter(|deed| !deed.novel);
        let deed = known.unwrap_or_else(|| self.run_and_remember(trial));
        self.judged(deed, known.is_some())
    }

    /// Runs a trial whatever is known of it.
    pub fn run(&mut self, trial: &Trial) -> Tried {
        trial.set_up(&mut self.setup, &self.harness, self.seed);
        let deed = self.run_fills();
        self.judged(deed, false)
    }

    /// The features of the trial that has just been run.
    pub fn features(&mut self) -> Vec<Feature> {
        self.machine.observer().features()
    }

    /// The first run of the trial with each fill until `found` finds something in its outcome.
    pub fn look<T>(&mut self, trial: &Trial, mut found: impl FnMut(&Outcome) -> Option<T>) -> Option<T> {
        trial.set_up(&mut self.setup, &self.harness, self.seed);
        let fills = std::mem::take(&mut self.fills);
        let found = fills.iter().find_map(|fills| found(self.machine.run(&self.setup, fills)));
        self.fills = fills;
        found
    }

    fn judged(&mut self, deed: Deed, known: bool) -> Tried {
        let harness = &self.harness;
        let inputs = &self.setup.inputs;
        let decision = harness.acceptance.decide_with(&mut self.table, &harness.rig.map, &harness.layout, inputs);
        let wrong = against_table(deed.end, &decision, &harness.rig.branches);
        let broken = deed.broken.or(wrong.into_iter().collect()).and(self.promises);
        Tried { deed, decision, broken, known }
    }

    fn run_and_remember(&mut self, trial: &Trial) -> Deed {
        let deed = self.run_fills();
        let observer = self.machine.observer();
        if !observer.unsure {
            self.memo.remember(trial, &self.setup.inputs, &self.harness, &observer.reads, deed);
        }
        deed
    }

    /// The first run, and the others if it looked at RAM that nothing had written.
    fn run_fills(&mut self) -> Deed {
        self.machine.observer().begin();
        let mut all: Option<Deed> = None;
        let fills = std::mem::take(&mut self.fills);
        for fills in &fills {
            self.machine.observer().begin_run();
            self.machine.run(&self.setup, fills);
            let (observer, outcome, bus) = self.machine.watched_run();
            observer.end_run(end_way(outcome.end, outcome.last));
            let chance = told_by_chance(&self.harness.rig, outcome, bus, |cell| self.harness.knows(cell)).is_some();
            let broken = broken(outcome, &self.harness).with(Promise::PowerOn, chance);
            let first = all.is_none();
            let deed = all.get_or_insert(Deed {
                end: outcome.end,
                last: outcome.last,
                broken,
                ways: 0,
                instructions: 0,
                novel: false,
            });
            deed.broken = deed.broken.or(broken).with(Promise::PowerOn, deed.end != outcome.end);
            deed.instructions += outcome.instructions;
            if first && !outcome.fill_matters {
                break;
            }
        }
        self.fills = fills;
        let observer = self.machine.observer();
        let (ways, novel) = (observer.ways(), observer.novel());
        // There is always one fill, or one empty list of fills.
        let deed = all.unwrap_or_else(|| unreachable!("no run"));
        Deed { ways, novel, ..deed }
    }
}

/// Codes of branches begin here; below are the other ends.
const BRANCHES: u32 = 0x10000;

/// How and where a run ended, as a way.
fn end_way(end: End, last: u32) -> Way {
    let (code, at) = match end {
        End::Branch(index) => (BRANCHES + index as u32, 0),
        End::NoBranch(at) => (1, at.unwrap_or(0)),
        End::Returned => (2, 0),
        End::Crashed(crash) => (0x1000 + u32::from(crash.exception.vector()), last),
        End::Halted(exception) => (0x2000 + u32::from(exception.vector()), last),
        End::Stopped => (3, last),
        End::LeftHost { .. } => (4, last),
        End::Hung { first, .. } => (5, first),
        End::Limit(_) => (6, 0),
    };
    Way::End { code, at }
}

/// The branch of the code of an end.
pub fn branch_of(code: u32) -> Option<usize> {
    code.checked_sub(BRANCHES).map(|index| index as usize)
}

impl Deed {
    /// How and where the first run ended.
    pub fn end_way(&self) -> Way {
        end_way(self.end, self.last)
    }
}

//! One case, run under every RAM fill and judged.

use std::sync::Arc;

use super::evidence::EvidenceObserver;
use super::reads::ReadsObserver;
use super::result::{CaseResult, Reached};
use crate::board::{Bus, RamFill};
use crate::run::{BranchKind, Cell, End, Machine, Outcome};
use crate::suite::{Case, Harness, fill_words};
use crate::units;
use crate::verdict::{Decision, Reason, Verdict, Wanted, Why, early_read, ending, judge};

/// Checks cases of one harness, one after the other.
#[derive(Debug)]
pub struct Checker {
    harness: Arc<Harness>,
    machine: Machine,
    /// For cases that confine reads; made when the first one comes.
    reading: Option<Machine<ReadsObserver>>,
    /// For evidence; made when the first case fails.
    watching: Option<Machine<EvidenceObserver>>,
}

/// What the first run of a case said, to compare the others with.
struct First {
    reached: Reached,
    end: End,
    instructions: u64,
    cycles: u64,
    fill: String,
}

impl Checker {
    /// A checker for cases of a harness.
    pub fn new(harness: Arc<Harness>) -> Self {
        let machine = Machine::new(Arc::clone(&harness.rig));
        Self { harness, machine, reading: None, watching: None }
    }

    /// Runs the case once with its first RAM fill, for tests that look at the outcome themselves.
    pub fn run(&mut self, case: &Case) -> &Outcome {
        let none = Vec::new();
        let fills = case.fills.first().unwrap_or(&none);
        self.machine.run(&case.setup, fills)
    }

    /// Runs and judges a case; `rerun` is the command that does so again.
    pub fn check(&mut self, case: &Case, rerun: String) -> CaseResult {
        let harness = Arc::clone(&self.harness);
        let mut first: Option<First> = None;
        let mut reasons: Vec<Reason> = Vec::new();
        let mut failing: Option<&[RamFill]> = None;
        let mut ran = 0;
        for fills in &case.fills {
            ran += 1;
            let (outcome, found) = self.judge(case, fills);
            let words = fill_words(&harness.rig.map, fills);
            if failing.is_none() && !found.is_empty() {
                failing = Some(fills);
            }
            let fill_matters = outcome.fill_matters;
            match &first {
                None => reasons = found,
                Some(first) => {
                    add_new(&mut reasons, found, &words);
                    if first.end != outcome.end && !reasons.iter().any(|reason| reason.why == Why::PowerOn) {
                        failing.get_or_insert(fills);
                        reasons.push(depends_on_fill(&harness, first, outcome, &words));
                    }
                }
            }
            first.get_or_insert_with(|| First {
                reached: reached(&harness, outcome),
                end: outcome.end,
                instructions: outcome.instructions,
                cycles: outcome.cycles,
                fill: words,
            });
            if !fill_matters {
                break;
            }
        }
        let verdict = Verdict::new(reasons, case.known_bug.as_deref());
        let evidence = match (&verdict, failing) {
            (Verdict::Failed { .. } | Verdict::Undecided { .. }, Some(fills)) => Some(self.watch(case, fills)),
            _ => None,
        };
        // A case has at least one combination of fills, so there was a first run.
        let first = first.unwrap_or_else(|| unreachable!("a case without a run"));
        let (expected, expected_kind) = expected(&harness, case);
        CaseResult {
            name: case.name.clone(),
            file: case.file.display().to_string(),
            line: case.line,
            attached: case.label.clone(),
            expected,
            expected_kind,
            milliseconds: harness.clock.map(|clock| units::milliseconds(first.cycles, clock)),
            reached: first.reached,
            instructions: first.instructions,
            cycles: first.cycles,
            fill: first.fill,
            fills: case.fills.len(),
            fills_run: ran,
            verdict,
            evidence,
            rerun,
        }
    }

    fn judge(&mut self, case: &Case, fills: &[RamFill]) -> (&Outcome, Vec<Reason>) {
        let harness = &self.harness;
        let (outcome, bus, stray) = match &case.expectation.reads {
            None => {
                self.machine.run(&case.setup, fills);
                (self.machine.outcome(), self.machine.bus(), None)
            }
            Some(allowed) => {
                let machine = self
                    .reading
                    .get_or_insert_with(|| Machine::watched(Arc::clone(&harness.rig), ReadsObserver::default()));
                *machine.observer() = ReadsObserver { allowed: allowed.clone(), ..ReadsObserver::default() };
                machine.run(&case.setup, fills);
                let stray = machine.observer().stray;
                (machine.outcome(), machine.bus(), stray)
            }
        };
        let mut reasons = judge(outcome, &case.expectation, harness.forbid, stray, harness.names());
        reasons.extend(told_by_chance(harness, outcome, bus));
        (outcome, reasons)
    }

    fn watch(&mut self, case: &Case, fills: &[RamFill]) -> super::Evidence {
        let harness = &self.harness;
        let machine = self
            .watching
            .get_or_insert_with(|| Machine::watched(Arc::clone(&harness.rig), EvidenceObserver::default()));
        *machine.observer() = EvidenceObserver::default();
        machine.run(&case.setup, fills);
        machine.observer().evidence(harness.names(), fill_words(&harness.rig.map, fills))
    }
}

/// Adds the reasons of a later fill that are not known from an earlier one.
fn add_new(reasons: &mut Vec<Reason>, found: Vec<Reason>, fill: &str) {
    for reason in found {
        let known = reasons.iter().any(|known| known.why == reason.why && known.text.ends_with(&reason.text));
        if !known {
            reasons.push(Reason::new(reason.why, format!("with RAM {fill}: {}", reason.text)));
        }
    }
}

/// A branch told by memory that nothing has written, and of which the harness does not say what it holds: with the fills
/// at hand it may be the right one, but by chance.
fn told_by_chance(harness: &Harness, outcome: &Outcome, bus: &Bus) -> Option<Reason> {
    let reached = outcome.branch()?;
    let branches = &harness.rig.branches;
    let exit = branches[reached].exit;
    let asked = branches[..=reached].iter().filter(|branch| branch.exit == exit).filter_map(|branch| branch.when);
    let unknown = |cell: &Cell| !cell.probe(&outcome.registers, bus).known && !harness.knows(*cell);
    let cell = asked.map(|condition| condition.cell).find(unknown)?;
    let text = format!("the branch is told by {cell}, which nothing has written: RAM at power-on decides");
    Some(Reason::new(Why::PowerOn, text))
}

fn depends_on_fill(harness: &Harness, first: &First, outcome: &Outcome, fill: &str) -> Reason {
    let names = harness.names();
    let now = reached(harness, outcome);
    let read = match outcome.troubles.early_reads.first() {
        Some(read) => format!("RAM read before it was written: {}", early_read(read, names)),
        None => "the branch is told by RAM that nothing has written".to_owned(),
    };
    let text = format!(
        "the end depends on RAM at power-on: {} with {}, {} with {fill}; {read}",
        first.reached.short(),
        first.fill,
        now.short()
    );
    Reason::new(Why::PowerOn, text)
}

fn reached(harness: &Harness, outcome: &Outcome) -> Reached {
    if let End::Branch(index) = outcome.end {
        let branch = &harness.rig.branches[index];
        return Reached::Branch { branch: branch.name.clone(), kind: branch.kind };
    }
    let short = match outcome.end {
        End::Branch(_) | End::NoBranch(_) => "no branch".to_owned(),
        End::Returned => "returned".to_owned(),
        End::Crashed(crash) => crash.exception.name(),
        End::Halted(_) => "double fault".to_owned(),
        End::Stopped => "stopped".to_owned(),
        End::LeftHost { .. } => "left the host".to_owned(),
        End::Hung { .. } => "hang".to_owned(),
        End::Limit(_) => "limit".to_owned(),
    };
    Reached::Other { short, text: ending(outcome, harness.names()) }
}

/// What a case wants, as the table shows it.
fn expected(harness: &Harness, case: &Case) -> (String, Option<BranchKind>) {
    let branches = &harness.rig.branches;
    let of = |list: &[usize]| {
        let kinds: Vec<BranchKind> = list.iter().map(|index| branches[*index].kind).collect();
        let one = kinds.first().copied().filter(|first| kinds.iter().all(|kind| kind == first));
        (harness.names().branches(list), one)
    };
    match (&case.expectation.branch, &case.expectation.specified) {
        (Wanted::Branches(list), _) => of(list),
        (Wanted::Kind(kind), _) => ("any".to_owned(), Some(*kind)),
        (Wanted::Specified, Decision::Branch { branch, .. }) => of(&[*branch]),
        (Wanted::Specified | Wanted::Any, _) if !case.expectation.never.is_empty() => {
            (format!("not {}", harness.names().branches(&case.expectation.never)), None)
        }
        (Wanted::Specified | Wanted::Any, _) => ("any".to_owned(), None),
    }
}

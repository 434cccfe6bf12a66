//! One case, run under every RAM fill and judged.

use std::sync::Arc;

use super::covering::{Covering, Ran};
use super::reads::ReadsObserver;
use super::result::{CaseResult, Reached};
use crate::board::{Bus, RamFill};
use crate::coverage::Gathered;
use crate::explain::{Evidence, Explanation, Instructions, Search, Tracer};
use crate::run::{BranchKind, End, Machine, Outcome, Setup};
use crate::suite::{Case, Harness, fill_words};
use crate::units;
use crate::verdict::{Decision, Reason, Verdict, Wanted, Why, early_read, ending, judge, short_ending, told_by_chance};

/// Checks cases of one harness, one after the other.
#[derive(Debug)]
pub struct Checker {
    harness: Arc<Harness>,
    machine: Machine,
    /// For cases that confine reads; made when the first one comes.
    reading: Option<Machine<ReadsObserver>>,
    /// For evidence and explanations; made when the first is wanted.
    tracing: Option<Machine<Tracer>>,
    /// Which cases get an explanation.
    explain: Explain,
    /// For coverage, where it is wanted; then all cases run here.
    covering: Option<Covering>,
}

/// What is wanted of cases beside their verdicts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Watch {
    /// Whether coverage is gathered.
    pub coverage: bool,
    /// Which cases are explained.
    pub explain: Explain,
}

/// Which cases are explained.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Explain {
    /// None: failures get their evidence, which is the last decision alone.
    #[default]
    No,
    /// Those that failed or could not be decided.
    Failures,
    /// All.
    All,
}

/// How many instructions the tries for the nearest other ends may take, for one explanation alone.
const PATIENT: u64 = 100_000_000;

/// The same for each of many cases, or so many runs as long as its own.
const HASTY: u64 = 30_000;

/// See [`HASTY`].
const HASTY_RUNS: u64 = 4;

/// What the first run of a case said, to compare the others with.
struct First {
    reached: Reached,
    end: End,
    instructions: u64,
    cycles: u64,
    fill: String,
}

/// What all runs of a case said.
struct Found<'a> {
    first: First,
    reasons: Vec<Reason>,
    /// The fills of the first run that gave a reason.
    failing: Option<&'a [RamFill]>,
    runs: usize,
}

impl Checker {
    /// A checker for cases of a harness.
    pub fn new(harness: Arc<Harness>) -> Self {
        let machine = Machine::new(Arc::clone(&harness.rig));
        Self { harness, machine, reading: None, tracing: None, explain: Explain::No, covering: None }
    }

    /// A checker that explains these cases too.
    pub fn explaining(self, explain: Explain) -> Self {
        Self { explain, ..self }
    }

    /// A checker that watches this.
    pub fn watching(harness: Arc<Harness>, watch: Watch) -> Self {
        let covering = watch.coverage.then(|| Covering::new(&harness));
        Self { covering, explain: watch.explain, ..Self::new(harness) }
    }

    /// What the cases checked so far have done, if coverage is gathered.
    pub fn gathered(&mut self) -> Option<Gathered> {
        self.covering.as_mut().map(Covering::gathered)
    }

    /// Runs the case once with its first RAM fill, for tests that look at the outcome themselves.
    pub fn run(&mut self, case: &Case) -> &Outcome {
        let none = Vec::new();
        let fills = case.fills.first().unwrap_or(&none);
        self.machine.run(&case.setup, fills)
    }

    /// Runs a case under every RAM fill that can matter, and judges it.
    pub fn check(&mut self, case: &Case) -> CaseResult {
        self.check_numbered(case, 0, 0)
    }

    /// The same; the case is found again by these indices of its job and in the job's source.
    pub(super) fn check_numbered(&mut self, case: &Case, job: usize, number: u32) -> CaseResult {
        if let Some(covering) = &mut self.covering {
            covering.begin(job, number);
        }
        let found = self.run_fills(case);
        if let Some(covering) = &mut self.covering {
            covering.finish(case);
        }
        let verdict = Verdict::new(found.reasons, case.known_bug.as_deref());
        let (evidence, explanation) = self.told(case, &verdict, found.failing);
        let (expected, expected_kind) = expected(&self.harness, case);
        let first = found.first;
        CaseResult {
            name: case.name.clone(),
            file: case.file.display().to_string(),
            line: case.line,
            attached: case.label.clone(),
            expected,
            expected_kind,
            milliseconds: self.harness.clock.map(|clock| units::milliseconds(first.cycles, clock)),
            reached: first.reached,
            instructions: first.instructions,
            cycles: first.cycles,
            fill: first.fill,
            fills: case.fills.len(),
            fills_run: found.runs,
            verdict,
            evidence,
            explanation,
            rerun: String::new(),
        }
    }

    /// The first run, and the others if it looked at RAM that nothing had written: otherwise they would be the same.
    fn run_fills<'a>(&mut self, case: &'a Case) -> Found<'a> {
        // A case without RAM has one combination of no fills.
        let (fills, rest) = case.fills.split_first().map_or((&[][..], &[][..]), |(first, rest)| (&first[..], rest));
        let (first, reasons, matters) = self.first_run(case, fills);
        let failing = (!reasons.is_empty()).then_some(fills);
        let mut found = Found { first, reasons, failing, runs: 1 };
        for (index, fills) in rest.iter().enumerate().take_while(|_| matters) {
            self.later_run(case, index + 1, fills, &mut found);
        }
        found
    }

    fn first_run(&mut self, case: &Case, fills: &[RamFill]) -> (First, Vec<Reason>, bool) {
        let harness = Arc::clone(&self.harness);
        let (outcome, reasons) = self.judge(case, 0, fills);
        let first = First {
            reached: reached(&harness, outcome),
            end: outcome.end,
            instructions: outcome.instructions,
            cycles: outcome.cycles,
            fill: fill_words(&harness.rig.map, fills),
        };
        (first, reasons, outcome.fill_matters)
    }

    fn later_run<'a>(&mut self, case: &Case, index: usize, fills: &'a [RamFill], found: &mut Found<'a>) {
        let harness = Arc::clone(&self.harness);
        let (outcome, reasons) = self.judge(case, index, fills);
        let words = fill_words(&harness.rig.map, fills);
        found.runs += 1;
        let known = found.reasons.len();
        add_new(&mut found.reasons, reasons, &words);
        let told = found.reasons.iter().any(|reason| reason.why == Why::PowerOn);
        if found.first.end != outcome.end && !told {
            found.reasons.push(depends_on_fill(&harness, &found.first, outcome, &words));
        }
        if found.reasons.len() > known {
            found.failing.get_or_insert(fills);
        }
    }

    fn judge(&mut self, case: &Case, index: usize, fills: &[RamFill]) -> (&Outcome, Vec<Reason>) {
        let harness = &self.harness;
        let (outcome, bus, stray) = match &mut self.covering {
            Some(covering) => covering.run(case, index, fills),
            None => run_plain(harness, &mut self.machine, &mut self.reading, case, fills),
        };
        let mut reasons = judge(outcome, &case.expectation, harness.forbid, stray, harness.names());
        reasons.extend(chance(harness, outcome, bus));
        (outcome, reasons)
    }

    /// Evidence and explanation, as far as they are wanted.
    fn told(
        &mut self,
        case: &Case,
        verdict: &Verdict,
        failing: Option<&[RamFill]>,
    ) -> (Option<Evidence>, Option<Box<Explanation>>) {
        let failed = matches!(verdict, Verdict::Failed { .. } | Verdict::Undecided { .. });
        let explained = match self.explain {
            Explain::No => false,
            Explain::Failures => failed || verdict.failed(),
            Explain::All => true,
        };
        if !failed && !explained {
            return (None, None);
        }
        let fills = failing.unwrap_or(first_fills(case));
        let words = fill_words(&self.harness.rig.map, fills);
        let harness = Arc::clone(&self.harness);
        let machine = self.trace(case, fills);
        let attached = &case.setup.inputs.attached;
        let evidence = failed.then(|| machine.observer().evidence(attached, harness.names(), words));
        (
            evidence,
            explained.then(|| {
                let own = self.tracing.as_ref().map_or(0, |machine| machine.outcome().instructions);
                Box::new(self.explain_traced(case, fills, HASTY.max(HASTY_RUNS * own)))
            }),
        )
    }

    /// The run of a case told as decisions: with its first RAM fill, or the first for which it fails.
    pub fn explain(&mut self, case: &Case) -> Explanation {
        let found = self.run_fills(case);
        let (runs, fills) = (found.runs, found.failing.unwrap_or(first_fills(case)));
        self.trace(case, fills);
        let mut explanation = self.explain_traced(case, fills, PATIENT);
        if runs > 1 {
            explanation.fill.push_str(&self.other_ends(case, fills));
        }
        explanation
    }

    /// How the runs with other RAM fills end, if any of them ends otherwise.
    fn other_ends(&mut self, case: &Case, fills: &[RamFill]) -> String {
        let harness = Arc::clone(&self.harness);
        let mut ends = |fills: &[RamFill]| short_ending(self.machine.run(&case.setup, fills), harness.names());
        let told = ends(fills);
        let mut text = String::new();
        for other in case.fills.iter().filter(|other| other[..] != *fills) {
            let end = ends(other);
            if end != told {
                text.push_str(&format!("; with {} it ends otherwise: {end}", fill_words(&harness.rig.map, other)));
            }
        }
        text
    }

    /// Every instruction of the run that [`Checker::explain`] tells.
    pub fn instructions(&mut self, case: &Case) -> Instructions {
        let fills = self.run_fills(case).failing.unwrap_or(first_fills(case));
        let mut machine = Machine::watched(Arc::clone(&self.harness.rig), Instructions::default());
        let cycles = machine.run(&case.setup, fills).cycles;
        let mut instructions = std::mem::take(machine.observer());
        instructions.end(cycles);
        instructions
    }

    /// The texts that the run of a case with these RAM fills compared, and what its way hung on.
    pub(super) fn traced(&mut self, case: &Case, fills: &[RamFill]) -> Explanation {
        let harness = Arc::clone(&self.harness);
        let (tracer, outcome, bus) = self.trace(case, fills).watched_run();
        tracer.tell_texts(outcome, bus, &case.setup.inputs.attached, harness.names())
    }

    fn trace(&mut self, case: &Case, fills: &[RamFill]) -> &mut Machine<Tracer> {
        self.trace_setup(&case.setup, fills)
    }

    fn trace_setup(&mut self, setup: &Setup, fills: &[RamFill]) -> &mut Machine<Tracer> {
        let rig = &self.harness.rig;
        let machine =
            self.tracing.get_or_insert_with(|| Machine::watched(Arc::clone(rig), Tracer::new(Arc::clone(rig))));
        machine.observer().start(setup);
        machine.run(setup, fills);
        machine
    }

    /// The branch that decided last on something from outside, in the run with the first RAM fill.
    pub fn deciding(&mut self, setup: &Setup) -> Option<u32> {
        let fills = Harness::fills(&self.harness.power_on);
        let machine = self.trace_setup(setup, fills.first().map_or(&[], Vec::as_slice));
        machine.observer().deciding()
    }

    /// Tells the run that was just traced.
    fn explain_traced(&mut self, case: &Case, fills: &[RamFill], budget: u64) -> Explanation {
        let names = self.harness.names();
        let Some(machine) = &mut self.tracing else { return Explanation::default() };
        let attached = &case.setup.inputs.attached;
        let (tracer, outcome, bus) = machine.watched_run();
        let mut explanation = tracer.tell(outcome, bus, attached, names);
        explanation.fill = fill_words(&self.harness.rig.map, fills);
        explanation.nearest =
            Search::new(names, &mut self.machine, machine, &case.setup, fills, budget).nearest(&explanation);
        explanation
    }
}

/// The RAM fills of a case's first run; a case without RAM has none.
fn first_fills(case: &Case) -> &[RamFill] {
    case.fills.first().map_or(&[], Vec::as_slice)
}

/// Runs a case with nobody watching, unless it confines reads.
fn run_plain<'a>(
    harness: &Harness,
    machine: &'a mut Machine,
    reading: &'a mut Option<Machine<ReadsObserver>>,
    case: &Case,
    fills: &[RamFill],
) -> Ran<'a> {
    let Some(allowed) = &case.expectation.reads else {
        machine.run(&case.setup, fills);
        return (machine.outcome(), machine.bus(), None);
    };
    let machine = reading.get_or_insert_with(|| Machine::watched(Arc::clone(&harness.rig), ReadsObserver::default()));
    *machine.observer() = ReadsObserver { allowed: allowed.clone(), ..ReadsObserver::default() };
    machine.run(&case.setup, fills);
    let stray = machine.observer().stray;
    (machine.outcome(), machine.bus(), stray)
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

fn chance(harness: &Harness, outcome: &Outcome, bus: &Bus) -> Option<Reason> {
    let cell = told_by_chance(&harness.rig, outcome, bus, |cell| harness.knows(cell))?;
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
    let short = short_ending(outcome, harness.names());
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

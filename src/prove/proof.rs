//! The work: [`Prove`] says what is asked, [`Prove::run`] answers it.

use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::Domain;
use super::answer::{
    Answer, BranchAnswer, DoubtAt, Effort, EndAnswer, OpenAnswer, PathAnswer, Paths, RuleAnswer, Scenario, Violation,
    WitnessAnswer,
};
use super::attach::ways;
use super::breaches::{Candidate, TableView, candidates};
use super::dead::{dead_code, dead_entries};
use super::describe::describe;
use super::ending::{Close, Ending};
use super::explore::Budget;
use super::extremes::{Counted, Extreme, greatest, smallest};
use super::few::try_all;
use super::gates::{Doubt, Evidence, Sealed};
use super::ground::{Free, Ground, Logic};
use super::influence::influence;
use super::logic::{Model, Term};
use super::said::{Condition, said};
use super::scope::scope;
use super::share::Share;
use super::study::{Study, study, told};
use super::unknowns::{Source, is};
use super::witness::{Replayer, Witness};
use super::words::{end_words, witness_words};
use crate::board::RamArea;
use crate::cartridge::LARGEST_IMAGE;
use crate::check::Checker;
use crate::suite::{Complaint, DEFAULT_SEED, Demanded, Harness, nearest};
use crate::trial::case_text::{Wanted, case_text};
use crate::trial::promise::{against_table, broken, unbalanced};
use crate::trial::{Promise, Promises, Shelf, Trial, file_stem};
use crate::units;
use crate::verdict::{Decision, Reason};

/// What is asked.
#[derive(Clone, Debug)]
pub struct Prove {
    pub(super) harness: Arc<Harness>,
    /// Offsets of unknown bytes of the image.
    pub(super) unknown: Vec<RangeInclusive<u32>>,
    pub(super) free: Free,
    found: Option<PathBuf>,
    pub(super) seed: u64,
    pub(super) budget: Budget,
}

impl Prove {
    /// Everything about a harness: every byte of the header is unknown.
    pub fn new(harness: &Arc<Harness>) -> Self {
        let extent = harness.layout.extent();
        let unknown = if extent.is_empty() { Vec::new() } else { vec![extent.start..=extent.end - 1] };
        Self {
            harness: Arc::clone(harness),
            unknown,
            free: Free::of(harness),
            found: None,
            seed: DEFAULT_SEED,
            budget: Budget::default(),
        }
    }

    /// Writes counterexamples into this folder.
    #[must_use]
    pub fn found(self, folder: impl AsRef<Path>) -> Self {
        Self { found: Some(folder.as_ref().to_owned()), ..self }
    }

    /// The seed of all noise.
    #[must_use]
    pub fn seed(self, seed: u64) -> Self {
        Self { seed, ..self }
    }

    /// The most instructions that may be run on terms, over all states.
    #[must_use]
    pub fn steps(mut self, steps: u64) -> Self {
        self.budget.steps = steps;
        self
    }

    /// Bytes of the image that are unknown too.
    #[must_use]
    pub fn unknown_bytes(mut self, offsets: RangeInclusive<u32>) -> Self {
        let known = |range: &RangeInclusive<u32>| range.contains(offsets.start()) && range.contains(offsets.end());
        if !self.unknown.iter().any(known) {
            self.unknown.push(offsets);
        }
        self
    }

    /// Only these bytes of the image are unknown.
    #[must_use]
    pub fn only_bytes(mut self, offsets: RangeInclusive<u32>) -> Self {
        self.unknown = vec![offsets];
        self
    }

    /// A port of which every read is unknown; `false` if there is none of this name that can be read.
    pub fn unknown_port(&mut self, name: &str) -> bool {
        let ports = self.harness.rig.map.ports();
        let found = ports.iter().position(|port| port.name == name && port.reads.is_some());
        if let Some(port) = found {
            self.free.ports[port] = true;
        }
        found.is_some()
    }

    /// RAM of which the content at power-on is unknown: an area by its name; `false` if there is none.
    pub fn unknown_ram(&mut self, name: &str) -> bool {
        let found = self.harness.rig.map.memory().iter().position(|area| area.name == name);
        if let Some(area) = found {
            self.free.ram[area] = None;
        }
        found.is_some()
    }

    /// RAM of which the content at power-on is unknown, by bus address.
    #[must_use]
    pub fn unknown_ram_range(mut self, addresses: RangeInclusive<u32>) -> Self {
        self.free.ram_ranges.push(addresses);
        self
    }

    /// Answers everything.
    ///
    /// # Errors
    /// A folder in which counterexamples cannot be written.
    pub fn run(&self) -> Result<Sealed<Answer>, Complaint> {
        self.found.as_deref().map_or(Ok(()), Shelf::check_writable)?;
        let mut work = Work::new(self);
        let studies = study_all(&mut work.logic, &mut work.evidence, self);
        work.answer(&studies)
    }

    /// Whether these hold for every header: the reasons against, none if they are proved.
    pub fn demand(&self, wanted: &[Demanded]) -> Vec<Reason> {
        let mut work = Work::new(self);
        let studies = study_all(&mut work.logic, &mut work.evidence, self);
        work.demand(&studies, wanted)
    }

    /// Lets something be unknown, as the command line and case files say it: a port or a memory by its name, offsets of the
    /// image or bus addresses of RAM as a range.
    ///
    /// # Errors
    /// That there is no such thing, with the nearest name.
    pub fn let_be_unknown(self, what: &str) -> Result<Self, String> {
        let mut prove = self;
        if prove.unknown_port(what) || prove.unknown_ram(what) {
            return Ok(prove);
        }
        let map = &prove.harness.rig.map;
        let Ok(range) = parse_range(what) else {
            let names = map.ports().iter().filter(|port| port.reads.is_some()).map(|port| port.name.as_str());
            let names = names.chain(map.memory().iter().map(|area| area.name.as_str()));
            let near = nearest(what, names).first().map(|near| format!("; did you mean `{near}`?"));
            return Err(format!(
                "`{what}` is neither offsets like 0x200-0x2FF nor a readable port or a memory of the harness{}",
                near.unwrap_or_default()
            ));
        };
        let ram =
            map.memory().iter().any(|area| area.range.contains(range.start()) && area.range.contains(range.end()));
        if let Some(port) = map.ports().iter().find(|port| range.contains(&port.at)) {
            return Err(format!("the port `{}` stands at {what}: give its name", port.name));
        }
        let part = |area: &RamArea| area.range.start() <= range.end() && range.start() <= area.range.end();
        if !ram && map.memory().iter().any(part) {
            return Err(format!("{what} lies only partly in RAM"));
        }
        if !ram && *range.end() >= LARGEST_IMAGE {
            return Err(format!("{what}: an image has no offset beyond 0x{:X}", LARGEST_IMAGE - 1));
        }
        Ok(if ram { prove.unknown_ram_range(range) } else { prove.unknown_bytes(range) })
    }

    /// The harness.
    pub fn harness(&self) -> &Arc<Harness> {
        &self.harness
    }

    /// The seed of all noise.
    pub fn noise_seed(&self) -> u64 {
        self.seed
    }

    pub(crate) fn free(&self) -> &Free {
        &self.free
    }
}

/// `0x200-0x2FF`, or one number.
///
/// # Errors
/// What is expected.
pub fn parse_range(text: &str) -> Result<RangeInclusive<u32>, String> {
    let number = |text: &str| {
        let text = text.trim();
        let hex = text.strip_prefix("0x").or_else(|| text.strip_prefix("0X"));
        hex.map_or_else(|| text.parse().ok(), |hex| u32::from_str_radix(hex, 16).ok())
    };
    let wrong = || "expected offsets like 0x200-0x2FF".to_owned();
    let (start, end) = text.split_once('-').unwrap_or((text, text));
    let range = number(start).ok_or_else(wrong)?..=number(end).ok_or_else(wrong)?;
    if range.is_empty() { Err("the range ends before it begins".to_owned()) } else { Ok(range) }
}

/// Explores every way of being attached.
pub fn study_all(logic: &mut Logic, evidence: &mut Evidence, prove: &Prove) -> Vec<Study> {
    let ways = ways(&prove.harness, &prove.unknown, prove.seed);
    study(logic, evidence, &prove.harness, ways, &prove.free, prove.budget)
}

/// A guard in short, and how many headers of so many bits it has.
pub fn describe_guard(
    logic: &mut Logic,
    harness: &Harness,
    guard: Term,
    bits: u32,
) -> (Option<Condition>, Option<String>) {
    let Some(described) = describe(logic, guard) else { return (None, counted(logic, guard, bits)) };
    let unknowns = &logic.unknowns;
    // Other inputs than the header are no part of a number of headers.
    let header_only =
        logic.terms.unknowns(guard).into_iter().all(|unknown| matches!(unknowns.source(unknown), Source::Image(_)));
    let share = if header_only { described.share(bits, |unknown| unknowns.width(unknown)) } else { None };
    (Some(said(&described, unknowns, harness)), share.map(|share| share.to_string()))
}

/// How many headers of so many bits a guard has that hangs on few of them: each is tried.
fn counted(logic: &Logic, guard: Term, bits: u32) -> Option<String> {
    let unknowns = logic.terms.unknowns(guard).into_iter();
    let mut of_header = unknowns.map(|unknown| matches!(logic.unknowns.source(unknown), Source::Image(_)));
    if !of_header.all(|is| is) {
        return None;
    }
    let mut count = 0;
    let used = try_all(logic, &[guard], |tape| count += i64::from(tape.numbers().next() == Some(1)))?;
    let mut share = Share::default();
    share.add(count, bits.checked_sub(used)?);
    Some(share.to_string())
}

/// The case of a witness.
pub fn witness_case(trial: &Trial, harness: &Harness, label: &str) -> String {
    case_text(label, &[], trial, &Wanted::default(), harness, Path::new(".")).trim_start().to_owned()
}

/// The work at one question.
pub(super) struct Work<'a> {
    pub prove: &'a Prove,
    pub harness: Arc<Harness>,
    pub logic: Logic,
    pub evidence: Evidence,
    pub replayer: Replayer,
    checker: Checker,
    witnesses: usize,
    /// Models of ends that are possible, with their study.
    models: Vec<(usize, Model)>,
}

impl<'a> Work<'a> {
    fn new(prove: &'a Prove) -> Self {
        let harness = Arc::clone(&prove.harness);
        Self {
            logic: Logic::default(),
            evidence: Evidence::default(),
            replayer: Replayer::new(&harness, prove.seed),
            checker: Checker::new(Arc::clone(&harness)),
            harness,
            prove,
            witnesses: 0,
            models: Vec::new(),
        }
    }

    fn answer(mut self, studies: &[Study]) -> Result<Sealed<Answer>, Complaint> {
        let harness = Arc::clone(&self.harness);
        let scenarios: Vec<Scenario> =
            studies.iter().enumerate().map(|(index, study)| self.scenario(index, study)).collect();
        let (list, table) = candidates(&mut self.logic, &harness, &self.prove.free, studies);
        let (violations, broken_rules) = self.violations(&list, studies)?;
        let rules = self.rules(&table, &broken_rules);
        let open = self.open(&table);
        let models: Vec<Model> = self.models.iter().map(|(_, model)| model.clone()).collect();
        let dead = dead_code(&mut self.logic, &mut self.evidence, &harness, studies, &models);
        let dead_entries = dead_entries(&mut self.logic, &mut self.evidence, &harness, studies, &models);
        let grounds: Vec<Ground> = studies.iter().map(|study| study.ground(&harness, &self.prove.free)).collect();
        let influence = influence(&mut self.logic, &harness, &grounds, studies, &self.models);
        let paths = self.paths(studies);
        let reachable = |name: &str| {
            scenarios.iter().any(|scenario| scenario.ends.iter().any(|end| end.branch.as_deref() == Some(name)))
        };
        let branches = harness.rig.branches.iter().map(|branch| BranchAnswer {
            branch: branch.name.clone(),
            kind: branch.kind,
            reachable: reachable(&branch.name),
        });
        let mut answer = Answer {
            harness: harness.name.clone(),
            file: harness.path.display().to_string(),
            proved: true,
            doubts: Vec::new(),
            scope: scope(self.prove, studies),
            branches: branches.collect(),
            scenarios,
            kept: self.kept(&violations),
            violations,
            rules,
            open,
            dead,
            dead_entries,
            influence,
            paths,
            effort: Effort {
                steps: studies.iter().map(|study| study.explored.steps).sum(),
                terms: self.logic.terms.len(),
                explorations: studies.len(),
                witnesses: self.witnesses,
            },
        };
        let doubts = self.evidence.doubts();
        answer.proved = doubts.is_empty();
        answer.doubts = doubts.iter().map(|doubt| doubt_at(doubt, &harness)).collect();
        Ok(self.evidence.seal(answer))
    }

    fn scenario(&mut self, index: usize, study: &Study) -> Scenario {
        let mut ends = Vec::new();
        for close in study.closes() {
            let guard = study.guard(&mut self.logic, &close);
            if let Some(Err(model)) = self.evidence.never(&mut self.logic, &[guard]) {
                ends.push(self.end(index, study, &close, guard, &model));
            }
        }
        Scenario { ways: told(&study.ways), attached: study.way().plugged.image.is_some(), ends }
    }

    fn end(&mut self, index: usize, study: &Study, close: &Close, guard: Term, model: &Model) -> EndAnswer {
        let undecided = !close.is_end();
        let witness = self.replayer.witness(&mut self.logic, &study.explored, study.way(), guard, model);
        self.models.push((index, witness.model.clone()));
        if !undecided {
            self.replay(study, &witness);
        }
        let bits = 8 * study.way().plugged.originals().count() as u32;
        let (condition, headers) = describe_guard(&mut self.logic, &self.harness, guard, bits);
        EndAnswer {
            branch: close.branch().map(|branch| self.harness.rig.branches[branch].name.clone()),
            end: end_words(close, &self.harness),
            condition,
            headers,
            witness: (!undecided).then(|| self.told(&witness, close.branch())),
        }
    }

    /// Gate (e) for one witness.
    pub fn replay(&mut self, study: &Study, witness: &Witness) {
        self.witnesses += 1;
        let replayed = match study.ending(&self.logic, &witness.model) {
            Some(ending) => self.replayer.replay(&mut self.logic, ending, witness),
            None => Err(Doubt::Lost),
        };
        self.evidence.witness(replayed);
    }

    fn told(&self, witness: &Witness, branch: Option<usize>) -> WitnessAnswer {
        let label = witness_words(witness, &self.harness);
        let wanted = Wanted { branch, ..Wanted::default() };
        let needs: Vec<String> = match &witness.needs[..] {
            [] => Vec::new(),
            _ => vec![
                "Only with RAM at power-on as the name says, which a case cannot: no fill is like that.".to_owned(),
            ],
        };
        let case = case_text(&label, &needs, &witness.trial, &wanted, &self.harness, &self.shelf().place());
        WitnessAnswer { label, case: case.trim_start().to_owned() }
    }

    fn shelf(&self) -> Shelf {
        Shelf { harness: Arc::clone(&self.harness), folder: self.prove.found.clone(), seed: self.prove.seed }
    }

    /// The counterexamples, one for each promise and instruction, and the rules that do not hold.
    fn violations(&mut self, list: &[Candidate], studies: &[Study]) -> Result<(Vec<Violation>, Vec<usize>), Complaint> {
        let (mut found, mut rules) = (Vec::new(), Vec::new());
        let mut told: Vec<(Promise, Option<u32>, Option<usize>)> = Vec::new();
        for candidate in list {
            let known = (candidate.promise, candidate.at, candidate.rule);
            if told.contains(&known) {
                continue;
            }
            let Some(Err(model)) = self.evidence.never(&mut self.logic, &[candidate.claim]) else { continue };
            told.push(known);
            rules.extend(candidate.rule);
            let study = &studies[candidate.study];
            if let Some(violation) = self.violation(candidate, study, &model)? {
                found.push(violation);
            }
        }
        Ok((found, rules))
    }

    fn violation(
        &mut self,
        candidate: &Candidate,
        study: &Study,
        model: &Model,
    ) -> Result<Option<Violation>, Complaint> {
        let harness = Arc::clone(&self.harness);
        let way = &study.ways[candidate.way];
        let witness = self.replayer.witness(&mut self.logic, &study.explored, way, candidate.claim, model);
        let (confirmed, ends, decision) = self.confirm(candidate.promise, &witness);
        self.witnesses += 1;
        self.evidence.witness(Replayer::judged(confirmed, || {
            format!("{} at {:?}: {ends}", candidate.promise.text(), candidate.at)
        }));
        if !confirmed {
            return Ok(None);
        }
        let branch = if let Decision::Branch { branch, .. } = decision { Some(branch) } else { None };
        let happens = crate::trial::case_text::happens(candidate.promise, &ends, branch, &harness);
        let name = format!("{} {happens}", witness_words(&witness, &harness));
        let spot = candidate.at.map(|at| harness.names().spot(at));
        let leaves = self.leaves(candidate.promise, &witness);
        let wanted = Wanted { promise: Some(candidate.promise), branch, leaves };
        let mut comments =
            vec![format!("Found by keyway prove. The routine breaks a promise: it {}.", candidate.promise.text())];
        comments.extend(spot.as_ref().map(|spot| format!("Where: {spot}")));
        let shelf = self.shelf();
        let file = shelf.file(&mut self.checker, &file_stem(candidate.promise, candidate.at, &harness))?;
        let (file, known) = file.map_or((None, false), |(file, known)| (Some(file), known));
        comments.extend(file.as_ref().map(|file| format!("Why: keyway explain {}", file.display())));
        let case = case_text(&name, &comments, &witness.trial, &wanted, &harness, &shelf.place());
        let shelved = shelf.put(&mut self.checker, &case, file.as_deref().filter(|_| !known))?;
        let written = !shelved.reasons.is_empty();
        let (condition, _) = describe_guard(&mut self.logic, &harness, candidate.claim, 0);
        Ok(Some(Violation {
            promise: candidate.promise,
            name,
            at: spot,
            condition,
            reasons: shelved.reasons,
            file: file.filter(|_| written).map(|file| file.display().to_string()),
            known,
            case,
        }))
    }

    /// Runs a counterexample: whether it breaks the promise, how it ends, and what the table says of it.
    fn confirm(&mut self, promise: Promise, witness: &Witness) -> (bool, String, Decision) {
        let harness = Arc::clone(&self.harness);
        let mut setup = crate::run::Setup::default();
        witness.trial.set_up(&mut setup, &harness, self.prove.seed);
        let decision = harness.decide(&setup.inputs);
        let outcome = self.replayer.run(witness);
        let against = against_table(outcome.end, &decision, &harness.rig.branches);
        let mut promises: Promises = broken(outcome, &harness).with(promise, against == Some(promise));
        let ends = crate::verdict::short_ending(outcome, harness.names());
        if promise == Promise::PowerOn {
            promises = promises.with(promise, outcome.fill_matters);
        }
        (promises.has(promise), ends, decision)
    }

    fn leaves(&mut self, promise: Promise, witness: &Witness) -> Option<(usize, u16)> {
        let harness = Arc::clone(&self.harness);
        let outcome = (promise == Promise::Latches).then(|| self.replayer.run(witness))?;
        unbalanced(outcome, &harness).map(|(port, _, must)| (port, must))
    }

    fn rules(&mut self, table: &TableView, broken: &[usize]) -> Vec<RuleAnswer> {
        let harness = Arc::clone(&self.harness);
        let rules = harness.acceptance.rules.iter().enumerate().map(|(index, rule)| {
            let decides = table.rules.get(&index).into_iter().flatten();
            let decides = decides
                .into_iter()
                .any(|(_, _, term)| !matches!(self.evidence.never(&mut self.logic, &[*term]), Some(Ok(_))));
            RuleAnswer {
                rule: index + 1,
                line: harness.rule_lines.get(index).copied().unwrap_or(0),
                branch: harness.rig.branches[rule.branch].name.clone(),
                decides,
                holds: !broken.contains(&index),
            }
        });
        rules.collect()
    }

    fn open(&mut self, table: &TableView) -> Option<OpenAnswer> {
        if self.harness.acceptance.rules.is_empty() {
            return None;
        }
        let open =
            table.open.iter().find(|(term, _)| !matches!(self.evidence.never(&mut self.logic, &[*term]), Some(Ok(_))));
        open.map(|(_, why)| OpenAnswer { why: why.clone() })
    }

    /// The promises that were asked about and that nothing breaks.
    fn kept(&self, violations: &[Violation]) -> Vec<Promise> {
        if !self.evidence.doubts().is_empty() {
            return Vec::new();
        }
        let forbid = self.harness.forbid;
        let table = !self.harness.acceptance.rules.is_empty();
        let asked = |promise: Promise| match promise {
            Promise::Accepts | Promise::Refuses | Promise::Branch => table,
            Promise::Forbidden => {
                forbid.reads_ram_before_writing || forbid.reads_outside_map || forbid.executes_remapped
            }
            _ => true,
        };
        let broken = |promise: Promise| violations.iter().any(|violation| violation.promise == promise);
        Promise::ALL.into_iter().filter(|promise| asked(*promise) && !broken(*promise)).collect()
    }

    fn paths(&mut self, studies: &[Study]) -> Paths {
        let mut paths = Paths {
            longest: self.extreme(studies, Counted::Cycles, greatest),
            shortest: self.extreme(studies, Counted::Cycles, smallest),
            most_instructions: self.extreme(studies, Counted::Instructions, greatest),
            fewest_instructions: self.extreme(studies, Counted::Instructions, smallest),
        };
        // Where only bounds are proved, one path may be a better example of the other count than its own.
        if let (Some(longest), Some(most)) = (&paths.longest, &mut paths.most_instructions)
            && longest.instructions > most.instructions
        {
            *most = PathAnswer { bound: most.bound, ..longest.clone() };
        }
        if let (Some(shortest), Some(fewest)) = (&paths.shortest, &mut paths.fewest_instructions)
            && shortest.instructions < fewest.instructions
        {
            *fewest = PathAnswer { bound: fewest.bound, ..shortest.clone() };
        }
        paths
    }

    /// One extreme over all studies, of paths that come to a branch.
    fn extreme(
        &mut self,
        studies: &[Study],
        what: Counted,
        find: fn(&mut Logic, &mut Evidence, &[Ending], Counted) -> Option<Extreme>,
    ) -> Option<PathAnswer> {
        let mut best: Option<(&Study, Vec<Ending>, Extreme)> = None;
        for study in studies {
            let endings = study.explored.endings.iter().filter(|ending| ending.close.branch().is_some());
            let endings: Vec<Ending> = endings.cloned().collect();
            let Some(found) = find(&mut self.logic, &mut self.evidence, &endings, what) else { continue };
            let up = std::ptr::fn_addr_eq(find, greatest as fn(_, _, _, _) -> _);
            let better = best.as_ref().is_none_or(
                |(_, _, best)| {
                    if up { found.value > best.value } else { found.value < best.value }
                },
            );
            if better {
                best = Some((study, endings, found));
            }
        }
        let (study, endings, found) = best?;
        let ending = &endings[found.ending];
        let count = match what {
            Counted::Cycles => ending.state.held.cycles,
            Counted::Instructions => ending.state.steps,
        };
        let term = count.term(&mut self.logic.terms);
        let reached = is(&mut self.logic.terms, term, found.value);
        let claim = self.logic.terms.and(ending.guard(), reached);
        let witness = self.replayer.witness(&mut self.logic, &study.explored, study.way(), claim, &found.model);
        self.replay(study, &witness);
        let outcome = self.replayer.run(&witness);
        let (cycles, instructions) = (outcome.cycles, outcome.instructions);
        let milliseconds = self.harness.clock.map(|clock| format!("{:.3}", units::milliseconds(cycles, clock)));
        let branch = ending.close.branch();
        Some(PathAnswer {
            bound: (found.bound != found.value).then_some(found.bound),
            cycles,
            instructions,
            milliseconds,
            branch: branch.map_or_else(String::new, |branch| self.harness.rig.branches[branch].name.clone()),
            witness: self.told(&witness, branch),
        })
    }
}

/// A doubt, and where.
pub fn doubt_at(doubt: &Doubt, harness: &Harness) -> DoubtAt {
    let at = match doubt {
        Doubt::Cut { at, .. } | Doubt::Limit { at } => Some(harness.names().spot(*at)),
        _ => None,
    };
    DoubtAt { why: doubt.to_string(), at }
}

//! The work: [`Prove::run`] answers everything that can be asked of a harness, [`Prove::demand`] what a suite demands.

use std::sync::Arc;

use super::Domain;
use super::answer::{
    Answer, BranchAnswer, Effort, EndAnswer, OpenAnswer, PathAnswer, Paths, RuleAnswer, Scenario, Violation,
    WitnessAnswer,
};
use super::attach::ways;
use super::breaches::{TableView, candidates};
use super::dead::{dead_code, dead_entries};
use super::ending::{Close, Ending};
use super::extremes::{Counted, Extreme, greatest, smallest};
use super::gates::{Doubt, Evidence, Sealed};
use super::ground::{Ground, Logic};
use super::influence::influence;
use super::logic::{Model, Term};
use super::plan::Prove;
use super::scope::scope;
use super::study::{Study, study, told};
use super::told::{describe_guard, doubt_at};
use super::unknowns::is;
use super::witness::{Replayer, Witness};
use super::words::{end_words, witness_words};
use crate::check::Checker;
use crate::suite::{Complaint, Demanded, Harness};
use crate::trial::case_text::{Wanted, case_text};
use crate::trial::{Promise, Shelf};
use crate::units;
use crate::verdict::Reason;

impl Prove {
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
}

/// Explores every way of being attached.
pub fn study_all(logic: &mut Logic, evidence: &mut Evidence, prove: &Prove) -> Vec<Study> {
    let ways = ways(&prove.harness, &prove.unknown, prove.seed);
    study(logic, evidence, &prove.harness, ways, &prove.free, prove.budget)
}

/// The work at one question.
pub(super) struct Work<'a> {
    pub prove: &'a Prove,
    pub harness: Arc<Harness>,
    pub logic: Logic,
    pub evidence: Evidence,
    pub replayer: Replayer,
    pub checker: Checker,
    pub witnesses: usize,
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

    pub fn shelf(&self) -> Shelf {
        Shelf { harness: Arc::clone(&self.harness), folder: self.prove.found.clone(), seed: self.prove.seed }
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

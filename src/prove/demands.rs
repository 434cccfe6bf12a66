//! Demands of a suite: what must be proved, for every header. Each is held, failed with a counterexample, or undecided.

use super::Domain;
use super::breaches::{Candidate, candidates};
use super::ending::Close;
use super::extremes::{Counted, greatest};
use super::ground::Ground;
use super::logic::{Model, Term};
use super::proof::Work;
use super::study::Study;
use super::table::conditions;
use super::words::witness_words;
use crate::suite::{Demanded, Relation};
use crate::trial::Promise;
use crate::units;
use crate::verdict::{Conditions, Reason, Why, Within};

impl Work<'_> {
    /// The reasons for which demands do not hold; none if all are proved.
    pub(super) fn demand(&mut self, studies: &[Study], wanted: &[Demanded]) -> Vec<Reason> {
        // A counterexample counts whatever else is open; what holds must be proved whole.
        self.confirm_ends(studies);
        let mut reasons = Vec::new();
        for one in wanted {
            reasons.extend(match one {
                Demanded::Branch { branch, when, relation } => self.branch(studies, *branch, when, *relation),
                Demanded::Keeps(promise) => self.keeps(studies, *promise),
                Demanded::Unreachable(branch) => self.unreachable(studies, *branch),
                Demanded::Within(within) => self.within(studies, within),
            });
        }
        if reasons.is_empty() {
            let doubts = self.evidence.doubts().iter().map(|doubt| super::told::doubt_at(doubt, &self.harness));
            reasons.extend(doubts.map(|doubt| {
                let at = doubt.at.map_or_else(String::new, |at| format!(" at {at}"));
                Reason::new(Why::Limit, format!("not proved: {}{at}", doubt.why))
            }));
        }
        reasons
    }

    /// A cartridge of every end, run on the machine.
    fn confirm_ends(&mut self, studies: &[Study]) {
        for study in studies {
            for close in study.closes().into_iter().filter(Close::is_end) {
                let guard = study.guard(&mut self.logic, &close);
                if let Some(Err(model)) = self.evidence.never(&mut self.logic, &[guard]) {
                    let witness = self.replayer.witness(&mut self.logic, &study.explored, study.way(), guard, &model);
                    self.replay(study, &witness);
                }
            }
        }
    }

    fn branch(&mut self, studies: &[Study], branch: usize, when: &Conditions, relation: Relation) -> Vec<Reason> {
        let harness = std::sync::Arc::clone(&self.harness);
        let name = &harness.rig.branches[branch].name;
        // What is never the case says nothing.
        let (mut met, mut reached) = (false, false);
        for study in studies {
            let guard = study.guard(&mut self.logic, &Close::Branch(branch));
            reached |= matches!(self.evidence.never(&mut self.logic, &[guard]), Some(Err(_)));
            for way in &study.ways {
                let ground = Ground { harness: &harness, plugged: way.plugged.clone(), free: &self.prove.free };
                let holds = match conditions(&mut self.logic, &ground, when) {
                    Ok(holds) => holds,
                    Err(why) => return vec![Reason::new(Why::Limit, format!("not proved: {why}"))],
                };
                met = met || matches!(self.evidence.never(&mut self.logic, &[holds]), Some(Err(_)));
                let (not_holds, not_taken) = (self.logic.terms.not(holds), self.logic.terms.not(guard));
                let (taken, missed) = (self.logic.terms.and(guard, not_holds), self.logic.terms.and(holds, not_taken));
                let asked: &[(Term, &str)] = match relation {
                    Relation::Exactly => &[(taken, "is taken"), (missed, "is not taken")],
                    Relation::Only => &[(taken, "is taken")],
                    Relation::Always => &[(missed, "is not taken")],
                };
                for (claim, happens) in asked {
                    if let Some(Err(model)) = self.evidence.never(&mut self.logic, &[*claim]) {
                        let found = self.counterexample(study, way, *claim, &model);
                        return vec![Reason::new(Why::Branch, format!("{name} {happens}: {found}"))];
                    }
                }
            }
        }
        let vacuous = match relation {
            Relation::Always | Relation::Exactly if !met => "no input within the scope meets the condition",
            Relation::Only if !reached => "no input within the scope takes the branch",
            _ => return Vec::new(),
        };
        vec![Reason::new(Why::Branch, format!("{name}: {vacuous}, so nothing is said"))]
    }

    /// A counterexample in words, run on the machine.
    fn counterexample(&mut self, study: &Study, way: &super::attach::Way, claim: Term, model: &Model) -> String {
        let witness = self.replayer.witness(&mut self.logic, &study.explored, way, claim, model);
        self.replay(study, &witness);
        let outcome = self.replayer.run(&witness);
        let ends = crate::verdict::short_ending(outcome, self.harness.names());
        format!("{}, which comes to {ends}", witness_words(&witness, &self.harness))
    }

    fn keeps(&mut self, studies: &[Study], promise: Promise) -> Vec<Reason> {
        let harness = std::sync::Arc::clone(&self.harness);
        let (list, _) = candidates(&mut self.logic, &harness, &self.prove.free, studies);
        for candidate in list.iter().filter(|candidate| candidate.promise == promise) {
            let Candidate { claim, study, way, at, .. } = candidate;
            if let Some(Err(model)) = self.evidence.never(&mut self.logic, &[*claim]) {
                let study = &studies[*study];
                let found = self.counterexample(study, &study.ways[*way], *claim, &model);
                let at = at.map_or_else(String::new, |at| format!(" at {}", harness.names().spot(at)));
                return vec![Reason::new(Why::Forbidden, format!("{} is broken{at}: {found}", promise.name()))];
            }
        }
        Vec::new()
    }

    fn unreachable(&mut self, studies: &[Study], branch: usize) -> Vec<Reason> {
        let name = self.harness.rig.branches[branch].name.clone();
        for study in studies {
            let guard = study.guard(&mut self.logic, &Close::Branch(branch));
            if let Some(Err(model)) = self.evidence.never(&mut self.logic, &[guard]) {
                let found = self.counterexample(study, study.way(), guard, &model);
                return vec![Reason::new(Why::Never, format!("{name} is taken: {found}"))];
            }
        }
        Vec::new()
    }

    fn within(&mut self, studies: &[Study], within: &Within) -> Vec<Reason> {
        let by_time = within.time.map(|(nanoseconds, clock)| {
            u64::try_from(u128::from(nanoseconds) * u128::from(clock) / 1_000_000_000).unwrap_or(u64::MAX)
        });
        let asked = [
            (Counted::Instructions, within.instructions, "instructions"),
            (Counted::Cycles, within.cycles, "cycles"),
            (Counted::Cycles, by_time, "cycles, the time that is demanded"),
        ];
        let mut reasons = Vec::new();
        for (what, limit, unit) in asked {
            let Some(limit) = limit else { continue };
            for study in studies {
                let endings = &study.explored.endings;
                let Some(found) = greatest(&mut self.logic, &mut self.evidence, endings, what) else { continue };
                if found.value <= limit && found.bound > limit {
                    let (bound, limit) = (units::thousands(found.bound), units::thousands(limit));
                    let text = format!("not proved: at most {bound} {unit}, but {limit} wanted");
                    reasons.push(Reason::new(Why::Limit, text));
                }
                if found.value > limit {
                    let ending = &endings[found.ending];
                    let count = match what {
                        Counted::Cycles => ending.state.held.cycles,
                        Counted::Instructions => ending.state.steps,
                    };
                    let beyond = count.exceeds(&mut self.logic.terms, limit);
                    let claim = self.logic.terms.and(ending.guard(), beyond);
                    let told = self.counterexample(study, study.way(), claim, &found.model);
                    let (value, limit) = (units::thousands(found.value), units::thousands(limit));
                    reasons.push(Reason::new(
                        Why::Within,
                        format!("up to {value} {unit}, at most {limit} wanted: {told}"),
                    ));
                    break;
                }
            }
        }
        reasons
    }
}

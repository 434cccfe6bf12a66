//! `check --proofs`: the demands of suites, each proved or not, told like cases.

use std::sync::Arc;

use annotate_snippets::Level;

use super::Failure;
use super::complain::say;
use super::select::Selected;
use crate::check::{CaseResult, Reached};
use crate::prove::Prove;
use crate::suite::{Demand, Demanded, Suite};
use crate::verdict::Verdict;

/// A demand, ready to be proved.
pub struct Question {
    suite: Arc<Suite>,
    index: usize,
    prove: Prove,
}

/// The demands of a group, checked before the first case runs.
pub fn questions(group: &Selected, seed: u64) -> Result<Vec<Question>, Failure> {
    let question = |(suite, index): &(Arc<Suite>, usize)| {
        let mut prove = Prove::new(&suite.harness).seed(seed);
        for (place, what) in suite.demands()[*index].unknown.iter().enumerate() {
            prove = prove.let_be_unknown(what).map_err(|why| suite.complain_unknown(*index, place, why))?;
        }
        Ok(Question { suite: Arc::clone(suite), index: *index, prove })
    };
    group.demands.iter().map(question).collect()
}

impl Question {
    fn demand(&self) -> &Demand {
        &self.suite.demands()[self.index]
    }

    /// Proves the demand, or says why it does not hold.
    pub fn answer(&self) -> CaseResult {
        let demand = self.demand();
        let reasons = self.prove.demand(&demand.wanted);
        let verdict = Verdict::new(reasons, None);
        let short = match &verdict {
            Verdict::Held => "proved",
            Verdict::Failed { .. } => "refuted",
            _ => "open",
        };
        CaseResult {
            name: demand.name.clone(),
            file: self.suite.path().display().to_string(),
            line: demand.line,
            attached: "every header".to_owned(),
            expected: wanted(&demand.wanted, &self.suite),
            expected_kind: None,
            reached: Reached::Other { short: short.to_owned(), text: short.to_owned() },
            instructions: 0,
            cycles: 0,
            milliseconds: None,
            fill: String::new(),
            fills: 0,
            fills_run: 0,
            verdict,
            evidence: None,
            explanation: None,
            rerun: format!("keyway check --proofs {}", self.suite.path().display()),
        }
    }
}

/// What a demand is about, as the table shows it.
fn wanted(wanted: &[Demanded], suite: &Suite) -> String {
    let branches = &suite.harness.rig.branches;
    let words = wanted.iter().map(|one| match one {
        Demanded::Branch { branch, .. } => branches[*branch].name.clone(),
        Demanded::Keeps(promise) => format!("no {}", promise.name()),
        Demanded::Unreachable(branch) => format!("no {}", branches[*branch].name),
        Demanded::Within(_) => "limits".to_owned(),
    });
    words.collect::<Vec<_>>().join(", ")
}

/// Says that demands were left alone: a silent skip would look like a pass.
pub fn say_left(groups: &[Selected]) {
    let left: usize = groups.iter().map(|group| group.demands.len()).sum();
    if left > 0 {
        let (noun, verb) = if left == 1 { ("demand", "was") } else { ("demands", "were") };
        say(Level::NOTE, &format!("{left} {noun} on proofs {verb} not looked at; `check --proofs` does it"));
    }
}

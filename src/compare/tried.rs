//! Cases run on both builds: what is left where nothing could be proved. It shows differences and proves nothing.

use schemars::JsonSchema;
use serde::Serialize;

use crate::run::{Machine, Outcome, Setup};
use crate::suite::{Case, Harness};
use crate::trial::Trial;
use crate::verdict::short_ending;

use std::sync::Arc;

/// What running cases on both builds has shown.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Tried {
    /// Cases of suites that were run.
    pub cases: usize,
    /// Entries of a corpus that were run.
    pub entries: usize,
    /// Those that differ.
    pub differs: Vec<Differs>,
}

/// A case that does something else now.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Differs {
    /// Its name.
    pub name: String,
    /// What it did.
    pub before: String,
    /// What it does.
    pub after: String,
}

/// Runs cases and corpus entries on both builds.
pub fn try_cases(
    old: &Arc<Harness>,
    new: &Arc<Harness>,
    cases: &[Case],
    entries: &[(String, Trial)],
    seed: u64,
) -> Tried {
    let mut machines = [old, new].map(|harness| Machine::new(Arc::clone(&harness.rig)));
    let mut tried = Tried { cases: cases.len(), entries: entries.len(), differs: Vec::new() };
    let mut compare = |name: &str, setups: [&Setup; 2]| {
        let fills = Harness::fills(&new.power_on);
        let [before, after] = [0, 1].map(|side| {
            let harness = [old, new][side];
            let ends = fills.iter().map(|fills| told(machines[side].run(setups[side], fills), harness));
            let mut ends: Vec<String> = ends.collect();
            ends.dedup();
            ends.join("; with other RAM: ")
        });
        if before != after {
            tried.differs.push(Differs { name: name.to_owned(), before, after });
        }
    };
    for case in cases {
        compare(&case.name, [&case.setup, &case.setup]);
    }
    for (name, trial) in entries {
        let [mut left, mut right] = [Setup::default(), Setup::default()];
        trial.set_up(&mut left, old, seed);
        trial.set_up(&mut right, new, seed);
        compare(name, [&left, &right]);
    }
    tried
}

/// How a run ended, and what it left behind that can be seen.
fn told(outcome: &Outcome, harness: &Harness) -> String {
    let mut text = short_ending(outcome, harness.names());
    let ports = harness.rig.map.ports();
    for write in &outcome.writes {
        text.push_str(&format!(", {} 0x{:02X}", ports[write.port].name, write.value));
    }
    text
}

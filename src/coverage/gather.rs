//! What all cases of a harness have done, whoever ran them: sums and ordered sets, so that the order does not show.

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};

use super::header::GatheredHeader;

/// How often something happened.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Over all runs, those of several RAM fills among them.
    pub runs: u64,
    /// In how many cases.
    pub cases: u64,
}

/// Which case, and which of its RAM fills: enough to run it again.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct CaseNumber {
    /// Index of the job.
    pub job: usize,
    /// Index of the case in the job's source.
    pub case: u32,
    /// Index among the fills of the case.
    pub fill: usize,
}

/// A path, by which runs went.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PathSeen {
    /// Cases that went by it.
    pub cases: u64,
    /// The first of them.
    pub first: CaseNumber,
}

/// A way out of a decision, or into the code.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum WayKey {
    /// From the caller into the routine.
    Entry,
    /// Out of the conditional branch at an address.
    Branch {
        /// Where it stands.
        at: u32,
        /// To the target, or to the next instruction.
        taken: bool,
    },
    /// Out of the computed jump or call at an address, wherever it goes.
    Jump {
        /// Where it stands.
        at: u32,
    },
    /// Into the handler of an interrupt.
    Handler {
        /// The interrupt's level.
        level: u8,
        /// Where the handler starts.
        at: u32,
    },
}

/// Where a way leads: to the next decision, or to the end of the run.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Goal {
    /// The conditional branch or computed jump at an address.
    Node(u32),
    /// An end.
    Stop(Stop),
}

/// How a run ended.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stop {
    /// In a declared branch, by index.
    Branch(usize),
    /// In any other way, in one or two words.
    Other(String),
}

/// What was seen of a harness.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Gathered {
    /// Cases that ran.
    pub cases: u64,
    /// Instructions that ran, by address.
    pub spots: BTreeMap<u32, Counts>,
    /// Ways that were taken.
    pub ways: BTreeMap<WayKey, Counts>,
    /// From each way to the next decision or the end: how many cases.
    pub links: BTreeMap<(WayKey, Goal), u64>,
    /// From the address of each computed jump or call to each address it went to.
    pub targets: BTreeMap<(u32, u32), Counts>,
    /// How the runs ended.
    pub stops: BTreeMap<Stop, Counts>,
    /// The paths of the runs, by their hash.
    pub paths: BTreeMap<u64, PathSeen>,
    /// The header.
    pub header: GatheredHeader,
    /// What tracing one case of each path has told.
    pub followed: Followed,
}

/// What traced runs tell.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Followed {
    /// How many paths were traced and told as a whole.
    pub paths: u64,
    /// Entries of host tables, by address.
    pub tables: BTreeMap<u32, TableSeen>,
    /// For each image offset the branches and jumps that hung on it.
    pub deciders: BTreeMap<u32, BTreeSet<u32>>,
}

/// An entry of a host table as it was compared with something.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct TableSeen {
    /// Its address, with its symbol.
    pub whose: String,
    /// Source file and line of its label.
    pub source: Option<String>,
    /// As much of it as was ever compared, as text.
    pub text: String,
    /// Cases that compared something with it.
    pub cases: u64,
    /// Whether all that was compared agreed in any of them.
    pub agreed: bool,
}

impl TableSeen {
    /// Adds what was seen of the same entry elsewhere.
    pub fn join(&mut self, other: Self) {
        if other.text.len() > self.text.len() {
            self.text = other.text;
        }
        self.cases += other.cases;
        self.agreed |= other.agreed;
    }
}

impl Followed {
    /// Adds what other paths have told.
    pub fn merge(&mut self, other: Self) {
        self.paths += other.paths;
        for (offset, at) in other.deciders {
            self.deciders.entry(offset).or_default().extend(at);
        }
        for (address, entry) in other.tables {
            match self.tables.get_mut(&address) {
                Some(seen) => seen.join(entry),
                None => {
                    self.tables.insert(address, entry);
                }
            }
        }
    }
}

impl Gathered {
    /// Adds what another checker of the same harness has seen of other cases.
    pub fn merge(&mut self, other: Gathered) {
        self.cases += other.cases;
        add_all(&mut self.spots, other.spots, add);
        add_all(&mut self.ways, other.ways, add);
        add_all(&mut self.links, other.links, |cases, more| *cases += more);
        add_all(&mut self.targets, other.targets, add);
        add_all(&mut self.stops, other.stops, add);
        add_all(&mut self.paths, other.paths, |path, other| {
            path.cases += other.cases;
            path.first = path.first.min(other.first);
        });
        self.header.merge(other.header);
    }
}

fn add(counts: &mut Counts, more: Counts) {
    counts.runs += more.runs;
    counts.cases += more.cases;
}

fn add_all<K: Ord, V>(map: &mut BTreeMap<K, V>, other: BTreeMap<K, V>, add: impl Fn(&mut V, V)) {
    for (key, value) in other {
        match map.entry(key) {
            Entry::Vacant(entry) => {
                entry.insert(value);
            }
            Entry::Occupied(mut entry) => add(entry.get_mut(), value),
        }
    }
}

//! What must hold, whatever is plugged in: each promise has a name and can be left out.

use clap::ValueEnum;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::board::StrayKind;
use crate::run::{Branch, BranchKind, End, Outcome};
use crate::suite::Harness;
use crate::verdict::Decision;

/// A promise that the routine has to keep.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, ValueEnum, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Promise {
    /// It ends in a declared branch.
    Ends,
    /// It ends within the limit.
    Limit,
    /// It does not crash.
    Crash,
    /// It does not hang.
    Hang,
    /// It writes nowhere outside the map.
    StrayWrites,
    /// It does nothing else that the harness forbids.
    Forbidden,
    /// It accepts nothing that the acceptance table refuses, or accepts for less.
    Accepts,
    /// It refuses nothing that the acceptance table accepts.
    Refuses,
    /// Of several branches of one worth it takes the one that the acceptance table says.
    Branch,
    /// It takes the same branch whatever RAM holds at power-on.
    PowerOn,
    /// It writes only declared values to ports.
    PortValues,
    /// It leaves each latch as it was, or as the branch says.
    Latches,
}

impl Promise {
    /// All of them.
    pub const ALL: [Self; 12] = [
        Self::Ends,
        Self::Limit,
        Self::Crash,
        Self::Hang,
        Self::StrayWrites,
        Self::Forbidden,
        Self::Accepts,
        Self::Refuses,
        Self::Branch,
        Self::PowerOn,
        Self::PortValues,
        Self::Latches,
    ];

    /// Its name on the command line and in files.
    pub fn name(self) -> &'static str {
        match self {
            Self::Ends => "ends",
            Self::Limit => "limit",
            Self::Crash => "crash",
            Self::Hang => "hang",
            Self::StrayWrites => "stray-writes",
            Self::Forbidden => "forbidden",
            Self::Accepts => "accepts",
            Self::Refuses => "refuses",
            Self::Branch => "branch",
            Self::PowerOn => "power-on",
            Self::PortValues => "port-values",
            Self::Latches => "latches",
        }
    }

    /// The promise as a sentence about the routine.
    pub fn text(self) -> &'static str {
        match self {
            Self::Ends => "ends in a declared branch",
            Self::Limit => "ends within the limit",
            Self::Crash => "does not crash",
            Self::Hang => "does not hang",
            Self::StrayWrites => "writes nowhere outside the map",
            Self::Forbidden => "does nothing that the harness forbids",
            Self::Accepts => "accepts nothing that the acceptance table refuses",
            Self::Refuses => "refuses nothing that the acceptance table accepts",
            Self::Branch => "takes the branch that the acceptance table says",
            Self::PowerOn => "takes the same branch whatever RAM holds at power-on",
            Self::PortValues => "writes only declared values to ports",
            Self::Latches => "leaves latches as they were",
        }
    }
}

/// A set of promises.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Promises(u16);

impl Promises {
    /// Every promise.
    pub fn all() -> Self {
        Promise::ALL.into_iter().collect()
    }

    /// Whether a promise is in it.
    pub fn has(self, promise: Promise) -> bool {
        self.0 & 1 << promise as u16 != 0
    }

    /// Whether there is none.
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The set with a promise, if `when`.
    #[must_use]
    pub fn with(self, promise: Promise, when: bool) -> Self {
        Self(self.0 | u16::from(when) << promise as u16)
    }

    /// The set without a promise.
    #[must_use]
    pub fn without(self, promise: Promise) -> Self {
        Self(self.0 & !(1 << promise as u16))
    }

    /// What is in both.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }

    /// What is in either.
    #[must_use]
    pub fn or(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Each of them.
    pub fn each(self) -> impl Iterator<Item = Promise> {
        Promise::ALL.into_iter().filter(move |promise| self.has(*promise))
    }
}

impl FromIterator<Promise> for Promises {
    fn from_iter<I: IntoIterator<Item = Promise>>(promises: I) -> Self {
        promises.into_iter().fold(Self::default(), |set, promise| set.with(promise, true))
    }
}

/// What a run has broken by itself, whatever the acceptance table says.
pub fn broken(outcome: &Outcome, harness: &Harness) -> Promises {
    let (troubles, forbid) = (&outcome.troubles, harness.forbid);
    let strays = |kind: StrayKind| troubles.stray_counts[kind.index()] > 0;
    let forbidden = forbid.reads_outside_map && strays(StrayKind::Read)
        || forbid.reads_ram_before_writing && troubles.early_read_count > 0
        || forbid.executes_remapped && troubles.remap.is_some();
    let by_end = match outcome.end {
        End::Branch(_) => None,
        End::Crashed(_) | End::Halted(_) => Some(Promise::Crash),
        End::Hung { .. } => Some(Promise::Hang),
        End::Limit(_) => Some(Promise::Limit),
        End::NoBranch(_) | End::Returned | End::Stopped | End::LeftHost { .. } => Some(Promise::Ends),
    };
    by_end
        .into_iter()
        .collect::<Promises>()
        .with(Promise::StrayWrites, strays(StrayKind::Write))
        .with(Promise::PortValues, strays(StrayKind::Undeclared(0)))
        .with(Promise::Forbidden, forbidden)
        .with(Promise::Latches, unbalanced(outcome, harness).is_some())
}

/// A latch that the run has not left as it must be: the port, what it holds, and what it must hold. Latches are the
/// ports that overlays follow, and those of which the branch says what it leaves. Of a run that came to no branch nothing
/// is asked.
pub fn unbalanced(outcome: &Outcome, harness: &Harness) -> Option<(usize, u16, u16)> {
    let branch = &harness.rig.branches[outcome.branch()?];
    let map = &harness.rig.map;
    let said = |port: usize| branch.leaves.iter().find(|(other, _)| *other == port).map(|(_, value)| *value);
    let followed = map.overlays().iter().map(|overlay| overlay.port);
    let latches = branch.leaves.iter().map(|(port, _)| *port).chain(followed);
    latches.into_iter().find_map(|port| {
        let must = said(port).unwrap_or(map.ports()[port].power_on);
        let holds = outcome.held[port];
        (holds != must).then_some((port, holds, must))
    })
}

/// What an end breaks of the acceptance table.
pub fn against_table(end: End, decision: &Decision, branches: &[Branch]) -> Option<Promise> {
    let (End::Branch(reached), Decision::Branch { branch: wanted, .. }) = (end, decision) else { return None };
    let worth = |branch: usize| match branches[branch].kind {
        BranchKind::FullCombination | BranchKind::Alternate => 2,
        BranchKind::Fallback => 1,
        BranchKind::Rejected => 0,
    };
    match worth(reached).cmp(&worth(*wanted)) {
        _ if reached == *wanted => None,
        std::cmp::Ordering::Greater => Some(Promise::Accepts),
        std::cmp::Ordering::Less => Some(Promise::Refuses),
        std::cmp::Ordering::Equal => Some(Promise::Branch),
    }
}

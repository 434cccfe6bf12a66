//! What must hold before the word "proved" is printed. A [`Proved`] can only be made here, and only out of refutations and
//! replays that were found; whatever is missing is a [`Doubt`], and the result is inconclusive.

use std::fmt;

use super::Domain;
use super::ending::{Close, Ending};
use super::ground::Logic;
use super::logic::{Answer, Refutation, Term};
use super::scene::Cut;
use super::unknowns::any;

/// Why nothing is proved.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Doubt {
    /// Inputs that lead to no end.
    Lost,
    /// Inputs that lead to two ends.
    Overlap,
    /// Inputs with which the exploration could not go on, at this instruction.
    Cut {
        /// The instruction.
        at: u32,
        /// Why.
        cut: Cut,
    },
    /// A limit of the harness was reached at this instruction: what the run would have done is not known.
    Limit {
        /// The instruction.
        at: u32,
    },
    /// The solver left a question open, or its answer could not be certified.
    Open(String),
    /// A witness did something else on the machine.
    Replay(String),
    /// There is nothing that anything could be proved of.
    Empty,
}

impl fmt::Display for Doubt {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Lost => formatter.write_str("some inputs lead to no end: a fault of keyway"),
            Self::Overlap => formatter.write_str("some inputs lead to two ends: a fault of keyway"),
            Self::Cut { cut, .. } => write!(formatter, "{cut}"),
            Self::Limit { .. } => formatter.write_str("the limit of the harness was reached"),
            Self::Open(why) => write!(formatter, "the solver gave up: {why}"),
            Self::Replay(what) => write!(formatter, "a witness does something else on the machine: {what}"),
            Self::Empty => formatter.write_str("there is nothing to prove anything of"),
        }
    }
}

impl fmt::Display for Cut {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Addresses(what, most) => write!(formatter, "more than {most} addresses can be {what} here"),
            Self::Targets(most) => write!(formatter, "the program can go on in more than {most} places"),
            Self::UnknownCode => formatter.write_str("an instruction is run of which the words are not known"),
            Self::UnknownControl => formatter.write_str("the status register can have too many values"),
            Self::Unsolved(why) => write!(formatter, "the solver gave up: {why}"),
            Self::Budget(what) => write!(formatter, "there are too many {what} to follow"),
            Self::Unmodelled(what) => write!(formatter, "{what} is not modelled"),
        }
    }
}

/// That something is impossible.
#[derive(Clone, Debug)]
pub struct Never(#[allow(dead_code, reason = "it is there so that it must have been found")] Refutation);

impl Never {
    /// Whether these cannot hold together: certified, or the reason for a doubt; a possibility is no doubt.
    pub fn ask(logic: &mut Logic, asked: &[Term]) -> Result<Result<Self, super::logic::Model>, Doubt> {
        match logic.solver.ask(&logic.terms, asked) {
            Answer::Impossible(refutation) => Ok(Ok(Self(refutation))),
            Answer::Possible(model) => Ok(Err(model)),
            Answer::Open(why) => Err(Doubt::Open(why)),
        }
    }
}

/// That the ends of an exploration are a partition of all inputs, and that each of them is an end.
#[derive(Clone, Debug)]
pub struct Partition {
    /// No input is lost.
    _complete: Never,
    /// No input has two ends.
    _disjoint: Never,
}

impl Partition {
    /// Gates (a), (b) and (c).
    ///
    /// # Errors
    /// Every reason for which it is none.
    pub fn check(logic: &mut Logic, endings: &[Ending]) -> Result<Self, Vec<Doubt>> {
        let mut doubts = Vec::new();
        if endings.is_empty() {
            return Err(vec![Doubt::Empty]);
        }
        let guards: Vec<Term> = endings.iter().map(Ending::guard).collect();
        let complete = complete(logic, &guards).map_err(|doubt| doubts.push(doubt)).ok();
        let disjoint = disjoint(logic, &guards).map_err(|doubt| doubts.push(doubt)).ok();
        for ending in endings {
            doubts.extend(unfinished(logic, ending));
        }
        match (complete, disjoint) {
            (Some(complete), Some(disjoint)) if doubts.is_empty() => {
                Ok(Self { _complete: complete, _disjoint: disjoint })
            }
            _ => Err(doubts),
        }
    }
}

fn complete(logic: &mut Logic, guards: &[Term]) -> Result<Never, Doubt> {
    let some = any(&mut logic.terms, guards.iter().copied());
    let none = logic.terms.not(some);
    Never::ask(logic, &[none])?.map_err(|_| Doubt::Lost)
}

/// No guard holds together with one before it.
fn disjoint(logic: &mut Logic, guards: &[Term]) -> Result<Never, Doubt> {
    let mut before = logic.terms.bit(false);
    let mut twice = Vec::new();
    for guard in guards {
        twice.push(logic.terms.and(before, *guard));
        before = logic.terms.or(before, *guard);
    }
    let twice = any(&mut logic.terms, twice);
    Never::ask(logic, &[twice])?.map_err(|_| Doubt::Overlap)
}

/// The doubt if an ending is none, and can be met.
fn unfinished(logic: &mut Logic, ending: &Ending) -> Option<Doubt> {
    let doubt = match &ending.close {
        Close::Cut(at, cut) => Doubt::Cut { at: *at, cut: cut.clone() },
        Close::Limit(at) => Doubt::Limit { at: *at },
        _ => return None,
    };
    match Never::ask(logic, &[ending.guard()]) {
        Ok(Ok(_)) => None,
        Ok(Err(_)) => Some(doubt),
        Err(open) => Some(open),
    }
}

/// That a witness was run on the machine and did what was claimed: gate (e). Made by the replayer alone.
#[derive(Clone, Debug)]
pub struct Replayed(pub(super) ());

/// Something that is proved: it cannot be made without what proves it.
#[derive(Clone, Debug)]
pub struct Proved<T>(T);

impl<T> Proved<T> {
    /// What is proved.
    pub fn get(&self) -> &T {
        &self.0
    }
}

/// A result that is proved, or not.
#[derive(Clone, Debug)]
pub enum Sealed<T> {
    /// All gates are passed.
    Proved(Proved<T>),
    /// They are not, for these reasons. What was found is there, and is no proof.
    Inconclusive(T, Vec<Doubt>),
}

impl<T> Sealed<T> {
    /// What was found, proved or not.
    pub fn found(&self) -> &T {
        match self {
            Self::Proved(proved) => proved.get(),
            Self::Inconclusive(found, _) => found,
        }
    }

    /// Why it is not proved.
    pub fn doubts(&self) -> &[Doubt] {
        match self {
            Self::Proved(_) => &[],
            Self::Inconclusive(_, doubts) => doubts,
        }
    }
}

/// The evidence of one result.
#[derive(Clone, Debug, Default)]
pub struct Evidence {
    partitions: Vec<Partition>,
    replays: Vec<Replayed>,
    doubts: Vec<Doubt>,
    /// How many explorations and witnesses there are in all.
    explorations: usize,
    witnesses: usize,
}

impl Evidence {
    /// The ends of one exploration.
    pub fn exploration(&mut self, checked: Result<Partition, Vec<Doubt>>) {
        self.explorations += 1;
        match checked {
            Ok(partition) => self.partitions.push(partition),
            Err(doubts) => doubts.into_iter().for_each(|doubt| self.doubt(doubt)),
        }
    }

    /// The replay of one witness.
    pub fn witness(&mut self, replayed: Result<Replayed, Doubt>) {
        self.witnesses += 1;
        match replayed {
            Ok(replayed) => self.replays.push(replayed),
            Err(doubt) => self.doubt(doubt),
        }
    }

    /// A reason against.
    pub fn doubt(&mut self, doubt: Doubt) {
        if !self.doubts.contains(&doubt) {
            self.doubts.push(doubt);
        }
    }

    /// The reasons against so far.
    pub fn doubts(&self) -> &[Doubt] {
        &self.doubts
    }

    /// The answer to a question about these inputs; an open one is a doubt.
    pub fn never(&mut self, logic: &mut Logic, asked: &[Term]) -> Option<Result<Never, super::logic::Model>> {
        Never::ask(logic, asked).map_err(|doubt| self.doubt(doubt)).ok()
    }

    /// The result: proved if every gate was passed.
    pub fn seal<T>(mut self, found: T) -> Sealed<T> {
        if self.explorations == 0 || self.witnesses == 0 {
            self.doubt(Doubt::Empty);
        }
        let passed = self.doubts.is_empty()
            && self.partitions.len() == self.explorations
            && self.replays.len() == self.witnesses;
        if passed { Sealed::Proved(Proved(found)) } else { Sealed::Inconclusive(found, self.doubts) }
    }
}

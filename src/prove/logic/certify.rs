//! The check of every "impossible". A [`Checker`] holds the clauses that the bits of the terms were turned into, and
//! takes a clause that the solver learnt only if it follows by reverse unit propagation: with all its literals false, unit
//! propagation ends in a conflict (Goldberg and Novikov, "Verification of Proofs of Unsatisfiability for CNF Formulas",
//! DATE 2003). It shares no code with the solver. A [`Refutation`] is made here and nowhere else.

/// Why a set of questions has no model: the places of those that suffice.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Refutation {
    core: Vec<usize>,
}

impl Refutation {
    /// The places, in order, of what suffices for it.
    pub fn core(&self) -> &[usize] {
        &self.core
    }

    /// The same with other places for what was asked.
    pub(super) fn onto(&self, place: impl Fn(usize) -> usize) -> Self {
        let mut core: Vec<usize> = self.core.iter().map(|&index| place(index)).collect();
        core.sort_unstable();
        core.dedup();
        Self { core }
    }
}

/// A claim that does not follow by reverse unit propagation.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("a learnt clause does not follow")]
pub struct NotImplied;

/// The place of a clause in [`Checker::pool`].
type Place = u32;

const NONE: Place = Place::MAX;

#[derive(Clone, Copy)]
struct Watch {
    clause: Place,
    /// Some other literal of it: if that is true, the clause need not be looked at.
    blocker: i32,
}

/// A database of clauses with unit propagation. Literals are as in the DIMACS format: a variable's number or its negative.
#[derive(Default)]
pub struct Checker {
    /// Clauses, each after its length.
    pool: Vec<i32>,
    /// By literal: the clauses to look at once it is false.
    watches: Vec<Vec<Watch>>,
    /// By literal: whether it is true.
    holds: Vec<bool>,
    /// By variable: the clause that made it true or false.
    reason: Vec<Place>,
    trail: Vec<i32>,
    propagated: usize,
    /// The clauses contradict one another.
    broken: bool,
}

impl Checker {
    /// No clauses.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes a clause as given.
    pub fn add_original(&mut self, clause: &[i32]) {
        self.reserve(clause);
        self.attach(clause);
    }

    /// Takes a clause if it follows from those before.
    pub fn add_learnt(&mut self, clause: &[i32]) -> Result<(), NotImplied> {
        self.reserve(clause);
        if self.broken {
            return Ok(());
        }
        let mark = self.trail.len();
        let follows = clause.iter().any(|&literal| !self.assume(-literal)) || self.propagate().is_some();
        self.undo(mark);
        if !follows {
            return Err(NotImplied);
        }
        self.attach(clause);
        Ok(())
    }

    /// A refutation of these literals being true together, if unit propagation finds one.
    pub fn refute(&mut self, literals: &[i32]) -> Option<Refutation> {
        self.reserve(literals);
        if self.broken {
            return Some(Refutation { core: Vec::new() });
        }
        let mark = self.trail.len();
        let core = self.assume_all(literals, mark);
        self.undo(mark);
        core.map(|core| Refutation { core })
    }

    fn assume_all(&mut self, literals: &[i32], mark: usize) -> Option<Vec<usize>> {
        for &literal in literals {
            let blame = if self.assume(literal) {
                self.propagate().map(|conflict| self.clause(conflict).to_vec())
            } else {
                Some(vec![-literal, literal])
            };
            if let Some(blame) = blame {
                return Some(self.core(&blame, literals, mark));
            }
        }
        None
    }

    /// Which of the assumptions a conflict comes from: back along the reasons.
    fn core(&self, conflict: &[i32], literals: &[i32], mark: usize) -> Vec<usize> {
        let mut needed = vec![false; self.holds.len()];
        conflict.iter().for_each(|&literal| needed[index(-literal)] = true);
        // An assumption that was false already is itself part of the core.
        let mut assumed: Vec<i32> =
            conflict.iter().map(|&literal| -literal).filter(|&literal| !self.holds[index(literal)]).collect();
        for &literal in self.trail[mark..].iter().rev() {
            if !needed[index(literal)] {
                continue;
            }
            match self.reason[literal.unsigned_abs() as usize] {
                NONE => assumed.push(literal),
                reason => self.clause(reason).iter().for_each(|&other| needed[index(-other)] = true),
            }
        }
        let mut wanted = vec![false; self.holds.len()];
        assumed.iter().for_each(|&literal| wanted[index(literal)] = true);
        // Of a literal that was asked twice, the first is enough.
        (0..literals.len()).filter(|&place| std::mem::take(&mut wanted[index(literals[place])])).collect()
    }

    fn reserve(&mut self, clause: &[i32]) {
        let most = clause.iter().map(|literal| literal.unsigned_abs() as usize).max().unwrap_or(0);
        if most >= self.reason.len() {
            self.reason.resize(most + 1, NONE);
            self.watches.resize_with(2 * (most + 1), Vec::new);
            self.holds.resize(2 * (most + 1), false);
        }
    }

    /// Makes a literal true. `false` if it is false.
    fn assume(&mut self, literal: i32) -> bool {
        if self.holds[index(-literal)] {
            return false;
        }
        if !self.holds[index(literal)] {
            self.enqueue(literal, NONE);
        }
        true
    }

    fn enqueue(&mut self, literal: i32, reason: Place) {
        self.holds[index(literal)] = true;
        self.reason[literal.unsigned_abs() as usize] = reason;
        self.trail.push(literal);
    }

    fn undo(&mut self, mark: usize) {
        for literal in self.trail.drain(mark..) {
            self.holds[index(literal)] = false;
        }
        self.propagated = mark;
    }

    fn clause(&self, place: Place) -> &[i32] {
        let start = place as usize + 1;
        &self.pool[start..start + self.pool[start - 1] as usize]
    }

    /// Adds a clause for good. Nothing is assumed at this time, so what is true or false is so for ever.
    fn attach(&mut self, clause: &[i32]) {
        let place = self.pool.len() as Place;
        self.pool.push(clause.len() as i32);
        let mut open: Vec<i32> = clause.to_vec();
        open.sort_unstable();
        open.dedup();
        self.pool[place as usize] = open.len() as i32;
        open.sort_by_key(|&literal| self.holds[index(-literal)]);
        self.pool.extend(&open);
        let free = open.iter().take_while(|&&literal| !self.holds[index(-literal)]).count();
        match (open.as_slice(), free) {
            (_, 0) => self.broken = true,
            (&[first, ..], 1) => self.broken |= self.assume(first) && self.propagate().is_some(),
            (&[first, second, ..], _) => {
                self.watches[index(first)].push(Watch { clause: place, blocker: second });
                self.watches[index(second)].push(Watch { clause: place, blocker: first });
            }
            _ => {}
        }
    }

    /// Follows all units. The clause that is false, if it comes to that.
    fn propagate(&mut self) -> Option<Place> {
        while let Some(&literal) = self.trail.get(self.propagated) {
            self.propagated += 1;
            let mut watches = std::mem::take(&mut self.watches[index(-literal)]);
            let conflict = self.visit(-literal, &mut watches);
            debug_assert!(self.watches[index(-literal)].is_empty(), "a clause moved to a false literal");
            self.watches[index(-literal)] = watches;
            if conflict.is_some() {
                return conflict;
            }
        }
        None
    }

    /// Goes through the clauses that watch a literal that became false; keeps those that go on watching it.
    fn visit(&mut self, fallen: i32, watches: &mut Vec<Watch>) -> Option<Place> {
        let (mut kept, mut conflict) = (0, None);
        for at in 0..watches.len() {
            let watch = watches[at];
            if conflict.is_none() && !self.holds[index(watch.blocker)] {
                match self.settle(fallen, watch.clause) {
                    Settled::Moved => continue,
                    Settled::Kept => {}
                    Settled::Conflict => conflict = Some(watch.clause),
                }
            }
            watches[kept] = watch;
            kept += 1;
        }
        watches.truncate(kept);
        conflict
    }

    fn settle(&mut self, fallen: i32, place: Place) -> Settled {
        let start = place as usize + 1;
        let end = start + self.pool[start - 1] as usize;
        if self.pool[start] == fallen {
            self.pool.swap(start, start + 1);
        }
        let first = self.pool[start];
        if self.holds[index(first)] {
            return Settled::Kept;
        }
        for at in start + 2..end {
            let literal = self.pool[at];
            if !self.holds[index(-literal)] {
                self.pool.swap(start + 1, at);
                self.watches[index(literal)].push(Watch { clause: place, blocker: first });
                return Settled::Moved;
            }
        }
        if self.holds[index(-first)] {
            return Settled::Conflict;
        }
        self.enqueue(first, place);
        Settled::Kept
    }
}

enum Settled {
    Moved,
    Kept,
    Conflict,
}

/// The place of a literal in the tables.
fn index(literal: i32) -> usize {
    2 * literal.unsigned_abs() as usize + usize::from(literal < 0)
}

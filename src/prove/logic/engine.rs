//! One SAT solver and the check of what it says. The solver's clauses, given and learnt, are written down in their order;
//! the checker goes through them when something has to be refuted, and not before.

use batsat::{Callbacks, ClauseKind, Lit, Solver as Sat, SolverInterface, SolverOpts, Var, lbool};

use super::blast::Blaster;
use super::certify::{Checker, Refutation};
use super::gates::Clauses;
use super::hash::FastMap;
use super::model::Unknown;
use super::term::{Term, Terms};

/// What is written down of a question's conflicts.
#[derive(Default)]
struct Log {
    /// Clauses that were not yet checked: their kind, their length, their literals.
    clauses: Vec<i32>,
    /// Where the last one begins.
    last: usize,
    conflicts: u64,
    budget: u64,
}

const GIVEN: i32 = 0;
const LEARNT: i32 = 1;

impl Log {
    fn write(&mut self, kind: i32, literals: impl ExactSizeIterator<Item = i32>) {
        self.last = self.clauses.len();
        self.clauses.extend([kind, literals.len() as i32]);
        self.clauses.extend(literals);
    }
}

impl Callbacks for Log {
    fn on_new_clause(&mut self, clause: &[Lit], _: ClauseKind) {
        self.conflicts += 1;
        self.write(LEARNT, clause.iter().map(|&literal| number_of(literal)));
    }

    fn stop(&self) -> bool {
        self.conflicts >= self.budget
    }
}

impl Clauses for Sat<Log> {
    fn variable(&mut self) -> i32 {
        self.new_var_default().idx() as i32 + 1
    }

    fn clause(&mut self, literals: &[i32]) {
        self.cb_mut().write(GIVEN, literals.iter().copied());
        let mut clause: Vec<Lit> = literals.iter().map(|&literal| literal_of(literal)).collect();
        self.add_clause_reuse(&mut clause);
    }
}

/// A solver with its checker.
pub(super) struct Engine {
    blaster: Blaster<Sat<Log>>,
    checker: Checker,
    /// A learnt clause was refused: nothing that comes after can be certified.
    refused: bool,
    /// How many variables there may be before a new engine is better.
    bound: u32,
    fresh: bool,
}

/// What an engine says.
pub(super) enum Said {
    /// They can all be set; [`Engine::value`] has the unknowns.
    Possible,
    /// They cannot. The places of terms are among those that were asked.
    Impossible(Refutation),
    /// Neither is known.
    Open(String),
}

impl Engine {
    /// An engine that is good for about so many variables.
    pub(super) fn new(bound: u32) -> Self {
        Self {
            blaster: Blaster::new(Sat::new(SolverOpts::default(), Log::default())),
            checker: Checker::new(),
            refused: false,
            bound,
            fresh: true,
        }
    }

    /// Whether the next question had better go to a new engine: the SAT solver gives every variable a value at every
    /// question, whatever the question is about.
    pub(super) fn is_used_up(&self) -> bool {
        let sat = &self.blaster.gates.clauses;
        self.refused || !sat.is_ok() || sat.num_vars() > self.bound
    }

    /// Can these one-bit terms be set together?
    pub(super) fn ask(&mut self, terms: &Terms, all: &[Term], budget: u64) -> Said {
        let literals: Vec<i32> = all.iter().map(|&term| self.blaster.literal(terms, term)).collect();
        let sat = &mut self.blaster.gates.clauses;
        if std::mem::take(&mut self.fresh) {
            // A first question that is large in itself leaves room for as much again.
            self.bound = self.bound.max(2 * sat.num_vars());
        }
        let log = sat.cb_mut();
        (log.conflicts, log.budget) = (0, budget);
        let assumptions: Vec<Lit> = literals.iter().map(|&literal| literal_of(literal)).collect();
        let result = sat.solve_limited(&assumptions);
        if result == lbool::TRUE {
            return Said::Possible;
        }
        if result != lbool::FALSE {
            return Said::Open(format!("not decided after {budget} conflicts"));
        }
        let core: Vec<i32> = sat.unsat_core().iter().map(|&literal| -number_of(literal)).collect();
        if !core.is_empty() {
            // The last clause that was learnt says no more than what is to be refuted.
            let log = sat.cb_mut();
            log.clauses.truncate(log.last);
        }
        self.certify(&core, &literals)
    }

    fn certify(&mut self, core: &[i32], literals: &[i32]) -> Said {
        if !self.check() {
            return Said::Open("a learnt clause does not follow from those before".to_owned());
        }
        match self.checker.refute(core) {
            Some(refutation) => {
                let mut places: FastMap<i32, usize> = FastMap::default();
                for (place, &literal) in literals.iter().enumerate().rev() {
                    places.insert(literal, place);
                }
                if !core.iter().all(|literal| places.contains_key(literal)) {
                    return Said::Open("the solver's core is not what was asked".to_owned());
                }
                Said::Impossible(refutation.onto(|index| places[&core[index]]))
            }
            None => Said::Open("the refutation could not be certified".to_owned()),
        }
    }

    /// Hands everything that was written down to the checker.
    fn check(&mut self) -> bool {
        let log = self.blaster.gates.clauses.cb_mut();
        let clauses = std::mem::take(&mut log.clauses);
        log.last = 0;
        let mut at = 0;
        while at < clauses.len() && !self.refused {
            let end = at + 2 + clauses[at + 1] as usize;
            let literals = &clauses[at + 2..end];
            match clauses[at] {
                GIVEN => self.checker.add_original(literals),
                _ => self.refused = self.checker.add_learnt(literals).is_err(),
            }
            at = end;
        }
        !self.refused
    }

    /// The number of an unknown in the model of the last question, if it occurred in any.
    pub(super) fn value(&self, unknown: Unknown) -> u64 {
        let sat = &self.blaster.gates.clauses;
        let set = |&literal: &i32| sat.value_lit(literal_of(literal)) == lbool::TRUE;
        self.blaster.unknown(unknown).iter().rev().fold(0, |value, bit| value << 1 | u64::from(set(bit)))
    }
}

fn literal_of(literal: i32) -> Lit {
    Lit::new(Var::unsafe_from_idx(literal.unsigned_abs() - 1), literal > 0)
}

fn number_of(literal: Lit) -> i32 {
    let number = literal.var().idx() as i32 + 1;
    if literal.sign() { number } else { -number }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::prove::Domain;

    /// A byte that is below 3 and above 4.
    fn impossible(terms: &mut Terms) -> [Term; 2] {
        let (byte, three, four) = (terms.unknown(Unknown(0), 8), terms.number(8, 3), terms.number(8, 4));
        [terms.less(byte, three), terms.less(four, byte)]
    }

    #[test]
    fn a_learnt_clause_that_does_not_follow_leaves_the_answer_open() {
        let mut terms = Terms::new();
        let all = impossible(&mut terms);
        assert!(matches!(Engine::new(1000).ask(&terms, &all, 1000), Said::Impossible(_)));
        let mut engine = Engine::new(1000);
        let literal = engine.blaster.literal(&terms, all[0]);
        // As a solver with a fault would: the byte is simply never below 3.
        engine.blaster.gates.clauses.cb_mut().write(LEARNT, [-literal].into_iter());
        assert!(matches!(engine.ask(&terms, &all, 1000), Said::Open(_)));
        assert!(engine.is_used_up());
    }

    #[test]
    fn a_core_that_is_not_impossible_leaves_the_answer_open() {
        let mut terms = Terms::new();
        let all = impossible(&mut terms);
        let mut engine = Engine::new(1000);
        assert!(matches!(engine.ask(&terms, &all, 1000), Said::Impossible(_)));
        let literals = all.map(|term| engine.blaster.literal(&terms, term));
        assert!(matches!(engine.certify(&literals[..1], &literals), Said::Open(_)));
        assert!(matches!(engine.certify(&literals, &literals[1..]), Said::Open(_)));
        assert!(matches!(engine.certify(&literals, &literals), Said::Impossible(_)));
    }
}

//! Questions about terms. A [`Solver`] first evaluates what is new under the last model; if that does not do, it asks a
//! SAT solver, but only about the conjuncts that hang together with those that failed: the last model does for the rest.
//! So the work of a question is that of its difference to the one before.

use std::collections::{BTreeMap, VecDeque};

use super::certify::Refutation;
use super::engine::{Engine, Said};
use super::evaluate::Memo;
use super::hash::FastMap;
use super::model::{Model, Unknown};
use super::path::Path;
use super::term::{Term, Terms};

/// Conflicts that a question may take. At some hundred thousand a second that is under a minute.
const BUDGET: u64 = 1_000_000;
/// Variables of the engine for questions of ordinary size. Solving with many more is slower than starting again.
const LARGE: u32 = 200_000;
/// Variables of the engine for small questions.
const SMALL: u32 = 1_000;
/// Models that are tried again.
const EARLIER: usize = 4;
/// Terms of a small question.
const FEW: usize = 100;
/// Impossible questions that are remembered.
const REMEMBERED: usize = 1 << 16;

/// What is known about a question.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Answer {
    /// Under this model every term is 1.
    Possible(Model),
    /// There is no such model, which was checked.
    Impossible(Refutation),
    /// Neither was found, because of this.
    Open(String),
}

/// A model with what terms are under it.
#[derive(Default)]
struct Found {
    model: Model,
    memo: Memo,
}

impl Found {
    fn holds(&mut self, terms: &Terms, term: Term) -> bool {
        terms.evaluate_with(term, &self.model, &mut self.memo) == 1
    }
}

/// Answers questions about one pool of terms, one after the other.
pub struct Solver {
    budget: u64,
    /// The pool; another one makes everything new.
    pool: Option<u64>,
    small: Engine,
    large: Engine,
    path: Path,
    /// Every conjunct of the path up to `holding` is 1 under it.
    last: Found,
    holding: usize,
    /// Models before that, the latest first. A walk over two branches goes from one to the other and back.
    earlier: VecDeque<Found>,
    impossible: FastMap<Box<[Term]>, Refutation>,
}

impl Default for Solver {
    fn default() -> Self {
        Self::new()
    }
}

impl Solver {
    /// A solver that has not been asked anything.
    pub fn new() -> Self {
        Self {
            budget: BUDGET,
            pool: None,
            small: Engine::new(SMALL),
            large: Engine::new(LARGE),
            path: Path::default(),
            last: Found::default(),
            holding: 0,
            earlier: VecDeque::new(),
            impossible: FastMap::default(),
        }
    }

    /// How many conflicts a question may take; after that, its answer is open.
    pub fn budget(mut self, conflicts: u64) -> Self {
        self.budget = conflicts;
        self
    }

    /// Can all these one-bit terms be 1 together?
    pub fn ask(&mut self, terms: &Terms, all: &[Term]) -> Answer {
        if self.pool != Some(terms.identity()) {
            *self = Self { pool: Some(terms.identity()), ..Self::new().budget(self.budget) };
        }
        if all.iter().any(|&term| terms.width_of(term) != 1) {
            return Answer::Open("a question has one bit".to_owned());
        }
        let key = key(all);
        let answer = match self.impossible.get(&key) {
            Some(known) => Answer::Impossible(known.clone()),
            None => self.decide(terms, &key),
        };
        match answer {
            Answer::Impossible(refutation) => {
                let mut places: FastMap<Term, usize> = FastMap::default();
                for (place, &term) in all.iter().enumerate().rev() {
                    places.insert(term, place);
                }
                Answer::Impossible(refutation.onto(|index| places[&key[index]]))
            }
            other => other,
        }
    }

    fn decide(&mut self, terms: &Terms, key: &[Term]) -> Answer {
        // The longest first: it is what this question most likely has in common with the last one.
        let mut order = key.to_vec();
        order.sort_by_key(|&term| std::cmp::Reverse(terms.conjuncts(term)));
        self.holding = self.holding.min(self.path.go(terms, &order));
        let failing = self.failing(terms);
        if failing.is_empty() || self.go_back(terms, key, &failing) {
            self.holding = self.path.conjuncts().len();
            return Answer::Possible(self.last.model.clone());
        }
        let (places, unknowns) = self.path.around(terms, &failing);
        let asked: Vec<Term> = places.iter().map(|&place| self.path.conjuncts()[place]).collect();
        let few = terms.below(&asked, FEW, |_| false).len() <= FEW;
        let (engine, bound) = if few { (&mut self.small, SMALL) } else { (&mut self.large, LARGE) };
        if engine.is_used_up() {
            *engine = Engine::new(bound);
        }
        match engine.ask(terms, &asked, self.budget) {
            Said::Open(why) => Answer::Open(why),
            Said::Possible => {
                let values = unknowns.iter().map(|&unknown| (unknown, engine.value(unknown))).collect();
                self.accept(terms, &asked, values)
            }
            Said::Impossible(refutation) => {
                let path = &self.path;
                let refutation = refutation.onto(|index| {
                    let owner = order[path.owner(places[index])];
                    key.partition_point(|&term| term < owner)
                });
                if self.impossible.len() >= REMEMBERED {
                    self.impossible.clear();
                }
                self.impossible.insert(key.into(), refutation.clone());
                Answer::Impossible(refutation)
            }
        }
    }

    /// The conjuncts that are not 1 under the last model.
    fn failing(&mut self, terms: &Terms) -> Vec<usize> {
        let conjuncts = self.path.conjuncts();
        (self.holding..conjuncts.len()).filter(|&place| !self.last.holds(terms, conjuncts[place])).collect()
    }

    /// Goes back to an earlier model if there is one under which everything is 1.
    fn go_back(&mut self, terms: &Terms, key: &[Term], failing: &[usize]) -> bool {
        let conjuncts = self.path.conjuncts();
        let good = self.earlier.iter_mut().position(|found| {
            let mut first = failing.iter().map(|&place| conjuncts[place]);
            first.all(|term| found.holds(terms, term)) && key.iter().all(|&term| found.holds(terms, term))
        });
        let Some(found) = good.and_then(|place| self.earlier.remove(place)) else { return false };
        self.replace(found);
        true
    }

    fn replace(&mut self, found: Found) {
        self.earlier.push_front(std::mem::replace(&mut self.last, found));
        self.earlier.truncate(EARLIER);
    }

    /// Takes over the values of some unknowns, if what they were wanted for is 1 then. Nothing else that holds has any of
    /// these unknowns in it.
    fn accept(&mut self, terms: &Terms, asked: &[Term], values: BTreeMap<Unknown, u64>) -> Answer {
        let mut memo = Memo::default();
        let found: Model = values.iter().map(|(&unknown, &value)| (unknown, value)).collect();
        if asked.iter().any(|&term| terms.evaluate_with(term, &found, &mut memo) != 1) {
            return Answer::Open("the model is wrong".to_owned());
        }
        let mut model = self.last.model.clone();
        for (unknown, value) in values {
            model.set(unknown, value);
        }
        self.replace(Found { model: model.clone(), memo: Memo::default() });
        self.holding = self.path.conjuncts().len();
        Answer::Possible(model)
    }
}

/// A question as a set.
fn key(all: &[Term]) -> Box<[Term]> {
    let mut key = all.to_vec();
    key.sort_unstable();
    key.dedup();
    key.into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::prove::Domain;

    #[test]
    fn a_wrong_model_is_never_given() {
        let mut terms = Terms::new();
        let (byte, three) = (terms.unknown(Unknown(7), 8), terms.number(8, 3));
        let equal = terms.equal(byte, three);
        let mut solver = Solver::new();
        let wrong = solver.accept(&terms, &[equal], BTreeMap::from([(Unknown(7), 4)]));
        assert_eq!(wrong, Answer::Open("the model is wrong".to_owned()));
        let right = solver.accept(&terms, &[equal], BTreeMap::from([(Unknown(7), 3)]));
        assert!(matches!(right, Answer::Possible(model) if model.get(Unknown(7)) == 3));
    }

    #[test]
    fn another_pool_makes_everything_new() {
        let mut solver = Solver::new();
        for number in [3, 5] {
            let mut terms = Terms::new();
            let (byte, number) = (terms.unknown(Unknown(0), 8), terms.number(8, number));
            let three = terms.number(8, 3);
            let (equal, three) = (terms.equal(byte, number), terms.equal(byte, three));
            let not = terms.not(three);
            let possible = matches!(solver.ask(&terms, &[equal, not]), Answer::Possible(_));
            assert_eq!(possible, terms.known_of(number) == Some(5));
        }
    }

    #[test]
    fn models_and_engines_change_under_many_questions_and_the_answers_hold() {
        let mut terms = Terms::new();
        let mut solver = Solver::new();
        let (mut guards, mut products) = (vec![terms.bit(true)], Vec::new());
        for index in 0..400 {
            let byte = terms.unknown(Unknown(index), 8);
            let (seven, number) = (terms.number(8, 7), terms.number(8, u64::from(index)));
            let product = terms.mul(byte, seven);
            let equal = terms.equal(product, number);
            let (guard, not) = (guards[index as usize / 2], terms.not(equal));
            guards.push(if index % 3 == 0 { terms.and(guard, not) } else { terms.and(guard, equal) });
            products.push((equal, not));
        }
        for (place, &guard) in guards.iter().enumerate() {
            let Answer::Possible(model) = solver.ask(&terms, &[guard]) else { panic!("guard {place}") };
            assert_eq!(terms.evaluate(guard, &model), 1);
            let (equal, not) = products[place.saturating_sub(1)];
            let last = if place % 3 == 1 { equal } else { not };
            let both = solver.ask(&terms, &[last, guard]);
            assert_eq!(matches!(both, Answer::Impossible(_)), place > 0, "guard {place}");
        }
    }
}

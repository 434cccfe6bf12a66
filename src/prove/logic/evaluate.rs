//! Walks over terms: evaluating, which unknowns occur, putting numbers for unknowns. A term may be a hundred thousand
//! operations deep, so every walk has a stack of its own.

use std::collections::{BTreeMap, BTreeSet};

use super::hash::{FastMap, FastSet};
use super::meaning::{meaning, ones};
use super::model::{Model, Unknown};
use super::term::{Term, Terms};
use super::view::View;

/// Values of terms under one model.
pub(super) type Memo = FastMap<Term, u64>;

impl Terms {
    /// The number that a term is under a model.
    pub fn evaluate(&self, term: Term, model: &Model) -> u64 {
        self.evaluate_with(term, model, &mut Memo::default())
    }

    /// The numbers that terms are under a model. What they share is evaluated once.
    pub fn evaluate_all(&self, terms: &[Term], model: &Model) -> Vec<u64> {
        let mut memo = Memo::default();
        terms.iter().map(|&term| self.evaluate_with(term, model, &mut memo)).collect()
    }

    /// The same, with what was evaluated under this very model before.
    pub(super) fn evaluate_with(&self, term: Term, model: &Model, memo: &mut Memo) -> u64 {
        if let Some(&value) = memo.get(&term) {
            return value;
        }
        let mut open = vec![term];
        while let Some(&top) = open.last() {
            let view = self.view(top);
            let mut operands = [0; 3];
            let mut ready = true;
            for (place, operand) in view.operands().enumerate() {
                match memo.get(&operand) {
                    Some(&value) => operands[place] = value,
                    None => {
                        ready = false;
                        open.push(operand);
                    }
                }
            }
            if ready {
                memo.insert(top, self.value_of(view, top, operands, model));
                open.pop();
            }
        }
        memo[&term]
    }

    fn value_of(&self, view: View, term: Term, operands: [u64; 3], model: &Model) -> u64 {
        let width = self.width_of(term);
        match view {
            View::Unknown(unknown) => model.get(unknown) & ones(width),
            View::Join(_, low) => meaning(view, width, operands, self.width_of(low)),
            _ => meaning(view, width, operands, width),
        }
    }

    /// These terms and all that they are made of, operands first.
    pub fn topological(&self, roots: &[Term]) -> Vec<Term> {
        self.below(roots, usize::MAX, |_| false)
    }

    /// The bits of a term.
    pub fn bits_of(&self, term: Term) -> u32 {
        self.width_of(term)
    }

    /// The unknowns that occur in a term.
    pub fn unknowns(&self, term: Term) -> BTreeSet<Unknown> {
        let all = self.below(&[term], usize::MAX, |_| false).into_iter();
        all.filter_map(|term| match self.view(term) {
            View::Unknown(unknown) => Some(unknown),
            _ => None,
        })
        .collect()
    }

    /// The term with numbers in place of unknowns, simplified again.
    pub fn substitute(&mut self, term: Term, by: &BTreeMap<Unknown, u64>) -> Term {
        self.replace(term, |terms, unknown, old| {
            by.get(&unknown).map_or(old, |&value| terms.make_number(terms.width_of(old), value))
        })
    }

    /// The term with other terms in place of unknowns, each as wide, simplified again.
    pub fn rename(&mut self, term: Term, by: &BTreeMap<Unknown, Term>) -> Term {
        self.replace(term, |_, unknown, old| by.get(&unknown).copied().unwrap_or(old))
    }

    fn replace(&mut self, term: Term, mut by: impl FnMut(&mut Self, Unknown, Term) -> Term) -> Term {
        let mut new: FastMap<Term, Term> = FastMap::default();
        for old in self.below(&[term], usize::MAX, |_| false) {
            let view = self.view(old);
            let result = match view {
                View::Unknown(unknown) => by(self, unknown, old),
                _ if view.operands().all(|operand| new[&operand] == operand) => old,
                _ => self.again(old, |operand| new[&operand]),
            };
            new.insert(old, result);
        }
        new[&term]
    }

    /// These terms and all that they are made of, operands first; nothing where `known` holds, and not below it. Ends
    /// early when there are more than `most`.
    pub(super) fn below(&self, roots: &[Term], most: usize, known: impl Fn(Term) -> bool) -> Vec<Term> {
        let mut seen = FastSet::default();
        let mut found = Vec::new();
        let mut open: Vec<Term> = roots.to_vec();
        while let Some(term) = open.pop() {
            if known(term) || !seen.insert(term) {
                continue;
            }
            found.push(term);
            if found.len() > most {
                break;
            }
            open.extend(self.view(term).operands());
        }
        found.sort_unstable();
        found
    }
}

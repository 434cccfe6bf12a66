//! What is asked, taken apart into one-bit terms that must all be set. The next question is mostly the last one with a
//! term more or less, so a [`Path`] keeps what the two begin with and looks only at what is new. It also knows which
//! terms share unknowns: only those can stand in each other's way.

use super::hash::{FastMap, FastSet};
use super::model::Unknown;
use super::term::{Term, Terms};
use super::view::View;

/// The conjuncts of a question.
#[derive(Default)]
pub(super) struct Path {
    /// The conjuncts, in the order in which they came.
    conjuncts: Vec<Term>,
    /// For each conjunct, for those that were asked for: its unknowns.
    unknowns: Vec<Vec<Unknown>>,
    /// Which conjuncts an unknown occurs in, of those in `unknowns`.
    occurs: FastMap<Unknown, Vec<usize>>,
    /// Terms that have been taken apart, to do each once.
    taken: FastSet<Term>,
    /// The same in order.
    order: Vec<Term>,
    /// Terms that are the conjunction of everything so far, with the lengths of `conjuncts` and `order` then.
    marks: Vec<(Term, usize, usize)>,
    mark_of: FastMap<Term, usize>,
    /// Where the conjuncts of each asked term end.
    ends: Vec<usize>,
}

impl Path {
    /// Goes over to another question. Gives how many of the conjuncts, from the first on, are still the same.
    pub(super) fn go(&mut self, terms: &Terms, all: &[Term]) -> usize {
        self.ends.clear();
        let Some((&first, others)) = all.split_first() else {
            self.cut(0);
            return 0;
        };
        let kept = self.chain(terms, first);
        self.ends.push(self.conjuncts.len());
        for &other in others {
            self.push(terms, other);
            self.ends.push(self.conjuncts.len());
        }
        kept
    }

    /// The conjuncts.
    pub(super) fn conjuncts(&self) -> &[Term] {
        &self.conjuncts
    }

    /// Which of the asked terms a conjunct is of.
    pub(super) fn owner(&self, conjunct: usize) -> usize {
        self.ends.partition_point(|&end| end <= conjunct)
    }

    /// Goes down a chain of conjunctions along the longer side until it comes to one that it has been at, and up again.
    fn chain(&mut self, terms: &Terms, first: Term) -> usize {
        let mut climb = Vec::new();
        let mut at = first;
        let base = loop {
            if let Some(&mark) = self.mark_of.get(&at) {
                break mark + 1;
            }
            let View::And(left, right) = terms.view(at) else {
                climb.push((at, at));
                break 0;
            };
            let (long, short) =
                if terms.conjuncts(left) >= terms.conjuncts(right) { (left, right) } else { (right, left) };
            climb.push((at, short));
            at = long;
        };
        self.cut(base);
        let kept = self.conjuncts.len();
        for (whole, new) in climb.into_iter().rev() {
            self.push(terms, new);
            self.mark_of.insert(whole, self.marks.len());
            self.marks.push((whole, self.conjuncts.len(), self.order.len()));
        }
        kept
    }

    /// Forgets everything past the first `marks` marks.
    fn cut(&mut self, marks: usize) {
        for (term, ..) in self.marks.drain(marks..) {
            self.mark_of.remove(&term);
        }
        let (conjuncts, order) = self.marks.last().map_or((0, 0), |&(_, conjuncts, order)| (conjuncts, order));
        for term in self.order.drain(order..) {
            self.taken.remove(&term);
        }
        self.conjuncts.truncate(conjuncts);
        while self.unknowns.len() > conjuncts {
            for unknown in self.unknowns.pop().unwrap_or_default() {
                if let Some(places) = self.occurs.get_mut(&unknown) {
                    places.pop();
                }
            }
        }
    }

    /// Takes a term apart and adds what is new of it.
    fn push(&mut self, terms: &Terms, term: Term) {
        let mut open = vec![term];
        while let Some(term) = open.pop() {
            if !self.taken.insert(term) {
                continue;
            }
            self.order.push(term);
            match terms.view(term) {
                View::And(left, right) if terms.width_of(term) == 1 => open.extend([right, left]),
                _ => self.conjuncts.push(term),
            }
        }
    }

    /// These conjuncts and all that hang together with them by way of unknowns, in order; and the unknowns.
    pub(super) fn around(&mut self, terms: &Terms, from: &[usize]) -> (Vec<usize>, Vec<Unknown>) {
        for place in self.unknowns.len()..self.conjuncts.len() {
            let unknowns: Vec<Unknown> = terms.unknowns(self.conjuncts[place]).into_iter().collect();
            for &unknown in &unknowns {
                self.occurs.entry(unknown).or_default().push(place);
            }
            self.unknowns.push(unknowns);
        }
        let mut found: FastSet<usize> = from.iter().copied().collect();
        let mut reached = FastSet::default();
        let mut open = from.to_vec();
        let (mut places, mut unknowns) = (Vec::new(), Vec::new());
        while let Some(place) = open.pop() {
            places.push(place);
            for &unknown in &self.unknowns[place] {
                if reached.insert(unknown) {
                    unknowns.push(unknown);
                    open.extend(self.occurs[&unknown].iter().filter(|&&place| found.insert(place)));
                }
            }
        }
        places.sort_unstable();
        unknowns.sort_unstable();
        (places, unknowns)
    }
}

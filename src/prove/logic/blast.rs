//! Terms as bits: each bit of a term is a literal. A term is done once, after its operands.

use super::gates::{Clauses, FALSE, Gates, TRUE};
use super::hash::FastMap;
use super::model::Unknown;
use super::term::{Term, Terms};
use super::view::View;

/// Bits, the lowest first.
pub(super) type Bits = Vec<i32>;

/// The bits of the terms that were needed so far.
pub(super) struct Blaster<C> {
    /// The gates between them.
    pub(super) gates: Gates<C>,
    bits: FastMap<Term, Bits>,
    unknowns: FastMap<Unknown, Bits>,
    /// Quotient and remainder of what was divided.
    pub(super) divided: FastMap<(Term, Term), (Bits, Bits)>,
}

impl<C: Clauses> Blaster<C> {
    /// No terms.
    pub(super) fn new(clauses: C) -> Self {
        Self {
            gates: Gates::new(clauses),
            bits: FastMap::default(),
            unknowns: FastMap::default(),
            divided: FastMap::default(),
        }
    }

    /// The literal of a one-bit term.
    pub(super) fn literal(&mut self, terms: &Terms, term: Term) -> i32 {
        if !self.bits.contains_key(&term) {
            for needed in terms.below(&[term], usize::MAX, |term| self.bits.contains_key(&term)) {
                let bits = self.blast(terms, needed);
                self.bits.insert(needed, bits);
            }
        }
        self.bits[&term][0]
    }

    /// The literals of an unknown that occurred.
    pub(super) fn unknown(&self, unknown: Unknown) -> &[i32] {
        self.unknowns.get(&unknown).map_or(&[], Vec::as_slice)
    }

    fn blast(&mut self, terms: &Terms, term: Term) -> Bits {
        let width = terms.width_of(term) as usize;
        let bits = |of: Term| self.bits[&of].clone();
        match terms.view(term) {
            View::Number(number) => (0..width).map(|at| constant(number >> at & 1 == 1)).collect(),
            View::Unknown(unknown) => {
                let bits: Bits = (0..width).map(|_| self.gates.clauses.variable()).collect();
                self.unknowns.insert(unknown, bits.clone());
                bits
            }
            View::Not(of) => bits(of).iter().map(|&bit| -bit).collect(),
            View::And(left, right) => self.each(left, right, Gates::and),
            View::Or(left, right) => self.each(left, right, Gates::or),
            View::Xor(left, right) => self.each(left, right, Gates::xor),
            View::Add(left, right) => self.gates.sum(&bits(left), &bits(right), FALSE).0,
            View::Sub(left, right) => self.gates.difference(&bits(left), &bits(right)).0,
            View::Mul(left, right) => self.gates.product(&bits(left), &bits(right)),
            View::Quotient(left, right) => self.divide(left, right).0,
            View::Remainder(left, right) => self.divide(left, right).1,
            View::ShiftLeft(value, by) => self.gates.shift_left(&bits(value), &bits(by)),
            View::ShiftRight(value, by) => self.gates.shift_right(&bits(value), &bits(by), FALSE),
            View::ShiftRightSigned(value, by) => {
                let value = bits(value);
                self.gates.shift_right(&value, &bits(by), value[width - 1])
            }
            View::Equal(left, right) => {
                let differ = self.each(left, right, Gates::xor);
                vec![-differ.into_iter().fold(FALSE, |any, bit| self.gates.or(any, bit))]
            }
            View::Less(left, right) => vec![-self.gates.difference(&bits(left), &bits(right)).1],
            View::Either(condition, then, other) => {
                let condition = bits(condition)[0];
                self.each(then, other, |gates, then, other| gates.choice(condition, then, other))
            }
            View::Part(of, low) => bits(of)[low as usize..low as usize + width].to_vec(),
            View::Join(high, low) => [bits(low), bits(high)].concat(),
        }
    }

    fn each(&mut self, left: Term, right: Term, gate: impl Fn(&mut Gates<C>, i32, i32) -> i32) -> Bits {
        let pairs = self.bits[&left].iter().zip(&self.bits[&right]);
        pairs.map(|(&left, &right)| gate(&mut self.gates, left, right)).collect()
    }

    fn divide(&mut self, left: Term, right: Term) -> (Bits, Bits) {
        if let Some(done) = self.divided.get(&(left, right)) {
            return done.clone();
        }
        let done = self.gates.divided(&self.bits[&left], &self.bits[&right]);
        self.divided.insert((left, right), done.clone());
        done
    }
}

/// The literal of a constant.
pub(super) fn constant(set: bool) -> i32 {
    if set { TRUE } else { FALSE }
}

//! Terms laid out in a row, to be evaluated many times with other numbers.

use std::collections::BTreeMap;

use super::hash::FastMap;
use super::meaning::meaning;
use super::model::{Model, Unknown};
use super::term::{Term, Terms};
use super::view::View;

/// One operation of a tape.
#[derive(Clone, Copy, Debug)]
struct Op {
    view: View,
    width: u32,
    last_width: u32,
    operands: [u32; 3],
}

/// Terms in the order in which they can be evaluated.
#[derive(Clone, Debug)]
pub struct Tape {
    ops: Vec<Op>,
    values: Vec<u64>,
    roots: Vec<u32>,
    inputs: BTreeMap<Unknown, u32>,
}

impl Terms {
    /// Lays terms out. Every unknown is 0 at first.
    pub fn tape(&self, terms: &[Term]) -> Tape {
        let order = self.below(terms, usize::MAX, |_| false);
        let mut places: FastMap<Term, u32> = FastMap::default();
        let mut tape =
            Tape { ops: Vec::new(), values: vec![0; order.len()], roots: Vec::new(), inputs: BTreeMap::new() };
        for (place, term) in (0u32..).zip(order) {
            let view = self.view(term);
            let mut operands = [0; 3];
            let mut last_width = self.width_of(term);
            for (slot, operand) in operands.iter_mut().zip(view.operands()) {
                *slot = places[&operand];
            }
            match view {
                View::Unknown(unknown) => {
                    tape.inputs.insert(unknown, place);
                }
                View::Join(_, low) => last_width = self.width_of(low),
                _ => {}
            }
            tape.ops.push(Op { view, width: self.width_of(term), last_width, operands });
            places.insert(term, place);
        }
        tape.roots = terms.iter().map(|term| places[term]).collect();
        tape
    }
}

impl Tape {
    /// The unknowns that occur, in order.
    pub fn unknowns(&self) -> impl Iterator<Item = Unknown> + '_ {
        self.inputs.keys().copied()
    }

    /// Gives an unknown a number for the runs to come.
    pub fn set(&mut self, unknown: Unknown, value: u64) {
        if let Some(place) = self.inputs.get(&unknown) {
            self.values[*place as usize] = value;
        }
    }

    /// Gives every unknown the number of a model.
    pub fn load(&mut self, model: &Model) {
        for (unknown, place) in &self.inputs {
            self.values[*place as usize] = model.get(*unknown);
        }
    }

    /// Evaluates everything.
    pub fn run(&mut self) {
        for (place, op) in self.ops.iter().enumerate() {
            let operands = match op.view {
                View::Unknown(_) => [self.values[place], 0, 0],
                _ => op.operands.map(|operand| self.values[operand as usize]),
            };
            self.values[place] = meaning(op.view, op.width, operands, op.last_width);
        }
    }

    /// The numbers of the terms that were laid out, in their order, after a run.
    pub fn numbers(&self) -> impl Iterator<Item = u64> + '_ {
        self.roots.iter().map(|root| self.values[*root as usize])
    }

    /// Runs, and says whether the first term is 1.
    pub fn holds(&mut self) -> bool {
        self.run();
        self.numbers().next() == Some(1)
    }
}

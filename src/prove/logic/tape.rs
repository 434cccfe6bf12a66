//! Terms evaluated many times: each time only what hangs on the numbers that changed.

use super::meaning::meaning;
use super::model::{Model, Unknown};
use super::row::Row;
use super::term::{Term, Terms};
use super::view::View;

/// Terms, and their numbers under the numbers that the unknowns have been given.
#[derive(Clone, Debug)]
pub struct Tape {
    row: Row,
    values: Vec<u64>,
}

impl Terms {
    /// Lays terms out. Every unknown is 0 at first.
    pub fn tape(&self, terms: &[Term]) -> Tape {
        let row = Row::new(self, terms);
        Tape { values: vec![0; row.ops.len()], row }
    }
}

impl Tape {
    /// How many operations there are.
    pub fn length(&self) -> usize {
        self.values.len()
    }

    /// The unknowns that occur, in order.
    pub fn unknowns(&self) -> impl Iterator<Item = Unknown> + '_ {
        self.row.inputs.keys().copied()
    }

    /// The numbers that the unknowns have.
    pub fn model(&self) -> Model {
        self.row.inputs.iter().map(|(unknown, place)| (*unknown, self.values[*place as usize])).collect()
    }

    /// Gives an unknown a number for the runs to come.
    pub fn set(&mut self, unknown: Unknown, value: u64) {
        if let Some(place) = self.row.inputs.get(&unknown).copied() {
            self.change(place as usize, value);
        }
    }

    /// Gives every unknown the number of a model.
    pub fn load(&mut self, model: &Model) {
        let inputs: Vec<(Unknown, u32)> = self.row.inputs.iter().map(|(unknown, place)| (*unknown, *place)).collect();
        for (unknown, place) in inputs {
            self.change(place as usize, model.get(unknown));
        }
    }

    fn change(&mut self, place: usize, value: u64) {
        if self.values[place] != value {
            self.values[place] = value;
            self.row.changed(place);
        }
    }

    /// Evaluates what has changed since the last run.
    pub fn run(&mut self) {
        let mut from = 0;
        while let Some(place) = self.row.next_stale(from) {
            from = place + 1;
            let op = self.row.ops[place];
            if let View::Unknown(_) = op.view {
                continue;
            }
            let operands = op.operands.map(|operand| self.values[operand as usize]);
            self.change(place, meaning(op.view, op.width, operands, op.last_width));
        }
    }

    /// The numbers of the terms that were laid out, in their order, after a run.
    pub fn numbers(&self) -> impl Iterator<Item = u64> + '_ {
        self.row.roots.iter().map(|root| self.values[*root as usize])
    }

    /// Runs, and says whether the first term is 1.
    pub fn holds(&mut self) -> bool {
        self.run();
        self.numbers().next() == Some(1)
    }
}

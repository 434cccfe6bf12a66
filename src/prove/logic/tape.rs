//! Terms laid out in a row, to be evaluated many times: each time only what hangs on the numbers that changed.

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
    /// The operations that use each value: those of value n stand from `users_from[n]` on.
    users: Vec<u32>,
    users_from: Vec<u32>,
    /// Operations that have to be done again, and the first of them.
    stale: Vec<bool>,
    first: usize,
}

impl Terms {
    /// Lays terms out. Every unknown is 0 at first.
    pub fn tape(&self, terms: &[Term]) -> Tape {
        let order = self.below(terms, usize::MAX, |_| false);
        let mut places: FastMap<Term, u32> = FastMap::default();
        let length = order.len();
        let mut tape = Tape {
            ops: Vec::with_capacity(length),
            values: vec![0; length],
            roots: Vec::new(),
            inputs: BTreeMap::new(),
            users: Vec::new(),
            users_from: Vec::new(),
            stale: vec![true; length],
            first: 0,
        };
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
        tape.note_users();
        tape
    }
}

impl Tape {
    fn note_users(&mut self) {
        let uses: Vec<(u32, u32)> = (0u32..)
            .zip(&self.ops)
            .flat_map(|(place, op)| op.operands.into_iter().take(op.view.operands().count()).map(move |of| (of, place)))
            .collect();
        self.users_from = vec![0; self.ops.len() + 1];
        uses.iter().for_each(|(of, _)| self.users_from[*of as usize + 1] += 1);
        for place in 1..self.users_from.len() {
            self.users_from[place] += self.users_from[place - 1];
        }
        self.users = vec![0; uses.len()];
        let mut next = self.users_from.clone();
        for (of, place) in uses {
            self.users[next[of as usize] as usize] = place;
            next[of as usize] += 1;
        }
    }

    /// A value is another now.
    fn change(&mut self, place: usize, value: u64) {
        if self.values[place] == value {
            return;
        }
        self.values[place] = value;
        let (from, to) = (self.users_from[place] as usize, self.users_from[place + 1] as usize);
        for user in &self.users[from..to] {
            self.stale[*user as usize] = true;
            self.first = self.first.min(*user as usize);
        }
    }

    /// The unknowns that occur, in order.
    pub fn unknowns(&self) -> impl Iterator<Item = Unknown> + '_ {
        self.inputs.keys().copied()
    }

    /// Gives an unknown a number for the runs to come.
    pub fn set(&mut self, unknown: Unknown, value: u64) {
        if let Some(place) = self.inputs.get(&unknown).copied() {
            self.change(place as usize, value);
        }
    }

    /// Gives every unknown the number of a model.
    pub fn load(&mut self, model: &Model) {
        let inputs: Vec<(Unknown, u32)> = self.inputs.iter().map(|(unknown, place)| (*unknown, *place)).collect();
        for (unknown, place) in inputs {
            self.change(place as usize, model.get(unknown));
        }
    }

    /// Evaluates what has changed since the last run.
    pub fn run(&mut self) {
        for place in self.first..self.ops.len() {
            if !std::mem::take(&mut self.stale[place]) {
                continue;
            }
            let op = self.ops[place];
            if let View::Unknown(_) = op.view {
                continue;
            }
            let operands = op.operands.map(|operand| self.values[operand as usize]);
            self.change(place, meaning(op.view, op.width, operands, op.last_width));
        }
        self.first = self.ops.len();
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

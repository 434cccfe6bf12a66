//! Terms laid out in a row, operands first, with who uses what: what [`super::Tape`] and [`super::Ranges`] run on. After a
//! change only what hangs on it is done again.

use std::collections::BTreeMap;

use super::hash::FastMap;
use super::model::Unknown;
use super::term::{Term, Terms};
use super::view::View;

/// One operation of a row.
#[derive(Clone, Copy, Debug)]
pub(super) struct Op {
    pub view: View,
    pub width: u32,
    /// The width of the last operand.
    pub last_width: u32,
    pub operands: [u32; 3],
}

/// Terms in the order in which they can be evaluated.
#[derive(Clone, Debug)]
pub(super) struct Row {
    pub ops: Vec<Op>,
    /// The places of the terms that were asked for.
    pub roots: Vec<u32>,
    pub inputs: BTreeMap<Unknown, u32>,
    /// The operations that use each value: those of value n stand from `users_from[n]` on.
    users: Vec<u32>,
    users_from: Vec<u32>,
    /// Operations that have to be done again, and the first of them.
    stale: Vec<bool>,
    first: usize,
}

impl Row {
    pub fn new(terms: &Terms, roots: &[Term]) -> Self {
        let order = terms.below(roots, usize::MAX, |_| false);
        let mut places: FastMap<Term, u32> = FastMap::default();
        let mut row = Self {
            stale: vec![true; order.len()],
            ops: Vec::with_capacity(order.len()),
            roots: Vec::new(),
            inputs: BTreeMap::new(),
            users: Vec::new(),
            users_from: Vec::new(),
            first: 0,
        };
        for (place, term) in (0u32..).zip(order) {
            let view = terms.view(term);
            let mut operands = [0; 3];
            let mut last_width = terms.bits_of(term);
            for (slot, operand) in operands.iter_mut().zip(view.operands()) {
                *slot = places[&operand];
            }
            match view {
                View::Unknown(unknown) => {
                    row.inputs.insert(unknown, place);
                }
                View::Join(_, low) => last_width = terms.bits_of(low),
                _ => {}
            }
            row.ops.push(Op { view, width: terms.bits_of(term), last_width, operands });
            places.insert(term, place);
        }
        row.roots = roots.iter().map(|term| places[term]).collect();
        row.note_users();
        row
    }

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

    /// A value is another now: who uses it has to be done again.
    pub fn changed(&mut self, place: usize) {
        let (from, to) = (self.users_from[place] as usize, self.users_from[place + 1] as usize);
        for user in &self.users[from..to] {
            self.stale[*user as usize] = true;
            self.first = self.first.min(*user as usize);
        }
    }

    /// The next operation that has to be done again, from a place on.
    pub fn next_stale(&mut self, from: usize) -> Option<usize> {
        let start = from.max(self.first);
        let found =
            self.stale[start.min(self.stale.len())..].iter().position(|stale| *stale).map(|ahead| start + ahead);
        match found {
            Some(place) => self.stale[place] = false,
            None => self.first = self.ops.len(),
        }
        found
    }
}

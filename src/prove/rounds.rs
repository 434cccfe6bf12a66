//! Loops: whether anything can still be in one, and whether it goes round for ever.

use std::rc::Rc;

use super::Domain;
use super::ending::Close;
use super::explore::Explorer;
use super::live::forget;
use super::logic::Answer;
use super::scene::Cut;
use super::state::{Earlier, Held, State};
use crate::board::BUS_MASK;

/// Turns of a loop between two questions whether anything can still be in it.
const ASK_EVERY: u32 = 64;

impl Explorer<'_> {
    /// A state is back at the head of a loop: can anything still be in it, and does it go round for ever?
    pub fn close_loop(&mut self, mut state: State, turn: u32) -> Option<State> {
        let due = turn.is_power_of_two() || turn.is_multiple_of(ASK_EVERY);
        if due && state.possible != Some(state.guard) && self.logic.terms.known(state.guard).is_none() {
            match self.logic.solver.ask(&self.logic.terms, &[state.guard]) {
                Answer::Impossible(_) => return None,
                Answer::Possible(_) => state.possible = Some(state.guard),
                Answer::Open(_) => {}
            }
        }
        if let Some(span) = self.goes_round(&mut state) {
            let close = if self.ground.rig().interrupts.is_empty() {
                Close::Hung(span.0, span.1)
            } else {
                Close::Cut(span.0, Cut::Unmodelled("a loop that only an interrupt could end".to_owned()))
            };
            self.end(close, state);
            return None;
        }
        Some(state)
    }

    /// Whether the state is one that its path has been in before; if so, the loop's addresses.
    fn goes_round(&mut self, state: &mut State) -> Option<(u32, u32)> {
        let at = state.core.pc & BUS_MASK;
        let live = self.live.at(at);
        forget(&mut self.logic.terms, &mut state.core, live);
        let earlier = state.earlier.take().unwrap_or_else(|| {
            Rc::new(Earlier {
                core: state.core.clone(),
                held: state.held.clone(),
                guard: state.guard,
                turns: 0,
                next: 1,
                span: (at, at),
            })
        });
        let turns = earlier.turns + 1;
        if turns > 1 && earlier.guard == state.guard && earlier.core == state.core && same(&earlier.held, &state.held) {
            return Some(self.span(state));
        }
        state.earlier = Some(if turns >= earlier.next {
            let (core, held) = (state.core.clone(), state.held.clone());
            Rc::new(Earlier { core, held, guard: state.guard, turns, next: turns * 2, span: (at, at) })
        } else {
            Rc::new(Earlier { turns, ..(*earlier).clone() })
        });
        None
    }

    /// The lowest and the highest address of the loop that a state goes round in.
    fn span(&mut self, state: &State) -> (u32, u32) {
        let start = state.core.pc & BUS_MASK;
        let (mut low, mut high) = (start, start);
        let mut state = state.clone();
        for _ in 0..MOST_WALKED {
            let from = state.core.pc & BUS_MASK;
            let Some(way) = self.ways(state).pop() else { break };
            state = way.state;
            (low, high) = (low.min(from), high.max(from));
            if state.core.pc & BUS_MASK == start {
                break;
            }
        }
        (low, high)
    }
}

/// The most instructions of a loop that are walked to say where it is.
const MOST_WALKED: usize = 10_000;

/// Whether two boards have the same future; time is not part of it.
fn same(left: &Held, right: &Held) -> bool {
    (Rc::ptr_eq(&left.ram, &right.ram) || left.ram == right.ram)
        && (&left.latched, &left.reads, left.showing, left.last)
            == (&right.latched, &right.reads, right.showing, right.last)
}

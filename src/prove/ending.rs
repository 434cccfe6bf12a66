//! How paths end, for all inputs of a guard.

use super::logic::Term;
use super::scene::Cut;
use super::state::State;
use crate::board::Place;
use crate::cpu::Exception;
use crate::run::{Crash, End};

/// How a path ended.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Close {
    /// In a declared branch, by index.
    Branch(usize),
    /// At an exit of which no branch's condition holds; `None` for the return.
    NoBranch(Option<u32>),
    /// It returned, and no branch is declared for that.
    Returned,
    /// An exception that no handler of the routine takes, at this instruction.
    Crashed(Exception, u32),
    /// A fault while an exception was being entered.
    Halted(Exception, u32),
    /// A STOP with nothing to wake it.
    Stopped(u32),
    /// It left the host's code for this address.
    LeftHost(u32),
    /// It goes round for ever between these addresses.
    Hung(u32, u32),
    /// It was still running when the limit of the harness was reached, at this instruction.
    Limit(u32),
    /// It could not be gone on with at this instruction: nothing is known of these inputs.
    Cut(u32, Cut),
}

impl Close {
    /// Whether a run on the machine ended like this; `last` is the address of its last instruction.
    pub fn agrees(&self, end: End, last: u32) -> bool {
        match (self, end) {
            (Self::Branch(branch), End::Branch(other)) => *branch == other,
            (Self::NoBranch(exit), End::NoBranch(other)) => *exit == other,
            (Self::Returned, End::Returned) => true,
            (Self::Crashed(exception, at), End::Crashed(Crash { exception: other, .. })) => {
                *exception == other && *at == last
            }
            (Self::Halted(exception, at), End::Halted(other)) => *exception == other && *at == last,
            (Self::Stopped(at), End::Stopped) => *at == last,
            (Self::LeftHost(to), End::LeftHost { to: other, .. }) => *to == other,
            // The machine finds the loop in its own time, and may be at another of its instructions.
            (Self::Hung(..), End::Hung { .. }) => true,
            (Self::Limit(_), End::Limit(_)) => true,
            _ => false,
        }
    }

    /// Whether it is an end at all: not one at which the exploration gave up.
    pub fn is_end(&self) -> bool {
        !matches!(self, Self::Limit(_) | Self::Cut(..))
    }

    /// The branch, by index.
    pub fn branch(&self) -> Option<usize> {
        if let Self::Branch(index) = self { Some(*index) } else { None }
    }
}

/// An end, and the inputs that lead there.
#[derive(Clone, Debug)]
pub struct Ending {
    /// How.
    pub close: Close,
    /// The state in which: its guard says for which inputs.
    pub state: State,
}

impl Ending {
    /// For which inputs: one bit.
    pub fn guard(&self) -> Term {
        self.state.guard
    }
}

/// What a place is called in an ending: only whether code may run there matters.
pub fn is_code(place: Place, anywhere: bool) -> bool {
    match place {
        Place::Host | Place::Overlay(_) => true,
        Place::Nothing => false,
        _ => anywhere,
    }
}

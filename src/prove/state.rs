//! A state of the exploration: one place in the program, for all the inputs that its guard allows.

use std::collections::BTreeMap;
use std::rc::Rc;

use super::count::Count;
use super::execute::Core;
use super::logic::Term;
use super::order::Position;

/// The facts kept, newest last.
const FACTS: usize = 1024;

/// A byte of RAM that was written on some path at least.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Byte {
    /// What it holds, on whichever path.
    pub value: Term,
    /// Whether it was written: one bit. Nothing if it was on all paths.
    pub written: Option<Term>,
}

/// RAM, by the bus address of the first mirror of each byte. What is not in it was written on no path.
pub type Ram = BTreeMap<u32, Byte>;

/// What the board holds.
#[derive(Clone, Debug)]
pub struct Held {
    /// RAM.
    pub ram: Rc<Ram>,
    /// What each port holds, by index (16 bits).
    pub latched: Vec<Term>,
    /// How often each port was read, by index (32 bits).
    pub reads: Vec<Term>,
    /// The overlays that show, one bit each.
    pub showing: u64,
    /// The last word on the bus, by halves.
    pub last: [Term; 2],
    /// Clock cycles.
    pub cycles: Count,
    /// Writes to ports in order: the port, and the value latched.
    pub writes: Rc<Vec<(usize, Term)>>,
}

/// One-bit terms that hold, as far as they are remembered.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Facts(Vec<Term>);

impl Facts {
    /// Whether a fact is among them.
    pub fn has(&self, fact: Term) -> bool {
        self.0.iter().rev().any(|known| *known == fact)
    }

    /// One more.
    pub fn add(&mut self, fact: Term) {
        if self.0.len() == FACTS {
            self.0.remove(0);
        }
        self.0.push(fact);
    }

    /// What both know.
    pub fn common(&mut self, other: &Self) {
        self.0.retain(|fact| other.has(*fact));
    }
}

/// A state.
#[derive(Clone, Debug)]
pub struct State {
    /// The processor.
    pub core: Core<Term>,
    /// The board.
    pub held: Held,
    /// For which inputs this state is reached: one bit.
    pub guard: Term,
    /// Parts of the guard that are likely to be asked for again.
    pub facts: Facts,
    /// Where it stands in the order.
    pub position: Position,
    /// Instructions.
    pub steps: Count,
    /// An earlier state of the same path, to see that it goes round.
    pub earlier: Option<Rc<Earlier>>,
    /// The guard with which a solver last found the state possible.
    pub possible: Option<Term>,
}

/// An earlier state.
#[derive(Clone, Debug)]
pub struct Earlier {
    /// The processor.
    pub core: Core<Term>,
    /// The board.
    pub held: Held,
    /// The guard.
    pub guard: Term,
    /// How many loops had been closed.
    pub turns: u32,
    /// When the next one is kept.
    pub next: u32,
    /// Lowest and highest address since.
    pub span: (u32, u32),
}

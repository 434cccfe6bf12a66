//! Liveness: which registers and flags anybody looks at again. The others are forgotten, so that paths which differ in
//! nothing that matters come together.
//!
//! What an instruction reads and writes is found by running it on values of which only constants are known, in every way
//! that its decisions can fall.

use std::collections::BTreeMap;

use super::Domain;
use super::execute::Core;
use super::graph::Graph;
use super::logic::{Term, Terms};
use super::uses::uses_of;
use crate::board::RETURN_ADDRESS;
use crate::run::{Cell, Exit, Register, Rig};

/// A register or a flag.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Location {
    /// D0 to D7.
    Data(usize),
    /// A0 to A6.
    Address(usize),
    /// The user's A7.
    UserStack,
    /// The supervisor's A7.
    SupervisorStack,
    /// X, N, Z, V, C: 0 to 4.
    Flag(usize),
}

/// How many locations there are.
const LOCATIONS: usize = 22;

impl Location {
    /// All of them, in the order of their bits in a [`super::execute::Trail`].
    pub fn all() -> impl Iterator<Item = Self> {
        (0..LOCATIONS).map(|bit| match bit {
            0..=7 => Self::Data(bit),
            8..=14 => Self::Address(bit - 8),
            15 => Self::UserStack,
            16 => Self::SupervisorStack,
            _ => Self::Flag(bit - 17),
        })
    }

    fn bit(self) -> u32 {
        1 << match self {
            Self::Data(number) => number,
            Self::Address(number) => 8 + number,
            Self::UserStack => 15,
            Self::SupervisorStack => 16,
            Self::Flag(number) => 17 + number,
        }
    }

    /// Its value.
    pub fn of(self, core: &Core<Term>) -> Term {
        match self {
            Self::Data(number) => core.data[number],
            Self::Address(number) => core.address[number],
            Self::UserStack => core.user_stack,
            Self::SupervisorStack => core.supervisor_stack,
            Self::Flag(0) => core.extend,
            Self::Flag(1) => core.negative,
            Self::Flag(2) => core.zero,
            Self::Flag(3) => core.overflow,
            Self::Flag(_) => core.carry,
        }
    }

    /// Sets it.
    pub fn set(self, core: &mut Core<Term>, value: Term) {
        match self {
            Self::Data(number) => core.data[number] = value,
            Self::Address(number) => core.address[number] = value,
            Self::UserStack => core.user_stack = value,
            Self::SupervisorStack => core.supervisor_stack = value,
            Self::Flag(0) => core.extend = value,
            Self::Flag(1) => core.negative = value,
            Self::Flag(2) => core.zero = value,
            Self::Flag(3) => core.overflow = value,
            Self::Flag(_) => core.carry = value,
        }
    }
}

/// A set of locations.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Live(pub u32);

impl Live {
    /// Every location.
    pub const ALL: Self = Self((1 << LOCATIONS) - 1);

    /// The stack pointers, which are never forgotten.
    const STACKS: Self = Self(3 << 15);

    /// Whether a location is in it.
    pub fn has(self, location: Location) -> bool {
        self.0 & location.bit() != 0
    }

    /// With another one.
    #[must_use]
    pub fn with(self, location: Location) -> Self {
        Self(self.0 | location.bit())
    }

    /// What is in either.
    #[must_use]
    pub fn or(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }
}

/// What is live before each instruction.
#[derive(Clone, Debug)]
pub struct Liveness(BTreeMap<u32, Live>);

impl Liveness {
    /// Goes backwards through a graph until nothing changes.
    pub fn new(rig: &Rig, graph: &Graph) -> Self {
        let uses = graph.nodes.iter().map(|(at, node)| match graph.strays(*at) {
            // A handler was entered from here, a trace say: its frame shows the flags.
            true => (*at, (Live::ALL, Live::default())),
            false => (*at, uses_of(rig, node)),
        });
        let uses: BTreeMap<u32, (Live, Live)> = uses.collect();
        let mut before: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
        for at in graph.nodes.keys() {
            for to in graph.successors(*at) {
                before.entry(to).or_default().push(*at);
            }
        }
        let mut live: BTreeMap<u32, Live> = BTreeMap::new();
        let ends = rig.branches.iter().map(|branch| match branch.exit {
            Exit::At(address) => address,
            Exit::Return => RETURN_ADDRESS,
        });
        let mut waiting: Vec<u32> = graph.nodes.keys().copied().collect();
        for end in ends {
            live.insert(end, at_exit(rig, end));
            waiting.extend(before.get(&end).into_iter().flatten());
        }
        while let Some(at) = waiting.pop() {
            let Some((used, defined)) = uses.get(&at) else { continue };
            let after =
                graph.successors(at).iter().filter_map(|to| live.get(to)).fold(0, |all, one: &Live| all | one.0);
            let now = Live(used.0 | after & !defined.0);
            if live.get(&at) != Some(&now) {
                live.insert(at, now);
                waiting.extend(before.get(&at).into_iter().flatten());
            }
        }
        Self(live)
    }

    /// What is live before the instruction at an address.
    pub fn at(&self, address: u32) -> Live {
        self.0.get(&address).copied().unwrap_or(Live::ALL).or(Live::STACKS)
    }
}

/// What the branches of an exit look at.
pub fn at_exit(rig: &Rig, exit: u32) -> Live {
    let mut live = Live::default();
    for branch in &rig.branches {
        let here = match branch.exit {
            Exit::At(address) => address == exit,
            Exit::Return => exit == RETURN_ADDRESS,
        };
        if !here {
            continue;
        }
        let cells = branch.shows.iter().map(|(_, cell)| *cell).chain(branch.when.map(|when| when.cell));
        for cell in cells {
            match cell {
                Cell::Register { register: Register::Data(number), .. } => {
                    live = live.with(Location::Data(number as usize));
                }
                Cell::Register { register: Register::Address(number), .. } if number < 7 => {
                    live = live.with(Location::Address(number as usize));
                }
                Cell::Register { register: Register::Status, .. } => {
                    live = (0..5).fold(live, |live, flag| live.with(Location::Flag(flag)));
                }
                Cell::Register { .. } | Cell::Memory { .. } => {}
            }
        }
    }
    live
}

/// Forgets what is not live.
pub fn forget(terms: &mut Terms, core: &mut Core<Term>, live: Live) {
    let (long, bit) = (terms.number(32, 0), terms.number(1, 0));
    for location in Location::all().filter(|location| !live.has(*location)) {
        location.set(core, if let Location::Flag(_) = location { bit } else { long });
    }
}

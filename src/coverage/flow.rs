//! Static control flow: which instructions the routine's entry can reach.
//!
//! [`Flow::trace`] follows the code from the entry, from the handlers that the harness has run, and from every
//! instruction that did run, so that computed jumps lead on to the targets that were seen. Code is what
//! [`Map::code_word`](crate::board::Map::code_word) gives: the host ROM, and an overlay where the host does not answer
//! (of several overlays at one address the first). RAM is not followed.
//!
//! A call goes on behind itself only if its subroutine can return at all: one that commits to a branch does not, and
//! what stands behind such a call is no code of the routine.

use std::collections::{BTreeMap, BTreeSet};

use crate::board::BUS_MASK;
use crate::cpu::{Control, Decoded, Exception, decode};
use crate::run::{Entry, Exit, Rig};

/// The reachable instructions.
#[derive(Clone, Debug)]
pub struct Flow {
    /// Each instruction, by address.
    pub steps: BTreeMap<u32, Step>,
    /// Where the routine starts.
    pub entry: u32,
    exits: BTreeSet<u32>,
    /// Of each computed jump or call the targets seen.
    seen: BTreeMap<u32, BTreeSet<u32>>,
    /// Subroutines, with what follows their calls.
    calls: BTreeMap<u32, BTreeSet<u32>>,
    /// Subroutines that can return.
    returning: BTreeSet<u32>,
    handlers: BTreeMap<Exception, u32>,
    /// Where code starts: the entry, and handlers that nothing in the code calls.
    starts: BTreeSet<u32>,
    interrupted: bool,
}

/// A reachable instruction.
#[derive(Clone, Copy, Debug)]
pub struct Step {
    /// The instruction.
    pub decoded: Decoded,
    /// Where it leads.
    pub control: Control,
}

impl Step {
    /// The address behind it.
    pub fn next(&self) -> u32 {
        self.decoded.instruction().pc.wrapping_add(self.decoded.length) & BUS_MASK
    }
}

impl Flow {
    /// Follows the code of a rig; `executed` are the instructions that ran, `targets` where computed jumps went.
    pub fn trace(
        rig: &Rig,
        executed: impl IntoIterator<Item = u32>,
        targets: impl IntoIterator<Item = (u32, u32)>,
    ) -> Self {
        let long = |address: u32| rig.map.host().long(address);
        let entry = match rig.routine.entry {
            Entry::At(address) => address & BUS_MASK,
            Entry::Reset => long(4).unwrap_or(0) & BUS_MASK,
        };
        let exits = rig.branches.iter().filter_map(|branch| match branch.exit {
            Exit::At(address) => Some(address),
            Exit::Return => None,
        });
        let mut seen: BTreeMap<u32, BTreeSet<u32>> = BTreeMap::new();
        for (from, to) in targets {
            seen.entry(from).or_default().insert(to);
        }
        let mut flow = Self {
            steps: BTreeMap::new(),
            entry,
            exits: exits.collect(),
            seen,
            calls: BTreeMap::new(),
            returning: BTreeSet::new(),
            handlers: handlers(rig),
            starts: BTreeSet::from([entry]),
            interrupted: !rig.interrupts.is_empty(),
        };
        // TRAP, TRAPV and CHK lead to their handlers from where they stand.
        let raised = flow.handlers.iter().filter(|(exception, _)| !exception.asked_for()).map(|(_, at)| *at);
        let devices = rig.interrupts.iter().filter_map(|device| long(u32::from(device.vector()) * 4)).map(on_bus);
        flow.starts.extend(raised.chain(devices));
        let waiting = executed.into_iter().chain(flow.starts.iter().copied()).collect();
        flow.descend(rig, waiting);
        flow
    }

    /// Whether a run ends at an address.
    pub fn is_exit(&self, address: u32) -> bool {
        self.exits.contains(&address)
    }

    /// Where code starts: the entry, and handlers that nothing in the code calls.
    pub fn starts(&self) -> impl Iterator<Item = u32> + '_ {
        self.starts.iter().copied()
    }

    /// The targets seen of a computed jump or call.
    pub fn seen(&self, at: u32) -> impl Iterator<Item = u32> + '_ {
        self.seen.get(&at).into_iter().flatten().copied()
    }

    /// What follows the calls of a subroutine.
    pub fn behind_calls(&self, subroutine: u32) -> impl Iterator<Item = u32> + '_ {
        self.calls.get(&subroutine).into_iter().flatten().copied()
    }

    /// The subroutines that are called.
    pub fn subroutines(&self) -> impl Iterator<Item = u32> + '_ {
        self.calls.keys().copied()
    }

    /// Where an instruction can lead, subroutines and handlers included; exits and what is no code too.
    pub fn successors(&self, step: &Step) -> Vec<u32> {
        let mut to = self.within(step);
        match step.control {
            Control::Call(target) => to.push(target),
            Control::ComputedCall => to.extend(self.seen(step.decoded.instruction().pc)),
            Control::Trap(exception) | Control::MayTrap(exception) | Control::Raises(exception) => {
                to.extend(self.handlers.get(&exception));
            }
            _ => {}
        }
        to
    }

    /// The same within one subroutine: a call is stepped over if it can return.
    pub fn within(&self, step: &Step) -> Vec<u32> {
        let next = step.next();
        match step.control {
            Control::Next | Control::Trap(_) | Control::MayTrap(_) | Control::ComputedCall => vec![next],
            Control::Branch(target) => vec![target, next],
            Control::Jump(target) => vec![target],
            Control::Call(target) if self.may_return(target) => vec![next],
            Control::Stop if self.interrupted => vec![next],
            Control::ComputedJump => self.seen(step.decoded.instruction().pc).collect(),
            Control::Call(_) | Control::Stop | Control::Return | Control::ExceptionReturn | Control::Raises(_) => {
                Vec::new()
            }
        }
    }

    fn may_return(&self, subroutine: u32) -> bool {
        self.returning.contains(&subroutine)
    }

    fn descend(&mut self, rig: &Rig, mut waiting: Vec<u32>) {
        loop {
            while let Some(at) = waiting.pop() {
                if self.steps.contains_key(&at) || self.is_exit(at) || !at.is_multiple_of(2) {
                    continue;
                }
                let Some(step) = step(rig, at) else { continue };
                self.steps.insert(at, step);
                if let Control::Call(target) = step.control {
                    self.calls.entry(target).or_default().insert(step.next());
                    // Whether it returns is known only when all of it is.
                    waiting.push(target);
                    waiting.extend(self.returning.contains(&target).then_some(step.next()));
                } else {
                    waiting.extend(self.successors(&step));
                }
            }
            let unknown = self.calls.keys().filter(|subroutine| !self.returning.contains(subroutine));
            let found: Vec<u32> = unknown.copied().filter(|subroutine| self.reaches_return(*subroutine)).collect();
            if found.is_empty() {
                return;
            }
            waiting.extend(found.iter().flat_map(|subroutine| self.behind_calls(*subroutine)));
            self.returning.extend(found);
        }
    }

    /// Whether a subroutine can come to its end, as far as is known by now.
    fn reaches_return(&self, subroutine: u32) -> bool {
        // What is no code of the host may do anything.
        let mut open = false;
        let walk = self.walk(subroutine, |at| open |= !self.is_exit(at));
        open | walk.iter().any(|at| match self.steps[at].control {
            Control::Return | Control::ExceptionReturn | Control::Raises(_) => true,
            Control::ComputedJump => self.seen(*at).next().is_none(),
            _ => false,
        })
    }

    /// The instructions of a subroutine, those of the subroutines that it calls left out; `leaves` gets the addresses at
    /// which it leaves the code.
    pub fn walk(&self, subroutine: u32, mut leaves: impl FnMut(u32)) -> BTreeSet<u32> {
        let mut body = BTreeSet::new();
        let mut waiting = vec![subroutine];
        while let Some(at) = waiting.pop() {
            match self.steps.get(&at) {
                Some(step) if body.insert(at) => waiting.extend(self.within(step)),
                Some(_) => {}
                None => leaves(at),
            }
        }
        body
    }
}

fn on_bus(address: u32) -> u32 {
    address & BUS_MASK
}

/// The instruction at an address of the code.
fn step(rig: &Rig, at: u32) -> Option<Step> {
    rig.map.code_word(at)?;
    let decoded = decode(at, |at| rig.map.code_word(at).unwrap_or(0));
    Some(Step { decoded, control: decoded.control() })
}

/// The handlers of exceptions that the routine takes, as far as their vectors stand in the ROM.
fn handlers(rig: &Rig) -> BTreeMap<Exception, u32> {
    let asked_for = [Exception::Chk, Exception::Trapv].into_iter().chain((0..16).map(Exception::Trap));
    let taken = asked_for.chain(rig.routine.handles.iter().copied());
    let vector = |exception: Exception| rig.map.host().long(u32::from(exception.vector()) * 4);
    taken.filter_map(|exception| Some((exception, on_bus(vector(exception)?)))).collect()
}

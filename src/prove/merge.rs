//! Two states at one place become one, where that loses nothing: each location is what it was in the one or the other.

use std::collections::BTreeSet;
use std::rc::Rc;

use super::Domain;
use super::count::Count;
use super::execute::Core;
use super::ground::{Ground, Logic};
use super::live::{Live, Location};
use super::logic::Term;
use super::state::{Byte, Held, Ram, State};

/// What may become unknown when states come together.
#[derive(Clone, Copy, Debug)]
pub struct Rule {
    /// The locations that anybody looks at again.
    pub live: Live,
    /// Registers that count loops: they stay numbers.
    pub counters: Live,
    /// Whether data that are numbers in both states may become unknown too.
    pub forced: bool,
}

/// Brings two states together; `None` if they must stay apart.
pub fn merge(logic: &mut Logic, ground: &Ground, left: &State, right: &State, rule: Rule) -> Option<State> {
    if left.position != right.position || !alike(&left.core, &right.core) {
        return None;
    }
    let mut merger = Merger { logic, ground, guard: left.guard, rule };
    let core = merger.core(&left.core, &right.core)?;
    let held = merger.held(&left.held, &right.held, merger.stack(&core))?;
    let steps = Count::either(&mut merger.logic.terms, left.guard, &left.steps, &right.steps);
    let guard = merger.logic.terms.or(left.guard, right.guard);
    let mut facts = left.facts.clone();
    facts.common(&right.facts);
    let possible = (left.possible == Some(left.guard) || right.possible == Some(right.guard)).then_some(guard);
    Some(State { core, held, guard, facts, position: left.position.clone(), steps, earlier: None, possible })
}

/// Whether what is never unknown agrees.
fn alike(left: &Core<Term>, right: &Core<Term>) -> bool {
    left.pc == right.pc
        && left.queue == right.queue
        && (left.trace, left.supervisor, left.mask, left.stopped)
            == (right.trace, right.supervisor, right.mask, right.stopped)
}

struct Merger<'a> {
    logic: &'a mut Logic,
    ground: &'a Ground<'a>,
    guard: Term,
    rule: Rule,
}

impl Merger<'_> {
    /// One location: `None` if both are numbers and must stay so.
    fn value(&mut self, left: Term, right: Term, forced: bool) -> Option<Term> {
        if left == right {
            return Some(left);
        }
        let numbers = self.logic.terms.known(left).is_some() && self.logic.terms.known(right).is_some();
        (forced || !numbers).then(|| self.logic.terms.either(self.guard, left, right))
    }

    fn core(&mut self, left: &Core<Term>, right: &Core<Term>) -> Option<Core<Term>> {
        let mut core = left.clone();
        for location in Location::all() {
            if !self.rule.live.has(location) {
                continue;
            }
            let (one, other) = (location.of(left), location.of(right));
            let value = match location {
                _ if one == other => one,
                Location::Data(_) => {
                    let counts = self.rule.counters.has(location);
                    self.value(one, other, self.rule.forced && !counts).filter(|_| !counts)?
                }
                Location::Flag(_) => self.value(one, other, self.rule.forced)?,
                Location::Address(_) | Location::UserStack | Location::SupervisorStack => return None,
            };
            location.set(&mut core, value);
        }
        Some(core)
    }

    /// The active stack pointer, if it is a number.
    fn stack(&self, core: &Core<Term>) -> Option<u32> {
        let stack = if core.supervisor { core.supervisor_stack } else { core.user_stack };
        self.logic.terms.known(stack).map(|stack| stack as u32)
    }

    fn held(&mut self, left: &Held, right: &Held, stack: Option<u32>) -> Option<Held> {
        if left.showing != right.showing || left.writes.len() != right.writes.len() {
            return None;
        }
        let forced = self.rule.forced;
        let mut latched = Vec::with_capacity(left.latched.len());
        for (one, other) in left.latched.iter().zip(&right.latched) {
            latched.push(self.value(*one, *other, forced)?);
        }
        let mut writes = Rc::clone(&left.writes);
        if left.writes != right.writes {
            let mut both = Vec::with_capacity(left.writes.len());
            for ((port, one), (other_port, other)) in left.writes.iter().zip(right.writes.iter()) {
                if port != other_port {
                    return None;
                }
                both.push((*port, self.value(*one, *other, forced)?));
            }
            writes = Rc::new(both);
        }
        let ram = self.ram(&left.ram, &right.ram, stack)?;
        let mut reads = Vec::with_capacity(left.reads.len());
        for (one, other) in left.reads.iter().zip(&right.reads) {
            reads.push(self.value(*one, *other, true)?);
        }
        let mut last = left.last;
        for (lane, other) in last.iter_mut().zip(right.last) {
            *lane = self.value(*lane, other, true)?;
        }
        let cycles = Count::either(&mut self.logic.terms, self.guard, &left.cycles, &right.cycles);
        Some(Held { ram, latched, reads, showing: left.showing, last, cycles, writes })
    }

    fn ram(&mut self, left: &Rc<Ram>, right: &Rc<Ram>, stack: Option<u32>) -> Option<Rc<Ram>> {
        if Rc::ptr_eq(left, right) {
            return Some(Rc::clone(left));
        }
        let mut changed = Vec::new();
        for address in left.keys().chain(right.keys().filter(|address| !left.contains_key(address))) {
            let (one, other) = (left.get(address), right.get(address));
            if one != other {
                // What was popped from the stack is hardly ever looked at again.
                let popped = stack.is_some_and(|stack| *address < stack && stack - *address <= POPPED);
                changed.push((*address, self.byte(*address, one, other, popped)?));
            }
        }
        let mut ram = Rc::clone(left);
        if !changed.is_empty() {
            Rc::make_mut(&mut ram).extend(changed);
        }
        Some(ram)
    }

    /// A byte of RAM that differs; what was written on one side only is what it was at power-on on the other.
    fn byte(&mut self, address: u32, left: Option<&Byte>, right: Option<&Byte>, popped: bool) -> Option<Byte> {
        let (never, always) = (self.logic.terms.bit(false), self.logic.terms.bit(true));
        let mut side = |byte: Option<&Byte>| match byte {
            Some(byte) => Some((byte.value, byte.written.unwrap_or(always))),
            None => {
                let area = self.ground.ram_area(address)?;
                Some((self.ground.power_on(self.logic, area, address), never))
            }
        };
        let ((left, left_written), (right, right_written)) = (side(left)?, side(right)?);
        let value = self.value(left, right, self.rule.forced || popped)?;
        let written = self.logic.terms.either(self.guard, left_written, right_written);
        Some(Byte { value, written: (written != always).then_some(written) })
    }
}

/// How far below the stack pointer bytes count as popped.
const POPPED: u32 = 256;

/// The bytes of RAM that are looked at when a run has ended; the others are forgotten.
pub fn keep_only(ram: &mut Rc<Ram>, wanted: &BTreeSet<u32>) {
    let kept = ram.iter().filter(|(address, _)| wanted.contains(address)).map(|(address, byte)| (*address, *byte));
    *ram = Rc::new(kept.collect());
}

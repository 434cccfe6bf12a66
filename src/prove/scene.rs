//! One instruction on stage: the [`World`] in which the executor runs it for all inputs of a state's guard.
//!
//! Decisions are taken by the script; what the instruction does to the board is done at once and can be taken back, so
//! that it can be run again for the next way. `lanes` has the bus.

use std::collections::BTreeSet;
use std::rc::Rc;

use super::ground::{Ground, Logic};
use super::lanes::Purpose;
use super::logic::{Answer, Term, Terms};
use super::script::Script;
use super::state::{Byte, Facts, Held};
use super::unknowns::is;
use super::{Domain, Pin, World};
use crate::board::{BUS_MASK, PortSize};
use crate::cpu::FunctionCode;

/// The most addresses that one read may have.
const MOST_READ: usize = 256;

/// The most addresses that one write may have.
const MOST_WRITTEN: usize = 64;

/// The most places to which one jump may lead.
const MOST_TARGETS: usize = 64;

/// Clock periods of a bus cycle without wait states (UM section 5).
const BUS_CYCLE: u64 = 4;

/// No instruction pauses longer than this for a reason that hangs on data: DIVS (158 clocks, UM table 8-4).
const LONGEST_PAUSE: u64 = 200;

/// Why a state cannot be gone on with.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cut {
    /// More addresses than can be told apart.
    Addresses(&'static str, usize),
    /// More targets than can be told apart.
    Targets(usize),
    /// An instruction of which the words are not known.
    UnknownCode,
    /// More values of the status register or such.
    UnknownControl,
    /// The solver gave up.
    Unsolved(String),
    /// A limit of the exploration.
    Budget(&'static str),
    /// What cannot be modelled, named.
    Unmodelled(String),
}

/// Something that a harness may forbid.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Wrongdoing {
    /// RAM read before it was written.
    EarlyRead,
    /// A write that lands nowhere.
    StrayWrite,
    /// A read where nothing is mapped.
    StrayRead,
    /// A value that the port does not declare.
    Undeclared(usize),
    /// A write that remaps the code which makes it.
    Remap,
}

/// One of these, and when.
#[derive(Clone, Debug)]
pub struct Trouble {
    /// What.
    pub what: Wrongdoing,
    /// The bus address, if it is the same for all inputs.
    pub address: Option<u32>,
    /// The inputs for which it happens: one bit.
    pub when: Term,
}

/// A read of an unknown port of which the number hangs on the inputs.
#[derive(Clone, Copy, Debug)]
pub struct PortEvent {
    /// The port.
    pub port: usize,
    /// What was read.
    pub value: Term,
    /// How often it had been read before.
    pub count: Term,
    /// For which inputs it happened: one bit.
    pub guard: Term,
}

/// The stage.
pub struct Scene<'a> {
    /// Terms and solver.
    pub logic: &'a mut Logic,
    /// What does not change.
    pub ground: &'a Ground<'a>,
    /// The board of the state.
    pub held: &'a mut Held,
    /// The guard of the state.
    pub guard: Term,
    /// What is known to hold.
    pub facts: Facts,
    /// The decisions.
    pub script: &'a mut Script,
    /// What the decisions of this way add to the guard.
    pub taken: Vec<Term>,
    /// The bytes of RAM that this way changed, with what they held.
    pub undo: Vec<(u32, Option<Byte>)>,
    /// What went wrong in this way.
    pub troubles: Vec<Trouble>,
    /// Reads of unknown ports of which the number hangs on the inputs.
    pub events: Vec<PortEvent>,
    /// The window addresses that were looked at.
    pub looked: &'a mut BTreeSet<u32>,
    /// The instruction's address.
    pub at: u32,
}

impl Scene<'_> {
    /// The terms.
    pub fn terms(&mut self) -> &mut Terms {
        &mut self.logic.terms
    }

    /// Notes what went wrong, for the inputs of this way.
    pub fn trouble(&mut self, what: Wrongdoing, address: Option<u32>) {
        let when = self.terms().bit(true);
        self.trouble_when(what, address, when);
    }

    /// The same, for some of them.
    pub fn trouble_when(&mut self, what: Wrongdoing, address: Option<u32>, when: Term) {
        self.troubles.push(Trouble { what, address, when });
    }

    /// Adds to what holds in this way.
    fn assume(&mut self, condition: Term) {
        self.taken.push(condition);
        self.facts.add(condition);
    }

    /// The values that a term can have, if there are no more than `most`; of each choice they are found once.
    fn values_of(&mut self, value: Term, most: usize, too_many: Cut) -> Result<Vec<u64>, Cut> {
        let mut asked = vec![self.guard];
        asked.extend(&self.taken);
        let mut values = Vec::new();
        loop {
            match self.logic.solver.ask(&self.logic.terms, &asked) {
                Answer::Possible(model) => {
                    let number = self.logic.terms.evaluate(value, &model);
                    if values.len() == most {
                        return Err(too_many);
                    }
                    values.push(number);
                    let same = is(&mut self.logic.terms, value, number);
                    asked.push(self.logic.terms.not(same));
                }
                Answer::Impossible(_) => break,
                Answer::Open(why) => return Err(Cut::Unsolved(why)),
            }
        }
        if values.is_empty() {
            // Nothing comes here at all; the value does not matter.
            values.push(0);
        }
        values.sort_unstable();
        Ok(values)
    }

    /// Chooses among the values of a term.
    fn choose(&mut self, value: Term, most: usize, too_many: Cut) -> Result<u64, Cut> {
        if let Some(number) = self.logic.terms.known(value) {
            return Ok(number);
        }
        let number = match self.script.again() {
            Some((_, number)) => number,
            None => {
                let values = self.values_of(value, most, too_many)?;
                self.script.first(values.into())
            }
        };
        let same = is(&mut self.logic.terms, value, number);
        self.assume(same);
        Ok(number)
    }

    /// Reads at an address that may be unknown.
    fn read(&mut self, at: Term, size: PortSize, purpose: Purpose) -> Result<Option<Term>, Cut> {
        if let Some(address) = self.logic.terms.known(at) {
            return self.read_at(address as u32 & BUS_MASK, size, purpose);
        }
        // Only what is on the bus counts.
        let low = self.logic.terms.part(at, 0, 24);
        let remembered = self.script.again();
        let values = match &remembered {
            Some((values, _)) => Rc::clone(values),
            None => self.values_of(low, MOST_READ, Cut::Addresses("read", MOST_READ))?.into(),
        };
        let plain = values.iter().all(|value| self.plain(*value as u32, size));
        if plain {
            if remembered.is_none() {
                // Not a choice: one way only, that remembers the values.
                self.script.remember(Rc::clone(&values));
            }
            return Ok(Some(self.read_among(low, &values, size, purpose)));
        }
        let address = match remembered {
            Some((_, address)) => address,
            None => self.script.first(Rc::clone(&values)),
        };
        let same = is(&mut self.logic.terms, low, address);
        self.assume(same);
        self.read_at(address as u32, size, purpose)
    }

    /// Reads one of several places that have no side effects: a value for each.
    fn read_among(&mut self, at: Term, values: &[u64], size: PortSize, purpose: Purpose) -> Term {
        let mut read = None;
        for value in values {
            let here = is(&mut self.logic.terms, at, *value);
            let byte = self.peek(*value as u32, size, purpose, here);
            read = Some(match read {
                Some(others) => self.logic.terms.either(here, byte, others),
                None => byte,
            });
        }
        let value = read.unwrap_or_else(|| self.logic.terms.number(8 * size.bytes(), 0));
        self.held.cycles.add(BUS_CYCLE);
        self.carry(at, value, size);
        value
    }

    /// Writes at an address that may be unknown.
    fn write(&mut self, at: Term, value: Term, size: PortSize) -> Result<Option<()>, Cut> {
        if let Some(address) = self.logic.terms.known(at) {
            return self.write_at(address as u32 & BUS_MASK, value, size);
        }
        let low = self.logic.terms.part(at, 0, 24);
        // What lands nowhere changes nothing, wherever it is: all such addresses are one way.
        let lands = self.lands_somewhere(low);
        if !self.decide(lands)? {
            self.trouble(Wrongdoing::StrayWrite, None);
            self.held.cycles.add(BUS_CYCLE);
            self.carry_written(value, size);
            return Ok(Some(()));
        }
        let address = self.choose(low, MOST_WRITTEN, Cut::Addresses("written", MOST_WRITTEN))?;
        self.write_at(address as u32, value, size)
    }
}

impl World for Scene<'_> {
    type Values = Terms;
    type Cut = Cut;

    fn values(&mut self) -> &mut Terms {
        &mut self.logic.terms
    }

    fn decide(&mut self, bit: Term) -> Result<bool, Cut> {
        if let Some(number) = self.logic.terms.known(bit) {
            return Ok(number == 1);
        }
        let not = self.logic.terms.not(bit);
        if self.facts.has(bit) || self.facts.has(not) {
            return Ok(self.facts.has(bit));
        }
        let set = match self.script.again() {
            Some((_, number)) => number,
            None => self.script.first([1, 0].into()),
        };
        self.assume(if set == 1 { bit } else { not });
        Ok(set == 1)
    }

    fn pin(&mut self, value: Term, what: Pin) -> Result<u64, Cut> {
        let (most, cut) = match what {
            Pin::Jump => (MOST_TARGETS, Cut::Targets(MOST_TARGETS)),
            Pin::Code => (MOST_TARGETS, Cut::UnknownCode),
            Pin::Control => (MOST_TARGETS, Cut::UnknownControl),
        };
        self.choose(value, most, cut)
    }

    fn read_byte(&mut self, at: Term, _: FunctionCode) -> Result<Option<Term>, Cut> {
        self.read(at, PortSize::Byte, Purpose::Operand)
    }

    fn read_word(&mut self, at: Term, _: FunctionCode) -> Result<Option<Term>, Cut> {
        self.read(at, PortSize::Word, Purpose::Operand)
    }

    fn fetch(&mut self, at: u32, _: FunctionCode) -> Result<Option<Term>, Cut> {
        self.fetch_at(at)
    }

    fn write_byte(&mut self, at: Term, value: Term, _: FunctionCode) -> Result<Option<()>, Cut> {
        self.write(at, value, PortSize::Byte)
    }

    fn write_word(&mut self, at: Term, value: Term, _: FunctionCode) -> Result<Option<()>, Cut> {
        self.write(at, value, PortSize::Word)
    }

    fn touch_byte(&mut self, at: Term, _: FunctionCode) -> Result<Option<()>, Cut> {
        Ok(self.read(at, PortSize::Byte, Purpose::Dropped)?.map(|_| ()))
    }

    fn touch_word(&mut self, at: Term, _: FunctionCode) -> Result<Option<()>, Cut> {
        Ok(self.read(at, PortSize::Word, Purpose::Dropped)?.map(|_| ()))
    }

    fn idle(&mut self, clocks: u32) {
        self.held.cycles.add(u64::from(clocks));
    }

    fn idle_for(&mut self, clocks: Term) {
        self.held.cycles.add_term(&mut self.logic.terms, clocks, 0, LONGEST_PAUSE);
    }

    fn reset_devices(&mut self) -> Result<(), Cut> {
        self.reset_latches()
    }
}

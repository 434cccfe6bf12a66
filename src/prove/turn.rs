//! One turn: what [`crate::run::Machine`] does around an instruction, for all inputs of a guard. Is an exit reached, has
//! the routine left the host, did it raise an exception, and is a limit passed?

use super::count::Count;
use super::ending::{Close, is_code};
use super::execute::{Core, Entered, Raised, Step};
use super::logic::Term;
use super::scene::{Cut, Scene, Wrongdoing};
use super::unknowns::is;
use super::{Domain, World};
use crate::board::{BUS_MASK, Place, PortSize, RETURN_ADDRESS, extension_words};
use crate::cpu::Exception;
use crate::run::{Cell, Entry, Exit, Register, Width};

/// How a state went on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Turn {
    /// To the next instruction; whether a handler was entered.
    Goes {
        /// Whether it is a handler's.
        handler: bool,
    },
    /// The run is over.
    Ends(Close),
}

type Done<T> = Result<T, Cut>;

impl Scene<'_> {
    /// Runs the next instruction.
    pub fn turn(&mut self, core: &mut Core<Term>, steps: &Count) -> Done<Turn> {
        if let Some(close) = self.arrived(core)? {
            return Ok(Turn::Ends(close));
        }
        let limits = self.ground.rig().routine.limits;
        let used_up = match limits.instructions {
            0 => self.terms().bit(true),
            most => steps.exceeds(&mut self.logic.terms, most - 1),
        };
        if self.decide(used_up)? {
            return Ok(Turn::Ends(Close::Limit(self.at)));
        }
        if let Some(close) = self.outside(core)? {
            return Ok(Turn::Ends(close));
        }
        let step = core.step(self)?;
        let mut handler = false;
        match step {
            Step::Raised(raised) => {
                if let Some(close) = self.enter_all(core, raised)? {
                    return Ok(Turn::Ends(close));
                }
                handler = true;
            }
            Step::Ran if core.stopped => return self.stopped().map(Turn::Ends),
            Step::Ran => {}
        }
        let cycles = self.held.cycles;
        let passed = cycles.exceeds(&mut self.logic.terms, limits.cycles);
        let passed = self.decide(passed)?;
        Ok(if passed { Turn::Ends(Close::Limit(self.at)) } else { Turn::Goes { handler } })
    }

    fn stopped(&self) -> Done<Close> {
        if self.ground.rig().interrupts.is_empty() {
            return Ok(Close::Stopped(self.at));
        }
        Err(Cut::Unmodelled("a STOP that waits for an interrupt".to_owned()))
    }

    /// The end if the next instruction is an exit.
    fn arrived(&mut self, core: &Core<Term>) -> Done<Option<Close>> {
        let address = core.pc & BUS_MASK;
        let hit = self.ground.rig().branches.iter().any(|branch| branch.exit == Exit::At(address));
        if hit { self.arrive(core, Some(address)).map(Some) } else { Ok(None) }
    }

    /// An exit is reached: which branch holds there?
    fn arrive(&mut self, core: &Core<Term>, exit: Option<u32>) -> Done<Close> {
        let wanted = exit.map_or(Exit::Return, Exit::At);
        let mut declared = false;
        for (index, branch) in self.ground.rig().branches.iter().enumerate().filter(|(_, it)| it.exit == wanted) {
            declared = true;
            let Some(condition) = branch.when else { return Ok(Close::Branch(index)) };
            let value = self.cell(core, condition.cell)?;
            let holds = is(&mut self.logic.terms, value, u64::from(condition.is));
            if self.decide(holds)? {
                return Ok(Close::Branch(index));
            }
        }
        Ok(if exit.is_none() && !declared { Close::Returned } else { Close::NoBranch(exit) })
    }

    /// Has the routine returned, or left the host?
    fn outside(&mut self, core: &Core<Term>) -> Done<Option<Close>> {
        let rig = self.ground.rig();
        if core.pc == RETURN_ADDRESS && rig.routine.entry != Entry::Reset {
            return self.arrive(core, None).map(Some);
        }
        let to = core.pc & BUS_MASK;
        let place = self.place(to);
        if !is_code(place, rig.routine.executes_anywhere) {
            return Ok(Some(Close::LeftHost(to)));
        }
        if let Place::Ram(_) = place {
            self.note_executed(core, to);
        }
        Ok(None)
    }

    /// Words of an instruction in RAM that nothing has written there.
    fn note_executed(&mut self, core: &Core<Term>, to: u32) {
        let opcode = self.logic.terms.known(core.queue[0]).unwrap_or(0) as u16;
        for offset in 0..2 + 2 * extension_words(opcode) {
            let address = to.wrapping_add(offset) & BUS_MASK;
            let Some(area) = self.ground.ram_area(address) else { continue };
            let home = self.ground.ram_home(area, address);
            let unwritten = match self.held.ram.get(&home) {
                None => self.logic.terms.bit(true),
                Some(byte) => match byte.written {
                    None => continue,
                    Some(written) => self.logic.terms.not(written),
                },
            };
            self.trouble_when(Wrongdoing::EarlyRead, Some(address), unwritten);
        }
    }

    /// Enters handlers as long as one leads to the next. The end if one is not taken.
    pub fn enter_all(&mut self, core: &mut Core<Term>, first: Raised<Term>) -> Done<Option<Close>> {
        let mut next = Some(first);
        let mut within: Option<Exception> = None;
        while let Some(raised) = next {
            let halted = Close::Halted(within.unwrap_or(raised.exception), self.at);
            if !self.takes(raised.exception)? {
                let halts = within.is_some() && matches!(core.enter(self, &raised)?, Entered::DoubleFault);
                let crashed = Close::Crashed(raised.exception, self.at);
                return Ok(Some(if halts { halted } else { crashed }));
            }
            match core.enter(self, &raised)? {
                Entered::DoubleFault => return Ok(Some(halted)),
                Entered::Instead(met) => {
                    within = Some(raised.exception);
                    next = Some(met);
                }
                Entered::Handler => {
                    within = None;
                    next = core.trace_due();
                }
            }
        }
        Ok(None)
    }

    /// Whether the routine takes an exception by itself, and its vector leads to code.
    fn takes(&mut self, exception: Exception) -> Done<bool> {
        let routine = &self.ground.rig().routine;
        let anywhere = routine.executes_anywhere;
        if !exception.asked_for() && !routine.handles.contains(&exception) {
            return Ok(false);
        }
        let vector = self.memory(u32::from(exception.vector()) * 4, Width::Long)?;
        let Some(handler) = self.logic.terms.known(vector) else {
            return Err(Cut::Unmodelled("an exception vector that is not known".to_owned()));
        };
        let handler = handler as u32;
        Ok(handler & 1 == 0 && is_code(self.place(handler & BUS_MASK), anywhere))
    }

    /// What a cell holds, looked at like a person with a probe would.
    pub fn cell(&mut self, core: &Core<Term>, cell: Cell) -> Done<Term> {
        match cell {
            Cell::Memory { address, width } => self.memory(address, width),
            Cell::Register { register, width } => {
                let value = match register {
                    Register::Data(number) => core.data[number as usize],
                    Register::Address(7) if core.supervisor => core.supervisor_stack,
                    Register::Address(7) => core.user_stack,
                    Register::Address(number) => core.address[number as usize],
                    Register::Status => {
                        let status = core.status(self);
                        self.terms().extend(status, 32)
                    }
                };
                Ok(self.terms().part(value, 0, 8 * width.bytes()))
            }
        }
    }

    /// Memory as [`crate::board::Bus::peek`] sees it.
    fn memory(&mut self, address: u32, width: Width) -> Done<Term> {
        let mut value: Option<Term> = None;
        for offset in 0..width.bytes() {
            let address = address.wrapping_add(offset) & BUS_MASK;
            let byte = self.probe(address);
            value = Some(match value {
                Some(high) => self.terms().join(high, byte),
                None => byte,
            });
        }
        Ok(value.unwrap_or_else(|| self.terms().number(8, 0)))
    }

    fn probe(&mut self, address: u32) -> Term {
        match self.place(address) {
            Place::Port(index) => {
                let port = &self.ground.rig().map.ports()[index];
                let shift = 8 * (port.size.bytes() - 1 - (address - port.at));
                let latched = self.held.latched[index];
                self.terms().part(latched, shift, 8)
            }
            _ if self.is_memory(address) => {
                let never = self.terms().bit(false);
                self.peek(address, PortSize::Byte, super::lanes::Purpose::Dropped, never)
            }
            _ => self.terms().number(8, 0xFF),
        }
    }
}

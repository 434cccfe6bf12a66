//! temp
use super::access::Place;
use super::size::Size;
use super::{Core, Ended, Entered, Processor, Raised, Run, Step, ended};
use crate::cpu::Exception;
use crate::prove::{Domain, ValueOf, World};
use std::fmt::Debug;

impl<V: Copy + PartialEq + Debug> Core<V> {
    pub fn enter<W>(&mut self, world: &mut W, raised: &Raised<V>) -> Result<Entered<V>, W::Cut>
    where
        W: World,
        W::Values: Domain<Value = V>,
    {
        self.between = !super::completes(raised.exception);
        let done = Processor { core: self, world }.process(raised, raised.exception.vector());
        self.between = false;
        match done {
            Ok(()) => Ok(Entered::Handler),
            Err(Ended::Cut(cut)) => Err(cut),
            Err(Ended::Raised(_)) if raised.fault.is_some() => Ok(Entered::DoubleFault),
            Err(Ended::Raised(met)) => {
                self.trace_due = false;
                Ok(Entered::Instead(met))
            }
        }
    }
    pub fn reset<W>(&mut self, world: &mut W) -> Result<Step<V>, W::Cut>
    where
        W: World,
        W::Values: Domain<Value = V>,
    {
        (self.trace, self.supervisor, self.mask, self.stopped, self.trace_due) = (false, true, 7, false, false);
        let mut p = Processor { core: self, world };
        p.idle(14);
        let done = p.load_reset();
        ended(done)
    }
}
impl<W: World> Processor<'_, W> {
    fn load_reset(&mut self) -> Run<W> {
        let (zero, four) = (self.number(32, 0), self.number(32, 4));
        let program = |address: ValueOf<W>| Place { address, program: true, odd: None };
        let stack = self.read(Size::Long, program(zero))?;
        self.set_supervisor_stack(stack);
        let target = self.read(Size::Long, program(four))?;
        let (at, first) = self.jump_first(target)?;
        self.idle(2);
        self.jump_second(at, first)
    }
    fn process(&mut self, raised: &Raised<ValueOf<W>>, vector: u8) -> Run<W> {
        let status = self.status();
        (self.core.trace, self.core.supervisor, self.core.stopped) = (false, true, false);
        self.core.fault_pc = raised.pc;
        self.idle(match raised.exception {
            Exception::AddressError => 12,
            Exception::BusError => 8,
            Exception::Interrupt(_) => 6,
            Exception::Trapv => 0,
            _ => 4,
        });
        let top = self.supervisor_stack();
        let below = |p: &mut Self, n: u32| p.plus(top, n.wrapping_neg());
        let s = below(self, 6);
        self.set_supervisor_stack(s);
        let (low, high) = (self.number(16, raised.pc & 0xFFFF), self.number(16, raised.pc >> 16));
        for (n, value) in [(2, low), (6, status), (4, high)] {
            let a = below(self, n);
            self.write(Size::Word, Place::data(a), value)?;
        }
        if let Some(fault) = raised.fault {
            let s = below(self, 14);
            self.set_supervisor_stack(s);
            let (fh, fl) = self.halves(fault.address);
            let upper = self.masked(fault.instruction, 0xFFE0);
            let read = if fault.kind == crate::board::AccessKind::Write { 0 } else { 0x10 };
            let low = self.number(16, read | if fault.between { 8 } else { 0 } | fault.code as u32);
            let word = self.v().or(upper, low);
            for (n, value) in [(8, fault.instruction), (10, fl), (14, word), (12, fh)] {
                let a = below(self, n);
                self.write(Size::Word, Place::data(a), value)?;
            }
        }
        let a = self.number(32, u32::from(vector) * 4);
        let target = self.read(Size::Long, Place::data(a))?;
        let (at, first) = self.jump_first(target)?;
        self.idle(2);
        self.jump_second(at, first)
    }
}

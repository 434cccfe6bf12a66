//! One vector on the processor: [`Runner`] sets the state, runs one instruction, enters its exception, and returns
//! what there is to see. No trace exception is entered: the data's description says that no vector contains one.

use std::num::Wrapping;

use keyway::cpu::{Cpu, Exception, Raised, Step};
use m68000::Registers;
use m68000::status_register::StatusRegister;

use super::bench::Bench;
use super::format::{PC, SR, SSP, USP, Vector};

/// A processor that is used again and again: what one vector leaves behind must not change the next.
#[derive(Default)]
pub struct Runner {
    cpu: Cpu,
}

/// What a vector did.
pub struct Seen {
    /// In the order of the file. PC is the address of the next instruction.
    pub values: [u32; 19],
    pub queue: [u16; 2],
    pub stopped: bool,
    pub bench: Bench,
    pub raised: Option<Raised>,
    pub double_fault: bool,
    /// Whether a trace follows on the exception that was entered.
    pub trace_due: bool,
}

impl Runner {
    pub fn run(&mut self, vector: &Vector) -> Seen {
        let mut bench = Bench::new(&vector.before.ram);
        self.cpu.start(registers(&vector.before.values));
        self.cpu.set_queue(vector.before.queue);
        let raised = match self.cpu.step(&mut bench) {
            Step::Ran => None,
            Step::Raised(raised) => Some(raised),
        };
        let double_fault = raised.is_some_and(|raised| !self.enter(&mut bench, &raised));
        Seen {
            values: values(&self.cpu),
            queue: self.cpu.queue(),
            stopped: self.cpu.stopped(),
            bench,
            raised,
            double_fault,
            trace_due: self.cpu.trace_due().is_some(),
        }
    }

    /// Enters an exception, but not a trace. Returns whether that went well.
    fn enter(&mut self, bench: &mut Bench, raised: &Raised) -> bool {
        if raised.exception == Exception::Trace {
            return true;
        }
        self.cpu.enter(bench, raised) == Ok(None)
    }
}

/// The registers of a state. Its PC is two words ahead of the instruction: the queue is full.
fn registers(values: &[u32; 19]) -> Registers {
    let mut registers = Registers::with_sr(StatusRegister::from(values[SR] as u16));
    registers.d = std::array::from_fn(|number| Wrapping(values[number]));
    registers.a = std::array::from_fn(|number| Wrapping(values[8 + number]));
    registers.usp = Wrapping(values[USP]);
    registers.ssp = Wrapping(values[SSP]);
    registers.pc = Wrapping(values[PC].wrapping_sub(4));
    registers
}

fn values(cpu: &Cpu) -> [u32; 19] {
    let registers = cpu.registers();
    let mut values = [0; 19];
    for (value, register) in values.iter_mut().zip(registers.d.iter().chain(&registers.a)) {
        *value = register.0;
    }
    values[USP] = registers.usp.0;
    values[SSP] = registers.ssp.0;
    values[SR] = u32::from(cpu.status());
    values[PC] = cpu.pc();
    values
}

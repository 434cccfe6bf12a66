//! One vector on a processor: [`Runner`] sets the state, runs one instruction, enters its exception, and returns
//! what there is to see. No trace exception is entered: the data's description says that no vector contains one.
//! The processor is keyway's, or the executor of proofs over numbers.

use std::num::Wrapping;

use keyway::cpu::{Cpu, Exception, Fault, Raised, Step};
use keyway::prove::execute::{self, Core, Number, OnMemory};
use m68000::Registers;
use m68000::status_register::StatusRegister;

use super::bench::Bench;
use super::format::{PC, SR, SSP, USP, Vector};

/// What can run a vector.
pub trait Runs {
    fn run(&mut self, vector: &Vector) -> Seen;
}

/// A processor that is used again and again: what one vector leaves behind must not change the next.
#[derive(Default)]
pub struct Runner {
    cpu: Cpu,
}

/// The executor. It has no state but a vector's.
#[derive(Default)]
pub struct Executor;

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

impl Runs for Runner {
    fn run(&mut self, vector: &Vector) -> Seen {
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
}

impl Runner {
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

impl Runs for Executor {
    fn run(&mut self, vector: &Vector) -> Seen {
        let mut bench = Bench::new(&vector.before.ram);
        let mut world = OnMemory::new(&mut bench);
        let mut core = Core::start(&mut world, &registers(&vector.before.values));
        core.queue = vector.before.queue.map(|word| Number::new(16, word.into()));
        let Ok(step) = core.step(&mut world);
        let raised = if let execute::Step::Raised(raised) = step { Some(raised) } else { None };
        let entered = raised.filter(|raised| raised.exception != Exception::Trace).map(|raised| {
            let Ok(entered) = core.enter(&mut world, &raised);
            entered
        });
        let status = core.status(&mut world);
        let mut values = [0; 19];
        let registers = core.data.iter().chain(&core.address).chain([&core.user_stack, &core.supervisor_stack]);
        for (value, register) in values.iter_mut().zip(registers.chain([&status])) {
            *value = register.bits as u32;
        }
        values[PC] = core.pc;
        Seen {
            values,
            queue: core.queue.map(|word| word.bits as u16),
            stopped: core.stopped,
            bench,
            raised: raised.map(|raised| plain(&raised)),
            double_fault: entered.is_some_and(|entered| entered != execute::Entered::Handler),
            trace_due: core.trace_due().is_some(),
        }
    }
}

/// An exception as the processor itself says it.
pub fn plain(raised: &execute::Raised<Number>) -> Raised {
    let fault = raised.fault.map(|fault| Fault {
        address: fault.address.bits as u32,
        kind: fault.kind,
        code: fault.code,
        instruction: fault.instruction.bits as u16,
        between: fault.between,
    });
    Raised { exception: raised.exception, pc: raised.pc, fault }
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

//! The same instruction on both processors: from a [`Start`] to what can be [`Seen`] afterwards.
//!
//! Exceptions are entered, so frames, vectors and the handler's first two words are part of it. A traced instruction
//! includes its trace.

use std::num::Wrapping;

use keyway::cpu::{Cpu, DoubleFault, Step};
use m68k::{CpuCore, CpuType, NoOpHleHandler, StepResult};
use m68000::Registers;

use super::flat::{Access, Flat};
use super::start::Start;

/// The state after an instruction.
#[derive(Clone, Debug, Default)]
pub struct Seen {
    pub d: [u32; 8],
    pub a: [u32; 7],
    pub usp: u32,
    pub ssp: u32,
    pub status: u16,
    pub pc: u32,
    pub queue: [u16; 2],
    pub stopped: bool,
    /// Vectors of the exceptions that were raised, in order.
    pub raised: Vec<u8>,
    /// Whether one of them was an address error, or could not be entered for one.
    pub address_error: bool,
    pub clocks: u32,
    pub journal: Vec<Access>,
}

/// Runs it on keyway's processor.
pub fn first(cpu: &mut Cpu, flat: &mut Flat, start: &Start) -> Seen {
    let mut registers = Registers { pc: Wrapping(start.pc), usp: Wrapping(start.usp), ..Registers::default() };
    registers.ssp.0 = start.ssp;
    registers.sr = start.status.into();
    registers.d = start.d.map(Wrapping);
    registers.a = start.a.map(Wrapping);
    cpu.start(registers);
    cpu.set_queue([start.opcode, start.extension[0]]);
    let mark = flat.mark();
    let mut seen = Seen::default();
    let mut next = match cpu.step(flat) {
        Step::Ran => None,
        Step::Raised(raised) => Some(raised),
    };
    while let Some(raised) = next {
        seen.raised.push(raised.exception.vector());
        let met = cpu.enter(flat, &raised).unwrap_or_else(|DoubleFault| {
            seen.raised.push(3);
            None
        });
        next = met.or_else(|| cpu.trace_due());
    }
    seen.address_error = seen.raised.contains(&3);
    let registers = *cpu.registers();
    seen.d = registers.d.map(|register| register.0);
    seen.a = registers.a.map(|register| register.0);
    (seen.usp, seen.ssp, seen.pc) = (registers.usp.0, registers.ssp.0, registers.pc.0);
    (seen.status, seen.queue, seen.stopped) = (cpu.status(), cpu.queue(), cpu.stopped());
    seen.clocks = flat.clock;
    seen.journal = flat.rewind(mark);
    seen
}

/// The exceptions of instructions that ran to their end: these are traced as well (UM 6.3.8, from memory).
fn completes(vector: u8) -> bool {
    matches!(vector, 5..=7 | 32..=47)
}

/// The second processor, at rest.
pub fn second() -> CpuCore {
    let mut cpu = CpuCore::new();
    cpu.set_cpu_type(CpuType::M68000);
    cpu
}

/// Runs it on the second processor.
pub fn second_runs(cpu: &mut CpuCore, flat: &mut Flat, start: &Start) -> Seen {
    prepare(cpu, start);
    let mark = flat.mark();
    let mut seen = Seen::default();
    step(cpu, flat, &mut seen);
    // In this mode it leaves tracing to its caller.
    let traced = cpu.sst_m68000_compat && start.traced();
    if traced && !seen.address_error && seen.raised.iter().all(|vector| completes(*vector)) {
        seen.clocks += cpu.exception_trace(flat) as u32;
        seen.raised.push(9);
        // Its stack may be odd by now, and so may the vector.
        seen.address_error |= cpu.run_mode != 0 || cpu.pc & 1 == 1;
    }
    seen.stopped = cpu.is_stopped();
    (seen.status, seen.pc, seen.queue) = (cpu.get_sr(), cpu.pc, cpu.prefetch_queue);
    seen.d = std::array::from_fn(|index| cpu.d(index));
    seen.a = std::array::from_fn(|index| cpu.a(index));
    cpu.set_sr(0x2700 | cpu.get_sr());
    (seen.usp, seen.ssp) = (cpu.get_usp(), cpu.a(7));
    seen.journal = flat.rewind(mark);
    seen
}

fn prepare(cpu: &mut CpuCore, start: &Start) {
    cpu.pulse_reset();
    cpu.exception_processing = false;
    // It has two sets of undefined flags. The published vectors bear out one for decimal instructions, which set N and
    // V by the digits, and the other for division.
    let decimal = start.opcode & 0xB1F0 == 0x8100 || matches!(start.opcode, 0x4800..0x4808 | 0x4810..0x483A);
    cpu.set_sst_m68000_compat(!decimal);
    cpu.set_sp(start.ssp);
    cpu.set_usp(start.usp);
    cpu.set_sr(start.status);
    for (index, value) in start.d.iter().enumerate() {
        cpu.set_d(index, *value);
    }
    for (index, value) in start.a.iter().enumerate() {
        cpu.set_a(index, *value);
    }
    cpu.pc = start.pc;
    cpu.prefetch_queue = [start.opcode, start.extension[0]];
    cpu.prefetch_count = 2;
}

/// One instruction, and its address error if there is one.
fn step(cpu: &mut CpuCore, flat: &mut Flat, seen: &mut Seen) {
    // It notices an odd target when it fetches from it: that is the second round.
    for round in 0..2 {
        if round == 1 && cpu.pc & 1 == 0 {
            break;
        }
        cpu.last_exception_vector = None;
        let StepResult::Ok { cycles } = cpu.step_with_hle_handler(flat, &mut NoOpHleHandler) else {
            panic!("the second processor did not step");
        };
        seen.clocks += cycles as u32;
        seen.raised.extend(cpu.last_exception_vector.map(|vector| vector as u8));
        // The last vector need not be the one: after an address error it goes through the motions of the rest.
        seen.address_error |= cpu.pc == flat.long(4 * 3);
    }
}

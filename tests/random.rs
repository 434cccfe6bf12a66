//! Random instructions from random states: against a second processor, and every opcode on a memory with holes.

mod fields;
mod flat;
mod known;
mod lockstep;
mod opcodes;
mod processors;
pub mod start;

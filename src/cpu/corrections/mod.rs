//! What the core may execute, and what is done here: a family of instructions a file, one small function each.
//!
//! [`table`] has an entry for each of the 65,536 opcodes. The core executes what it gets right: instructions on
//! registers and immediates. Everything that accesses memory is done here, bus cycle by bus cycle, since the core knows
//! neither their order nor the registers at a fault; so are the instructions whose flags or times it gets wrong, and
//! the register forms of MOVE, ADD, SUB, AND, OR and CMP, which come along with their memory forms.
//!
//! Sources: PRM for what an instruction does, UM section 8 for its time. The order of bus cycles and what the manuals
//! leave open is as observed in the published vectors (`tests/vectors.rs`).

mod arithmetic;
mod bits;
mod calls;
mod divide;
mod flow;
mod modify;
mod moves;
mod multiple;
mod status;
mod table;

use super::Cpu;
use super::access::Done;
use super::alu::Alu;
use super::exception::Exception;
use super::memory::Memory;
use table::{Family, family};

/// The exception that an opcode raises because the 68000 does not have it.
pub(super) fn undefined(opcode: u16) -> Option<Exception> {
    match family(opcode) {
        Family::Illegal => Some(Exception::Illegal),
        Family::LineA => Some(Exception::LineA),
        Family::LineF => Some(Exception::LineF),
        _ => None,
    }
}

impl Cpu {
    /// Executes the instruction at `at`, whose words are in the queue.
    #[inline]
    pub(super) fn execute<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let family = family(opcode);
        if let Some(length) = family.length_for_core() {
            return self.by_core(memory, length);
        }
        match family {
            // Done above: a test is quicker than a jump through a table.
            Family::Core1 | Family::Core2 | Family::Core3 => Ok(()),
            Family::OrTo => self.alu_to_register(memory, opcode, Alu::Or),
            Family::AndTo => self.alu_to_register(memory, opcode, Alu::And),
            Family::SubTo => self.alu_to_register(memory, opcode, Alu::Sub),
            Family::AddTo => self.alu_to_register(memory, opcode, Alu::Add),
            Family::CmpTo => self.alu_to_register(memory, opcode, Alu::Cmp),
            Family::OrMemory => self.alu_to_memory(memory, opcode, Alu::Or),
            Family::AndMemory => self.alu_to_memory(memory, opcode, Alu::And),
            Family::SubMemory => self.alu_to_memory(memory, opcode, Alu::Sub),
            Family::AddMemory => self.alu_to_memory(memory, opcode, Alu::Add),
            Family::EorMemory => self.alu_to_memory(memory, opcode, Alu::Eor),
            Family::SubAddress => self.alu_to_address(memory, opcode, Alu::Sub),
            Family::AddAddress => self.alu_to_address(memory, opcode, Alu::Add),
            Family::CmpAddress => self.alu_to_address(memory, opcode, Alu::Cmp),
            Family::ImmediateMemory => self.immediate_memory(memory, opcode),
            Family::AndLong => self.and_long(memory, opcode),
            Family::Quick => self.quick(memory, opcode),
            Family::Extended => self.extended_memory(memory, opcode),
            Family::Cmpm => self.cmpm(memory, opcode),
            Family::Decimal => self.decimal(memory, opcode),
            Family::Move => self.move_data(memory, opcode),
            Family::MoveAddress => self.move_address(memory, opcode),
            Family::Unary => self.unary(memory, opcode),
            Family::Clear => self.clear(memory, opcode),
            Family::Test => self.test(memory, opcode),
            Family::SetIf => self.set_if(memory, opcode),
            Family::TestAndSet => self.test_and_set(memory, opcode),
            Family::NegateDecimal => self.negate_decimal(memory, opcode),
            Family::ShiftMemory => self.shift_memory(memory, opcode),
            Family::ExtendWord => self.extend_word(memory, opcode),
            Family::BitTest => self.bit_test(memory, opcode),
            Family::BitChange => self.bit_change(memory, opcode),
            Family::MoveMultiple => self.move_multiple(memory, opcode),
            Family::MovePeripheral => self.move_peripheral(memory, opcode),
            Family::Multiply => self.multiply(memory, opcode),
            Family::DivideUnsigned => self.divide_unsigned(memory, opcode),
            Family::DivideSigned => self.divide_signed(memory, opcode),
            Family::Check => self.check(memory, opcode),
            Family::Branch => self.branch(memory, opcode),
            Family::BranchCall => self.branch_call(memory, opcode),
            Family::CountDown => self.count_down(memory, opcode),
            Family::Jump => self.jump_to(memory, opcode),
            Family::Call => self.call(memory, opcode),
            Family::LoadIndexed => self.load_indexed(memory, opcode),
            Family::PushAddress => self.push_address(memory, opcode),
            Family::Link => self.link(memory, opcode),
            Family::Unlink => self.unlink(memory, opcode),
            Family::Return => self.return_from(memory, opcode),
            Family::StatusImmediate => self.status_immediate(memory, opcode),
            Family::MoveToStatus => self.move_to_status(memory, opcode),
            Family::MoveFromStatus => self.move_from_status(memory, opcode),
            Family::UserStack => self.user_stack(memory, opcode),
            Family::Stop => self.stop(memory),
            Family::Reset => self.reset_devices(memory),
            Family::Trap => Err(self.raise(Exception::Trap(opcode as u8 & 15), self.at.wrapping_add(2))),
            Family::TrapOnOverflow => self.trap_on_overflow(memory),
            Family::Illegal => Err(self.raise(Exception::Illegal, self.at)),
            Family::LineA => Err(self.raise(Exception::LineA, self.at)),
            Family::LineF => Err(self.raise(Exception::LineF, self.at)),
        }
    }
}

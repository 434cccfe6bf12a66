//! The decoder: from an opcode to the function that executes it. Encodings from the PRM, section 4 and appendix.

use super::alu::Alu;
use super::{Ended, Processor, Run};
use crate::cpu::Exception;
use crate::prove::World;

/// The addressing mode in bits 5-0: 0 to 6 as encoded, 7 to 11 for abs.W, abs.L, d16(PC), index(PC) and immediate, 12
/// for none.
pub(super) fn mode(opcode: u16) -> u16 {
    match (opcode >> 3 & 7, opcode & 7) {
        (7, register @ 0..=4) => 7 + register,
        (7, _) => 12,
        (mode, _) => mode,
    }
}

fn data(mode: u16) -> bool {
    mode != 1 && mode <= 11
}

fn data_alterable(mode: u16) -> bool {
    mode != 1 && mode <= 8
}

fn memory_alterable(mode: u16) -> bool {
    (2..=8).contains(&mode)
}

fn control(mode: u16) -> bool {
    matches!(mode, 2 | 5..=10)
}

/// Registers and immediates: nothing that the bus sees.
fn off_bus(mode: u16) -> bool {
    matches!(mode, 0 | 1 | 11)
}

impl<W: World> Processor<'_, W> {
    /// Executes the instruction at `at`, whose words are in the queue.
    pub(super) fn execute(&mut self, opcode: u16) -> Run<W> {
        match opcode >> 12 {
            0x0 => self.immediate_or_bit(opcode),
            0x1..=0x3 => self.any_move(opcode),
            0x4 => self.miscellaneous(opcode),
            0x5 => self.quick_or_condition(opcode),
            0x6 if opcode >> 8 == 0x61 => self.branch_call(opcode),
            0x6 => self.branch(opcode),
            0x7 if opcode & 0x100 == 0 => self.move_quick(opcode),
            0x8 => self.or_or_divide(opcode),
            0x9 => self.add_or_sub(opcode, Alu::Sub),
            0xA => Err(self.raise(Exception::LineA, self.core.at)),
            0xB => self.compare_or_eor(opcode),
            0xC => self.and_or_multiply(opcode),
            0xD => self.add_or_sub(opcode, Alu::Add),
            0xE => self.any_shift(opcode),
            0xF => Err(self.raise(Exception::LineF, self.core.at)),
            _ => Err(self.illegal()),
        }
    }

    fn illegal(&self) -> Ended<W> {
        self.raise(Exception::Illegal, self.core.at)
    }

    fn immediate_or_bit(&mut self, opcode: u16) -> Run<W> {
        let (mode, size) = (mode(opcode), opcode >> 6 & 3);
        if opcode & 0x100 != 0 {
            return if mode == 1 { self.move_peripheral(opcode) } else { self.any_bit(opcode, data(mode)) };
        }
        match opcode >> 9 & 7 {
            4 => self.any_bit(opcode, data(mode) && mode != 11),
            7 => Err(self.illegal()),
            0 | 1 | 5 if opcode & 0x3F == 0x3C && size < 2 => self.status_immediate(opcode),
            _ if size == 3 || !data_alterable(mode) => Err(self.illegal()),
            1 if mode == 0 && size == 2 => self.and_long(opcode),
            _ if mode == 0 => self.immediate_register(opcode),
            _ => self.immediate_memory(opcode),
        }
    }

    fn any_bit(&mut self, opcode: u16, testable: bool) -> Run<W> {
        match (opcode >> 6 & 3, mode(opcode)) {
            (0, 0) => self.bit_test_register(opcode),
            (0, _) if testable => self.bit_test(opcode),
            (1..=3, mode) if data_alterable(mode) => self.bit_change(opcode),
            _ => Err(self.illegal()),
        }
    }

    fn any_move(&mut self, opcode: u16) -> Run<W> {
        let (source, to) = (mode(opcode), opcode >> 6 & 7);
        let byte = opcode >> 12 == 1;
        match to {
            _ if source > 11 || byte && source == 1 => Err(self.illegal()),
            1 if byte => Err(self.illegal()),
            7 if opcode >> 9 & 7 > 1 => Err(self.illegal()),
            1 if off_bus(source) => self.move_address_inline(opcode),
            1 => self.move_address(opcode),
            _ => self.move_data(opcode),
        }
    }

    fn miscellaneous(&mut self, opcode: u16) -> Run<W> {
        let mode = mode(opcode);
        if opcode & 0x100 != 0 {
            return match opcode >> 6 & 3 {
                2 if data(mode) => self.check_bounds(opcode),
                3 if control(mode) => self.load_address(opcode),
                _ => Err(self.illegal()),
            };
        }
        match (opcode >> 6 & 0x3F, mode) {
            (0x03, _) if data_alterable(mode) => self.move_from_status(opcode),
            (0x13 | 0x1B, _) if data(mode) => self.move_to_status(opcode),
            (0x20, _) if data_alterable(mode) => self.negate_decimal(opcode),
            (0x21, 0) => self.swap(opcode),
            (0x21, _) if control(mode) => self.push_address(opcode),
            (0x22, 0) => self.extend_word(opcode),
            (0x23, 0) => self.extend_long(opcode),
            (0x22 | 0x23, 2 | 4..=8) => self.move_multiple(opcode),
            (0x32 | 0x33, _) if control(mode) || mode == 3 => self.move_multiple(opcode),
            (0x39, _) => self.system(opcode),
            (0x3A, _) if control(mode) => self.call(opcode),
            (0x3B, _) if control(mode) => self.jump_to(opcode),
            _ if data_alterable(mode) => self.one_operand(opcode),
            _ => Err(self.illegal()),
        }
    }

    fn one_operand(&mut self, opcode: u16) -> Run<W> {
        let register = opcode >> 3 & 7 == 0;
        match opcode >> 6 & 0x3F {
            0x00..=0x02 | 0x10..=0x12 | 0x18..=0x1A if register => self.unary_register(opcode),
            0x00..=0x02 | 0x10..=0x12 | 0x18..=0x1A => self.unary(opcode),
            0x08..=0x0A if register => self.clear_register(opcode),
            0x08..=0x0A => self.clear_memory(opcode),
            0x28..=0x2A if register => self.test_register(opcode),
            0x28..=0x2A => self.test(opcode),
            0x2B if register => self.test_and_set_register(opcode),
            0x2B => self.test_and_set(opcode),
            _ => Err(self.illegal()),
        }
    }

    fn system(&mut self, opcode: u16) -> Run<W> {
        match opcode & 0x3F {
            0x00..=0x0F => Err(self.raise(Exception::Trap(opcode as u8 & 15), self.core.at.wrapping_add(2))),
            0x10..=0x17 => self.link(opcode),
            0x18..=0x1F => self.unlink(opcode),
            0x20..=0x2F => self.move_user_stack(opcode),
            0x30 => self.reset_devices(),
            0x31 => self.close(1),
            0x32 => self.stop(),
            0x33 | 0x35 | 0x37 => self.return_from(opcode),
            0x36 => self.trap_on_overflow(),
            _ => Err(self.illegal()),
        }
    }

    fn quick_or_condition(&mut self, opcode: u16) -> Run<W> {
        match (opcode >> 6 & 3, mode(opcode)) {
            (3, 0) => self.set_if_register(opcode),
            (3, 1) => self.count_down(opcode),
            (3, mode) if memory_alterable(mode) => self.set_if(opcode),
            (3, _) | (0, 1) | (_, 9..) => Err(self.illegal()),
            (_, 0) => self.quick_register(opcode),
            _ => self.quick(opcode),
        }
    }

    fn or_or_divide(&mut self, opcode: u16) -> Run<W> {
        match (opcode >> 6 & 7, mode(opcode)) {
            (3, mode) if data(mode) => self.divide_unsigned(opcode),
            (7, mode) if data(mode) => self.divide_signed(opcode),
            (0..=2, mode) if data(mode) => self.alu_to_register(opcode, Alu::Or),
            (4, 0 | 1) => self.decimal(opcode),
            (4..=6, mode) if memory_alterable(mode) => self.alu_to_memory(opcode, Alu::Or),
            _ => Err(self.illegal()),
        }
    }

    fn and_or_multiply(&mut self, opcode: u16) -> Run<W> {
        match (opcode >> 6 & 7, mode(opcode)) {
            (3 | 7, mode) if data(mode) => self.multiply(opcode),
            (0..=2, mode) if data(mode) => self.alu_to_register(opcode, Alu::And),
            (4, 0 | 1) => self.decimal(opcode),
            (5, 0 | 1) | (6, 1) => self.exchange(opcode),
            (4..=6, mode) if memory_alterable(mode) => self.alu_to_memory(opcode, Alu::And),
            _ => Err(self.illegal()),
        }
    }

    fn add_or_sub(&mut self, opcode: u16, alu: Alu) -> Run<W> {
        match (opcode >> 6 & 7, mode(opcode)) {
            (0, 1) | (_, 12) => Err(self.illegal()),
            (0..=2, _) => self.alu_to_register(opcode, alu),
            (3 | 7, mode) => self.any_to_address(opcode, alu, mode),
            (_, 0) => self.extended_register(opcode, alu == Alu::Add),
            (_, 1) => self.extended_memory(opcode, alu == Alu::Add),
            (_, mode) if memory_alterable(mode) => self.alu_to_memory(opcode, alu),
            _ => Err(self.illegal()),
        }
    }

    fn any_to_address(&mut self, opcode: u16, alu: Alu, mode: u16) -> Run<W> {
        if off_bus(mode) { self.alu_to_address_inline(opcode, alu) } else { self.alu_to_address(opcode, alu) }
    }

    fn compare_or_eor(&mut self, opcode: u16) -> Run<W> {
        match (opcode >> 6 & 7, mode(opcode)) {
            (0, 1) | (_, 12) => Err(self.illegal()),
            (0..=2, _) => self.alu_to_register(opcode, Alu::Cmp),
            (3 | 7, mode) => self.any_to_address(opcode, Alu::Cmp, mode),
            (_, 0) => self.eor_register(opcode),
            (_, 1) => self.compare_memory(opcode),
            (_, mode) if memory_alterable(mode) => self.alu_to_memory(opcode, Alu::Eor),
            _ => Err(self.illegal()),
        }
    }

    fn any_shift(&mut self, opcode: u16) -> Run<W> {
        if opcode >> 6 & 3 != 3 {
            self.shift_register(opcode)
        } else if opcode & 0x800 == 0 && memory_alterable(mode(opcode)) {
            self.shift_memory(opcode)
        } else {
            Err(self.illegal())
        }
    }
}

//! Which operand of an instruction lies at an odd address.
//!
//! The core reports an address error without the address; this computes the effective addresses of the instruction from
//! the registers before it, in the order of its bus cycles.

use m68000::Registers;
use m68000::addressing_modes::{AddressingMode, BriefExtensionWord};
use m68000::instruction::{Direction, Operands, Size};
use m68000::isa::Isa;

use crate::board::{AccessKind, BUS_MASK};
use crate::cpu::Decoded;

/// The first word or long access at an odd address, if there is one.
pub(super) fn find(decoded: &Decoded, registers: &Registers) -> Option<(u32, AccessKind)> {
    let mut finder = Finder { registers: *registers };
    finder
        .accesses(decoded)
        .into_iter()
        .find(|(address, _)| address & 1 == 1)
        .map(|(address, kind)| (address & BUS_MASK, kind))
}

struct Finder {
    registers: Registers,
}

impl Finder {
    fn accesses(&mut self, decoded: &Decoded) -> Vec<(u32, AccessKind)> {
        use AccessKind::{Fetch, Read, Write};
        let instruction = decoded.instruction();
        let isa = Isa::from(instruction.opcode);
        let stack = self.registers.sp();
        match instruction.operands {
            Operands::SizeEffectiveAddressEffectiveAddress(size, target, source) => {
                let mut list = self.operand(source, size, Read);
                list.extend(self.low_first(target, size, Write));
                list
            }
            Operands::SizeRegisterEffectiveAddress(size, _, mode)
            | Operands::RegisterSizeEffectiveAddress(_, size, mode)
            | Operands::SizeEffectiveAddress(size, mode)
            | Operands::SizeEffectiveAddressImmediate(size, mode, _)
            | Operands::DataSizeEffectiveAddress(_, size, mode)
            | Operands::RegisterDirectionSizeEffectiveAddress(_, _, size, mode) => self.operand(mode, size, Read),
            Operands::DirectionSizeEffectiveAddressList(direction, size, mode, _) => {
                let kind = if direction == Direction::MemoryToRegister { Read } else { Write };
                self.low_first(mode, size, kind)
            }
            Operands::RegisterSizeRegister(target, size, source) => {
                let mut list = self.operand(AddressingMode::Ariwpo(source), size, Read);
                list.extend(self.operand(AddressingMode::Ariwpo(target), size, Read));
                list
            }
            Operands::RegisterSizeModeRegister(target, size, Direction::MemoryToMemory, source) => {
                let mut list = self.low_first(AddressingMode::Ariwpr(source), size, Read);
                list.extend(self.low_first(AddressingMode::Ariwpr(target), size, Read));
                list
            }
            Operands::DirectionEffectiveAddress(_, mode) => self.operand(mode, Size::Word, Read),
            Operands::RegisterEffectiveAddress(_, mode) if isa != Isa::Lea => self.operand(mode, Size::Word, Read),
            Operands::EffectiveAddress(mode) => match isa {
                Isa::Jmp | Isa::Jsr => {
                    let mut list = if isa == Isa::Jsr { vec![(stack.wrapping_sub(4), Write)] } else { Vec::new() };
                    list.extend(self.address(mode, Size::Word).map(|target| (target, Fetch)));
                    list
                }
                Isa::Pea => vec![(stack.wrapping_sub(4), Write)],
                // MOVE from SR reads its operand before it writes it, as CLR does.
                Isa::Movefsr | Isa::Moveccr | Isa::Movesr => self.operand(mode, Size::Word, Read),
                _ => Vec::new(),
            },
            Operands::RegisterDisplacement(..) | Operands::Displacement(_) if isa != Isa::Bra => {
                vec![(stack.wrapping_sub(4), Write)]
            }
            Operands::Register(register) if isa == Isa::Unlk => vec![(self.registers.a(register), Read)],
            Operands::NoOperands if matches!(isa, Isa::Rts | Isa::Rte | Isa::Rtr) => vec![(stack, Read)],
            _ => Vec::new(),
        }
    }

    /// The access of an operand; bytes can lie anywhere, registers and immediates nowhere.
    fn operand(&mut self, mode: AddressingMode, size: Size, kind: AccessKind) -> Vec<(u32, AccessKind)> {
        let address = self.address(mode, size);
        address.filter(|_| size != Size::Byte).map(|address| (address, kind)).into_iter().collect()
    }

    /// The same where a long at -(An) is accessed low word first: by MOVE, MOVEM, ADDX and SUBX (observed on the chip).
    fn low_first(&mut self, mode: AddressingMode, size: Size, kind: AccessKind) -> Vec<(u32, AccessKind)> {
        let low = if size == Size::Long && matches!(mode, AddressingMode::Ariwpr(_)) { 2 } else { 0 };
        self.operand(mode, size, kind).into_iter().map(|(address, kind)| (address.wrapping_add(low), kind)).collect()
    }

    fn address(&mut self, mode: AddressingMode, size: Size) -> Option<u32> {
        let step = match (mode, size) {
            (AddressingMode::Ariwpo(7) | AddressingMode::Ariwpr(7), Size::Byte) => 2,
            _ => size as u32,
        };
        Some(match mode {
            AddressingMode::Ari(register) => self.registers.a(register),
            AddressingMode::Ariwpo(register) => {
                let address = self.registers.a(register);
                *self.registers.a_mut(register) += step;
                address
            }
            AddressingMode::Ariwpr(register) => {
                *self.registers.a_mut(register) -= step;
                self.registers.a(register)
            }
            AddressingMode::Ariwd(register, displacement) => {
                self.registers.a(register).wrapping_add(displacement as u32)
            }
            AddressingMode::Ariwi8(register, word) => self.indexed(self.registers.a(register), word),
            AddressingMode::AbsShort(address) => address as i16 as u32,
            AddressingMode::AbsLong(address) => address,
            AddressingMode::Pciwd(pc, displacement) => pc.wrapping_add(displacement as u32),
            AddressingMode::Pciwi8(pc, word) => self.indexed(pc, word),
            AddressingMode::Drd(_) | AddressingMode::Ard(_) | AddressingMode::Immediate(_) => return None,
        })
    }

    /// Base, index and displacement of a brief extension word (PRM figure 2-8).
    fn indexed(&self, base: u32, word: BriefExtensionWord) -> u32 {
        let number = (word.0 >> 12 & 7) as u8;
        let whole = if word.0 & 0x8000 == 0 { self.registers.d[number as usize].0 } else { self.registers.a(number) };
        let index = if word.0 & 0x0800 == 0 { whole as i16 as u32 } else { whole };
        base.wrapping_add(index).wrapping_add(word.disp() as u32)
    }
}

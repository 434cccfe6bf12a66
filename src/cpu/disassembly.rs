//! Machine code as a person reads it: Motorola syntax with symbols, and the two sides of a compare.
//!
//! The core's decoder does the decoding; this file only writes it down.

use m68000::MemoryAccess;
use m68000::addressing_modes::{AddressingMode, BriefExtensionWord};
use m68000::instruction::{Direction, Instruction, Operands, Size};
use m68000::isa::Isa;

use crate::board::{BUS_MASK, extension_words};
use crate::rom::Symbols;

/// A decoded instruction.
#[derive(Clone, Copy, Debug)]
pub struct Decoded {
    instruction: Instruction,
    /// Length in bytes, opcode included.
    pub length: u32,
}

/// The two operands of a compare or test.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Compare {
    /// Width in bytes.
    pub width: u32,
    /// What is compared; `None` for a test against zero.
    pub source: Option<AddressingMode>,
    /// What it is compared with.
    pub target: AddressingMode,
    /// For a test of one bit, its number if the instruction gives it.
    pub bit: Option<u8>,
}

/// Decodes the instruction at `at`; `word` gives the code.
pub fn decode(at: u32, word: impl Fn(u32) -> u16) -> Decoded {
    let opcode = word(at);
    let length = 2 + 2 * extension_words(opcode);
    let mut words: [u16; 5] = std::array::from_fn(|index| word(at.wrapping_add(2 * index as u32)));
    let instruction = Instruction::from_opcode(opcode, at, &mut words[..].iter_u16(2));
    Decoded { instruction: rebase(instruction, at), length }
}

/// The decoder counted from the copied words; PC-relative modes shall count from the instruction.
fn rebase(mut instruction: Instruction, at: u32) -> Instruction {
    use Operands::{
        EffectiveAddress, EffectiveAddressCount, RegisterDirectionSizeEffectiveAddress, RegisterEffectiveAddress,
        RegisterSizeEffectiveAddress, SizeEffectiveAddressEffectiveAddress, SizeRegisterEffectiveAddress,
    };
    let moved = |mode: &mut AddressingMode| {
        if let AddressingMode::Pciwd(pc, _) | AddressingMode::Pciwi8(pc, _) = mode {
            *pc = pc.wrapping_add(at);
        }
    };
    match &mut instruction.operands {
        EffectiveAddress(mode)
        | EffectiveAddressCount(mode, _)
        | RegisterEffectiveAddress(_, mode)
        | SizeRegisterEffectiveAddress(_, _, mode)
        | RegisterDirectionSizeEffectiveAddress(_, _, _, mode)
        | RegisterSizeEffectiveAddress(_, _, mode)
        | Operands::DirectionSizeEffectiveAddressList(_, _, mode, _) => moved(mode),
        SizeEffectiveAddressEffectiveAddress(_, target, source) => {
            moved(target);
            moved(source);
        }
        _ => {}
    }
    instruction
}

impl Decoded {
    /// Whether it is a branch that may or may not be taken (Bcc, DBcc).
    pub fn conditional(&self) -> bool {
        matches!(Isa::from(self.instruction.opcode), Isa::Bcc | Isa::Dbcc)
    }

    /// The operands of a compare or test, or of an instruction that leaves zero where both agree (SUB, EOR).
    pub fn compare(&self) -> Option<Compare> {
        let isa = Isa::from(self.instruction.opcode);
        let mut bit = None;
        let (width, source, target) = match (isa, self.instruction.operands) {
            (Isa::Cmp, Operands::RegisterDirectionSizeEffectiveAddress(register, _, size, mode)) => {
                (size as u32, Some(mode), AddressingMode::Drd(register))
            }
            (Isa::Cmpa, Operands::RegisterSizeEffectiveAddress(register, size, mode)) => {
                (size as u32, Some(mode), AddressingMode::Ard(register))
            }
            (Isa::Sub | Isa::Eor, Operands::RegisterDirectionSizeEffectiveAddress(register, _, size, mode)) => {
                (size as u32, Some(mode), AddressingMode::Drd(register))
            }
            (Isa::Cmpi | Isa::Subi | Isa::Eori, Operands::SizeEffectiveAddressImmediate(size, mode, value)) => {
                (size as u32, Some(AddressingMode::Immediate(value)), mode)
            }
            (Isa::Cmpm, Operands::RegisterSizeRegister(target, size, source)) => {
                (size as u32, Some(AddressingMode::Ariwpo(source)), AddressingMode::Ariwpo(target))
            }
            (Isa::Tst, Operands::SizeEffectiveAddress(size, mode)) => (size as u32, None, mode),
            (Isa::Btst, Operands::EffectiveAddressCount(mode, number)) => {
                bit = (self.instruction.opcode & 0x100 == 0).then_some(number);
                (if mode.is_drd() { 4 } else { 1 }, None, mode)
            }
            _ => return None,
        };
        Some(Compare { width, source, target, bit })
    }

    /// The data register that a MOVE loads, and how many bytes.
    pub fn loads(&self) -> Option<(u8, u32)> {
        match (Isa::from(self.instruction.opcode), self.instruction.operands) {
            (Isa::Move, Operands::SizeEffectiveAddressEffectiveAddress(size, AddressingMode::Drd(register), _)) => {
                Some((register, size as u32))
            }
            _ => None,
        }
    }

    /// Motorola syntax, in lower case, addresses with their symbols.
    pub fn text(&self, symbols: &Symbols) -> String {
        Writer { symbols, instruction: &self.instruction }.text()
    }

    /// The instruction as the core decodes it.
    pub fn instruction(&self) -> &Instruction {
        &self.instruction
    }
}

/// An address with its symbol: `0x0002AE <reject+4>`.
pub fn name_address(address: u32, symbols: &Symbols) -> String {
    let address = address & BUS_MASK;
    match symbols.at(address) {
        Some((name, 0)) => format!("0x{address:06X} <{name}>"),
        Some((name, offset)) => format!("0x{address:06X} <{name}+{offset}>"),
        None => format!("0x{address:06X}"),
    }
}

struct Writer<'a> {
    symbols: &'a Symbols,
    instruction: &'a Instruction,
}

impl Writer<'_> {
    fn text(&self) -> String {
        if Isa::from(self.instruction.opcode) == Isa::Unknown {
            return format!("dc.w 0x{:04X}", self.instruction.opcode);
        }
        let core = self.instruction.disassemble();
        let mnemonic = core.split(' ').next().unwrap_or_default().to_lowercase();
        let operands = self.operands();
        if operands.is_empty() { mnemonic } else { format!("{mnemonic} {operands}") }
    }

    fn operands(&self) -> String {
        use Operands as O;
        let isa = Isa::from(self.instruction.opcode);
        match self.instruction.operands {
            O::NoOperands => String::new(),
            O::Immediate(value) => match isa {
                Isa::Andiccr | Isa::Eoriccr | Isa::Oriccr => format!("#0x{value:02X},ccr"),
                Isa::Andisr | Isa::Eorisr | Isa::Orisr => format!("#0x{value:04X},sr"),
                _ => format!("#0x{value:04X}"),
            },
            O::SizeEffectiveAddressImmediate(size, mode, value) => {
                format!("{},{}", immediate(value, size), self.mode(mode))
            }
            O::EffectiveAddressCount(mode, count) => {
                let by_register = self.instruction.opcode & 0x100 != 0;
                format!("{}{count},{}", if by_register { 'd' } else { '#' }, self.mode(mode))
            }
            O::EffectiveAddress(mode) => match isa {
                Isa::Moveccr => format!("{},ccr", self.mode(mode)),
                Isa::Movesr => format!("{},sr", self.mode(mode)),
                Isa::Movefsr => format!("sr,{}", self.mode(mode)),
                _ => self.mode(mode),
            },
            O::SizeEffectiveAddress(_, mode) | O::ConditionEffectiveAddress(_, mode) => self.mode(mode),
            O::RegisterEffectiveAddress(register, mode) => {
                let bank = if isa == Isa::Lea { 'a' } else { 'd' };
                format!("{},{bank}{register}", self.mode(mode))
            }
            O::SizeRegisterEffectiveAddress(_, register, mode) | O::RegisterSizeEffectiveAddress(register, _, mode) => {
                format!("{},a{register}", self.mode(mode))
            }
            O::SizeEffectiveAddressEffectiveAddress(_, target, source) => {
                format!("{},{}", self.mode(source), self.mode(target))
            }
            O::RegisterDirectionSizeEffectiveAddress(register, direction, _, mode) => {
                let to_memory = direction == Direction::DstEa || isa == Isa::Eor;
                let mode = self.mode(mode);
                if to_memory { format!("d{register},{mode}") } else { format!("{mode},d{register}") }
            }
            O::DataSizeEffectiveAddress(data, _, mode) => format!("#{},{}", quick(data), self.mode(mode)),
            O::DirectionEffectiveAddress(_, mode) => self.mode(mode),
            O::DirectionSizeEffectiveAddressList(direction, _, mode, list) => {
                let reversed = matches!(mode, AddressingMode::Ariwpr(_));
                let (list, mode) = (register_list(list, reversed), self.mode(mode));
                if direction == Direction::MemoryToRegister {
                    format!("{mode},{list}")
                } else {
                    format!("{list},{mode}")
                }
            }
            _ => self.register_operands(isa),
        }
    }

    /// Operands that name registers, numbers and branch targets only.
    fn register_operands(&self, isa: Isa) -> String {
        use Operands as O;
        match self.instruction.operands {
            O::RegisterDirectionSizeRegisterDisplacement(data, direction, _, address, displacement) => {
                let memory = format!("{displacement}(a{address})");
                let store = direction == Direction::RegisterToMemory;
                if store { format!("d{data},{memory}") } else { format!("{memory},d{data}") }
            }
            O::RegisterOpmodeRegister(left, direction, right) => match direction {
                Direction::ExchangeData => format!("d{left},d{right}"),
                Direction::ExchangeAddress => format!("a{left},a{right}"),
                _ => format!("d{left},a{right}"),
            },
            O::OpmodeRegister(_, register) => format!("d{register}"),
            O::Vector(number) => format!("#{number}"),
            O::RegisterDisplacement(register, displacement) => format!("a{register},#{displacement}"),
            O::Register(register) => format!("{}{register}", if isa == Isa::Unlk { 'a' } else { 'd' }),
            O::DirectionRegister(Direction::UspToRegister, register) => format!("usp,a{register}"),
            O::DirectionRegister(_, register) => format!("a{register},usp"),
            O::ConditionRegisterDisplacement(_, register, displacement) => {
                format!("d{register},{}", self.target(displacement))
            }
            O::Displacement(displacement) | O::ConditionDisplacement(_, displacement) => self.target(displacement),
            O::RegisterData(register, data) => format!("#{data},d{register}"),
            O::RegisterSizeModeRegister(target, _, mode, source) => {
                let memory = mode == Direction::MemoryToMemory;
                if memory { format!("-(a{source}),-(a{target})") } else { format!("d{source},d{target}") }
            }
            O::RegisterSizeRegister(target, _, source) => format!("(a{source})+,(a{target})+"),
            O::RotationDirectionSizeModeRegister(count, _, _, by_register, register) => {
                if by_register {
                    format!("d{count},d{register}")
                } else {
                    format!("#{},d{register}", quick(count))
                }
            }
            _ => String::new(),
        }
    }

    fn target(&self, displacement: i16) -> String {
        let target = self.instruction.pc.wrapping_add(2).wrapping_add(displacement as u32);
        name_address(target, self.symbols)
    }

    fn mode(&self, mode: AddressingMode) -> String {
        match mode {
            AddressingMode::Drd(register) => format!("d{register}"),
            AddressingMode::Ard(register) => format!("a{register}"),
            AddressingMode::Ari(register) => format!("(a{register})"),
            AddressingMode::Ariwpo(register) => format!("(a{register})+"),
            AddressingMode::Ariwpr(register) => format!("-(a{register})"),
            AddressingMode::Ariwd(register, displacement) => format!("{displacement}(a{register})"),
            AddressingMode::Ariwi8(register, word) => format!("{}(a{register},{})", word.disp(), index(word)),
            AddressingMode::AbsShort(address) => name_address(address as i16 as u32, self.symbols),
            AddressingMode::AbsLong(address) => name_address(address, self.symbols),
            AddressingMode::Pciwd(pc, displacement) => {
                format!("{}(pc)", name_address(pc.wrapping_add(displacement as u32), self.symbols))
            }
            AddressingMode::Pciwi8(pc, word) => {
                let base = pc.wrapping_add(word.disp() as u32);
                format!("{}(pc,{})", name_address(base, self.symbols), index(word))
            }
            AddressingMode::Immediate(value) => immediate(value, Size::Long),
        }
    }
}

fn quick(count: u8) -> u8 {
    if count == 0 { 8 } else { count }
}

fn immediate(value: u32, size: Size) -> String {
    let value = match size {
        Size::Byte => value & 0xFF,
        Size::Word => value & 0xFFFF,
        Size::Long => value,
    };
    if value < 10 { format!("#{value}") } else { format!("#0x{value:X}") }
}

fn index(word: BriefExtensionWord) -> String {
    word.to_string().to_lowercase()
}

/// A MOVEM register list: `d0-d3/a6`. The mask is reversed for predecrement (PRM, MOVEM).
fn register_list(mask: u16, reversed: bool) -> String {
    let mask = if reversed { mask.reverse_bits() } else { mask };
    let names = |bank: char, bits: u16| {
        let mut parts = Vec::new();
        let mut register = 0;
        while register < 8 {
            if bits >> register & 1 == 1 {
                let first = register;
                while register < 7 && bits >> (register + 1) & 1 == 1 {
                    register += 1;
                }
                parts.push(if first == register {
                    format!("{bank}{first}")
                } else {
                    format!("{bank}{first}-{bank}{register}")
                });
            }
            register += 1;
        }
        parts
    };
    let mut parts = names('d', mask & 0xFF);
    parts.extend(names('a', mask >> 8));
    parts.join("/")
}

#[cfg(test)]
mod tests {
    use super::*;
    use pretty_assertions::assert_eq;

    /// Opcodes assembled by GNU as 2.40 (`m68k-linux-gnu-as -m68000`), read back in Motorola syntax.
    #[test]
    fn reads_like_the_source() {
        let cases: [(&[u16], &str); 20] = [
            (&[0xB308], "cmpm.b (a0)+,(a1)+"),
            (&[0x66FC], "bne 0x000FFE"),
            (&[0x6600, 0x0010], "bne 0x001012"),
            (&[0x51CF, 0xFFFC], "dbf d7,0x000FFE"),
            (&[0x0C39, 0x0041, 0x0020, 0x0180], "cmpi.b #0x41,0x200180"),
            (&[0x43FA, 0x0010], "lea 0x001012(pc),a1"),
            (&[0x13FC, 0x0001, 0x00B0, 0x0001], "move.b #1,0xB00001"),
            (&[0x48E7, 0xFFFE], "movem.l d0-d7/a0-a6,-(a7)"),
            (&[0x4CDF, 0x7FFF], "movem.l (a7)+,d0-d7/a0-a6"),
            (&[0xE359], "rol.w #1,d1"),
            (&[0x0839, 0x0000, 0x00B0, 0x0003], "btst #0,0xB00003"),
            (&[0x4E75], "rts"),
            (&[0x4E4F], "trap #15"),
            (&[0x46FC, 0x2700], "move #0x2700,sr"),
            (&[0x103B, 0x1004], "move.b 0x001006(pc,d1.w),d0"),
            (&[0x7007], "moveq.l #7,d0"),
            (&[0xFFFF], "dc.w 0xFFFF"),
            (&[0x5248], "addq.w #1,a0"),
            (&[0x4A79, 0x00E0, 0x0010], "tst.w 0xE00010"),
            (&[0x33C0, 0x00E0, 0x0012], "move.w d0,0xE00012"),
        ];
        for (words, text) in cases {
            let decoded = decode(0x1000, |at| words.get((at as usize - 0x1000) / 2).copied().unwrap_or(0));
            assert_eq!(decoded.text(&Symbols::default()), text);
            assert_eq!(decoded.length as usize, words.len() * 2, "{text}");
        }
    }

    #[test]
    fn every_opcode_can_be_written_down() {
        for opcode in 0..=u16::MAX {
            let decoded = decode(0, |at| if at == 0 { opcode } else { 0x1234 });
            assert!(!decoded.text(&Symbols::default()).is_empty());
        }
    }
}

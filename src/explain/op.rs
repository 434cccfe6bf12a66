//! What an instruction does with data, as far as marks are concerned.
//!
//! The decoder's operands are boiled down to an [`Op`], which says where bytes come from and where they go. It is made
//! once an address.

use m68000::addressing_modes::{AddressingMode, BriefExtensionWord};
use m68000::instruction::{Direction, Operands};
use m68000::isa::Isa;

use crate::cpu::Decoded;

/// An index register of an address.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Index {
    pub register: Register,
    pub long: bool,
}

/// A register by number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Register {
    Data(u8),
    Address(u8),
}

/// The registers of which an address is made.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Address {
    pub base: Option<u8>,
    pub index: Option<Index>,
    /// Whether the base register moves with the access.
    pub moves: bool,
}

/// Where an operand is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Loc {
    Register(Register),
    Memory(Address),
    Immediate(u32),
}

/// How two operands are combined.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Alu {
    Add,
    Sub,
    Cmp,
    And,
    Or,
    Eor,
}

/// What is done to one operand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Unary {
    Neg,
    /// NEGX and NBCD: with the extend flag.
    Extended,
    Not,
    Test,
    TestAndSet,
}

/// How bits move.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Shift {
    Logical,
    Arithmetic,
    Rotate,
    ThroughExtend,
}

/// What an instruction does with data. Sizes are in bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Op {
    /// Nothing.
    None,
    /// MOVE.
    Move { size: u32, from: Loc, to: Loc },
    /// MOVEA.
    MoveAddress { size: u32, from: Loc, to: u8 },
    /// CLR and MOVEQ.
    Constant { size: u32, to: Loc },
    /// LEA.
    Lea { from: Address, to: u8 },
    /// PEA.
    Pea { from: Address },
    /// ADD, SUB, CMP, AND, OR, EOR in all their forms but to address registers.
    Alu { alu: Alu, size: u32, from: Loc, to: Loc },
    /// ADDA, SUBA, CMPA, and ADDQ and SUBQ to an address register.
    AluAddress { alu: Alu, size: u32, from: Loc, to: u8 },
    /// ADDX, SUBX, ABCD, SBCD.
    AluExtended { size: u32, from: Loc, to: Loc },
    /// CMPM.
    CompareMemory { size: u32, from: Address, to: Address },
    /// NEG, NEGX, NBCD, NOT, TST, TAS.
    Unary { unary: Unary, size: u32, at: Loc },
    /// BTST, BCHG, BCLR, BSET.
    Bit { tests_only: bool, size: u32, number: Loc, at: Loc },
    /// Shifts and rotates; a left one moves bits up.
    Shift { shift: Shift, left: bool, size: u32, count: Loc, at: Loc },
    /// SWAP.
    Swap { register: u8 },
    /// EXT to this size.
    Extend { size: u32, register: u8 },
    /// EXG.
    Exchange { left: Register, right: Register },
    /// MULU, MULS, DIVU, DIVS.
    Product { divides: bool, from: Loc, to: u8 },
    /// CHK.
    Check { bound: Loc, register: u8 },
    /// Scc.
    Set { condition: u8, to: Loc },
    /// Bcc.
    Branch { condition: u8 },
    /// DBcc.
    CountedBranch { condition: u8, register: u8 },
    /// JMP and JSR.
    Jump { to: Address, calls: bool },
    /// BSR.
    Call,
    /// RTS, RTR, RTE: whether the status comes before the address, and whether it leaves a handler.
    Return { status: bool, handler: bool },
    /// MOVEM.
    Multiple { loads: bool, size: u32, list: u16, at: Address },
    /// MOVEP.
    Peripheral { loads: bool, size: u32, register: u8, at: Address },
    /// LINK.
    Link { register: u8 },
    /// UNLK.
    Unlink { register: u8 },
    /// MOVE to CCR (`size` 1) or SR (2).
    ToStatus { size: u32, from: Loc },
    /// MOVE from SR.
    FromStatus { to: Loc },
    /// ANDI, ORI, EORI to CCR or SR, which leave flags partly as they were.
    ChangeStatus,
    /// MOVE USP.
    UserStack { loads: bool, register: u8 },
    /// TRAPV.
    TrapOnOverflow,
    /// RESET.
    Reset,
}

const fn data(number: u8) -> Loc {
    Loc::Register(Register::Data(number))
}

const fn address(number: u8) -> Loc {
    Loc::Register(Register::Address(number))
}

const fn indirect(number: u8, moves: bool) -> Address {
    Address { base: Some(number), index: None, moves }
}

fn index(word: BriefExtensionWord) -> Option<Index> {
    let number = (word.0 >> 12 & 7) as u8;
    let register = if word.0 & 0x8000 == 0 { Register::Data(number) } else { Register::Address(number) };
    Some(Index { register, long: word.0 & 0x0800 != 0 })
}

fn loc(mode: AddressingMode) -> Loc {
    Loc::Memory(match mode {
        AddressingMode::Drd(number) => return data(number),
        AddressingMode::Ard(number) => return address(number),
        AddressingMode::Immediate(value) => return Loc::Immediate(value),
        AddressingMode::Ari(number) | AddressingMode::Ariwd(number, _) => indirect(number, false),
        AddressingMode::Ariwpo(number) | AddressingMode::Ariwpr(number) => indirect(number, true),
        AddressingMode::Ariwi8(number, word) => Address { base: Some(number), index: index(word), moves: false },
        AddressingMode::Pciwi8(_, word) => Address { base: None, index: index(word), moves: false },
        AddressingMode::AbsShort(_) | AddressingMode::AbsLong(_) | AddressingMode::Pciwd(..) => Address::default(),
    })
}

fn place(mode: AddressingMode) -> Address {
    match loc(mode) {
        Loc::Memory(address) => address,
        _ => Address::default(),
    }
}

impl Op {
    /// The data side of an instruction.
    pub fn of(decoded: &Decoded) -> Op {
        let instruction = decoded.instruction();
        let isa = Isa::from(instruction.opcode);
        two_operands(isa, instruction.operands)
            .or_else(|| one_operand(isa, instruction.operands, instruction.opcode))
            .or_else(|| flow(isa, instruction.operands))
            .or_else(|| system(isa, instruction.operands))
            .unwrap_or(Op::None)
    }
}

fn two_operands(isa: Isa, operands: Operands) -> Option<Op> {
    use Operands as O;
    let alu = match isa {
        Isa::Add | Isa::Addi | Isa::Addq | Isa::Adda => Alu::Add,
        Isa::Sub | Isa::Subi | Isa::Subq | Isa::Suba => Alu::Sub,
        Isa::Cmp | Isa::Cmpi | Isa::Cmpa => Alu::Cmp,
        Isa::And | Isa::Andi => Alu::And,
        Isa::Or | Isa::Ori => Alu::Or,
        _ => Alu::Eor,
    };
    Some(match (isa, operands) {
        (Isa::Move, O::SizeEffectiveAddressEffectiveAddress(size, to, from)) => {
            Op::Move { size: size as u32, from: loc(from), to: loc(to) }
        }
        (Isa::Movea, O::SizeRegisterEffectiveAddress(size, to, from)) => {
            Op::MoveAddress { size: size as u32, from: loc(from), to }
        }
        (Isa::Moveq, O::RegisterData(register, _)) => Op::Constant { size: 4, to: data(register) },
        (Isa::Lea, O::RegisterEffectiveAddress(to, from)) => Op::Lea { from: place(from), to },
        (Isa::Mulu | Isa::Muls | Isa::Divu | Isa::Divs, O::RegisterEffectiveAddress(to, from)) => {
            Op::Product { divides: matches!(isa, Isa::Divu | Isa::Divs), from: loc(from), to }
        }
        (Isa::Chk, O::RegisterEffectiveAddress(register, bound)) => Op::Check { bound: loc(bound), register },
        (
            Isa::Addi | Isa::Subi | Isa::Cmpi | Isa::Andi | Isa::Ori | Isa::Eori,
            O::SizeEffectiveAddressImmediate(size, to, value),
        ) => Op::Alu { alu, size: size as u32, from: Loc::Immediate(value), to: loc(to) },
        (Isa::Addq | Isa::Subq, O::DataSizeEffectiveAddress(value, size, to)) => {
            let from = Loc::Immediate(if value == 0 { 8 } else { u32::from(value) });
            match loc(to) {
                Loc::Register(Register::Address(to)) => Op::AluAddress { alu, size: 4, from, to },
                to => Op::Alu { alu, size: size as u32, from, to },
            }
        }
        (_, O::RegisterDirectionSizeEffectiveAddress(register, direction, size, mode)) => {
            let to_mode = direction == Direction::DstEa || isa == Isa::Eor;
            let (from, to) = if to_mode { (data(register), loc(mode)) } else { (loc(mode), data(register)) };
            Op::Alu { alu, size: size as u32, from, to }
        }
        (Isa::Adda | Isa::Suba | Isa::Cmpa, O::RegisterSizeEffectiveAddress(to, size, from)) => {
            Op::AluAddress { alu, size: size as u32, from: loc(from), to }
        }
        (_, O::RegisterSizeModeRegister(to, size, mode, from)) => {
            let size = if matches!(isa, Isa::Abcd | Isa::Sbcd) { 1 } else { size as u32 };
            let memory = mode == Direction::MemoryToMemory;
            let place = |number| if memory { Loc::Memory(indirect(number, true)) } else { data(number) };
            Op::AluExtended { size, from: place(from), to: place(to) }
        }
        (Isa::Cmpm, O::RegisterSizeRegister(to, size, from)) => {
            Op::CompareMemory { size: size as u32, from: indirect(from, true), to: indirect(to, true) }
        }
        (Isa::Exg, O::RegisterOpmodeRegister(left, direction, right)) => match direction {
            Direction::ExchangeData => Op::Exchange { left: Register::Data(left), right: Register::Data(right) },
            Direction::ExchangeAddress => {
                Op::Exchange { left: Register::Address(left), right: Register::Address(right) }
            }
            _ => Op::Exchange { left: Register::Data(left), right: Register::Address(right) },
        },
        (Isa::Bchg | Isa::Bclr | Isa::Bset | Isa::Btst, O::EffectiveAddressCount(..)) => return None,
        _ => return None,
    })
}

fn one_operand(isa: Isa, operands: Operands, opcode: u16) -> Option<Op> {
    use Operands as O;
    let shift = match isa {
        Isa::Asm | Isa::Asr => Shift::Arithmetic,
        Isa::Lsm | Isa::Lsr => Shift::Logical,
        Isa::Rom | Isa::Ror => Shift::Rotate,
        _ => Shift::ThroughExtend,
    };
    Some(match (isa, operands) {
        (Isa::Clr, O::SizeEffectiveAddress(size, to)) => Op::Constant { size: size as u32, to: loc(to) },
        (Isa::Neg | Isa::Negx | Isa::Not | Isa::Tst, O::SizeEffectiveAddress(size, at)) => {
            let unary = match isa {
                Isa::Neg => Unary::Neg,
                Isa::Negx => Unary::Extended,
                Isa::Not => Unary::Not,
                _ => Unary::Test,
            };
            Op::Unary { unary, size: size as u32, at: loc(at) }
        }
        (Isa::Nbcd, O::EffectiveAddress(at)) => Op::Unary { unary: Unary::Extended, size: 1, at: loc(at) },
        (Isa::Tas, O::EffectiveAddress(at)) => Op::Unary { unary: Unary::TestAndSet, size: 1, at: loc(at) },
        (Isa::Pea, O::EffectiveAddress(from)) => Op::Pea { from: place(from) },
        (Isa::Bchg | Isa::Bclr | Isa::Bset | Isa::Btst, O::EffectiveAddressCount(at, number)) => {
            let by_register = opcode & 0x100 != 0;
            let number = if by_register { data(number) } else { Loc::Immediate(u32::from(number)) };
            let size = if at.is_drd() { 4 } else { 1 };
            Op::Bit { tests_only: isa == Isa::Btst, size, number, at: loc(at) }
        }
        (_, O::DirectionEffectiveAddress(direction, at)) => {
            Op::Shift { shift, left: direction == Direction::Left, size: 2, count: Loc::Immediate(1), at: loc(at) }
        }
        (_, O::RotationDirectionSizeModeRegister(count, direction, size, by_register, register)) => {
            let constant = if count == 0 { 8 } else { u32::from(count) };
            let count = if by_register { data(count) } else { Loc::Immediate(constant) };
            Op::Shift { shift, left: direction == Direction::Left, size: size as u32, count, at: data(register) }
        }
        (Isa::Swap, O::Register(register)) => Op::Swap { register },
        // Bit 6 of the opcode: from word to long, or from byte to word (PRM, EXT).
        (Isa::Ext, O::OpmodeRegister(_, register)) => {
            Op::Extend { size: if opcode & 0x40 == 0 { 2 } else { 4 }, register }
        }
        (Isa::Scc, O::ConditionEffectiveAddress(condition, to)) => Op::Set { condition, to: loc(to) },
        _ => return None,
    })
}

fn flow(isa: Isa, operands: Operands) -> Option<Op> {
    use Operands as O;
    Some(match (isa, operands) {
        (Isa::Bcc, O::ConditionDisplacement(condition, _)) => Op::Branch { condition },
        (Isa::Dbcc, O::ConditionRegisterDisplacement(condition, register, _)) => {
            Op::CountedBranch { condition, register }
        }
        (Isa::Jmp | Isa::Jsr, O::EffectiveAddress(to)) => Op::Jump { to: place(to), calls: isa == Isa::Jsr },
        (Isa::Bsr, _) => Op::Call,
        (Isa::Rts, _) => Op::Return { status: false, handler: false },
        (Isa::Rte | Isa::Rtr, _) => Op::Return { status: true, handler: isa == Isa::Rte },
        (Isa::Trapv, _) => Op::TrapOnOverflow,
        _ => return None,
    })
}

fn system(isa: Isa, operands: Operands) -> Option<Op> {
    use Operands as O;
    Some(match (isa, operands) {
        (Isa::Movem, O::DirectionSizeEffectiveAddressList(direction, size, at, list)) => {
            let reversed = matches!(at, AddressingMode::Ariwpr(_));
            let list = if reversed { list.reverse_bits() } else { list };
            let loads = direction == Direction::MemoryToRegister;
            Op::Multiple { loads, size: size as u32, list, at: place(at) }
        }
        (Isa::Movep, O::RegisterDirectionSizeRegisterDisplacement(register, direction, size, base, _)) => {
            let loads = direction == Direction::MemoryToRegister;
            Op::Peripheral { loads, size: size as u32, register, at: indirect(base, false) }
        }
        (Isa::Link, O::RegisterDisplacement(register, _)) => Op::Link { register },
        (Isa::Unlk, O::Register(register)) => Op::Unlink { register },
        (Isa::Moveccr, O::EffectiveAddress(from)) => Op::ToStatus { size: 1, from: loc(from) },
        (Isa::Movesr, O::EffectiveAddress(from)) => Op::ToStatus { size: 2, from: loc(from) },
        (Isa::Movefsr, O::EffectiveAddress(to)) => Op::FromStatus { to: loc(to) },
        (Isa::Moveusp, O::DirectionRegister(direction, register)) => {
            Op::UserStack { loads: direction == Direction::UspToRegister, register }
        }
        (Isa::Andiccr | Isa::Oriccr | Isa::Eoriccr | Isa::Andisr | Isa::Orisr | Isa::Eorisr, _) => Op::ChangeStatus,
        (Isa::Reset, _) => Op::Reset,
        _ => return None,
    })
}

//! The table: what executes each of the 65,536 opcodes. Encodings from the PRM, section 4 and appendix.

/// What executes an opcode.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub(super) enum Family {
    /// The core; the instruction is one word long.
    Core1,
    /// The core, two words.
    Core2,
    /// The core, three words.
    Core3,
    OrTo,
    AndTo,
    SubTo,
    AddTo,
    CmpTo,
    OrMemory,
    AndMemory,
    SubMemory,
    AddMemory,
    EorMemory,
    SubAddress,
    AddAddress,
    CmpAddress,
    ImmediateMemory,
    AndLong,
    Quick,
    Extended,
    Cmpm,
    Decimal,
    Move,
    MoveAddress,
    Unary,
    Clear,
    Test,
    SetIf,
    TestAndSet,
    NegateDecimal,
    ShiftMemory,
    ExtendWord,
    BitTest,
    BitChange,
    MoveMultiple,
    MovePeripheral,
    Multiply,
    DivideUnsigned,
    DivideSigned,
    Check,
    Branch,
    BranchCall,
    CountDown,
    Jump,
    Call,
    LoadIndexed,
    PushAddress,
    Link,
    Unlink,
    Return,
    StatusImmediate,
    MoveToStatus,
    MoveFromStatus,
    UserStack,
    Stop,
    Reset,
    Trap,
    TrapOnOverflow,
    Illegal,
    LineA,
    LineF,
}

impl Family {
    /// The length in words, if the core executes it.
    #[inline]
    pub fn length_for_core(self) -> Option<u32> {
        let length = self as u32 + 1;
        (length <= 3).then_some(length)
    }
}

use Family as F;

#[allow(long_running_const_eval)]
static TABLE: [Family; 0x1_0000] = {
    let mut table = [Family::Illegal; 0x1_0000];
    let mut opcode = 0;
    while opcode < table.len() {
        table[opcode] = classify(opcode as u16);
        opcode += 1;
    }
    table
};

/// What executes an opcode.
#[inline]
pub(super) fn family(opcode: u16) -> Family {
    TABLE[opcode as usize]
}

/// The addressing mode in bits 5-0: 0 to 6 as encoded, 7 to 11 for abs.W, abs.L, d16(PC), index(PC) and immediate, 12
/// for none.
const fn mode(opcode: u16) -> u16 {
    let (mode, register) = (opcode >> 3 & 7, opcode & 7);
    if mode < 7 {
        mode
    } else if register < 5 {
        7 + register
    } else {
        12
    }
}

const fn any(mode: u16) -> bool {
    mode <= 11
}

const fn data(mode: u16) -> bool {
    mode != 1 && any(mode)
}

const fn alterable(mode: u16) -> bool {
    mode <= 8
}

const fn data_alterable(mode: u16) -> bool {
    mode != 1 && alterable(mode)
}

const fn memory_alterable(mode: u16) -> bool {
    mode >= 2 && alterable(mode)
}

const fn control(mode: u16) -> bool {
    matches!(mode, 2 | 5..=10)
}

/// Registers and immediates: nothing that the bus sees.
const fn off_bus(mode: u16) -> bool {
    matches!(mode, 0 | 1 | 11)
}

const fn illegal_unless(legal: bool, family: Family) -> Family {
    if legal { family } else { F::Illegal }
}

/// The core, for an instruction whose operand is a register or an immediate of this size (bits 7-6 as usual).
const fn core_for(mode: u16, long: bool) -> Family {
    match (mode == 11, long) {
        (false, _) => F::Core1,
        (true, false) => F::Core2,
        (true, true) => F::Core3,
    }
}

const fn classify(opcode: u16) -> Family {
    match opcode >> 12 {
        0x0 => immediate_or_bit(opcode),
        0x1..=0x3 => move_(opcode),
        0x4 => miscellaneous(opcode),
        0x5 => quick_or_condition(opcode),
        0x6 if opcode >> 8 == 0x61 => F::BranchCall,
        0x6 => F::Branch,
        0x7 => illegal_unless(opcode & 0x100 == 0, F::Core1),
        0x8 => or_or_divide(opcode),
        0x9 => add_or_sub(opcode, F::SubTo, F::SubMemory, F::SubAddress),
        0xA => F::LineA,
        0xB => compare_or_eor(opcode),
        0xC => and_or_multiply(opcode),
        0xD => add_or_sub(opcode, F::AddTo, F::AddMemory, F::AddAddress),
        0xE => shift(opcode),
        _ => F::LineF,
    }
}

const fn immediate_or_bit(opcode: u16) -> Family {
    let mode = mode(opcode);
    let size = opcode >> 6 & 3;
    if opcode & 0x100 != 0 {
        return if mode == 1 { F::MovePeripheral } else { bit(size, mode, data(mode), F::Core1) };
    }
    match opcode >> 9 & 7 {
        4 => bit(size, mode, data(mode) && mode != 11, F::Core2),
        7 => F::Illegal,
        operation => {
            if opcode & 0x3F == 0x3C && size < 2 && matches!(operation, 0 | 1 | 5) {
                return F::StatusImmediate;
            }
            if size == 3 || !data_alterable(mode) {
                return F::Illegal;
            }
            match (mode, size) {
                (0, 2) if operation == 1 => F::AndLong,
                (0, 2) => F::Core3,
                (0, _) => F::Core2,
                _ => F::ImmediateMemory,
            }
        }
    }
}

const fn bit(operation: u16, mode: u16, testable: bool, register: Family) -> Family {
    match (operation, mode) {
        (0, 0) => register,
        (0, _) => illegal_unless(testable, F::BitTest),
        _ => illegal_unless(data_alterable(mode), F::BitChange),
    }
}

const fn move_(opcode: u16) -> Family {
    let (source, to) = (mode(opcode), opcode >> 6 & 7);
    let byte = opcode >> 12 == 1;
    let long = opcode >> 12 == 2;
    if !any(source) || byte && (source == 1 || to == 1) || to == 7 && opcode >> 9 & 7 > 1 {
        return F::Illegal;
    }
    match (to, off_bus(source)) {
        (1, true) => core_for(source, long),
        (1, false) => F::MoveAddress,
        _ => F::Move,
    }
}

const fn miscellaneous(opcode: u16) -> Family {
    let mode = mode(opcode);
    if opcode & 0x100 != 0 {
        return match opcode >> 6 & 3 {
            2 => illegal_unless(data(mode), F::Check),
            3 => load_address(mode),
            _ => F::Illegal,
        };
    }
    match opcode >> 6 & 0x3F {
        0x03 => illegal_unless(data_alterable(mode), F::MoveFromStatus),
        0x13 | 0x1B => illegal_unless(data(mode), F::MoveToStatus),
        0x00..=0x02 | 0x10..=0x12 | 0x18..=0x1A => one_operand(mode, F::Unary),
        0x08..=0x0A => one_operand(mode, F::Clear),
        0x28..=0x2A => one_operand(mode, F::Test),
        0x20 => illegal_unless(data_alterable(mode), F::NegateDecimal),
        0x21 if mode == 0 => F::Core1,
        0x21 => illegal_unless(control(mode), F::PushAddress),
        0x22 if mode == 0 => F::ExtendWord,
        0x23 if mode == 0 => F::Core1,
        0x22 | 0x23 => illegal_unless(control(mode) && mode <= 8 || mode == 4, F::MoveMultiple),
        0x32 | 0x33 => illegal_unless(control(mode) || mode == 3, F::MoveMultiple),
        0x2B => one_operand(mode, F::TestAndSet),
        0x39 => system(opcode),
        0x3A => illegal_unless(control(mode), F::Call),
        0x3B => illegal_unless(control(mode), F::Jump),
        _ => F::Illegal,
    }
}

const fn one_operand(mode: u16, family: Family) -> Family {
    match mode {
        0 => F::Core1,
        _ => illegal_unless(memory_alterable(mode), family),
    }
}

/// LEA touches nothing on the bus but its own words; with an index they come with pauses between.
const fn load_address(mode: u16) -> Family {
    match mode {
        2 => F::Core1,
        5 | 7 | 9 => F::Core2,
        6 | 10 => F::LoadIndexed,
        8 => F::Core3,
        _ => F::Illegal,
    }
}

const fn system(opcode: u16) -> Family {
    match opcode & 0x3F {
        0x00..=0x0F => F::Trap,
        0x10..=0x17 => F::Link,
        0x18..=0x1F => F::Unlink,
        0x20..=0x2F => F::UserStack,
        0x30 => F::Reset,
        0x31 => F::Core1,
        0x32 => F::Stop,
        0x33 | 0x35 | 0x37 => F::Return,
        0x36 => F::TrapOnOverflow,
        _ => F::Illegal,
    }
}

const fn quick_or_condition(opcode: u16) -> Family {
    let mode = mode(opcode);
    match (opcode >> 6 & 3, mode) {
        (3, 0) => F::Core1,
        (3, 1) => F::CountDown,
        (3, _) => illegal_unless(memory_alterable(mode), F::SetIf),
        (_, 0) => F::Core1,
        (0, 1) => F::Illegal,
        _ => illegal_unless(alterable(mode), F::Quick),
    }
}

const fn or_or_divide(opcode: u16) -> Family {
    let mode = mode(opcode);
    match (opcode >> 6 & 7, mode) {
        (3, _) => illegal_unless(data(mode), F::DivideUnsigned),
        (7, _) => illegal_unless(data(mode), F::DivideSigned),
        (0..=2, _) => illegal_unless(data(mode), F::OrTo),
        (4, 0 | 1) => F::Decimal,
        _ => illegal_unless(memory_alterable(mode), F::OrMemory),
    }
}

const fn and_or_multiply(opcode: u16) -> Family {
    let mode = mode(opcode);
    match (opcode >> 6 & 7, mode) {
        (3 | 7, _) => illegal_unless(data(mode), F::Multiply),
        (0..=2, _) => illegal_unless(data(mode), F::AndTo),
        (4, 0 | 1) => F::Decimal,
        (5, 0 | 1) | (6, 1) => F::Core1,
        _ => illegal_unless(memory_alterable(mode), F::AndMemory),
    }
}

const fn add_or_sub(opcode: u16, to: Family, memory: Family, address: Family) -> Family {
    let mode = mode(opcode);
    match (opcode >> 6 & 7, mode) {
        (0, 1) => F::Illegal,
        (0..=2, _) => illegal_unless(any(mode), to),
        (3 | 7, _) => into_address(opcode, address),
        (_, 0) => F::Core1,
        (_, 1) => F::Extended,
        _ => illegal_unless(memory_alterable(mode), memory),
    }
}

const fn into_address(opcode: u16, family: Family) -> Family {
    let mode = mode(opcode);
    match (any(mode), off_bus(mode)) {
        (false, _) => F::Illegal,
        (true, true) => core_for(mode, opcode & 0x100 != 0),
        (true, false) => family,
    }
}

const fn compare_or_eor(opcode: u16) -> Family {
    let mode = mode(opcode);
    match (opcode >> 6 & 7, mode) {
        (0, 1) => F::Illegal,
        (0..=2, _) => illegal_unless(any(mode), F::CmpTo),
        (3 | 7, _) => into_address(opcode, F::CmpAddress),
        (_, 0) => F::Core1,
        (_, 1) => F::Cmpm,
        _ => illegal_unless(memory_alterable(mode), F::EorMemory),
    }
}

const fn shift(opcode: u16) -> Family {
    if opcode >> 6 & 3 != 3 {
        return F::Core1;
    }
    illegal_unless(opcode & 0x800 == 0 && memory_alterable(mode(opcode)), F::ShiftMemory)
}

//! One instruction at a time on a flat memory: [`Bench`] sets everything up, runs one step and keeps what came of it.
//!
//! [`Flat`] is 64 KiB that repeat through the address space. It counts clocks, reads and writes, and keeps the
//! addresses of the data accesses.

use keyway::cpu::{Cpu, FunctionCode, Memory, Raised, Step, registers};
use keyway::noise::Noise;
use m68000::Registers;

/// Where the instruction is.
pub const CODE: u32 = 0x1000;
/// The supervisor stack pointer at the start.
pub const STACK: u32 = 0x8000;
/// The user stack pointer at the start.
pub const USER_STACK: u32 = 0x7000;
/// What A0 to A6 point to: `DATA + n * 0x100`.
pub const DATA: u32 = 0x4000;
/// Every vector points here.
pub const HANDLER: u32 = 0x2000;
/// Nothing acknowledges from here on, for a mebibyte.
pub const NOWHERE: u32 = 0x80_0000;
/// Supervisor state, interrupts masked, all condition codes clear.
pub const SUPERVISOR: u16 = 0x2700;

const NOP: u16 = 0x4E71;

/// Operands where carries, signs and sizes change, for every size.
const EDGES: [u32; 18] = [
    0,
    1,
    2,
    0x7F,
    0x80,
    0xFF,
    0x100,
    0x7FFF,
    0x8000,
    0xFFFF,
    0x1_0000,
    0x7FFF_FFFF,
    0x8000_0000,
    0x8000_8080,
    0xFFFF_0000,
    0xFFFF_FF00,
    0xFFFF_FFFE,
    0xFFFF_FFFF,
];

/// An operand: an edge as often as noise.
pub fn operand(noise: &mut Noise) -> u32 {
    if noise.coin() { EDGES[noise.word() as usize % EDGES.len()] } else { noise.bits() as u32 }
}

/// All ones in the low `bits`.
pub fn mask(bits: u32) -> u32 {
    u32::MAX >> (32 - bits)
}

/// The low `bits` of a value as a signed number.
pub fn signed(value: u32, bits: u32) -> i64 {
    let low = i64::from(value & mask(bits));
    if low >> (bits - 1) == 1 { low - (1 << bits) } else { low }
}

/// The memory.
pub struct Flat {
    bytes: Vec<u8>,
    pub clocks: u32,
    pub reads: u32,
    pub writes: u32,
    pub resets: u32,
    /// The data accesses since the step began: all 32 bits of the address, in order.
    pub accesses: Vec<u32>,
}

impl Flat {
    fn new() -> Self {
        let mut flat =
            Self { bytes: vec![0; 0x1_0000], clocks: 0, reads: 0, writes: 0, resets: 0, accesses: Vec::new() };
        for vector in 2..256 {
            flat.put_long(vector * 4, HANDLER);
        }
        flat.put(HANDLER, &[NOP, NOP]);
        flat
    }

    pub fn put(&mut self, address: u32, words: &[u16]) {
        for (index, word) in words.iter().enumerate() {
            let at = (address as usize + 2 * index) & 0xFFFF;
            self.bytes[at..at + 2].copy_from_slice(&word.to_be_bytes());
        }
    }

    pub fn put_long(&mut self, address: u32, value: u32) {
        self.put(address, &[(value >> 16) as u16, value as u16]);
    }

    /// The `bits` at an address.
    pub fn peek(&self, address: u32, bits: u32) -> u32 {
        let at = (address & 0xFFFF) as usize;
        self.bytes[at..at + bits as usize / 8].iter().fold(0, |value, byte| value << 8 | u32::from(*byte))
    }

    /// Puts the low `bits` of a value.
    pub fn poke(&mut self, address: u32, value: u32, bits: u32) {
        for (index, byte) in value.to_be_bytes()[4 - bits as usize / 8..].iter().enumerate() {
            self.bytes[(address as usize + index) & 0xFFFF] = *byte;
        }
    }

    fn forget(&mut self) {
        (self.clocks, self.reads, self.writes) = (0, 0, 0);
        self.accesses.clear();
    }

    /// Counts a bus cycle. UM 5: a word lies at an even address, and an access that would not is never begun.
    fn cycle(&mut self, address: u32, word: bool) -> Option<()> {
        assert!(!word || address & 1 == 0, "a word at {address:#X} reached the bus");
        self.clocks += 4;
        (address & 0xF0_0000 != NOWHERE).then_some(())
    }
}

impl Memory for Flat {
    fn read_byte(&mut self, address: u32, _: FunctionCode) -> Option<u8> {
        self.reads += 1;
        self.accesses.push(address);
        self.cycle(address, false)?;
        Some(self.peek(address, 8) as u8)
    }

    fn read_word(&mut self, address: u32, _: FunctionCode) -> Option<u16> {
        self.reads += 1;
        self.accesses.push(address);
        self.cycle(address, true)?;
        Some(self.peek(address, 16) as u16)
    }

    fn fetch(&mut self, address: u32, _: FunctionCode) -> Option<u16> {
        self.reads += 1;
        self.cycle(address, true)?;
        Some(self.peek(address, 16) as u16)
    }

    fn write_byte(&mut self, address: u32, value: u8, _: FunctionCode) -> Option<()> {
        self.writes += 1;
        self.accesses.push(address);
        self.cycle(address, false)?;
        self.poke(address, u32::from(value), 8);
        Some(())
    }

    fn write_word(&mut self, address: u32, value: u16, _: FunctionCode) -> Option<()> {
        self.writes += 1;
        self.accesses.push(address);
        self.cycle(address, true)?;
        self.poke(address, u32::from(value), 16);
        Some(())
    }

    fn idle(&mut self, clocks: u32) {
        self.clocks += clocks;
    }

    fn reset_devices(&mut self) {
        self.resets += 1;
    }
}

/// A processor with a memory, and the state from which an instruction starts.
pub struct Bench {
    pub memory: Flat,
    pub cpu: Cpu,
    start: Registers,
    code: [u16; 2],
}

fn at_start() -> Registers {
    let mut start = registers(SUPERVISOR, STACK, CODE);
    start.usp.0 = USER_STACK;
    for number in 0..8 {
        start.d[number].0 = number as u32 + 1;
    }
    for number in 0..7 {
        start.a[number].0 = DATA + 0x100 * number as u32;
    }
    start
}

impl Bench {
    /// Supervisor state, flags clear; D0 to D7 are 1 to 8, A0 to A6 point to zeros.
    pub fn new() -> Self {
        Self { memory: Flat::new(), cpu: Cpu::default(), start: at_start(), code: [NOP; 2] }
    }

    /// The registers of a new bench; the memory stays.
    pub fn fresh(&mut self) -> &mut Self {
        self.start = at_start();
        self
    }

    /// The instruction; NOPs follow.
    pub fn code(&mut self, words: &[u16]) -> &mut Self {
        self.memory.put(CODE, &[NOP; 16]);
        self.memory.put(CODE, words);
        self.code = [words[0], words.get(1).copied().unwrap_or(NOP)];
        self
    }

    pub fn status(&mut self, status: u16) -> &mut Self {
        self.start.sr = status.into();
        self
    }

    pub fn d(&mut self, number: usize, value: u32) -> &mut Self {
        self.start.d[number].0 = value;
        self
    }

    pub fn a(&mut self, number: usize, value: u32) -> &mut Self {
        if number == 7 {
            self.start.ssp.0 = value;
        } else {
            self.start.a[number].0 = value;
        }
        self
    }

    /// Runs the instruction from the start.
    pub fn run(&mut self) -> Step {
        self.cpu = Cpu::default();
        self.cpu.start(self.start);
        self.cpu.set_queue(self.code);
        self.memory.forget();
        self.cpu.step(&mut self.memory)
    }

    /// Runs the instruction, which must raise nothing.
    pub fn runs(&mut self) -> &mut Self {
        let code = self.code;
        let step = self.run();
        assert_eq!(step, Step::Ran, "{:04X} {:04X}", code[0], code[1]);
        self
    }

    /// Runs the instruction, which must raise something, and enters the handler.
    pub fn raises(&mut self) -> Raised {
        let Step::Raised(raised) = self.run() else {
            panic!("{:04X} {:04X} raised nothing", self.code[0], self.code[1]);
        };
        let entered = self.cpu.enter(&mut self.memory, &raised);
        assert_eq!(entered, Ok(None), "the handler is entered");
        raised
    }

    /// A data register afterwards.
    pub fn d_now(&self, number: usize) -> u32 {
        self.cpu.registers().d[number].0
    }

    /// An address register afterwards.
    pub fn a_now(&self, number: u8) -> u32 {
        self.cpu.registers().a(number)
    }

    /// The condition codes afterwards: X N Z V C in bits 4 to 0.
    pub fn codes_now(&self) -> u16 {
        self.cpu.status() & 0x1F
    }
}

//! What the corrections cost: the corrected processor and the core alone, on the same memory and the same code.

use std::num::Wrapping;

use keyway::cpu::{Cpu, FunctionCode, Memory, Step, registers};
use m68000::cpu_details::Mc68000;
use m68000::{M68000, MemoryAccess};

const CODE: u32 = 0x400;
const SIZE: usize = 0x1_0000;

/// Instructions on registers, which the core executes in both; and the branch that closes the loop.
const REGISTERS: &[u16] = &[
    0x7005, // loop:    moveq   #5,d0
    0xD081, //          add.l   d1,d0
    0x5281, //          addq.l  #1,d1
    0xE58A, //          lsl.l   #2,d2
    0xB041, //          cmp.w   d1,d0
    0x4843, //          swap    d3
    0x0643, 0x1234, //  addi.w  #0x1234,d3
    0xC083, //          and.l   d3,d0
    0x60EE, //          bra.s   loop
];

/// What detection code does: compares, copies, sums, calls.
const DETECTION: &[u16] = &[
    0x41F8, 0x2000, // loop:    lea     0x2000,a0
    0x43F8, 0x3000, //          lea     0x3000,a1
    0x700F, //                  moveq   #15,d0
    0xB308, // compare:         cmpm.b  (a0)+,(a1)+
    0x56C8, 0xFFFC, //          dbne    d0,compare
    0x7203, //                  moveq   #3,d1
    0x20D9, // copy:            move.l  (a1)+,(a0)+
    0x51C9, 0xFFFC, //          dbra    d1,copy
    0x7407, //                  moveq   #7,d2
    0xD658, // sum:             add.w   (a0)+,d3
    0x51CA, 0xFFFC, //          dbra    d2,sum
    0x4A43, //                  tst.w   d3
    0x6602, //                  bne.s   1f
    0x5244, //                  addq.w  #1,d4
    0x31C3, 0x4000, // 1:       move.w  d3,0x4000
    0x3838, 0x4000, //          move.w  0x4000,d4
    0x60D4, //                  bra.s   loop
];

/// The jobs by name.
pub const JOBS: [(&str, &[u16]); 2] =
    [("(e) instructions on registers", REGISTERS), ("(f) instructions of a detection", DETECTION)];

/// 64 KiB that repeat.
#[derive(Clone)]
struct Flat {
    bytes: Vec<u8>,
    clocks: u64,
}

impl Flat {
    fn new(code: &[u16]) -> Self {
        let mut bytes = vec![0; SIZE];
        for (place, word) in bytes[CODE as usize..].chunks_exact_mut(2).zip(code) {
            place.copy_from_slice(&word.to_be_bytes());
        }
        Self { bytes, clocks: 0 }
    }

    #[inline]
    fn byte(&self, address: u32) -> u8 {
        self.bytes[address as usize % SIZE]
    }

    #[inline]
    fn word(&self, address: u32) -> u16 {
        let address = address as usize % SIZE;
        u16::from_be_bytes([self.bytes[address], self.bytes[(address + 1) % SIZE]])
    }

    #[inline]
    fn set_byte(&mut self, address: u32, value: u8) {
        self.bytes[address as usize % SIZE] = value;
    }

    #[inline]
    fn set_word(&mut self, address: u32, value: u16) {
        let address = address as usize % SIZE;
        [self.bytes[address], self.bytes[(address + 1) % SIZE]] = value.to_be_bytes();
    }
}

impl MemoryAccess for Flat {
    fn get_byte(&mut self, address: u32) -> Option<u8> {
        Some(self.byte(address))
    }

    fn get_word(&mut self, address: u32) -> Option<u16> {
        Some(self.word(address))
    }

    fn set_byte(&mut self, address: u32, value: u8) -> Option<()> {
        self.set_byte(address, value);
        Some(())
    }

    fn set_word(&mut self, address: u32, value: u16) -> Option<()> {
        self.set_word(address, value);
        Some(())
    }

    fn reset_instruction(&mut self) {}
}

impl Memory for Flat {
    #[inline]
    fn read_byte(&mut self, address: u32, _: FunctionCode) -> Option<u8> {
        self.clocks += 4;
        Some(self.byte(address))
    }

    #[inline]
    fn read_word(&mut self, address: u32, _: FunctionCode) -> Option<u16> {
        self.clocks += 4;
        Some(self.word(address))
    }

    #[inline]
    fn fetch(&mut self, address: u32, _: FunctionCode) -> Option<u16> {
        self.clocks += 4;
        Some(self.word(address))
    }

    #[inline]
    fn write_byte(&mut self, address: u32, value: u8, _: FunctionCode) -> Option<()> {
        self.clocks += 4;
        self.set_byte(address, value);
        Some(())
    }

    #[inline]
    fn write_word(&mut self, address: u32, value: u16, _: FunctionCode) -> Option<()> {
        self.clocks += 4;
        self.set_word(address, value);
        Some(())
    }

    #[inline]
    fn idle(&mut self, clocks: u32) {
        self.clocks += u64::from(clocks);
    }

    fn reset_devices(&mut self) {}
}

/// A job, both ways.
pub struct Processor {
    flat: Flat,
    /// Instructions of one run.
    pub instructions: u64,
}

impl Processor {
    /// Prepares a job and sees to it that both do the same.
    pub fn new(code: &[u16]) -> Self {
        let mut processor = Self { flat: Flat::new(code), instructions: 20_000 };
        assert_eq!(processor.corrected(), processor.core_alone());
        processor
    }

    /// Runs the corrected processor; returns D0 to D4.
    pub fn corrected(&mut self) -> [Wrapping<u32>; 5] {
        let mut cpu = Cpu::default();
        cpu.start(registers(0x2700, 0x8000, CODE));
        cpu.refill(&mut self.flat);
        for _ in 0..self.instructions {
            if !matches!(cpu.step(&mut self.flat), Step::Ran) {
                break;
            }
        }
        std::array::from_fn(|index| cpu.registers().d[index])
    }

    /// Runs the core alone.
    pub fn core_alone(&mut self) -> [Wrapping<u32>; 5] {
        let mut core: M68000<Mc68000> = M68000::new_no_reset();
        core.regs = registers(0x2700, 0x8000, CODE);
        let mut cycles = 0;
        for _ in 0..self.instructions {
            let (taken, vector) = core.interpreter_exception(&mut self.flat);
            cycles += taken as u64;
            if vector.is_some() {
                break;
            }
        }
        self.flat.clocks += cycles;
        std::array::from_fn(|index| core.regs.d[index])
    }
}

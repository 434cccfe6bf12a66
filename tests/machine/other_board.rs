//! A second board, for the second processor: the demo machine written down once more from the design, without any of
//! the library's own decoding. Only what the demo needs is here.
//!
//! Both processors fetch their words in advance, so what floats on an open bus agrees as well. Only operands are noted:
//! the demo's code lies below 0x200000 and never reaches the window, and every access at or above 0x200000 is one.

use std::sync::Arc;

use keyway::board::{Change, Inputs, OpenBus, Schedule};
use keyway::cartridge::{Flaw, Image};
use m68k::AddressBus;

/// From here on nothing is code.
pub const DATA: u32 = 0x20_0000;
const WINDOW: std::ops::Range<u32> = 0x20_0000..0x40_0000;
const RAM: std::ops::Range<u32> = 0xE0_0000..0xE1_0000;
const LATCH: u32 = 0xB0_0001;
const PEDAL: u32 = 0xB0_0003;
const PATCH: std::ops::Range<u32> = 0x28_0000..0x2C_0000;

/// An operand's access on the bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Operand {
    pub write: bool,
    pub address: u32,
    pub bytes: u32,
    pub value: u16,
}

/// The demo machine.
pub struct OtherBoard {
    rom: Vec<u8>,
    patch: Vec<u8>,
    ram: Vec<u8>,
    image: Option<Arc<Image>>,
    /// Data lines that the contacts force high, force low, and leave open; address lines likewise.
    data: [u16; 3],
    address: [u32; 2],
    empty: OpenBus,
    pedal: Schedule,
    pedal_reads: u32,
    latch: u8,
    /// The last word on the bus.
    pub last: u16,
    /// Cycles at the start of the instruction.
    now: u64,
    /// Operands of the instruction under way.
    pub operands: Vec<Operand>,
}

impl OtherBoard {
    /// The board with a case's inputs, RAM filled with zeros. Lines that flicker and noise cannot be equal on two boards.
    pub fn new(rom: &[u8], patch: &[u8], inputs: &Inputs) -> Self {
        let contacts = &inputs.attached.contacts;
        let data = |flaw| contacts.data.iter().filter(|fault| fault.is == flaw).fold(0, |bits, f| bits | 1 << f.line);
        let address = |flaw| contacts.address.iter().filter(|f| f.is == flaw).fold(0, |bits, f| bits | 1 << f.line);
        Self {
            rom: rom.to_vec(),
            patch: patch.to_vec(),
            ram: vec![0; RAM.len()],
            image: inputs.attached.image.clone(),
            data: [data(Flaw::High), data(Flaw::Low), data(Flaw::Open)],
            address: [address(Flaw::High), address(Flaw::Low)],
            empty: inputs.empty,
            pedal: inputs.ports[1].clone().unwrap_or(Schedule::Constant(0)),
            pedal_reads: 0,
            latch: 0,
            last: 0,
            now: 0,
            operands: Vec::new(),
        }
    }

    /// An instruction begins.
    pub fn begin(&mut self, now: u64) {
        self.now = now;
        self.operands.clear();
    }

    fn open(&self) -> u16 {
        match self.empty {
            OpenBus::Ones => 0xFFFF,
            OpenBus::Zeros => 0,
            OpenBus::Floating => self.last,
            OpenBus::Noise | OpenBus::BusError => panic!("not on this board"),
        }
    }

    /// The word of the socket: offset modulo the size rounded up to a power of two; beyond the image it is open.
    fn socket(&self, even: u32) -> [u8; 2] {
        let open = self.open().to_be_bytes();
        let Some(image) = &self.image else { return open };
        let seen = (even | self.address[0]) & !self.address[1];
        let mut span = 1;
        while span < image.size() {
            span *= 2;
        }
        let bytes = [image.byte(seen % span), image.byte((seen | 1) % span)];
        let word = u16::from_be_bytes([bytes[0].unwrap_or(open[0]), bytes[1].unwrap_or(open[1])]);
        let [high, low, loose] = self.data;
        let word = ((word & !loose | u16::from_be_bytes(open) & loose) | high) & !low;
        let spoilt = word.to_be_bytes();
        [bytes[0].map_or(open[0], |_| spoilt[0]), bytes[1].map_or(open[1], |_| spoilt[1])]
    }

    fn pedal(&mut self) -> u8 {
        let reads = self.pedal_reads;
        self.pedal_reads += 1;
        let value = match &self.pedal {
            Schedule::Constant(value) => *value,
            Schedule::Sequence(values) => values[(reads as usize).min(values.len() - 1)],
            Schedule::Changes { first, then, after: Change::Reads(count) } => {
                if reads < *count {
                    *first
                } else {
                    *then
                }
            }
            Schedule::Changes { first, then, after: Change::Cycles(cycles) } => {
                if self.now < *cycles {
                    *first
                } else {
                    *then
                }
            }
        };
        value as u8
    }

    /// The bytes that a read of one or two bytes finds.
    fn find(&mut self, address: u32, bytes: u32) -> Vec<u8> {
        if WINDOW.contains(&address) && !(self.latch == 1 && PATCH.contains(&address)) {
            let word = self.socket(address & !1);
            return if bytes == 2 { word.to_vec() } else { vec![word[(address & 1) as usize]] };
        }
        let one = |board: &mut Self, at: u32| match at {
            at if (at as usize) < board.rom.len() => board.rom[at as usize],
            at if board.latch == 1 && PATCH.contains(&at) => board.patch[(at - PATCH.start) as usize],
            at if RAM.contains(&at) => board.ram[(at - RAM.start) as usize],
            PEDAL => board.pedal(),
            at => board.last.to_be_bytes()[(at & 1) as usize],
        };
        (address..address + bytes).map(|at| one(self, at)).collect()
    }

    fn read(&mut self, address: u32, bytes: u32) -> u16 {
        let found = self.find(address, bytes);
        let value = found.iter().fold(0u16, |value, byte| value << 8 | u16::from(*byte));
        let lane = if address & 1 == 0 { 8 } else { 0 };
        self.last = if bytes == 1 { self.last & !(0xFF << lane) | value << lane } else { value };
        if address >= DATA {
            self.operands.push(Operand { write: false, address, bytes, value });
        }
        value
    }

    fn write(&mut self, address: u32, bytes: u32, value: u16) {
        self.operands.push(Operand { write: true, address, bytes, value });
        self.last = if bytes == 1 { value << 8 | value } else { value };
        for (index, byte) in value.to_be_bytes()[2 - bytes as usize..].iter().enumerate() {
            let at = address + index as u32;
            if RAM.contains(&at) {
                self.ram[(at - RAM.start) as usize] = *byte;
            } else if at == LATCH {
                self.latch = *byte;
            }
        }
    }
}

impl AddressBus for OtherBoard {
    fn read_byte(&mut self, address: u32) -> u8 {
        self.read(address, 1) as u8
    }

    fn read_word(&mut self, address: u32) -> u16 {
        self.read(address, 2)
    }

    fn read_long(&mut self, address: u32) -> u32 {
        u32::from(self.read(address, 2)) << 16 | u32::from(self.read(address + 2, 2))
    }

    fn write_byte(&mut self, address: u32, value: u8) {
        self.write(address, 1, u16::from(value));
    }

    fn write_word(&mut self, address: u32, value: u16) {
        self.write(address, 2, value);
    }

    fn write_long(&mut self, address: u32, value: u32) {
        self.write(address, 2, (value >> 16) as u16);
        self.write(address + 2, 2, value as u16);
    }
}

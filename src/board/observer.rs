//! Watching a run from outside: the [`Observer`] trait, and the board that calls it.
//!
//! The board is generic over its observer, and [`NoObserver`](())'s methods are empty, so a plain check is compiled
//! without any observation at all.

use std::sync::LazyLock;

use m68000::MemoryAccess;
use m68000::Registers;

use super::{BUS_MASK, Bus, Place, PortSize};

/// One access of an operand on the bus (a long is two of them).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Access {
    /// Bus address.
    pub address: u32,
    /// Width.
    pub size: PortSize,
    /// The value read or written.
    pub value: u16,
    /// What the address belongs to at this moment.
    pub place: Place,
    /// For the window: the image offset that showed; `None` for open bus and for other places.
    pub offset: Option<u32>,
}

/// What wants to see a run. All methods do nothing unless overridden.
pub trait Observer {
    /// Whether the board shall call the methods at all.
    const WATCHES: bool = true;

    /// An instruction is about to run at `at`, with these registers; `bus` may be peeked at.
    fn fetch(&mut self, at: u32, registers: &Registers, bus: &Bus) {
        let _ = (at, registers, bus);
    }

    /// An operand was read.
    fn read(&mut self, access: &Access) {
        let _ = access;
    }

    /// An operand was written.
    fn write(&mut self, access: &Access) {
        let _ = access;
    }

    /// The instruction at `from` is done, and the next one is at `to`.
    fn edge(&mut self, from: u32, to: u32) {
        let _ = (from, to);
    }
}

/// Nobody watches.
impl Observer for () {
    const WATCHES: bool = false;
}

/// Extension words that follow each opcode, as the core's decoder reads them (PRM, section 2: the opcode word alone
/// tells how many there are).
static EXTENSION_WORDS: LazyLock<[u8; 0x1_0000]> =
    LazyLock::new(|| std::array::from_fn(|opcode| count_extensions(opcode as u16)));

fn count_extensions(opcode: u16) -> u8 {
    let mut words: [u16; 8] = [0; 8];
    let mut iterator = words[..].iter_u16(0);
    let _ = m68000::instruction::Instruction::from_opcode(opcode, 0, &mut iterator);
    (iterator.next_addr / 2) as u8
}

/// How many extension words follow an opcode.
pub fn extension_words(opcode: u16) -> u32 {
    u32::from(EXTENSION_WORDS[opcode as usize])
}

/// A bus and its observer: what the core runs on.
#[derive(Clone, Debug)]
pub struct Board<O> {
    /// The bus.
    pub bus: Bus,
    /// Who watches.
    pub observer: O,
    /// Words of the instruction stream still to be fetched; the rest of the reads are operands.
    to_fetch: u32,
    /// [`EXTENSION_WORDS`], at hand.
    extension_words: &'static [u8; 0x1_0000],
    /// Whether the observer is told nothing for now.
    muted: bool,
}

/// Marks that the opcode itself comes next.
const OPCODE_NEXT: u32 = u32::MAX;

impl<O: Observer> Board<O> {
    /// A board at power-on.
    pub fn new(bus: Bus, observer: O) -> Self {
        Self { bus, observer, to_fetch: 0, extension_words: &EXTENSION_WORDS, muted: false }
    }

    /// Announces the instruction at `pc`.
    #[inline]
    pub fn begin(&mut self, pc: u32, registers: &Registers) {
        self.bus.pc = pc;
        if O::WATCHES && !self.muted {
            self.to_fetch = OPCODE_NEXT;
            self.observer.fetch(pc & BUS_MASK, registers, &self.bus);
        }
    }

    /// The instruction announced is done, and `pc` is that of the next one.
    #[inline]
    pub fn done(&mut self, pc: u32) {
        if O::WATCHES && !self.muted {
            self.observer.edge(self.bus.pc & BUS_MASK, pc & BUS_MASK);
        }
    }

    /// Tells the observer nothing while a run is repeated.
    pub fn mute(&mut self, muted: bool) {
        self.muted = muted;
    }

    #[inline]
    fn note_read(&mut self, address: u32, size: PortSize, value: u16) {
        if !O::WATCHES {
            return;
        }
        match self.to_fetch {
            0 => self.note_operand(address, size, value),
            OPCODE_NEXT => self.to_fetch = u32::from(self.extension_words[value as usize]),
            _ => self.to_fetch -= 1,
        }
    }

    #[inline(never)]
    fn note_operand(&mut self, address: u32, size: PortSize, value: u16) {
        if !self.muted {
            let access = self.access(address, size, value);
            self.observer.read(&access);
        }
    }

    #[inline]
    fn note_write(&mut self, address: u32, size: PortSize, value: u16) {
        if O::WATCHES && !self.muted {
            let access = self.access(address, size, value);
            self.observer.write(&access);
        }
    }

    fn access(&self, address: u32, size: PortSize, value: u16) -> Access {
        let address = address & BUS_MASK;
        let place = self.bus.place(address);
        let offset = if place == Place::Window { self.bus.shown_last(address) } else { None };
        Access { address, size, value, place, offset }
    }
}

/// The core's view of the bus. `None` means that nothing acknowledged the access; fetches never get it, because the run
/// looks ahead before it executes outside plain ROM.
impl<O: Observer> MemoryAccess for Board<O> {
    #[inline]
    fn get_byte(&mut self, address: u32) -> Option<u8> {
        let value = self.bus.read_byte(address)?;
        self.note_read(address, PortSize::Byte, u16::from(value));
        Some(value)
    }

    #[inline]
    fn get_word(&mut self, address: u32) -> Option<u16> {
        let value = self.bus.read_word(address)?;
        self.note_read(address, PortSize::Word, value);
        Some(value)
    }

    #[inline]
    fn set_byte(&mut self, address: u32, value: u8) -> Option<()> {
        self.bus.write_byte(address, value)?;
        self.note_write(address, PortSize::Byte, u16::from(value));
        Some(())
    }

    #[inline]
    fn set_word(&mut self, address: u32, value: u16) -> Option<()> {
        self.bus.write_word(address, value)?;
        self.note_write(address, PortSize::Word, value);
        Some(())
    }

    fn reset_instruction(&mut self) {
        self.bus.reset_devices();
    }
}

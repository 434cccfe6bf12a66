//! Watching a run from outside: the [`Observer`] trait, and the board that calls it.
//!
//! The board is generic over its observer, and [`NoObserver`](())'s methods are empty, so a plain check is compiled
//! without any observation at all.

use std::sync::LazyLock;

use m68000::MemoryAccess;
use m68000::Registers;

use super::{BUS_MASK, Bus, Place, PortSize};
use crate::cpu::{Exception, FunctionCode, Memory};

/// What a bus cycle is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cycle {
    /// A word is fetched into the prefetch queue.
    Fetch,
    /// An operand, a stacked word or a vector is read.
    Read,
    /// Something is read that the processor takes no notice of, as CLR does before it writes.
    Dropped,
    /// Something is written.
    Write,
}

/// One bus cycle (a long is two of them).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Access {
    /// What it is for.
    pub cycle: Cycle,
    /// The clock period of the run in which it ends.
    pub ends: u64,
    /// Bus address.
    pub address: u32,
    /// Width.
    pub size: PortSize,
    /// The value read or written.
    pub value: u16,
    /// The function code that the processor shows.
    pub code: FunctionCode,
    /// What the address belongs to at this moment.
    pub place: Place,
    /// For the window: the image offset that showed; `None` for open bus and for other places.
    pub offset: Option<u32>,
}

/// What wants to see a run. All methods do nothing unless overridden.
pub trait Observer {
    /// Whether the board shall call the methods at all.
    const WATCHES: bool = true;

    /// Whether it wants [`Observer::passing`] too. There are more of these than of all others together.
    const WATCHES_PASSING: bool = false;

    /// An instruction is about to run at `at`, with these registers; `bus` may be peeked at.
    fn fetch(&mut self, at: u32, registers: &Registers, bus: &Bus) {
        let _ = (at, registers, bus);
    }

    /// A word came into the prefetch queue, or was read and dropped; see [`Observer::WATCHES_PASSING`].
    fn passing(&mut self, access: &Access) {
        let _ = access;
    }

    /// An operand was read.
    fn read(&mut self, access: &Access) {
        let _ = access;
    }

    /// An operand was written.
    fn write(&mut self, access: &Access) {
        let _ = access;
    }

    /// An exception was entered: the program would have gone on at `from`, its handler is at `to`.
    fn exception(&mut self, exception: Exception, from: u32, to: u32) {
        let _ = (exception, from, to);
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

/// Two that watch the same run, the left one first.
impl<A: Observer, B: Observer> Observer for (A, B) {
    const WATCHES: bool = A::WATCHES || B::WATCHES;
    const WATCHES_PASSING: bool = A::WATCHES_PASSING || B::WATCHES_PASSING;

    #[inline]
    fn fetch(&mut self, at: u32, registers: &Registers, bus: &Bus) {
        self.0.fetch(at, registers, bus);
        self.1.fetch(at, registers, bus);
    }

    #[inline]
    fn passing(&mut self, access: &Access) {
        if A::WATCHES_PASSING {
            self.0.passing(access);
        }
        if B::WATCHES_PASSING {
            self.1.passing(access);
        }
    }

    #[inline]
    fn read(&mut self, access: &Access) {
        self.0.read(access);
        self.1.read(access);
    }

    #[inline]
    fn write(&mut self, access: &Access) {
        self.0.write(access);
        self.1.write(access);
    }

    fn exception(&mut self, exception: Exception, from: u32, to: u32) {
        self.0.exception(exception, from, to);
        self.1.exception(exception, from, to);
    }

    #[inline]
    fn edge(&mut self, from: u32, to: u32) {
        self.0.edge(from, to);
        self.1.edge(from, to);
    }
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
    /// Whether the observer is told nothing for now.
    muted: bool,
}

/// Clock periods of a bus cycle without wait states (UM section 5).
const BUS_CYCLE: u64 = 4;

impl<O: Observer> Board<O> {
    /// A board at power-on.
    pub fn new(bus: Bus, observer: O) -> Self {
        Self { bus, observer, muted: false }
    }

    /// Announces the instruction at `pc`.
    #[inline]
    pub fn begin(&mut self, pc: u32, registers: &Registers) {
        self.bus.pc = pc;
        if O::WATCHES && !self.muted {
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

    /// An exception was entered.
    pub fn excepted(&mut self, exception: Exception, from: u32, to: u32) {
        if O::WATCHES && !self.muted {
            self.observer.exception(exception, from & BUS_MASK, to & BUS_MASK);
        }
    }

    /// Tells the observer nothing while a run is repeated.
    pub fn mute(&mut self, muted: bool) {
        self.muted = muted;
    }

    #[inline(always)]
    fn note(&mut self, cycle: Cycle, address: u32, size: PortSize, value: u16, code: FunctionCode) {
        let passing = matches!(cycle, Cycle::Fetch | Cycle::Dropped);
        if O::WATCHES && (O::WATCHES_PASSING || !passing) && !self.muted {
            self.tell(cycle, address, size, value, code);
        }
    }

    #[inline(never)]
    fn tell(&mut self, cycle: Cycle, address: u32, size: PortSize, value: u16, code: FunctionCode) {
        let address = address & BUS_MASK;
        let place = self.bus.place(address);
        let offset = if place == Place::Window { self.bus.shown_last(address) } else { None };
        let access = Access { cycle, ends: self.bus.now, address, size, value, code, place, offset };
        match cycle {
            Cycle::Fetch | Cycle::Dropped => self.observer.passing(&access),
            Cycle::Read => self.observer.read(&access),
            Cycle::Write => self.observer.write(&access),
        }
    }
}

/// The processor's view of the bus.
impl<O: Observer> Memory for Board<O> {
    #[inline]
    fn read_byte(&mut self, address: u32, code: FunctionCode) -> Option<u8> {
        let value = self.bus.read_byte(address);
        self.bus.now += BUS_CYCLE;
        let value = value?;
        self.note(Cycle::Read, address, PortSize::Byte, u16::from(value), code);
        Some(value)
    }

    #[inline]
    fn read_word(&mut self, address: u32, code: FunctionCode) -> Option<u16> {
        let value = self.bus.read_word(address);
        self.bus.now += BUS_CYCLE;
        let value = value?;
        self.note(Cycle::Read, address, PortSize::Word, value, code);
        Some(value)
    }

    #[inline]
    fn fetch(&mut self, address: u32, code: FunctionCode) -> Option<u16> {
        let value = self.bus.fetch(address);
        self.bus.now += BUS_CYCLE;
        let value = value?;
        self.note(Cycle::Fetch, address, PortSize::Word, value, code);
        Some(value)
    }

    #[inline]
    fn write_byte(&mut self, address: u32, value: u8, code: FunctionCode) -> Option<()> {
        let written = self.bus.write_byte(address, value);
        self.bus.now += BUS_CYCLE;
        written?;
        self.note(Cycle::Write, address, PortSize::Byte, u16::from(value), code);
        Some(())
    }

    #[inline]
    fn write_word(&mut self, address: u32, value: u16, code: FunctionCode) -> Option<()> {
        let written = self.bus.write_word(address, value);
        self.bus.now += BUS_CYCLE;
        written?;
        self.note(Cycle::Write, address, PortSize::Word, value, code);
        Some(())
    }

    fn touch_byte(&mut self, address: u32, code: FunctionCode) -> Option<()> {
        let value = self.bus.touch_byte(address);
        self.bus.now += BUS_CYCLE;
        self.note(Cycle::Dropped, address, PortSize::Byte, u16::from(value?), code);
        Some(())
    }

    fn touch_word(&mut self, address: u32, code: FunctionCode) -> Option<()> {
        let value = self.bus.touch_word(address);
        self.bus.now += BUS_CYCLE;
        self.note(Cycle::Dropped, address, PortSize::Word, value?, code);
        Some(())
    }

    #[inline]
    fn idle(&mut self, clocks: u32) {
        self.bus.now += u64::from(clocks);
    }

    fn reset_devices(&mut self) {
        self.bus.reset_devices();
    }
}

//! A small board and a routine of hand-assembled words.
//!
//! A [`Bench`] is everything that makes a rig and a setup, in the open: a test changes what it is about and runs. The
//! code stands at [`CODE`]; ROM that a test does not fill is erased (0xFFFF, a line F opcode, so that code which runs
//! away is seen). Opcodes come from GNU `as`; the source stands beside them.

use std::sync::Arc;

use keyway::board::{
    Bus, Inputs, Map, MapError, MapParts, OpenBus, Overlay, Port, PortSize, RamArea, RamFill, Schedule, WaitStates,
};
use keyway::cartridge::{Attached, Contacts, Fill, Image};
use keyway::cpu::Exception;
use keyway::rom::HostRom;
use keyway::run::{
    Branch, BranchKind, Condition, Crash, End, Entry, Exit, Interrupt, Limits, Machine, Outcome, Register, Rig,
    Routine, Setup, Timing,
};

/// Where the code of a bench stands, and where it is entered.
pub const CODE: u32 = 0x400;
/// First address of the window; it is 2 MB long.
pub const WINDOW: u32 = 0x20_0000;
/// First address of 64 KiB of RAM.
pub const RAM: u32 = 0xE0_0000;
/// The stack pointer before the caller's push.
pub const STACK: u32 = 0xE0_FE00;
/// Where nothing is mapped.
pub const NOWHERE: u32 = 0xA0_0000;
/// Size of the host ROM.
pub const ROM_SIZE: usize = 0x2000;

/// A rig and a setup in the making.
#[derive(Clone)]
pub struct Bench {
    pub rom: Vec<u8>,
    pub origin: u32,
    pub unmapped: OpenBus,
    pub memory: Vec<RamArea>,
    pub ports: Vec<Port>,
    pub overlays: Vec<Overlay>,
    pub waits: Vec<WaitStates>,
    pub interrupts: Vec<Interrupt>,
    pub routine: Routine,
    pub branches: Vec<Branch>,
    pub inputs: Inputs,
    pub fills: Vec<RamFill>,
}

impl Bench {
    /// A bench with this code.
    pub fn new(code: &[u16]) -> Self {
        let routine = Routine {
            entry: Entry::At(CODE),
            stack: STACK,
            status: 0x2700,
            registers: Vec::new(),
            limits: Limits { instructions: 100_000, cycles: 10_000_000 },
            handles: Vec::new(),
            executes_anywhere: false,
        };
        let bench = Self {
            rom: vec![0xFF; ROM_SIZE],
            origin: 0,
            unmapped: OpenBus::Floating,
            memory: vec![ram("work ram", RAM, 0x1_0000)],
            ports: Vec::new(),
            overlays: Vec::new(),
            waits: Vec::new(),
            interrupts: Vec::new(),
            routine,
            branches: Vec::new(),
            inputs: Inputs { seed: 7, ..Inputs::default() },
            fills: vec![RamFill::Zeros],
        };
        bench.put(CODE, code)
    }

    /// A bench without code, for tests that use the bus alone.
    pub fn bare() -> Self {
        Self::new(&[])
    }

    /// Puts words into the host ROM.
    pub fn put(mut self, at: u32, words: &[u16]) -> Self {
        let bytes = words.iter().flat_map(|word| word.to_be_bytes());
        let at = (at - self.origin) as usize;
        self.rom.splice(at..at + 2 * words.len(), bytes);
        self
    }

    /// Sets an exception vector.
    pub fn vector(self, vector: u8, to: u32) -> Self {
        self.put(u32::from(vector) * 4, &[(to >> 16) as u16, to as u16])
    }

    /// Lets the handler of an exception run.
    pub fn handles(mut self, exception: Exception, at: u32) -> Self {
        self.routine.handles.push(exception);
        self.vector(exception.vector(), at)
    }

    /// Sets registers at the start.
    pub fn set(mut self, name: &str, value: u32) -> Self {
        self.routine.registers.push((Register::parse(name).expect("a register"), value));
        self
    }

    /// Sets the rule for unmapped addresses and for the window.
    pub fn open(mut self, rule: OpenBus) -> Self {
        self.unmapped = rule;
        self.inputs.empty = rule;
        self
    }

    /// Adds a port.
    pub fn port(mut self, port: Port) -> Self {
        self.ports.push(port);
        self
    }

    /// Adds an overlay that shows while port 0 holds `is`.
    pub fn overlay(mut self, start: u32, end: u32, is: u16, bytes: &[u8]) -> Self {
        let name = format!("overlay {}", self.overlays.len());
        self.overlays.push(Overlay { name, bytes: bytes.into(), range: start..=end, port: 0, is });
        self
    }

    /// Adds a device that interrupts with its autovector, once or again and again.
    pub fn interrupt(mut self, level: u8, first: u64, every: Option<u64>) -> Self {
        let name = format!("device {}", self.interrupts.len());
        let timing = Timing { first: Some(first), every };
        self.interrupts.push(Interrupt { name, level, vector: None, timing });
        self
    }

    /// Plugs in an image; the contacts stay as they are.
    pub fn attach(mut self, image: Image) -> Self {
        self.inputs.attached.image = Attached::image(image).image;
        self
    }

    /// Spoils the contacts of the attached image.
    pub fn contacts(mut self, contacts: Contacts) -> Self {
        self.inputs.attached.contacts = contacts;
        self
    }

    /// Adds a branch at an address.
    pub fn branch(mut self, name: &str, exit: Exit, when: Option<Condition>) -> Self {
        let kind = BranchKind::Fallback;
        self.branches.push(Branch { name: name.to_owned(), kind, exit, when, shows: Vec::new(), leaves: Vec::new() });
        self
    }

    /// The map, or what is wrong with it.
    pub fn try_map(&self) -> Result<Map, MapError> {
        let host = HostRom::from_bytes(&self.rom, self.origin).expect("a host ROM");
        Map::new(MapParts {
            host: Arc::new(host),
            host_range: 0..=WINDOW - 1,
            window: WINDOW..=WINDOW + 0x1F_FFFF,
            unmapped: self.unmapped,
            memory: self.memory.clone(),
            ports: self.ports.clone(),
            overlays: self.overlays.clone(),
            waits: self.waits.clone(),
        })
    }

    /// The rig.
    pub fn rig(&self) -> Arc<Rig> {
        let map = self.try_map().unwrap_or_else(|error| panic!("{error}"));
        Arc::new(Rig {
            map: Arc::new(map),
            routine: self.routine.clone(),
            interrupts: self.interrupts.clone(),
            branches: self.branches.clone(),
        })
    }

    /// The setup.
    pub fn setup(&self) -> Setup {
        Setup { inputs: self.inputs.clone(), ..Setup::default() }
    }

    /// The board alone, at power-on.
    pub fn bus(&self) -> Bus {
        let mut bus = Bus::new(Arc::clone(&self.rig().map));
        bus.power_on(&self.inputs, &self.fills);
        bus
    }

    /// A machine.
    pub fn machine(&self) -> Machine {
        Machine::new(self.rig())
    }

    /// Runs once.
    pub fn run(&self) -> Outcome {
        self.machine().run(&self.setup(), &self.fills).clone()
    }

    /// Runs once and returns; anything but a return without a branch fails the test.
    pub fn returns(&self) -> Outcome {
        let outcome = self.run();
        assert_eq!(outcome.end, End::Returned, "last at 0x{:06X}", outcome.last);
        outcome
    }

    /// Runs once and crashes.
    pub fn crashes(&self) -> Crash {
        let outcome = self.run();
        match outcome.end {
            End::Crashed(crash) => crash,
            end => panic!("{end:?}, last at 0x{:06X}", outcome.last),
        }
    }
}

/// A RAM area that does not repeat.
pub fn ram(name: &str, start: u32, size: u32) -> RamArea {
    RamArea { name: name.to_owned(), range: start..=start + size - 1, size }
}

/// A byte port that can be read and written.
pub fn byte_port(name: &str, at: u32, reads: Option<Schedule>, writes: Option<&[u16]>) -> Port {
    let writes = writes.map(<[u16]>::to_vec);
    Port { name: name.to_owned(), at, size: PortSize::Byte, reads, writes, power_on: 0 }
}

/// A word port that can be read and written.
pub fn word_port(name: &str, at: u32, reads: Option<Schedule>, writes: Option<&[u16]>) -> Port {
    Port { size: PortSize::Word, ..byte_port(name, at, reads, writes) }
}

/// An image whose every byte tells its offset.
pub fn patterned(size: u32) -> Image {
    let mut image = Image::new(size, Fill::Byte(0));
    let bytes: Vec<u8> = (0..size).map(pattern).collect();
    image.put(0, bytes);
    image
}

/// The byte of a [`patterned`] image at an offset.
pub fn pattern(offset: u32) -> u8 {
    (offset ^ offset >> 8 ^ (offset >> 16).wrapping_mul(37)) as u8
}

/// D0 at the end.
pub fn d(outcome: &Outcome, number: usize) -> u32 {
    outcome.registers.d[number].0
}

/// Seeded numbers for tests, independent of the project's own noise: xorshift64* (Vigna, 2014; from memory).
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    pub fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    pub fn word(&mut self) -> u16 {
        (self.next() >> 48) as u16
    }

    pub fn long(&mut self) -> u32 {
        (self.next() >> 32) as u32
    }

    pub fn below(&mut self, limit: u32) -> u32 {
        ((u64::from(self.long()) * u64::from(limit)) >> 32) as u32
    }

    pub fn pick<T: Copy>(&mut self, list: &[T]) -> T {
        list[self.below(list.len() as u32) as usize]
    }
}

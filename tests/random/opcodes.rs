//! Every opcode, legal or not, from random states: on a memory that answers everything, and on one with holes. Nothing
//! panics, every step gets on, and what the bus refuses is reported for what it is.

use std::num::Wrapping;

use keyway::cpu::{Cpu, DoubleFault, Exception, FunctionCode, Memory, Raised, Step};
use m68000::Registers;
use rayon::prelude::*;

use super::start::{Start, dice, one_in};

/// States for each opcode and memory.
const STATES: u64 = 4;

/// A memory that is noise, forgets what is written, and perhaps has holes of 16 bytes.
struct Noise {
    seed: u64,
    holes: bool,
    clock: u64,
    refused: u64,
}

impl Noise {
    fn hash(&self, address: u32) -> u64 {
        let mixed = (u64::from(address & 0xFF_FFFF) ^ self.seed).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        (mixed ^ mixed >> 29).wrapping_mul(0xBF58_476D_1CE4_E5B9) >> 32
    }

    fn word(&self, address: u32) -> u16 {
        self.hash(address & !1) as u16
    }

    /// A bus cycle: answered or not.
    fn cycle(&mut self, address: u32) -> Option<u16> {
        self.clock += 4;
        if self.holes && self.hash(address >> 4 | 0x80_0000).is_multiple_of(8) {
            self.refused += 1;
            return None;
        }
        Some(self.word(address))
    }

    fn even(&mut self, address: u32) -> Option<u16> {
        assert_eq!(address & 1, 0, "a word at {address:08X}");
        self.cycle(address)
    }

    /// Whether the processor cannot start the handler of this vector.
    fn odd(&self, vector: u8) -> bool {
        self.word(u32::from(vector) * 4 + 2) & 1 == 1
    }
}

impl Memory for Noise {
    fn read_byte(&mut self, address: u32, _: FunctionCode) -> Option<u8> {
        self.cycle(address).map(|word| word.to_be_bytes()[address as usize & 1])
    }

    fn read_word(&mut self, address: u32, _: FunctionCode) -> Option<u16> {
        self.even(address)
    }

    fn fetch(&mut self, address: u32, _: FunctionCode) -> Option<u16> {
        self.even(address)
    }

    fn write_byte(&mut self, address: u32, _: u8, _: FunctionCode) -> Option<()> {
        self.cycle(address).map(|_| ())
    }

    fn write_word(&mut self, address: u32, _: u16, _: FunctionCode) -> Option<()> {
        self.even(address).map(|_| ())
    }

    fn idle(&mut self, clocks: u32) {
        self.clock += u64::from(clocks);
    }

    fn reset_devices(&mut self) {}
}

/// How often what happened.
#[derive(Clone, Copy, Debug, Default)]
struct Counts {
    states: u64,
    ran: u64,
    raised: u64,
    bus_errors: u64,
    address_errors: u64,
    /// A bus or address error while another exception was being entered.
    nested: u64,
    halted: u64,
    stopped: u64,
}

impl Counts {
    fn plus(self, other: Self) -> Self {
        Self {
            states: self.states + other.states,
            ran: self.ran + other.ran,
            raised: self.raised + other.raised,
            bus_errors: self.bus_errors + other.bus_errors,
            address_errors: self.address_errors + other.address_errors,
            nested: self.nested + other.nested,
            halted: self.halted + other.halted,
            stopped: self.stopped + other.stopped,
        }
    }
}

/// One state after another, of one opcode on one memory.
struct Bench {
    cpu: Cpu,
    memory: Noise,
    counts: Counts,
}

impl Bench {
    /// Runs three instructions, less if the processor stops or halts.
    fn run(&mut self, start: &Start) {
        let mut registers = Registers { pc: Wrapping(start.pc), usp: Wrapping(start.usp), ..Registers::default() };
        registers.ssp.0 = start.ssp;
        registers.sr = start.status.into();
        registers.d = start.d.map(Wrapping);
        registers.a = start.a.map(Wrapping);
        self.cpu.start(registers);
        self.cpu.set_queue([start.opcode, start.extension[0]]);
        self.counts.states += 1;
        for _ in 0..3 {
            if self.cpu.stopped() {
                self.counts.stopped += 1;
                return;
            }
            if self.step().is_err() {
                self.counts.halted += 1;
                return;
            }
        }
    }

    fn step(&mut self) -> Result<(), DoubleFault> {
        let (clock, refused) = (self.memory.clock, self.memory.refused);
        match self.cpu.step(&mut self.memory) {
            Step::Ran => {
                assert!(self.memory.clock > clock, "no time passed");
                assert_eq!(self.memory.refused, refused, "a refusal was overlooked");
                self.counts.ran += 1;
                Ok(())
            }
            Step::Raised(raised) => {
                self.check(&raised, self.memory.refused > refused);
                self.enter(&raised)
            }
        }
    }

    /// The exception fits what the bus did.
    fn check(&mut self, raised: &Raised, refused: bool) {
        assert_eq!(raised.exception == Exception::BusError, refused, "{raised:?}");
        match (raised.exception, raised.fault) {
            (Exception::BusError, Some(_)) => self.counts.bus_errors += 1,
            (Exception::AddressError, Some(fault)) => {
                assert_eq!(fault.address & 1, 1, "{raised:?}");
                self.counts.address_errors += 1;
            }
            (Exception::BusError | Exception::AddressError, None) => panic!("{raised:?}"),
            (_, fault) => {
                assert_eq!(fault, None, "{raised:?}");
                self.counts.raised += 1;
            }
        }
    }

    /// Enters the handler. Stack, vector or handler may be odd or missing: then a bus or address error comes instead,
    /// or a double fault if it was one already (UM 6.3.9, from memory).
    fn enter(&mut self, raised: &Raised) -> Result<(), DoubleFault> {
        let (clock, refused) = (self.memory.clock, self.memory.refused);
        let odd = self.cpu.registers().ssp.0 & 1 == 1 || self.memory.odd(raised.exception.vector());
        let entered = self.cpu.enter(&mut self.memory, raised);
        let spoilt = odd || self.memory.refused > refused;
        match entered {
            Ok(None) => assert!(!spoilt, "{raised:?} entered for all that"),
            Ok(Some(met)) => {
                assert!(spoilt && raised.fault.is_none(), "{raised:?} met {met:?}");
                assert!(matches!(met.exception, Exception::BusError | Exception::AddressError));
                self.counts.nested += 1;
                return self.enter(&met);
            }
            Err(DoubleFault) => assert!(spoilt && raised.fault.is_some(), "{raised:?} halts without a cause"),
        }
        assert!(self.memory.clock > clock || odd, "no time passed");
        entered.map(|_| ())
    }
}

/// Says which state it was if one panics.
struct Which<'a>(&'a Start, u64);

impl Drop for Which<'_> {
    fn drop(&mut self) {
        if std::thread::panicking() {
            eprintln!("case {}: {:X?}", self.1, self.0);
        }
    }
}

fn all_opcodes(holes: bool) -> Counts {
    let one = |opcode: u16| {
        let memory = Noise { seed: 0, holes, clock: 0, refused: 0 };
        let mut bench = Bench { cpu: Cpu::default(), memory, counts: Counts::default() };
        for state in 0..STATES {
            let case = u64::from(opcode) * STATES + state;
            let mut random = dice(case);
            let mut start = Start::new(&mut random, opcode);
            start.ssp |= u32::from(one_in(&mut random, 8));
            bench.memory.seed = random.next();
            let _which = Which(&start, case);
            bench.run(&start);
        }
        bench.counts
    };
    (0..=u16::MAX).into_par_iter().map(one).reduce(Counts::default, Counts::plus)
}

#[test]
fn every_opcode_gets_on_where_everything_answers() {
    let counts = all_opcodes(false);
    assert_eq!(counts.states, STATES << 16);
    assert_eq!(counts.bus_errors, 0);
    assert!(counts.ran > 100_000 && counts.address_errors > 10_000, "{counts:?}");
    assert!(counts.raised > 10_000 && counts.nested > 1_000 && counts.halted > 1_000, "{counts:?}");
}

#[test]
fn every_opcode_gets_on_where_much_is_missing() {
    let counts = all_opcodes(true);
    assert_eq!(counts.states, STATES << 16);
    assert!(counts.ran > 100_000 && counts.bus_errors > 10_000, "{counts:?}");
    assert!(counts.raised > 10_000 && counts.nested > 1_000 && counts.halted > 1_000, "{counts:?}");
}

/// From the reset line, from a jump by the caller, and through an interrupt: the same rules.
#[test]
fn starting_anywhere_is_refused_for_a_reason() {
    let (mut started, mut refused) = ([0, 0, 0], [0, 0, 0]);
    for case in 0..60_000 {
        let mut random = dice(case);
        let mut memory = Noise { seed: random.next(), holes: true, clock: 0, refused: 0 };
        let mut cpu = Cpu::default();
        let at = random.next() as u32;
        let way = (case % 3) as usize;
        let (odd, ran) = match way {
            0 => (memory.odd(1), cpu.reset(&mut memory).is_ok()),
            1 => {
                cpu.start(Registers { pc: Wrapping(at), ..Registers::default() });
                (at & 1 == 1, cpu.refill(&mut memory) == Step::Ran)
            }
            _ => {
                let (level, vector) = (1 + (at & 7).min(6) as u8, (at >> 8) as u8);
                cpu.start(Registers { ssp: Wrapping(at), ..Registers::default() });
                let entered = cpu.interrupt(&mut memory, level, vector);
                (at & 1 == 1 || memory.odd(vector), entered == Ok(None))
            }
        };
        assert_eq!(ran, !odd && memory.refused == 0, "case {case}");
        *if ran { &mut started[way] } else { &mut refused[way] } += 1;
    }
    assert!(started.iter().chain(&refused).all(|count| *count > 1_000), "{started:?} {refused:?}");
}

//! The executor over numbers beside the processor: every opcode from random states, and random programs, on memories
//! with and without holes. After each step registers, queue, exceptions, every call of the memory and its clock agree.

use std::collections::BTreeMap;

use keyway::cpu::{Cpu, DoubleFault, Raised, Step};
use keyway::prove::execute::{self, Core, Entered, Number, OnMemory};
use m68000::Registers;
use rayon::prelude::*;

use super::bus::{Bus, registers};
use crate::random::start::{Start, dice, one_in};
use crate::vectors::run::plain;

/// States for each opcode and memory, and instructions from each.
const STATES: u64 = 4;
const STEPS: usize = 4;

/// How often what happened.
#[derive(Clone, Debug, Default)]
struct Counts {
    states: u64,
    steps: u64,
    /// By vector.
    raised: BTreeMap<u8, u64>,
    nested: u64,
    halted: u64,
    traced_twice: u64,
    woken: u64,
}

impl Counts {
    fn plus(mut self, other: Self) -> Self {
        for (vector, count) in other.raised {
            *self.raised.entry(vector).or_default() += count;
        }
        self.states += other.states;
        self.steps += other.steps;
        self.nested += other.nested;
        self.halted += other.halted;
        self.traced_twice += other.traced_twice;
        self.woken += other.woken;
        self
    }

    fn raised(&self, vector: u8) -> u64 {
        self.raised.get(&vector).copied().unwrap_or(0)
    }
}

/// Both, each with a memory of its own.
struct Pair {
    cpu: Cpu,
    core: Core<Number>,
    memory: [Bus; 2],
    counts: Counts,
}

impl Pair {
    fn new(start: &Registers, memory: Bus) -> Self {
        let mut cpu = Cpu::default();
        cpu.start(*start);
        let mut memory = [memory.clone(), memory];
        let core = Core::start(&mut OnMemory::new(&mut memory[1]), start);
        Self { cpu, core, memory, counts: Counts::default() }
    }

    fn start(start: &Start, seed: u64, holes: bool) -> Self {
        let mut pair = Self::new(&registers(start), Bus::of(start, seed, holes));
        let queue = [start.opcode, start.extension[0]];
        pair.cpu.set_queue(queue);
        pair.core.queue = queue.map(|word| Number::new(16, word.into()));
        pair
    }

    /// Everything that can be seen of both, since the last time.
    fn compare(&mut self) {
        let core = &self.core;
        let registers = self.cpu.registers();
        assert_eq!(core.data.map(|value| value.bits as u32), registers.d.map(|value| value.0));
        assert_eq!(core.address.map(|value| value.bits as u32), registers.a.map(|value| value.0));
        assert_eq!(core.user_stack.bits as u32, registers.usp.0);
        assert_eq!(core.supervisor_stack.bits as u32, registers.ssp.0);
        assert_eq!(core.pc, self.cpu.pc());
        assert_eq!(core.status(&mut OnMemory::new(&mut self.memory[1])).bits as u16, self.cpu.status());
        assert_eq!(core.queue.map(|word| word.bits as u16), self.cpu.queue());
        assert_eq!(core.stopped, self.cpu.stopped());
        let [mine, theirs] = &mut self.memory;
        assert_eq!(mine.journal, theirs.journal);
        assert_eq!(mine.clock, theirs.clock);
        mine.journal.clear();
        theirs.journal.clear();
        let values = core.data.iter().chain(&core.address).chain([&core.user_stack, &core.supervisor_stack]);
        assert!(values.into_iter().all(|value| value.width == 32));
        assert!(core.queue.iter().all(|value| value.width == 16));
    }

    /// One instruction with its exceptions. Returns whether the processor goes on.
    fn step(&mut self) -> bool {
        if self.cpu.stopped() {
            self.counts.woken += 1;
            let vector = 64 + (self.cpu.pc() & 63) as u8;
            return self.interrupt(5, vector);
        }
        self.counts.steps += 1;
        let step = self.cpu.step(&mut self.memory[0]);
        let Ok(other) = self.core.step(&mut OnMemory::new(&mut self.memory[1]));
        self.compare();
        match (step, other) {
            (Step::Ran, execute::Step::Ran) => true,
            (Step::Raised(raised), execute::Step::Raised(other)) => self.enter(&raised, &other),
            _ => panic!("{step:?} and {other:?}"),
        }
    }

    fn enter(&mut self, raised: &Raised, other: &execute::Raised<Number>) -> bool {
        assert_eq!(*raised, plain(other));
        *self.counts.raised.entry(raised.exception.vector()).or_default() += 1;
        let entered = self.cpu.enter(&mut self.memory[0], raised);
        let Ok(theirs) = self.core.enter(&mut OnMemory::new(&mut self.memory[1]), other);
        self.entered(entered, theirs)
    }

    fn interrupt(&mut self, level: u8, vector: u8) -> bool {
        let entered = self.cpu.interrupt(&mut self.memory[0], level, vector);
        let Ok(theirs) = self.core.interrupt(&mut OnMemory::new(&mut self.memory[1]), level, vector);
        self.entered(entered, theirs)
    }

    fn entered(&mut self, entered: Result<Option<Raised>, DoubleFault>, theirs: Entered<Number>) -> bool {
        self.compare();
        match (entered, theirs) {
            (Ok(None), Entered::Handler) => match (self.cpu.trace_due(), self.core.trace_due()) {
                (None, None) => true,
                (Some(raised), Some(other)) => {
                    self.counts.traced_twice += 1;
                    self.enter(&raised, &other)
                }
                (mine, theirs) => panic!("{mine:?} and {theirs:?}"),
            },
            (Ok(Some(raised)), Entered::Instead(other)) => {
                self.counts.nested += 1;
                self.enter(&raised, &other)
            }
            (Err(DoubleFault), Entered::DoubleFault) => {
                self.counts.halted += 1;
                false
            }
            (mine, theirs) => panic!("{mine:?} and {theirs:?}"),
        }
    }

    fn run(&mut self, steps: usize) {
        self.counts.states += 1;
        for _ in 0..steps {
            if !self.step() {
                return;
            }
        }
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

fn state(case: u64, opcode: u16) -> (Start, u64) {
    let mut random = dice(case);
    let mut start = Start::new(&mut random, opcode);
    start.ssp |= u32::from(one_in(&mut random, 16));
    (start, random.next())
}

fn all_opcodes(holes: bool) -> Counts {
    let one = |opcode: u16| {
        let mut counts = Counts::default();
        for number in 0..STATES {
            let case = u64::from(opcode) * STATES + number;
            let (start, seed) = state(case, opcode);
            let _which = Which(&start, case);
            let mut pair = Pair::start(&start, seed, holes);
            pair.run(STEPS);
            counts = counts.plus(pair.counts);
        }
        counts
    };
    (0..=u16::MAX).into_par_iter().map(one).reduce(Counts::default, Counts::plus)
}

#[test]
fn every_opcode_where_everything_answers() {
    let counts = all_opcodes(false);
    assert_eq!(counts.states, STATES << 16);
    assert_eq!(counts.raised(2), 0);
    for vector in (3..=11).chain(32..=47) {
        assert!(counts.raised(vector) > 1, "vector {vector}: {counts:?}");
    }
    assert!(counts.nested > 1_000 && counts.halted > 1_000 && counts.traced_twice > 100, "{counts:?}");
    assert!(counts.woken > 1 && counts.steps > 500_000, "{counts:?}");
}

#[test]
fn every_opcode_where_much_is_missing() {
    let counts = all_opcodes(true);
    assert_eq!(counts.states, STATES << 16);
    assert!(counts.raised(2) > 100_000 && counts.nested > 10_000 && counts.halted > 10_000, "{counts:?}");
}

/// Instructions that no random opcode meets often enough: few opcodes, much to them.
#[test]
fn rare_instructions_from_many_states() {
    let rare = (0x4E40..=0x4E7F).chain([0x003C, 0x007C, 0x023C, 0x027C, 0x0A3C, 0x0A7C, 0x46FC, 0x44FC, 0x46C0]);
    let divisions =
        (0..8).flat_map(|number| [0x80C0, 0x81C0, 0x80FC, 0x81FC, 0x4180, 0x41BC].map(|base| base | number << 9));
    let shifts = (0..0x200).map(|low| 0xE000 | low);
    let opcodes: Vec<u16> = rare.chain(divisions).chain(shifts).collect();
    let one = |case: u64| {
        let (start, seed) = state(case, opcodes[case as usize % opcodes.len()]);
        let _which = Which(&start, case);
        let mut pair = Pair::start(&start, seed, case % 4 == 3);
        pair.run(2);
        pair.counts
    };
    let counts = (0..400_000).into_par_iter().map(one).reduce(Counts::default, Counts::plus);
    assert_eq!(counts.states, 400_000);
    assert!((2..=11).chain(32..=47).all(|vector| counts.raised(vector) > 100), "{counts:?}");
    assert!(counts.traced_twice > 1_000 && counts.woken > 100, "{counts:?}");
}

/// Noise as a program: what it writes it may execute.
#[test]
fn random_programs() {
    let one = |case: u64| {
        let (start, seed) = state(case, dice(case).next() as u16);
        let _which = Which(&start, case);
        let mut pair = Pair::start(&start, seed, false);
        pair.run(200);
        pair.counts
    };
    let counts = (0..8_000).into_par_iter().map(one).reduce(Counts::default, Counts::plus);
    assert!(counts.steps > 200_000, "{counts:?}");
}

/// From the reset line, from a jump by the caller, and through an interrupt.
#[test]
fn starting_anywhere() {
    let (mut started, mut refused) = ([0, 0, 0], [0, 0, 0]);
    for case in 0..30_000 {
        let (mut start, seed) = state(case, 0x4E71);
        start.pc |= u32::from(case % 8 == 0);
        let way = (case / 8 % 3) as usize;
        let mut pair = Pair::new(&registers(&start), Bus::new(seed, case % 2 == 0));
        let [first, second] = &mut pair.memory;
        let mut world = OnMemory::new(second);
        let went = match way {
            0 => {
                let (mine, Ok(theirs)) = (pair.cpu.reset(first), pair.core.reset(&mut world));
                let mine = mine.map_or_else(Step::Raised, |()| Step::Ran);
                same(without_pc(mine), without_pc_of(theirs))
            }
            1 => {
                let (mine, Ok(theirs)) = (pair.cpu.refill(first), pair.core.refill(&mut world));
                same(mine, theirs)
            }
            _ => pair.interrupt(1 + (seed % 7) as u8, (seed >> 8) as u8),
        };
        pair.compare();
        *if went { &mut started[way] } else { &mut refused[way] } += 1;
        if went {
            pair.run(3);
        }
    }
    assert!(started.iter().chain(&refused).all(|count| *count > 100), "{started:?} {refused:?}");
}

/// A reset that fails halts the processor: no frame ever shows a program counter.
fn without_pc(step: Step) -> Step {
    if let Step::Raised(raised) = step { Step::Raised(Raised { pc: 0, ..raised }) } else { step }
}

fn without_pc_of(step: execute::Step<Number>) -> execute::Step<Number> {
    match step {
        execute::Step::Raised(raised) => execute::Step::Raised(execute::Raised { pc: 0, ..raised }),
        execute::Step::Ran => step,
    }
}

fn same(mine: Step, theirs: execute::Step<Number>) -> bool {
    let theirs = match theirs {
        execute::Step::Ran => Step::Ran,
        execute::Step::Raised(raised) => Step::Raised(plain(&raised)),
    };
    assert_eq!(mine, theirs);
    mine == Step::Ran
}

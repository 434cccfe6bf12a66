//! The ways that the executor takes for values that are not known: run over numbers of which the domain denies that they
//! are known, every instruction does the same.

use std::convert::Infallible;

use keyway::cpu::FunctionCode;
use keyway::prove::execute::{Core, Entered, Number, Numbers, OnMemory, Step};
use keyway::prove::{Domain, Pin, World};
use rayon::prelude::*;

use super::bus::{Bus, registers};
use crate::random::start::{Start, dice};

/// Numbers that do not say so.
#[derive(Default)]
struct Denied(Numbers);

/// Operations that are the numbers' own.
macro_rules! same {
    ($($name:ident($($argument:ident),*);)*) => {
        $(fn $name(&mut self, $($argument: Number),*) -> Number {
            self.0.$name($($argument),*)
        })*
    };
}

impl Domain for Denied {
    type Value = Number;

    fn number(&mut self, width: u32, value: u64) -> Number {
        self.0.number(width, value)
    }

    fn known(&self, _: Number) -> Option<u64> {
        None
    }

    fn width(&self, value: Number) -> u32 {
        self.0.width(value)
    }

    fn part(&mut self, value: Number, low: u32, width: u32) -> Number {
        self.0.part(value, low, width)
    }

    same! {
        not(value);
        and(left, right);
        or(left, right);
        xor(left, right);
        add(left, right);
        sub(left, right);
        mul(left, right);
        quotient(left, right);
        remainder(left, right);
        shift_left(value, by);
        shift_right(value, by);
        shift_right_signed(value, by);
        equal(left, right);
        less(left, right);
        either(condition, then, other);
        join(high, low);
    }
}

type Answer<T> = Result<Option<T>, Infallible>;

struct Blind<'a>(OnMemory<'a, Bus>, Denied);

impl World for Blind<'_> {
    type Values = Denied;
    type Cut = Infallible;

    fn values(&mut self) -> &mut Denied {
        &mut self.1
    }

    fn decide(&mut self, bit: Number) -> Result<bool, Infallible> {
        self.0.decide(bit)
    }

    fn pin(&mut self, value: Number, what: Pin) -> Result<u64, Infallible> {
        self.0.pin(value, what)
    }

    fn read_byte(&mut self, at: Number, code: FunctionCode) -> Answer<Number> {
        self.0.read_byte(at, code)
    }

    fn read_word(&mut self, at: Number, code: FunctionCode) -> Answer<Number> {
        self.0.read_word(at, code)
    }

    fn fetch(&mut self, at: u32, code: FunctionCode) -> Answer<Number> {
        self.0.fetch(at, code)
    }

    fn write_byte(&mut self, at: Number, value: Number, code: FunctionCode) -> Answer<()> {
        self.0.write_byte(at, value, code)
    }

    fn write_word(&mut self, at: Number, value: Number, code: FunctionCode) -> Answer<()> {
        self.0.write_word(at, value, code)
    }

    fn touch_byte(&mut self, at: Number, code: FunctionCode) -> Answer<()> {
        self.0.touch_byte(at, code)
    }

    fn touch_word(&mut self, at: Number, code: FunctionCode) -> Answer<()> {
        self.0.touch_word(at, code)
    }

    fn idle(&mut self, clocks: u32) {
        self.0.idle(clocks);
    }

    fn idle_for(&mut self, clocks: Number) {
        assert_eq!(clocks.width, 32);
        self.0.idle_for(clocks);
    }

    fn reset_devices(&mut self) -> Result<(), Self::Cut> {
        self.0.reset_devices()
    }
}

/// One instruction and its exception.
fn run<W>(core: &mut Core<Number>, world: &mut W) -> (Step<Number>, Option<Entered<Number>>)
where
    W: World<Cut = Infallible>,
    W::Values: Domain<Value = Number>,
{
    let Ok(step) = core.step(world);
    let Step::Raised(raised) = step else { return (step, None) };
    let Ok(entered) = core.enter(world, &raised);
    (step, Some(entered))
}

fn one(case: u64, opcode: u16) {
    let mut random = dice(case);
    let start = Start::new(&mut random, opcode);
    let mut memory = Bus::of(&start, random.next(), false);
    let mut other = memory.clone();
    let mut world = OnMemory::new(&mut memory);
    let mut core = Core::start(&mut world, &registers(&start));
    core.queue = [start.opcode, start.extension[0]].map(|word| Number::new(16, word.into()));
    let mut blind = core.clone();
    let open = run(&mut core, &mut world);
    let closed = run(&mut blind, &mut Blind(OnMemory::new(&mut other), Denied::default()));
    assert_eq!(open, closed, "{start:X?}");
    assert_eq!(core, blind, "{start:X?}");
    assert_eq!((&memory.journal, memory.clock), (&other.journal, other.clock), "{start:X?}");
}

#[test]
fn every_opcode_is_the_same_when_nothing_is_known() {
    (0..3u64 << 16).into_par_iter().for_each(|case| one(case, case as u16));
}

/// Shifts, rotates, bits, products and quotients: where there is another way.
#[test]
fn instructions_with_a_way_of_their_own_for_unknown_values() {
    let shifts = (0..0x1000u16).map(|low| 0xE000 | low).filter(|opcode| opcode >> 6 & 3 != 3);
    let bits = (0..0x1000u16).filter(|opcode| opcode & 0x138 == 0x100);
    let products = (0..0x800u16).flat_map(|low| [0x8000 | low << 1, 0xC000 | low << 1]);
    let products = products.filter(|opcode| opcode & 0xC0 == 0xC0 && opcode & 0x38 == 0);
    let opcodes: Vec<u16> = shifts.chain(bits).chain(products).collect();
    (0..400_000u64).into_par_iter().for_each(|case| one(case, opcodes[case as usize % opcodes.len()]));
}

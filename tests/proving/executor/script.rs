//! A run over numbers written down, and followed again by a run in which much is unknown.

use std::convert::Infallible;

use keyway::cpu::FunctionCode;
use keyway::prove::execute::{Flat, Number, Numbers, OnMemory, Perhaps};
use keyway::prove::{Pin, World};

use super::bus::Bus;
use crate::support::Random;

/// One call of a world.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Line {
    Decide(bool),
    Pin(u64),
    Read { at: u64, code: FunctionCode, value: Option<u64> },
    Touch { at: u64, code: FunctionCode, answered: bool },
    Write { at: u64, code: FunctionCode, value: u64, answered: bool },
    Reset,
}

/// A run over numbers.
pub struct Script<'a> {
    world: OnMemory<'a, Bus>,
    /// With the idle clocks before each.
    lines: Vec<(u64, Line)>,
    idle: u64,
}

impl<'a> Script<'a> {
    pub fn new(memory: &'a mut Bus) -> Self {
        Self { world: OnMemory::new(memory), lines: Vec::new(), idle: 0 }
    }

    fn note(&mut self, line: Line) {
        self.lines.push((std::mem::take(&mut self.idle), line));
    }

    fn read(&mut self, at: u64, code: FunctionCode, value: Option<Number>) -> Result<Option<Number>, Infallible> {
        self.note(Line::Read { at, code, value: value.map(|value| value.bits) });
        Ok(value)
    }

    fn write(&mut self, at: u64, code: FunctionCode, value: u64, done: Option<()>) -> Result<Option<()>, Infallible> {
        self.note(Line::Write { at, code, value, answered: done.is_some() });
        Ok(done)
    }

    fn touch(&mut self, at: u64, code: FunctionCode, done: Option<()>) -> Result<Option<()>, Infallible> {
        self.note(Line::Touch { at, code, answered: done.is_some() });
        Ok(done)
    }
}

impl World for Script<'_> {
    type Values = Numbers;
    type Cut = Infallible;

    fn values(&mut self) -> &mut Numbers {
        self.world.values()
    }

    fn decide(&mut self, bit: Number) -> Result<bool, Infallible> {
        assert_eq!(bit.width, 1);
        self.note(Line::Decide(bit.bits == 1));
        self.world.decide(bit)
    }

    fn pin(&mut self, value: Number, what: Pin) -> Result<u64, Infallible> {
        self.note(Line::Pin(value.bits));
        self.world.pin(value, what)
    }

    fn read_byte(&mut self, at: Number, code: FunctionCode) -> Result<Option<Number>, Infallible> {
        assert_eq!(at.width, 32);
        let Ok(value) = self.world.read_byte(at, code);
        self.read(at.bits, code, value)
    }

    fn read_word(&mut self, at: Number, code: FunctionCode) -> Result<Option<Number>, Infallible> {
        assert_eq!(at.width, 32);
        let Ok(value) = self.world.read_word(at, code);
        self.read(at.bits, code, value)
    }

    fn fetch(&mut self, at: u32, code: FunctionCode) -> Result<Option<Number>, Infallible> {
        let Ok(value) = self.world.fetch(at, code);
        self.read(at.into(), code, value)
    }

    fn write_byte(&mut self, at: Number, value: Number, code: FunctionCode) -> Result<Option<()>, Infallible> {
        assert_eq!((at.width, value.width), (32, 8));
        let Ok(done) = self.world.write_byte(at, value, code);
        self.write(at.bits, code, value.bits, done)
    }

    fn write_word(&mut self, at: Number, value: Number, code: FunctionCode) -> Result<Option<()>, Infallible> {
        assert_eq!((at.width, value.width), (32, 16));
        let Ok(done) = self.world.write_word(at, value, code);
        self.write(at.bits, code, value.bits, done)
    }

    fn touch_byte(&mut self, at: Number, code: FunctionCode) -> Result<Option<()>, Infallible> {
        let Ok(done) = self.world.touch_byte(at, code);
        self.touch(at.bits, code, done)
    }

    fn touch_word(&mut self, at: Number, code: FunctionCode) -> Result<Option<()>, Infallible> {
        let Ok(done) = self.world.touch_word(at, code);
        self.touch(at.bits, code, done)
    }

    fn idle(&mut self, clocks: u32) {
        self.idle += u64::from(clocks);
    }

    fn idle_for(&mut self, clocks: Number) {
        panic!("a number of clocks that is known was passed as one that is not: {clocks:?}");
    }

    fn reset_devices(&mut self) -> Result<(), Infallible> {
        self.note(Line::Reset);
        Ok(())
    }
}

/// The same run with less known: where it must decide it does as the script does.
pub struct Follower {
    lines: std::vec::IntoIter<(u64, Line)>,
    /// Idle clocks of the script behind its last line.
    rest: u64,
    random: Random,
    idle: u64,
    /// Whether idle clocks were unknown since the last line.
    vague: bool,
    values: Flat,
}

impl Follower {
    pub fn new(script: Script, random: Random) -> Self {
        let (lines, rest) = (script.lines.into_iter(), script.idle);
        Self { lines, rest, random, idle: 0, vague: false, values: Flat }
    }

    /// A number, or not.
    pub fn perhaps(&mut self, number: Number) -> Perhaps {
        if self.random.below(3) == 0 { Perhaps::unknown(number.width.into()) } else { number.into() }
    }

    fn line(&mut self) -> Line {
        let (idle, line) = self.lines.next().expect("the script goes on");
        self.check_idle(idle);
        line
    }

    fn check_idle(&mut self, expected: u64) {
        let (vague, idle) = (std::mem::take(&mut self.vague), std::mem::take(&mut self.idle));
        assert!(if vague { idle <= expected } else { idle == expected }, "{idle} of {expected} idle clocks");
    }

    /// The script has ended, too.
    pub fn end(mut self) {
        self.check_idle(self.rest);
        assert_eq!(self.lines.next(), None);
    }

    fn read(&mut self, at: Perhaps, code: FunctionCode, width: u32) -> Result<Option<Perhaps>, Infallible> {
        let Line::Read { at: place, code: shown, value } = self.line() else { panic!("no read in the script") };
        fits(at, place);
        assert_eq!(code, shown);
        Ok(value.map(|value| self.perhaps(Number::new(width, value))))
    }

    fn write(&mut self, at: Perhaps, value: Perhaps, code: FunctionCode) -> Result<Option<()>, Infallible> {
        let Line::Write { at: place, code: shown, value: number, answered } = self.line() else {
            panic!("no write in the script")
        };
        fits(at, place);
        fits(value, number);
        assert_eq!(code, shown);
        Ok(answered.then_some(()))
    }

    fn touch(&mut self, at: Perhaps, code: FunctionCode) -> Result<Option<()>, Infallible> {
        let Line::Touch { at: place, code: shown, answered } = self.line() else { panic!("no read in the script") };
        fits(at, place);
        assert_eq!(code, shown);
        Ok(answered.then_some(()))
    }
}

/// What is known is right.
pub fn fits(value: Perhaps, number: u64) {
    assert!(value.number.is_none_or(|known| known == number), "{value:X?} is {number:X}");
}

impl World for Follower {
    type Values = Flat;
    type Cut = Infallible;

    fn values(&mut self) -> &mut Flat {
        &mut self.values
    }

    fn decide(&mut self, bit: Perhaps) -> Result<bool, Infallible> {
        let Line::Decide(set) = self.line() else { panic!("no decision in the script") };
        fits(bit, set.into());
        Ok(set)
    }

    fn pin(&mut self, value: Perhaps, _: Pin) -> Result<u64, Infallible> {
        let Line::Pin(number) = self.line() else { panic!("nothing is pinned in the script") };
        fits(value, number);
        Ok(number)
    }

    fn read_byte(&mut self, at: Perhaps, code: FunctionCode) -> Result<Option<Perhaps>, Infallible> {
        self.read(at, code, 8)
    }

    fn read_word(&mut self, at: Perhaps, code: FunctionCode) -> Result<Option<Perhaps>, Infallible> {
        self.read(at, code, 16)
    }

    fn fetch(&mut self, at: u32, code: FunctionCode) -> Result<Option<Perhaps>, Infallible> {
        self.read(Perhaps::known(32, at.into()), code, 16)
    }

    fn write_byte(&mut self, at: Perhaps, value: Perhaps, code: FunctionCode) -> Result<Option<()>, Infallible> {
        self.write(at, value, code)
    }

    fn write_word(&mut self, at: Perhaps, value: Perhaps, code: FunctionCode) -> Result<Option<()>, Infallible> {
        self.write(at, value, code)
    }

    fn touch_byte(&mut self, at: Perhaps, code: FunctionCode) -> Result<Option<()>, Infallible> {
        self.touch(at, code)
    }

    fn touch_word(&mut self, at: Perhaps, code: FunctionCode) -> Result<Option<()>, Infallible> {
        self.touch(at, code)
    }

    fn idle(&mut self, clocks: u32) {
        self.idle += u64::from(clocks);
    }

    fn idle_for(&mut self, clocks: Perhaps) {
        assert_eq!((clocks.number, clocks.width), (None, 32));
        self.vague = true;
    }

    fn reset_devices(&mut self) -> Result<(), Infallible> {
        assert_eq!(self.line(), Line::Reset);
        Ok(())
    }
}

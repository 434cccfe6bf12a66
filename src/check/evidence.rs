//! Why a run went where it went: a second run of a failed case, watched.
//!
//! The evidence is the last compare of something that came straight from the attached cartridge or a port, the
//! conditional branch after it, and the bytes read before that. Values that took a longer way are not followed here.

use m68000::Registers;
use m68000::addressing_modes::AddressingMode;

use super::result::{Compared, Decided, Evidence, Look};
use crate::board::{Access, Bus, Observer, Place, PortSize};
use crate::cpu::{Compare, Decoded, decode};
use crate::units;
use crate::verdict::Names;

/// How many bytes of the attached image are remembered.
const REMEMBERED: usize = 64;

/// How many bytes of one stretch are shown.
const SHOWN: usize = 16;

/// A byte of the attached image as it was read.
#[derive(Clone, Copy, Debug)]
struct Byte {
    address: u32,
    offset: Option<u32>,
    value: u8,
}

/// An operand of a compare: its value, its mode, and the access from which it came.
#[derive(Clone, Copy, Debug)]
struct Operand {
    value: u32,
    access: Option<Access>,
    mode: AddressingMode,
}

impl Operand {
    /// The access that brought it from outside the host.
    fn origin(&self) -> Option<Access> {
        self.access.filter(outside)
    }
}

/// A compare of which an operand came from outside.
#[derive(Clone, Copy, Debug)]
struct Seen {
    at: u32,
    compare: Compare,
    source: Option<Operand>,
    target: Operand,
}

/// A conditional branch that ran.
#[derive(Clone, Copy, Debug)]
struct Turn {
    at: u32,
    to: u32,
    fell_through: u32,
}

/// The instruction that runs.
#[derive(Clone, Debug)]
struct Now {
    at: u32,
    decoded: Decoded,
    registers: Registers,
    reads: Vec<Access>,
}

/// The observer.
#[derive(Clone, Debug, Default)]
pub struct EvidenceObserver {
    now: Option<Now>,
    /// For each data register, the access that loaded it.
    loaded: [Option<Access>; 8],
    bytes: Vec<Byte>,
    compare: Option<Seen>,
    /// A MOVE from outside that has just run: it tests what it moves.
    moved: Option<Seen>,
    /// The branch after the compare, and the bytes read until then.
    decided: Option<(Turn, Vec<Byte>)>,
    awaited: bool,
    /// The first branch after the last read, and the last branch of all, for routines that compare nothing directly.
    after_read: Option<Turn>,
    last: Option<Turn>,
}

impl Observer for EvidenceObserver {
    fn fetch(&mut self, at: u32, registers: &Registers, bus: &Bus) {
        self.forget_changed(registers);
        let decoded = decode(at, |address| bus.peek_word(address));
        self.now = Some(Now { at, decoded, registers: *registers, reads: Vec::new() });
    }

    fn read(&mut self, access: &Access) {
        if let Some(now) = &mut self.now {
            now.reads.push(*access);
        }
        if access.place != Place::Window {
            return;
        }
        self.after_read = None;
        let values = access.value.to_be_bytes();
        let values = if access.size == PortSize::Word { &values[..] } else { &values[1..] };
        for (index, value) in values.iter().enumerate() {
            if self.bytes.len() == REMEMBERED {
                self.bytes.remove(0);
            }
            let offset = access.offset.map(|offset| offset + index as u32);
            self.bytes.push(Byte { address: access.address + index as u32, offset, value: *value });
        }
    }

    fn edge(&mut self, from: u32, to: u32) {
        let Some(now) = self.now.take() else { return };
        let moved = self.moved.take();
        if let Some(compare) = now.decoded.compare() {
            self.see_compare(&now, compare);
        }
        if now.decoded.conditional() {
            if moved.is_some() {
                self.compare = moved;
                self.awaited = true;
            }
            self.see_branch(Turn { at: from, to, fell_through: from + now.decoded.length });
        }
        if let Some((register, width)) = now.decoded.loads() {
            self.loaded[register as usize] = now.reads.iter().copied().find(outside);
            self.moved = self.see_move(&now, width);
        }
        self.now = Some(now);
    }
}

/// Whether an access brings something from outside the host.
fn outside(access: &Access) -> bool {
    matches!(access.place, Place::Window | Place::Port(_))
}

impl EvidenceObserver {
    /// A register that has changed no longer holds what was loaded, unless it was loaded just now, or only widened.
    fn forget_changed(&mut self, registers: &Registers) {
        let Some(before) = self.now.take() else { return };
        for (number, loaded) in self.loaded.iter_mut().enumerate() {
            let Some(access) = loaded else { continue };
            let low = if access.size == PortSize::Word { 0xFFFF } else { 0xFF };
            let just_loaded = before.decoded.loads().is_some_and(|(register, _)| usize::from(register) == number);
            if !just_loaded && (before.registers.d[number].0 ^ registers.d[number].0) & low != 0 {
                *loaded = None;
            }
        }
    }

    /// A MOVE sets the flags by what it moves, so a branch right after it decides by that.
    fn see_move(&self, now: &Now, width: u32) -> Option<Seen> {
        let first = now.reads.iter().copied().find(outside)?;
        let low = now.reads.get(1).map_or(0, |access| u32::from(access.value));
        let value = if width == 4 { u32::from(first.value) << 16 | low } else { u32::from(first.value) };
        let mode = AddressingMode::AbsLong(first.address);
        let target = Operand { value, access: Some(first), mode };
        Some(Seen {
            at: now.at,
            compare: Compare { width, source: None, target: mode, bit: None },
            source: None,
            target,
        })
    }

    fn see_compare(&mut self, now: &Now, compare: Compare) {
        let mut reads = now.reads.iter();
        let source = compare.source.map(|mode| self.operand(now, mode, compare.width, &mut reads));
        let target = self.operand(now, compare.target, compare.width, &mut reads);
        if source.is_some_and(|source| source.origin().is_some()) || target.origin().is_some() {
            self.compare = Some(Seen { at: now.at, compare, source, target });
            self.awaited = true;
        }
    }

    fn operand<'a>(
        &self,
        now: &Now,
        mode: AddressingMode,
        width: u32,
        reads: &mut impl Iterator<Item = &'a Access>,
    ) -> Operand {
        let mask = u32::MAX >> (32 - 8 * width);
        let (value, access) = match mode {
            AddressingMode::Immediate(value) => (value, None),
            AddressingMode::Drd(register) => (now.registers.d[register as usize].0, self.loaded[register as usize]),
            AddressingMode::Ard(register) => (now.registers.a(register), None),
            _ => {
                let first = reads.next().copied();
                let high = first.map_or(0, |access| u32::from(access.value));
                let low = if width == 4 { reads.next().map(|access| u32::from(access.value)) } else { None };
                (low.map_or(high, |low| high << 16 | low), first)
            }
        };
        Operand { value: value & mask, access, mode }
    }

    fn see_branch(&mut self, turn: Turn) {
        if std::mem::take(&mut self.awaited) {
            self.decided = Some((turn, self.bytes.clone()));
        }
        self.after_read.get_or_insert(turn);
        self.last = Some(turn);
    }

    /// The evidence of the run that was watched.
    pub fn evidence(&self, names: Names, fill: String) -> Evidence {
        let (turn, bytes) = match &self.decided {
            Some((turn, bytes)) => (Some(*turn), &bytes[..]),
            None => (self.after_read.or(self.last), &self.bytes[..]),
        };
        let decided = turn.map(|turn| Decided {
            at: names.spot(turn.at),
            instruction: instruction(turn.at, names),
            to: names.spot(turn.to),
            taken: turn.to != turn.fell_through,
        });
        let compared = self.compare.filter(|_| self.decided.is_some()).map(|seen| compared(&seen, names));
        Evidence { decided, compared, looked_at: looks(bytes, names), fill }
    }
}

fn instruction(at: u32, names: Names) -> String {
    let map = &names.rig.map;
    if map.code_word(at).is_none() {
        return "(code outside the host ROM)".to_owned();
    }
    decode(at, |address| map.code_word(address).unwrap_or(0)).text(map.host().symbols())
}

fn compared(seen: &Seen, names: Names) -> Compared {
    // The side from outside is what was found, the other one what it was compared with.
    let (found, with) = match seen.source {
        Some(source) if source.origin().is_some() => (source, Some(seen.target)),
        source => (seen.target, source),
    };
    let with_in = match (with, seen.compare.bit) {
        (Some(with), _) => operand_name(&with, names),
        (None, Some(bit)) => format!("bit {bit}"),
        (None, None) => "zero".to_owned(),
    };
    let zero = (seen.compare.bit.is_none() && with.is_none()).then_some(0);
    Compared {
        at: names.spot(seen.at),
        instruction: instruction(seen.at, names),
        found: found.value,
        found_in: operand_name(&found, names),
        with: with.map(|with| with.value).or(zero),
        with_in,
        width: seen.compare.width,
    }
}

fn operand_name(operand: &Operand, names: Names) -> String {
    let Some(access) = operand.access else {
        return match operand.mode {
            AddressingMode::Immediate(_) => "the instruction".to_owned(),
            AddressingMode::Drd(register) => format!("d{register}"),
            AddressingMode::Ard(register) => format!("a{register}"),
            _ => "the host".to_owned(),
        };
    };
    match (access.place, access.offset) {
        (Place::Port(index), _) => format!("port {}", names.rig.map.ports()[index].name),
        (Place::Window, Some(offset)) => names.field(offset).unwrap_or_else(|| format!("image offset 0x{offset:06X}")),
        (Place::Window, None) => format!("open bus at {}", units::address(access.address)),
        _ => names.data(access.address),
    }
}

/// The last two stretches of bytes read one after the other.
fn looks(bytes: &[Byte], names: Names) -> Vec<Look> {
    let mut stretches: Vec<&[Byte]> = Vec::new();
    let mut end = bytes.len();
    while end > 0 && stretches.len() < 2 {
        let mut start = end - 1;
        while start > 0 && bytes[start - 1].address + 1 == bytes[start].address {
            start -= 1;
        }
        stretches.push(&bytes[start..end]);
        end = start;
    }
    stretches.reverse();
    stretches.into_iter().map(|stretch| look(&stretch[stretch.len().saturating_sub(SHOWN)..], names)).collect()
}

fn look(bytes: &[Byte], names: Names) -> Look {
    let first = bytes[0];
    Look {
        address: first.address,
        offset: first.offset,
        field: first.offset.and_then(|offset| names.field(offset)),
        hex: bytes.iter().map(|byte| format!("{:02X}", byte.value)).collect::<Vec<_>>().join(" "),
        text: bytes.iter().map(|byte| units::printable(byte.value)).collect(),
    }
}

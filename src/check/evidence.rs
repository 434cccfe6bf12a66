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

/// An operand of a compare: its value, and the access from which it came.
#[derive(Clone, Copy, Debug)]
struct Operand {
    value: u32,
    origin: Option<Access>,
    mode: Option<AddressingMode>,
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
        if let Some(compare) = now.decoded.compare() {
            self.see_compare(&now, compare);
        }
        if now.decoded.conditional() {
            self.see_branch(Turn { at: from, to, fell_through: from + now.decoded.length });
        }
        if let Some(register) = now.decoded.loads() {
            self.loaded[register as usize] = now.reads.iter().copied().find(outside);
        }
        self.now = Some(now);
    }
}

/// Whether an access brings something from outside the host.
fn outside(access: &Access) -> bool {
    matches!(access.place, Place::Window | Place::Port(_))
}

impl EvidenceObserver {
    /// A register that has changed no longer holds what was loaded, unless it was loaded just now.
    fn forget_changed(&mut self, registers: &Registers) {
        let Some(before) = self.now.take() else { return };
        for (number, loaded) in self.loaded.iter_mut().enumerate() {
            let just_loaded = before.decoded.loads() == Some(number as u8);
            if !just_loaded && before.registers.d[number] != registers.d[number] {
                *loaded = None;
            }
        }
    }

    fn see_compare(&mut self, now: &Now, compare: Compare) {
        let mut reads = now.reads.iter();
        let source = compare.source.map(|mode| self.operand(now, mode, compare.width, &mut reads));
        let target = self.operand(now, compare.target, compare.width, &mut reads);
        if source.is_some_and(|source| source.origin.is_some()) || target.origin.is_some() {
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
        let (value, origin) = match mode {
            AddressingMode::Immediate(value) => (value, None),
            AddressingMode::Drd(register) => (now.registers.d[register as usize].0, self.loaded[register as usize]),
            AddressingMode::Ard(register) => (now.registers.a(register), None),
            _ => {
                let first = reads.next().copied();
                let high = first.map_or(0, |access| u32::from(access.value));
                let low = if width == 4 { reads.next().map(|access| u32::from(access.value)) } else { None };
                (low.map_or(high, |low| high << 16 | low), first.filter(outside))
            }
        };
        let in_host = first_place(mode);
        Operand { value: value & mask, origin, mode: in_host.then_some(mode) }
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

/// Whether an operand is worth naming by its mode: an immediate or a register.
fn first_place(mode: AddressingMode) -> bool {
    matches!(mode, AddressingMode::Immediate(_) | AddressingMode::Drd(_) | AddressingMode::Ard(_))
}

fn instruction(at: u32, names: Names) -> String {
    let host = names.rig.map.host();
    decode(at, |address| host.word(address).unwrap_or(0)).text(host.symbols())
}

fn compared(seen: &Seen, names: Names) -> Compared {
    // The side from outside is what was found, the other one what it was compared with.
    let (found, with) = match seen.source {
        Some(source) if source.origin.is_some() => (source, Some(seen.target)),
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
    let Some(access) = operand.origin else {
        return match operand.mode {
            Some(AddressingMode::Immediate(_)) => "the instruction".to_owned(),
            Some(AddressingMode::Drd(register)) => format!("d{register}"),
            Some(AddressingMode::Ard(register)) => format!("a{register}"),
            _ => "the host".to_owned(),
        };
    };
    match (access.place, access.offset) {
        (Place::Port(index), _) => format!("port {}", names.rig.map.ports()[index].name),
        (_, Some(offset)) => names.field(offset).unwrap_or_else(|| format!("image offset 0x{offset:06X}")),
        (_, None) => format!("open bus at {}", units::address(access.address)),
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

//! The evidence of a failure: the last decision that hung on something from outside, in three lines.

use super::event::{Compares, Event, Operand, Setter, Turn};
use super::model::{Compared, Decided, Evidence, Look};
use super::name::Namer;
use super::tracer::Tracer;
use crate::cartridge::Attached;
use crate::units;
use crate::verdict::Names;

/// How many bytes of one stretch are shown.
const SHOWN: usize = 16;

/// A byte of the window as it was read.
#[derive(Clone, Copy, Debug)]
pub(super) struct Looked {
    /// The instruction of the run that read it.
    pub serial: u64,
    pub address: u32,
    pub offset: Option<u32>,
    pub value: u8,
}

impl Tracer {
    /// The evidence of the run that was just traced.
    pub fn evidence(&self, attached: &Attached, names: Names, fill: String) -> Evidence {
        let namer = self.namer(attached, names);
        let last = self.last_decision();
        let until = last.map_or(u64::MAX, |(setter, _)| setter.serial);
        let looked: Vec<Looked> = self.looked.iter().filter(|byte| byte.serial <= until).copied().collect();
        Evidence {
            decided: last.map(|(_, turn)| Decided {
                at: names.spot(turn.at),
                instruction: namer.instruction(turn.at),
                to: names.spot(turn.to),
                taken: turn.taken,
            }),
            compared: last.and_then(|(setter, _)| compared(&setter, &namer)),
            looked_at: looks(&looked, names),
            fill,
        }
    }

    /// The address of the branch that decided last on something from outside.
    pub fn deciding(&self) -> Option<u32> {
        self.last_decision().map(|(_, turn)| turn.at)
    }

    /// The last instruction that a decision asked, and the first branch that asked it.
    fn last_decision(&self) -> Option<(Setter, Turn)> {
        let decisions = || {
            self.events.entries().filter_map(|entry| match entry.event {
                Event::Decision { setter, turn } => Some((setter, turn)),
                _ => None,
            })
        };
        let (last, _) = decisions().last()?;
        decisions().find(|(setter, _)| setter.serial == last.serial)
    }
}

fn compared(setter: &Setter, namer: &Namer) -> Option<Compared> {
    let (found, with) = setter.sides();
    let (with, with_in) = match (setter.compares, with) {
        (Compares::Two, Some(with)) => (Some(with.value), namer.held_in(&with)),
        (Compares::Zero, _) => (Some(0), "zero".to_owned()),
        (Compares::Bits(mask), _) if mask.is_power_of_two() => (None, format!("bit {}", mask.trailing_zeros())),
        (Compares::Bits(mask), _) => (None, format!("bits 0x{mask:02X}")),
        (Compares::Two | Compares::Result, _) => return None,
    };
    Some(Compared {
        at: namer.names.spot(setter.at),
        instruction: namer.instruction(setter.at),
        found: found.value,
        found_in: namer.held_in(&found),
        with,
        with_in,
        width: found.width,
    })
}

impl Setter {
    /// What comes from outside, and the other side.
    pub(super) fn sides(&self) -> (Operand, Option<Operand>) {
        match self.with {
            Some(with) if self.found.clean() && !with.clean() => (with, Some(self.found)),
            with => (self.found, with),
        }
    }
}

/// The last two stretches of bytes read one after the other.
fn looks(bytes: &[Looked], names: Names) -> Vec<Look> {
    let mut stretches: Vec<&[Looked]> = Vec::new();
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

fn look(bytes: &[Looked], names: Names) -> Look {
    let first = bytes[0];
    Look {
        address: first.address,
        offset: first.offset,
        field: first.offset.and_then(|offset| names.field(offset)),
        hex: bytes.iter().map(|byte| format!("{:02X}", byte.value)).collect::<Vec<_>>().join(" "),
        text: bytes.iter().map(|byte| units::printable(byte.value)).collect(),
    }
}

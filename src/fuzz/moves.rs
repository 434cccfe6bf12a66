//! Moves: how one trial is made from another. Each is a change of the recipe that a person could have made.

use std::sync::Arc;

use super::dice::Dice;
use super::ground::{Ground, OPEN_BUSES, Part};
use super::texts;
use super::trial::{Held, Plug, Trial};
use super::wishes::Wish;
use crate::board::{Change, Schedule, shown_offset};
use crate::cartridge::{AddressFault, Checksum, DataFault, Flaw, Holds};
use crate::run::Timing;
use crate::suite::Harness;

/// The most moves at once.
const MOST_MOVES: usize = 6;

/// The longest list of values that a port reads one after the other.
const LONGEST_SEQUENCE: usize = 6;

/// Makes trials from others.
#[derive(Clone, Copy, Debug)]
pub struct Mover<'a> {
    /// The harness.
    pub harness: &'a Harness,
    /// What may be varied.
    pub ground: &'a Ground,
}

/// What is known of the trial that is varied.
#[derive(Clone, Copy, Debug)]
pub struct Parent<'a> {
    /// The trial.
    pub trial: &'a Trial,
    /// What its run would have liked to find.
    pub wishes: &'a [Wish],
    /// The image offsets that its run read.
    pub offsets: &'a [u32],
}

impl Mover<'_> {
    /// A trial made from `parent` by a few moves; `other` lends parts.
    pub fn vary(&self, parent: Parent, other: &Trial, dice: &mut Dice) -> Trial {
        let mut trial = parent.trial.clone();
        let mut moves = 1;
        while moves < MOST_MOVES && dice.one_in(2) {
            moves += 1;
        }
        for _ in 0..moves {
            let Some(part) = dice.pick(&self.ground.parts).copied() else { break };
            self.change(&mut trial, part, parent, other, dice);
        }
        trial.repair(self.harness);
        trial
    }

    /// The trial with one wish come true; `None` if it is about something that is not varied.
    pub fn granted(&self, trial: &Trial, wish: &Wish, whole: bool) -> Option<Trial> {
        let mut trial = trial.clone();
        let part = if let Wish::Port { .. } = wish { Part::Ports } else { Part::Header };
        if !self.ground.parts.contains(&part) || !self.grant(&mut trial, wish, whole) {
            return None;
        }
        trial.repair(self.harness);
        Some(trial)
    }

    fn change(&self, trial: &mut Trial, part: Part, parent: Parent, other: &Trial, dice: &mut Dice) {
        match part {
            Part::Ports => return self.port(trial, parent.wishes, dice),
            Part::Interrupts => return self.interrupt(trial, dice),
            Part::OpenBus => return trial.empty = dice.pick(&OPEN_BUSES).copied(),
            Part::Presence => return self.presence(trial, other, dice),
            _ => {}
        }
        let Some(plug) = &mut trial.plug else { return };
        match part {
            Part::Header => self.header(trial, parent, other, dice),
            Part::Checksums => self.checksum(plug, dice),
            Part::Size => self.size(plug, dice),
            Part::Copies => self.copies(plug, dice),
            Part::Fill => plug.fill = [Some(0xFF), Some(0), None, Some(dice.byte())][dice.below(4)],
            Part::ByteOrder => plug.swapped = !plug.swapped,
            Part::Contacts => contacts(plug, dice),
            _ => {}
        }
    }

    fn presence(&self, trial: &mut Trial, other: &Trial, dice: &mut Dice) {
        if trial.plug.is_some() && dice.one_in(4) {
            trial.plug = None;
        } else if other.plug.is_some() {
            trial.plug.clone_from(&other.plug);
        } else {
            let size = dice.pick(&self.ground.sizes).copied().unwrap_or(self.ground.room);
            trial.plug = Some(Plug::erased(size, &self.harness.layout));
        }
    }

    fn size(&self, plug: &mut Plug, dice: &mut Dice) {
        plug.size = match dice.below(4) {
            0 => plug.size.saturating_add(1 + dice.below(16) as u32),
            1 => plug.size.saturating_sub(1 + dice.below(16) as u32),
            _ => dice.pick(&self.ground.sizes).copied().unwrap_or(plug.size),
        };
    }

    fn copies(&self, plug: &mut Plug, dice: &mut Dice) {
        if !plug.copies.is_empty() && dice.one_in(2) {
            plug.copies.remove(dice.below(plug.copies.len()));
            return;
        }
        let room = self.ground.room;
        let shown = shown_offset(*self.harness.rig.map.window().start(), plug.size);
        let at = [shown.unwrap_or(room), room, room / 2, room / 4, dice.below(plug.size as usize) as u32 & !1];
        plug.copies.push(at[dice.below(at.len())]);
        plug.copies.sort_unstable();
        plug.copies.dedup();
    }

    fn checksum(&self, plug: &mut Plug, dice: &mut Dice) {
        let fields = self.harness.layout.fields();
        let sums = self.ground.fields.iter().filter(|index| matches!(fields[**index].holds, Holds::Sum16 { .. }));
        let sums: Vec<usize> = sums.copied().collect();
        let Some(index) = dice.pick(&sums).copied() else { return };
        plug.fields[index] = match dice.below(5) {
            0 | 1 => Held::Sum(Checksum::Right),
            2 => Held::Sum(Checksum::Wrong),
            3 => Held::Absent,
            _ => Held::Bytes([dice.byte(), dice.byte()].into()),
        };
    }

    fn header(&self, trial: &mut Trial, parent: Parent, other: &Trial, dice: &mut Dice) {
        if !parent.wishes.is_empty() && dice.one_in(3) {
            let wish = &parent.wishes[dice.below(parent.wishes.len())];
            match wish {
                Wish::More { by, width } => self.add(trial, parent.offsets, *by, *width, dice),
                _ => _ = self.grant(trial, wish, dice.one_in(2)),
            }
            return;
        }
        let Some(plug) = &mut trial.plug else { return };
        let layout = &self.harness.layout;
        match dice.pick(&self.ground.fields).copied() {
            Some(index) if !dice.one_in(6) => {
                let held = other.plug.as_ref().map(|other| &other.fields[index]);
                match held {
                    Some(held) if dice.one_in(12) => plug.fields[index] = held.clone(),
                    _ if dice.one_in(24) => plug.fields[index] = Held::Absent,
                    _ => {
                        let mut bytes = plug.field(index, layout);
                        texts::vary(&mut bytes, &layout.fields()[index].holds, &self.ground.texts, dice);
                        plug.fields[index] = Held::Bytes(bytes.into());
                    }
                }
            }
            _ => self.raw(plug, parent.offsets, dice),
        }
    }

    /// A byte somewhere: preferably where the run read.
    fn raw(&self, plug: &mut Plug, offsets: &[u32], dice: &mut Dice) {
        let around = &self.ground.offsets;
        let offset = match dice.pick(offsets) {
            Some(offset) if !dice.one_in(4) => *offset,
            _ => around.start + dice.below((around.end - around.start).max(1) as usize) as u32,
        };
        if dice.one_in(8) {
            plug.raw.retain(|(other, _)| *other != offset);
            return;
        }
        let byte = match dice.below(4) {
            0 => 0,
            1 => 0xFF,
            _ => dice.byte(),
        };
        self.put(plug, offset, byte);
    }

    /// Puts a byte at an offset as it shows; fields that are pinned stay as they are.
    fn put(&self, plug: &mut Plug, offset: u32, byte: u8) -> bool {
        let layout = &self.harness.layout;
        let stored = plug.original(plug.stored(offset), layout);
        let field = layout.fields().iter().position(|field| field.range().contains(&stored));
        if stored >= plug.size || field.is_some_and(|index| !self.ground.fields.contains(&index)) {
            return false;
        }
        plug.put(stored, byte, layout);
        true
    }

    /// Lets a wish come true, with what stands around it in the host if `whole`.
    fn grant(&self, trial: &mut Trial, wish: &Wish, whole: bool) -> bool {
        match wish {
            Wish::Port { port, value } => {
                trial.ports[*port] = Some(Schedule::Constant(*value));
                true
            }
            Wish::More { .. } => false,
            Wish::Bytes { offset, bytes, host } => {
                let Some(plug) = &mut trial.plug else { return false };
                let around = host.filter(|_| whole).and_then(|host| self.around(plug, *offset, host));
                let (start, bytes) = around.unwrap_or_else(|| (*offset, bytes.clone()));
                let mut put = false;
                for (offset, byte) in (start..).zip(bytes) {
                    put |= self.put(plug, offset, byte);
                }
                put
            }
        }
    }

    /// The host's bytes for the whole field in which an offset lies.
    fn around(&self, plug: &Plug, offset: u32, host: u32) -> Option<(u32, Vec<u8>)> {
        let layout = &self.harness.layout;
        let original = plug.original(offset, layout);
        let field = layout.at(original)?;
        let within = original - field.at;
        let rom = self.harness.rig.map.host();
        let bytes = (0..field.length).map(|index| rom.byte(host.checked_sub(within)?.checked_add(index)?));
        Some((offset - within, bytes.collect::<Option<Vec<u8>>>()?))
    }

    /// Adds a number to something that was read.
    fn add(&self, trial: &mut Trial, offsets: &[u32], by: u32, width: u32, dice: &mut Dice) {
        let Some(plug) = &mut trial.plug else { return };
        let Some(last) = dice.pick(offsets).copied() else { return };
        let layout = &self.harness.layout;
        let mut carry = by;
        for back in 0..width {
            let Some(offset) = last.checked_sub(back) else { return };
            let stored = plug.original(plug.stored(offset), layout);
            let byte = plug.byte(stored, layout).or(plug.fill).unwrap_or(0);
            let sum = u32::from(byte) + (carry & 0xFF);
            self.put(plug, offset, sum as u8);
            carry = (carry >> 8) + (sum >> 8);
        }
    }

    fn port(&self, trial: &mut Trial, wishes: &[Wish], dice: &mut Dice) {
        let readable: Vec<usize> =
            (0..self.ground.values.len()).filter(|port| !self.ground.values[*port].is_empty()).collect();
        let Some(port) = dice.pick(&readable).copied() else { return };
        let wished = wishes.iter().filter_map(|wish| match wish {
            Wish::Port { port: other, value } if *other == port => Some(*value),
            _ => None,
        });
        let mut values = self.ground.values[port].clone();
        values.extend(wished);
        let wide = self.harness.rig.map.ports()[port].size.bytes() == 2;
        let mut value = || match dice.below(8) {
            0 if wide => dice.bits() as u16,
            0 => u16::from(dice.byte()),
            _ => dice.pick(&values).copied().unwrap_or(0),
        };
        let (first, then) = (value(), value());
        let sequence: Vec<u16> = (0..LONGEST_SEQUENCE).map(|_| value()).collect();
        trial.ports[port] = match dice.below(8) {
            0 => None,
            1 => Some(Schedule::Sequence(Arc::from(&sequence[..2 + dice.below(LONGEST_SEQUENCE - 1)]))),
            2 => Some(Schedule::Changes { first, then, after: Change::Reads(some(dice) as u32) }),
            3 => Some(Schedule::Changes { first, then, after: Change::Cycles(some(dice)) }),
            _ => Some(Schedule::Constant(first)),
        };
    }

    /// Another moment of the first request. Whether a device requests at all, and its period, are the machine's own: they
    /// stay, unless a case that the work starts from says otherwise.
    fn interrupt(&self, trial: &mut Trial, dice: &mut Dice) {
        let devices = &self.harness.rig.interrupts;
        let requesting: Vec<usize> =
            (0..devices.len()).filter(|index| devices[*index].timing.first.is_some()).collect();
        let Some(index) = dice.pick(&requesting).copied() else { return };
        let every = devices[index].timing.every;
        let first = match every {
            Some(period) => dice.bits() % period.max(1),
            None => some(dice),
        };
        trial.interrupts[index] = if dice.one_in(6) { None } else { Some(Timing { first: Some(first), every }) };
    }
}

/// A number of some size between 1 and a million, small ones as likely as large ones.
fn some(dice: &mut Dice) -> u64 {
    let bits = 1 + dice.below(20);
    1 + (dice.bits() & ((1 << bits) - 1))
}

/// Another fault of a contact, or one less.
fn contacts(plug: &mut Plug, dice: &mut Dice) {
    let contacts = &mut plug.contacts;
    if !contacts.good() && dice.one_in(2) {
        contacts.data.clear();
        contacts.address.clear();
        return;
    }
    let flaws = [Flaw::High, Flaw::Low, Flaw::Flickering, Flaw::Open];
    if dice.one_in(3) {
        let (line, is) = (1 + dice.below(23) as u8, flaws[dice.below(3)]);
        contacts.address.retain(|fault| fault.line != line);
        contacts.address.push(AddressFault { line, is });
        contacts.address.sort_by_key(|fault| fault.line);
    } else {
        let (line, is) = (dice.below(16) as u8, flaws[dice.below(4)]);
        contacts.data.retain(|fault| fault.line != line);
        contacts.data.push(DataFault { line, is });
        contacts.data.sort_by_key(|fault| fault.line);
    }
}

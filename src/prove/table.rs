//! The acceptance table over unknowns: for which inputs each rule is the first that fits. What
//! [`crate::verdict::Acceptance`] decides for one cartridge, as terms.

use super::Domain;
use super::ground::{Ground, Logic};
use super::logic::Term;
use super::unknowns::{Source, all, any, is};
use crate::board::{OpenBus, shown_offset};
use crate::cartridge::{Field, Holds};
use crate::verdict::{Acceptance, Conditions, FieldMatch, PortMatch};

/// What the table says.
#[derive(Clone, Debug)]
pub struct Says {
    /// For which inputs each rule decides, by index, up to the first one that cannot be told.
    pub rules: Vec<Term>,
    /// For which inputs no rule decides.
    pub silent: Term,
    /// Of which the table does not say it, and why.
    pub unclear: Option<(Term, String)>,
    /// What must hold for the table to say anything: a port of which it speaks reads the same throughout.
    pub steady: Term,
}

/// The table of a harness for what is plugged in.
pub fn says(logic: &mut Logic, ground: &Ground, acceptance: &Acceptance) -> Says {
    let mut open = logic.terms.bit(true);
    let mut says = Says { rules: Vec::new(), silent: open, unclear: None, steady: open };
    for (index, rule) in acceptance.rules.iter().enumerate() {
        let mut reader = Reader { logic, ground, ports: Vec::new() };
        let fits = reader.fits(rule.when.as_ref(), rule.unless.as_ref());
        let ports = reader.ports;
        match fits {
            Ok(fits) => {
                let decides = logic.terms.and(open, fits);
                says.rules.push(decides);
                let not = logic.terms.not(fits);
                open = logic.terms.and(open, not);
            }
            Err(why) => {
                says.unclear = Some((open, format!("rule {}: {why}", index + 1)));
                open = logic.terms.bit(false);
                break;
            }
        }
        for port in ports {
            let steady = steady(logic, port);
            says.steady = logic.terms.and(says.steady, steady);
        }
    }
    says.silent = open;
    says
}

/// For which inputs conditions hold: one bit, or why that cannot be told.
pub fn conditions(logic: &mut Logic, ground: &Ground, conditions: &Conditions) -> Result<Term, String> {
    Reader { logic, ground, ports: Vec::new() }.hold(conditions)
}

/// Whether every read of a port gives the same value.
fn steady(logic: &mut Logic, port: usize) -> Term {
    let Some(first) = logic.unknowns.number(Source::Port { port, read: 0 }) else { return logic.terms.bit(true) };
    let first = logic.unknown(first);
    let others: Vec<Term> = logic
        .unknowns
        .all()
        .filter(|(_, source)| match source {
            Source::Port { port: other, .. } | Source::PortSomewhen { port: other, .. } => *other == port,
            _ => false,
        })
        .map(|(unknown, _)| unknown)
        .collect::<Vec<_>>()
        .into_iter()
        .map(|unknown| logic.unknown(unknown))
        .collect();
    let same: Vec<Term> = others.into_iter().map(|other| logic.terms.equal(first, other)).collect();
    all(&mut logic.terms, same)
}

struct Reader<'a> {
    logic: &'a mut Logic,
    ground: &'a Ground<'a>,
    /// Unknown ports that were asked about.
    ports: Vec<usize>,
}

impl Reader<'_> {
    fn fits(&mut self, when: Option<&Conditions>, unless: Option<&Conditions>) -> Result<Term, String> {
        let mut fits = self.logic.terms.bit(true);
        if let Some(conditions) = when {
            let hold = self.hold(conditions)?;
            fits = self.logic.terms.and(fits, hold);
        }
        // What a rule says further does not matter where it fails already.
        if let (Some(conditions), true) = (unless, self.logic.terms.known(fits) != Some(0)) {
            let hold = self.hold(conditions)?;
            let not = self.logic.terms.not(hold);
            fits = self.logic.terms.and(fits, not);
        }
        Ok(fits)
    }

    fn hold(&mut self, conditions: &Conditions) -> Result<Term, String> {
        let mut hold = self.logic.terms.bit(true);
        for (index, wanted) in &conditions.fields {
            let fits = self.field(*index, wanted)?;
            hold = self.logic.terms.and(hold, fits);
        }
        for (index, wanted) in &conditions.ports {
            if self.logic.terms.known(hold) == Some(0) {
                break;
            }
            let fits = self.port(*index, wanted)?;
            hold = self.logic.terms.and(hold, fits);
        }
        Ok(hold)
    }

    /// The byte that a program ought to see at an address; nothing where it is not one fixed value.
    fn byte(&mut self, address: u32) -> Option<Term> {
        let logic = &mut *self.logic;
        if let Some(byte) = self.ground.plugged.byte(&mut logic.terms, &mut logic.unknowns, address) {
            return Some(byte);
        }
        match self.ground.harness.empty {
            OpenBus::Ones => Some(logic.terms.number(8, 0xFF)),
            OpenBus::Zeros => Some(logic.terms.number(8, 0)),
            OpenBus::Floating | OpenBus::Noise | OpenBus::BusError => None,
        }
    }

    fn field(&mut self, index: usize, wanted: &FieldMatch) -> Result<Term, String> {
        let ground = self.ground;
        let field = &ground.harness.layout.fields()[index];
        let start = ground.rig().map.window().start() + field.at;
        let bytes: Vec<Option<Term>> = (start..start + field.length).map(|address| self.byte(address)).collect();
        match wanted {
            FieldMatch::OneOf(texts) => {
                let equal: Vec<Term> = texts
                    .iter()
                    .filter(|text| text.len() == bytes.len())
                    .map(|text| self.equal(&bytes, text))
                    .collect();
                Ok(any(&mut self.logic.terms, equal))
            }
            FieldMatch::Part { starts, ends, contains } => {
                let mut parts = Vec::new();
                if let Some(text) = starts {
                    parts.push(match bytes.get(..text.len()) {
                        Some(bytes) => self.equal(bytes, text),
                        None => self.logic.terms.bit(false),
                    });
                }
                if let Some(text) = ends {
                    parts.push(self.ends(field, &bytes, text));
                }
                if let Some(text) = contains {
                    let places: Vec<Term> =
                        bytes.windows(text.len().max(1)).map(|part| self.equal(&part[..text.len()], text)).collect();
                    parts.push(any(&mut self.logic.terms, places));
                }
                Ok(all(&mut self.logic.terms, parts))
            }
            FieldMatch::Numbers(range) => {
                let Some(number) = self.number(&bytes) else { return Ok(self.logic.terms.bit(false)) };
                let terms = &mut self.logic.terms;
                let (first, last) =
                    (terms.number(32, u64::from(*range.start())), terms.number(32, u64::from(*range.end())));
                let (below, above) = (terms.less(number, first), terms.less(last, number));
                let outside = terms.or(below, above);
                Ok(terms.not(outside))
            }
            FieldMatch::Checksum(right) => self.checksum(field, &bytes, *right),
        }
    }

    fn equal(&mut self, bytes: &[Option<Term>], text: &[u8]) -> Term {
        let mut parts = Vec::with_capacity(text.len());
        for (byte, wanted) in bytes.iter().zip(text) {
            parts.push(match byte {
                Some(byte) => is(&mut self.logic.terms, *byte, u64::from(*wanted)),
                None => self.logic.terms.bit(false),
            });
        }
        all(&mut self.logic.terms, parts)
    }

    /// Without its padding it ends with a text: for one of the lengths that it can have.
    fn ends(&mut self, field: &Field, bytes: &[Option<Term>], text: &[u8]) -> Term {
        let Holds::Text(pad) = field.holds else { return self.logic.terms.bit(false) };
        let mut ways = Vec::new();
        for used in text.len()..=bytes.len() {
            let padding = vec![pad.byte(); bytes.len() - used];
            let padded = self.equal(&bytes[used..], &padding);
            let ended = self.equal(&bytes[used - text.len()..used], text);
            // The last byte that is used is no padding.
            let last = match used.checked_sub(1).map(|last| bytes[last]) {
                Some(Some(last)) => {
                    let pads = is(&mut self.logic.terms, last, u64::from(pad.byte()));
                    self.logic.terms.not(pads)
                }
                _ => self.logic.terms.bit(true),
            };
            ways.push(all(&mut self.logic.terms, [padded, ended, last]));
        }
        any(&mut self.logic.terms, ways)
    }

    /// The big-endian number that bytes make, in 32 bits.
    fn number(&mut self, bytes: &[Option<Term>]) -> Option<Term> {
        let mut number: Option<Term> = None;
        for byte in bytes {
            let byte = (*byte)?;
            number = Some(match number {
                Some(high) => self.logic.terms.join(high, byte),
                None => byte,
            });
        }
        Some(self.logic.terms.extend(number?, 32))
    }

    fn checksum(&mut self, field: &Field, bytes: &[Option<Term>], right: bool) -> Result<Term, String> {
        let Some(image) = self.ground.plugged.image.clone() else { return Ok(self.logic.terms.bit(!right)) };
        let Holds::Sum16 { from, to } = field.holds else { return Ok(self.logic.terms.bit(false)) };
        let chance = || "the checksum sums what no cartridge drives, so it is not one fixed value".to_owned();
        let window = self.ground.rig().map.window().clone();
        let base = shown_offset(*window.start(), image.size()).ok_or_else(chance)?;
        let end = to.map_or(image.size(), |to| base.saturating_add(to));
        let sum = if end > image.size() {
            let to = to.ok_or_else(chance)?;
            let mut sum = self.logic.terms.number(16, 0);
            for offset in from..to {
                let address = window.start().checked_add(offset).filter(|address| window.contains(address));
                let byte = self.byte(address.ok_or_else(chance)?).ok_or_else(chance)?;
                sum = self.add_byte(sum, byte, (offset - from).is_multiple_of(2));
            }
            sum
        } else {
            self.image_sum(base.saturating_add(from)..end)
        };
        let Some(number) = self.number(bytes) else { return Ok(self.logic.terms.bit(!right)) };
        let sum = self.logic.terms.extend(sum, 32);
        let equal = self.logic.terms.equal(number, sum);
        Ok(if right { equal } else { self.logic.terms.not(equal) })
    }

    /// The sum of part of the image: what is known of it at once, then each unknown byte.
    fn image_sum(&mut self, offsets: std::ops::Range<u32>) -> Term {
        let plugged = &self.ground.plugged;
        let Some(image) = &plugged.image else { return self.logic.terms.number(16, 0) };
        let mut known = image.shown_sum16(offsets.clone());
        let unknown: Vec<(u32, u32)> = plugged.unknown_within(offsets.clone()).collect();
        let mut added = Vec::new();
        for (offset, original) in unknown {
            let high = (offset - offsets.start).is_multiple_of(2);
            let held = u16::from(image.byte(offset).unwrap_or(0)) << if high { 8 } else { 0 };
            known = known.wrapping_sub(held);
            added.push((original, high));
        }
        let mut sum = self.logic.terms.number(16, u64::from(known));
        for (original, high) in added {
            let logic = &mut *self.logic;
            let byte = logic.unknowns.term(&mut logic.terms, Source::Image(original), 8);
            sum = self.add_byte(sum, byte, high);
        }
        sum
    }

    fn add_byte(&mut self, sum: Term, byte: Term, high: bool) -> Term {
        let terms = &mut self.logic.terms;
        let zero = terms.number(8, 0);
        let word = if high { terms.join(byte, zero) } else { terms.join(zero, byte) };
        terms.add(sum, word)
    }

    fn port(&mut self, index: usize, wanted: &PortMatch) -> Result<Term, String> {
        let port = &self.ground.rig().map.ports()[index];
        let Some(schedule) = &port.reads else { return Err(format!("the port `{}` cannot be read", port.name)) };
        let value = if self.ground.free.ports[index] {
            self.ports.push(index);
            let logic = &mut *self.logic;
            let bits = 8 * port.size.bytes();
            let value = logic.unknowns.term(&mut logic.terms, Source::Port { port: index, read: 0 }, bits);
            logic.terms.extend(value, 16)
        } else {
            let value = schedule.constant();
            let value = value.ok_or_else(|| format!("the port `{}` changes during the run", port.name))?;
            self.logic.terms.number(16, u64::from(value))
        };
        let terms = &mut self.logic.terms;
        Ok(match wanted {
            PortMatch::OneOf(values) => {
                let each: Vec<Term> = values.iter().map(|one| is(terms, value, u64::from(*one))).collect();
                any(terms, each)
            }
            PortMatch::Bits { mask, is: wanted } => {
                let mask = terms.number(16, u64::from(*mask));
                let bits = terms.and(value, mask);
                is(terms, bits, u64::from(*wanted))
            }
        })
    }
}

//! What is not known in a proof: bytes of the attached image, reads of ports, RAM at power-on, open lines.

use std::collections::BTreeMap;

use super::Domain;
use super::logic::{Term, Terms, Unknown};

/// Where an unknown comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Source {
    /// The byte of the attached image at an offset.
    Image(u32),
    /// What a port reads, by index, the so many-th time (from 0).
    Port {
        /// Index of the port.
        port: usize,
        /// Number of the read.
        read: u32,
    },
    /// A byte of RAM at power-on, by its bus address (the first of its mirrors).
    Ram(u32),
    /// The same byte of RAM in another run.
    OtherRam(u32),
    /// A read of a port of which it is not known how many came before; numbered.
    PortSomewhen {
        /// Index of the port.
        port: usize,
        /// Number of the event.
        event: u32,
    },
    /// What open lines carry in one read, numbered.
    Open(u32),
}

/// The unknowns of a proof, numbered as they are met.
#[derive(Clone, Debug, Default)]
pub struct Unknowns {
    sources: Vec<Source>,
    widths: Vec<u32>,
    numbers: BTreeMap<Source, Unknown>,
}

impl Unknowns {
    /// The term of an unknown.
    pub fn term(&mut self, terms: &mut Terms, source: Source, width: u32) -> Term {
        let next = Unknown(self.sources.len() as u32);
        let unknown = *self.numbers.entry(source).or_insert(next);
        if unknown == next {
            self.sources.push(source);
            self.widths.push(width);
        }
        terms.unknown(unknown, width)
    }

    /// A new unknown of this kind: events are never the same twice.
    pub fn event(&mut self, terms: &mut Terms, source: impl Fn(u32) -> Source, width: u32) -> Term {
        let number = self.sources.len() as u32;
        self.term(terms, source(number), width)
    }

    /// Where an unknown comes from.
    pub fn source(&self, unknown: Unknown) -> Source {
        self.sources[unknown.0 as usize]
    }

    /// The bits of an unknown.
    pub fn width(&self, unknown: Unknown) -> u32 {
        self.widths[unknown.0 as usize]
    }

    /// All of them.
    pub fn all(&self) -> impl Iterator<Item = (Unknown, Source)> + '_ {
        (0..).map(Unknown).zip(self.sources.iter().copied())
    }

    /// The number of a source, if it was met.
    pub fn number(&self, source: Source) -> Option<Unknown> {
        self.numbers.get(&source).copied()
    }
}

/// The conjunction of one-bit terms.
pub fn all(terms: &mut Terms, list: impl IntoIterator<Item = Term>) -> Term {
    let start = terms.bit(true);
    list.into_iter().fold(start, |all, one| terms.and(all, one))
}

/// The disjunction of one-bit terms.
pub fn any(terms: &mut Terms, list: impl IntoIterator<Item = Term>) -> Term {
    let start = terms.bit(false);
    list.into_iter().fold(start, |any, one| terms.or(any, one))
}

/// Whether a value is this number.
pub fn is(terms: &mut Terms, value: Term, number: u64) -> Term {
    let number = {
        let width = terms.width(value);
        terms.number(width, number)
    };
    terms.equal(value, number)
}

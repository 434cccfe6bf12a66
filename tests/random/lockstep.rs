//! A million random instructions on two processors: keyway's and the crate `m68k`.
//!
//! All registers, flags, the prefetch queue, exceptions with their frames, and every bus cycle with its time agree, but
//! for the differences in [`KNOWN`]. Of an address error only that both raise one: the second processor does not know
//! its frames, nor how far an instruction came.

use std::collections::BTreeMap;

use keyway::cpu::{Cpu, Exception};
use rayon::prelude::*;

use super::fields::{Fields, differences};
use super::flat::Flat;
use super::known::KNOWN;
use super::processors::{Seen, first, second, second_runs};
use super::start::{Start, dice};

const CASES: u64 = 1_000_000;
const STREAMS: u64 = 8;
/// Every opcode, legal or not, has this many cases first.
const ROUNDS: u64 = 4;
/// Opcodes that have no fields, or hardly any: they share the last cases. The legal ones share all between.
const ALONE: [u16; 16] = [
    0x003C, 0x007C, 0x023C, 0x027C, 0x0A3C, 0x0A7C, 0x4AFC, 0x4E4F, 0x4E57, 0x4E70, 0x4E71, 0x4E72, 0x4E73, 0x4E75,
    0x4E76, 0x4E77,
];
const LAST: u64 = 16_000;

/// The opcode of a case.
fn opcode(case: u64, legal: &[u16]) -> u16 {
    let round = |list: &[u16], index: u64| list[(index % list.len() as u64) as usize];
    if case < ROUNDS << 16 {
        case as u16
    } else if case < CASES - LAST {
        round(legal, case - (ROUNDS << 16))
    } else {
        round(&ALONE, case)
    }
}

/// The opcodes that the second processor executes.
fn legal() -> Vec<u16> {
    let (mut flat, mut cpu) = (Flat::new(68_000), second());
    let mut executes = |opcode: &u16| {
        let mut start = Start::new(&mut dice(0), *opcode);
        start.status = 0x2700;
        let seen = second_runs(&mut cpu, &mut flat, &start);
        !matches!(seen.raised.first(), Some(4 | 10 | 11))
    };
    (0..=u16::MAX).filter(|opcode| executes(opcode)).collect()
}

/// What a stream of cases found.
#[derive(Default)]
struct Tally {
    /// How many instructions were compared, by what became of them.
    compared: BTreeMap<Vec<u8>, u64>,
    /// In what the known differences have shown.
    known: Vec<Fields>,
    unknown: BTreeMap<(u16, Fields), (u64, String)>,
}

impl Tally {
    fn new() -> Self {
        Self { known: vec![Fields::default(); KNOWN.len()], ..Self::default() }
    }

    /// Counts one case.
    fn note(&mut self, case: u64, start: &Start, [mine, theirs]: [&Seen; 2], flat: &Flat) {
        let kind = if mine.address_error { vec![3] } else { mine.raised.clone() };
        *self.compared.entry(kind).or_default() += 1;
        let found = match (mine.address_error, theirs.address_error) {
            (true, true) => return,
            (false, false) => differences(mine, theirs, flat),
            _ => Fields::RAISED,
        };
        let mut explained = Fields::default();
        for (known, shown) in KNOWN.iter().zip(&mut self.known) {
            if !found.is_empty() && known.applies(start, mine, theirs) {
                *shown = *shown | found.both(known.all());
                explained = explained | known.all();
            }
        }
        if !found.within(explained) {
            let text = || format!("case {case}: {start:X?}\n    first  {mine:X?}\n    second {theirs:X?}");
            self.unknown.entry((start.opcode, found)).or_insert_with(|| (0, text())).0 += 1;
        }
    }

    fn add(&mut self, other: Tally) {
        for (kind, count) in other.compared {
            *self.compared.entry(kind).or_default() += count;
        }
        for (mine, theirs) in self.known.iter_mut().zip(other.known) {
            *mine = *mine | theirs;
        }
        for (kind, (count, example)) in other.unknown {
            self.unknown.entry(kind).or_insert((0, example)).0 += count;
        }
    }

    fn print(&self) {
        for (kind, count) in &self.compared {
            let names =
                kind.iter().map(|vector| Exception::from_vector(*vector).map_or("?".to_owned(), Exception::name));
            println!(
                "{count:8} {}",
                if kind.is_empty() { "ran".to_owned() } else { names.collect::<Vec<_>>().join(", ") }
            );
        }
    }
}

fn stream(number: u64, legal: &[u16]) -> Tally {
    let mut tally = Tally::new();
    let mut flat = Flat::new(68_000);
    let (mut cpu, mut other) = (Cpu::default(), second());
    for case in (number..CASES).step_by(STREAMS as usize) {
        let start = Start::new(&mut dice(case), opcode(case, legal));
        flat.place(&start);
        let mine = first(&mut cpu, &mut flat, &start);
        let theirs = second_runs(&mut other, &mut flat, &start);
        tally.note(case, &start, [&mine, &theirs], &flat);
        flat.rewind(0);
    }
    tally
}

#[test]
fn two_processors_agree_on_a_million_random_instructions() {
    let legal = legal();
    let mut tally = Tally::new();
    for stream in (0..STREAMS).into_par_iter().map(|number| stream(number, &legal)).collect::<Vec<_>>() {
        tally.add(stream);
    }
    tally.print();
    let mut unknown: Vec<_> = tally.unknown.iter().collect();
    unknown.sort_by_key(|(_, (count, _))| std::cmp::Reverse(*count));
    for ((opcode, fields), (count, example)) in unknown.iter().take(20) {
        println!("{opcode:04X} differs in {fields}, {count} times: {example}");
    }
    assert_eq!(unknown.len(), 0, "kinds of difference that are not known");
    for (known, shown) in KNOWN.iter().zip(&tally.known) {
        assert_eq!(*shown, known.all(), "{:04X}: less differs than is listed: {}", known.value, known.why);
    }
    assert_eq!(tally.compared.values().sum::<u64>(), 1_000_000);
    // Every exception that an instruction can raise by itself, each alone; and the traced ones traced, too.
    for vector in (3..=11).chain(32..=47) {
        assert!(tally.compared.get([vector].as_slice()).is_some_and(|count| *count > 0), "vector {vector}");
    }
    for vector in (5..=7).chain([47]) {
        assert!(tally.compared.contains_key([vector, 9].as_slice()), "vector {vector}, traced");
    }
}

//! Holds what was seen against what a vector says. [`compare`] returns a [`Mismatch`] for each difference; it is pure,
//! so that `noticed` can show that each difference is one.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use keyway::cpu::Exception;

use super::bench::Timed;
use super::format::{NAMES, PC, SR, Vector};
use super::run::Seen;

/// What differs. The order is that of the report's columns.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Exception or none, trace due, stopped, reset line.
    Outcome,
    Registers,
    Status,
    Pc,
    Queue,
    Ram,
    /// A write to a word that the final state does not list.
    ExtraWrite,
    Cycles,
    /// The bus cycles, in order.
    Bus,
    /// The same bus cycles at other clocks.
    Idle,
    /// The access that was an address error, and its frame.
    Fault,
}

impl Kind {
    pub const ALL: [(Kind, &str); 11] = [
        (Kind::Outcome, "outcome"),
        (Kind::Registers, "regs"),
        (Kind::Status, "SR"),
        (Kind::Pc, "PC"),
        (Kind::Queue, "queue"),
        (Kind::Ram, "RAM"),
        (Kind::ExtraWrite, "extra"),
        (Kind::Cycles, "cycles"),
        (Kind::Bus, "bus"),
        (Kind::Idle, "idle"),
        (Kind::Fault, "fault"),
    ];
}

/// One difference, as the lines that show it.
#[derive(Debug)]
pub struct Mismatch {
    pub kind: Kind,
    pub text: String,
}

/// All differences. `file` is the name of the instruction.
pub fn compare(file: &str, vector: &Vector, seen: &Seen) -> Vec<Mismatch> {
    let mut list = List(Vec::new());
    list.outcome(vector, seen);
    list.values(vector, seen);
    list.ram(vector, seen);
    list.bus(vector, seen);
    list.fault(file, vector, seen);
    list.0
}

struct List(Vec<Mismatch>);

impl List {
    fn add(&mut self, kind: Kind, text: String) {
        self.0.push(Mismatch { kind, text });
    }

    fn equal<T: PartialEq>(&mut self, kind: Kind, what: &str, expected: T, got: T, show: impl Fn(&T) -> String) {
        if expected != got {
            self.add(kind, format!("{what:<8} expected {}  got {}", show(&expected), show(&got)));
        }
    }

    fn outcome(&mut self, vector: &Vector, seen: &Seen) {
        let exception = vector.exception();
        // A trace exception is due after whatever ran to its end under T (PRM 6.3.8, from memory).
        let due = exception.or((vector.traced()).then_some(Exception::Trace.vector()));
        let got = seen.raised.map(|raised| raised.exception.vector());
        self.equal(Kind::Outcome, "raised", due, got, |vector| match vector {
            Some(vector) => format!("vector {vector}"),
            None => "nothing".to_owned(),
        });
        if seen.double_fault {
            self.add(Kind::Outcome, "the exception ended in a double fault".to_owned());
        }
        self.equal(Kind::Outcome, "trace", vector.traced_twice(), seen.trace_due, bool::to_string);
        // A traced STOP is about to be left again; whether it counts as stopped is nobody's business.
        if !vector.traced() {
            self.equal(Kind::Outcome, "stopped", vector.stops(), seen.stopped, bool::to_string);
        }
        self.equal(Kind::Outcome, "resets", u32::from(vector.resets()), seen.bench.resets, u32::to_string);
    }

    fn values(&mut self, vector: &Vector, seen: &Seen) {
        for (number, name) in NAMES.iter().enumerate().take(SR) {
            self.equal(Kind::Registers, name, vector.after.values[number], seen.values[number], long);
        }
        self.equal(Kind::Status, "SR", vector.after.values[SR], seen.values[SR], |status| flags(*status));
        self.equal(Kind::Pc, "next PC", vector.next(), seen.values[PC], long);
        self.equal(Kind::Queue, "queue", vector.after.queue, seen.queue, |[first, second]| {
            format!("{first:04X} {second:04X}")
        });
    }

    fn ram(&mut self, vector: &Vector, seen: &Seen) {
        for &(address, expected) in &vector.after.ram {
            let name = format!("{address:06X}");
            let got = seen.bench.words.get(&address).copied();
            self.equal(Kind::Ram, &name, Some(expected), got, |word| match word {
                Some(word) => format!("{word:04X}"),
                None => "never written".to_owned(),
            });
        }
        let listed: BTreeSet<u32> = vector.after.ram.iter().map(|(address, _)| *address).collect();
        for address in seen.bench.written.difference(&listed) {
            let word = seen.bench.words[address];
            self.add(Kind::ExtraWrite, format!("{address:06X}   is written ({word:04X}) and should not be"));
        }
    }

    fn bus(&mut self, vector: &Vector, seen: &Seen) {
        let (expected, got): (Vec<Timed>, &[Timed]) = (vector.timeline().collect(), &seen.bench.accesses);
        self.equal(Kind::Cycles, "cycles", vector.cycles, seen.bench.clock, u32::to_string);
        // Clocks can only be compared cycle by cycle once the cycles are the same.
        if !expected.iter().map(|timed| timed.access).eq(got.iter().map(|timed| timed.access)) {
            self.add(Kind::Bus, side_by_side("bus cycles", &expected, got, |timed| Some(timed.access)));
        } else if expected != got {
            self.add(Kind::Idle, side_by_side("idle clocks", &expected, got, |timed| Some(timed.clock)));
        }
    }

    fn fault(&mut self, file: &str, vector: &Vector, seen: &Seen) {
        let got = seen.raised.and_then(|raised| raised.fault.map(|fault| (raised.pc, fault)));
        let (Some(access), Some((pc, fault))) = (vector.fault(), got) else {
            if vector.fault().is_some() || got.is_some() {
                let show = |there| if there { "a fault" } else { "none" };
                let text = format!("expected {}  got {}", show(vector.fault().is_some()), show(got.is_some()));
                self.add(Kind::Fault, format!("fault    {text}"));
            }
            return;
        };
        let kind = vector.fault_kind(file);
        self.equal(Kind::Fault, "fault", kind, fault.kind, |kind| format!("{kind:?}"));
        self.equal(Kind::Fault, "fault", access.code, fault.code, ToString::to_string);
        self.equal(Kind::Fault, "on bus", access.address, fault.address & 0xFF_FFFE, long);
        let Some(frame) = vector.frame() else {
            return self.add(Kind::Fault, "the vector has no frame at its final SSP".to_owned());
        };
        self.equal(Kind::Fault, "address", frame.address, fault.address, long);
        self.equal(Kind::Fault, "IR", frame.instruction, fault.instruction, |word| format!("{word:04X}"));
        self.equal(Kind::Fault, "PC", frame.pc, pc, long);
        // The low five bits of the status word: R/W, I/N (which the vectors never set), function code.
        let status = u16::from(!access.write) << 4 | fault.code as u16;
        self.equal(Kind::Fault, "status", frame.status & 0x1F, status, |word| format!("{word:04X}"));
    }
}

/// Both lists, and a mark where `key` differs.
fn side_by_side<K: PartialEq>(
    what: &str,
    expected: &[Timed],
    got: &[Timed],
    key: impl Fn(&Timed) -> Option<K>,
) -> String {
    let mut text = format!("{what}: expected | got (clock, function code)");
    for row in 0..expected.len().max(got.len()) {
        let (left, right) = (expected.get(row), got.get(row));
        let mark = if left.and_then(&key) == right.and_then(&key) { ' ' } else { '>' };
        let _ = write!(text, "\n {mark} {:<30} | {}", cycle(left), cycle(right));
    }
    text
}

fn cycle(timed: Option<&Timed>) -> String {
    let Some(Timed { clock, access }) = timed else { return "-".to_owned() };
    let verb = if access.write { "write" } else { "read" };
    let data = match access.lanes {
        super::format::Lanes::Both => format!("{:04X}", access.data),
        super::format::Lanes::Upper => format!("{:02X}--", access.data >> 8),
        super::format::Lanes::Lower => format!("--{:02X}", access.data),
    };
    format!("{clock:>4} {verb:<5} {} {:06X} {data}", access.code as u8, access.address)
}

fn long(value: &u32) -> String {
    format!("{value:08X}")
}

/// A status register in figures and letters.
pub fn flags(status: u32) -> String {
    let mut text = format!("{status:04X} ");
    for (bit, letter) in [(15, 'T'), (13, 'S'), (4, 'X'), (3, 'N'), (2, 'Z'), (1, 'V'), (0, 'C')] {
        text.push(if status >> bit & 1 == 1 { letter } else { '-' });
        if bit == 13 {
            let _ = write!(text, "{}", status >> 8 & 7);
        }
    }
    text
}

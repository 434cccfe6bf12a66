//! Words for what is attached and what happens.

use super::ending::Close;
use super::witness::Witness;
use crate::cartridge::Checksum;
use crate::suite::{Harness, port_words};
use crate::trial::ordinary::field_words;
use crate::trial::{Held, Trial};
use crate::units;

/// What a trial attaches, and what its ports read.
pub fn trial_words(trial: &Trial, harness: &Harness) -> String {
    let mut words = Vec::new();
    match &trial.plug {
        None => words.push("nothing attached".to_owned()),
        Some(plug) => {
            for (index, held) in plug.fields.iter().enumerate() {
                match held {
                    Held::Absent => {}
                    Held::Bytes(bytes) => words.push(field_words(harness, index, bytes)),
                    Held::Sum(Checksum::Right) => words.push(format!("{} right", harness.layout.fields()[index].name)),
                    Held::Sum(Checksum::Wrong) => words.push(format!("{} wrong", harness.layout.fields()[index].name)),
                }
            }
            for run in plug.raw.chunk_by(|left, right| left.0 + 1 == right.0) {
                let bytes: Vec<String> = run.iter().map(|(_, byte)| format!("{byte:02X}")).collect();
                words.push(format!("0x{:X}: {}", run[0].0, bytes.join(" ")));
            }
            if words.is_empty() {
                words.push("an erased cartridge".to_owned());
            }
            if plug.size != crate::suite::Boundary::ordinary_size(harness) {
                words.push(units::size(plug.size));
            }
            for copy in &plug.copies {
                words.push(format!("header copy at 0x{copy:X}"));
            }
        }
    }
    for (port, schedule) in trial.ports.iter().enumerate() {
        if let Some(schedule) = schedule {
            words.push(port_words(&harness.rig.map, port, schedule));
        }
    }
    // Braces would be placeholders in a case.
    words.join(", ").replace(['{', '}'], ".")
}

/// What a witness attaches, what its ports read, and what RAM must hold for it.
pub fn witness_words(witness: &Witness, harness: &Harness) -> String {
    let mut words = trial_words(&witness.trial, harness);
    for (place, (address, byte)) in witness.needs.iter().take(MOST_NEEDS + 1).enumerate() {
        match place {
            MOST_NEEDS => words.push_str(", ..."),
            _ => words.push_str(&format!(", RAM at {} 0x{byte:02X}", units::address(*address))),
        }
    }
    words
}

/// So many bytes of RAM are named.
const MOST_NEEDS: usize = 4;

/// An end in a few words.
pub fn end_words(close: &Close, harness: &Harness) -> String {
    let spot = |at: u32| harness.names().spot(at).to_string();
    match close {
        Close::Branch(index) => harness.rig.branches[*index].name.clone(),
        Close::NoBranch(Some(exit)) => format!("no branch of the exit {}", spot(*exit)),
        Close::NoBranch(None) => "no branch of the return".to_owned(),
        Close::Returned => "returns, and no branch is declared for that".to_owned(),
        Close::Crashed(exception, at) => format!("{} at {}", exception.name(), spot(*at)),
        Close::Halted(exception, at) => format!("the processor halts: {} at {}", exception.name(), spot(*at)),
        Close::Stopped(at) => format!("a STOP with nothing to wake it, at {}", spot(*at)),
        Close::LeftHost(to) => format!("leaves the host's code for {}", units::address(*to)),
        Close::Hung(first, last) if first == last => format!("hangs at {}", spot(*first)),
        Close::Hung(first, last) => format!("hangs between {} and {}", spot(*first), spot(*last)),
        Close::Limit(at) => format!("still running at the limit, at {}", spot(*at)),
        Close::Cut(at, cut) => format!("not followed beyond {}: {cut}", spot(*at)),
    }
}

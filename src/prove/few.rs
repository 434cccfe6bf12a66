//! Terms that hang on so few bits that every value can be tried.

use super::ground::Logic;
use super::logic::{Tape, Term, Unknown};

/// The most bits of which every value is tried.
const MOST_BITS: u32 = 16;

/// Tries every value of the unknowns of some terms, if they have few bits, and tells each with the tape as it stands then. How
/// many bits they are.
pub fn try_all(logic: &Logic, terms: &[Term], mut tell: impl FnMut(&Tape)) -> Option<u32> {
    let mut tape = logic.terms.tape(terms);
    let unknowns: Vec<(Unknown, u32)> =
        tape.unknowns().map(|unknown| (unknown, logic.unknowns.width(unknown))).collect();
    let bits: u32 = unknowns.iter().map(|(_, width)| *width).sum();
    if bits > MOST_BITS {
        return None;
    }
    for mut value in 0..1u64 << bits {
        for (unknown, width) in unknowns.iter().rev() {
            tape.set(*unknown, value & ((1 << width) - 1));
            value >>= width;
        }
        tape.run();
        tell(&tape);
    }
    Some(bits)
}

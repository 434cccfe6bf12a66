//! Guards, doubts and witnesses as they are told.

use std::path::Path;

use super::answer::DoubtAt;
use super::describe::describe;
use super::few::try_all;
use super::gates::Doubt;
use super::ground::Logic;
use super::logic::Term;
use super::said::{Condition, said};
use super::share::Share;
use super::unknowns::Source;
use crate::suite::Harness;
use crate::trial::Trial;
use crate::trial::case_text::{Wanted, case_text};

/// A guard in short, and how many headers of so many bits it has.
pub fn describe_guard(
    logic: &mut Logic,
    harness: &Harness,
    guard: Term,
    bits: u32,
) -> (Option<Condition>, Option<String>) {
    let Some(described) = describe(logic, guard) else { return (None, counted(logic, guard, bits)) };
    let unknowns = &logic.unknowns;
    // Other inputs than the header are no part of a number of headers.
    let header_only =
        logic.terms.unknowns(guard).into_iter().all(|unknown| matches!(unknowns.source(unknown), Source::Image(_)));
    let share = if header_only { described.share(bits, |unknown| unknowns.width(unknown)) } else { None };
    (Some(said(&described, unknowns, harness)), share.map(|share| share.to_string()))
}

/// How many headers of so many bits a guard has that hangs on few of them: each is tried.
fn counted(logic: &Logic, guard: Term, bits: u32) -> Option<String> {
    let unknowns = logic.terms.unknowns(guard).into_iter();
    let mut of_header = unknowns.map(|unknown| matches!(logic.unknowns.source(unknown), Source::Image(_)));
    if !of_header.all(|is| is) {
        return None;
    }
    let mut count = 0;
    let used = try_all(logic, &[guard], |tape| count += i64::from(tape.numbers().next() == Some(1)))?;
    let mut share = Share::default();
    share.add(count, bits.checked_sub(used)?);
    Some(share.to_string())
}

/// The case of a witness.
pub fn witness_case(trial: &Trial, harness: &Harness, label: &str) -> String {
    case_text(label, &[], trial, &Wanted::default(), harness, Path::new(".")).trim_start().to_owned()
}

/// A doubt, and where.
pub fn doubt_at(doubt: &Doubt, harness: &Harness) -> DoubtAt {
    let at = match doubt {
        Doubt::Cut { at, .. } | Doubt::Limit { at } => Some(harness.names().spot(*at)),
        _ => None,
    };
    DoubtAt { why: doubt.to_string(), at }
}

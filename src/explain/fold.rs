//! Steps that say the same again become one: a test of byte after byte, a poll of two ports in turn.

use super::model::{Origin, Step, Test};
use super::name::Namer;

/// The longest round of steps that is found to repeat.
const LONGEST_ROUND: usize = 4;

/// What makes two steps the same but for the values found.
#[derive(PartialEq, Eq)]
enum Key {
    Test { at: u32, turn: u32, taken: bool },
    Lookup { at: u32 },
    Passed { at: u32 },
}

fn key(step: &Step) -> Option<Key> {
    match step {
        Step::Test(test) => Some(Key::Test { at: test.at.address, turn: test.went.at.address, taken: test.went.taken }),
        Step::Lookup(lookup) => Some(Key::Lookup { at: lookup.at.address }),
        Step::Exception(exception) if !exception.raised => Some(Key::Passed { at: exception.from.address }),
        _ => None,
    }
}

/// Adds a step, and folds the last round of steps into the one before if they are the same.
pub(super) fn push(steps: &mut Vec<Step>, step: Step, namer: &Namer) {
    steps.push(step);
    let length = steps.len();
    for round in 1..=LONGEST_ROUND.min(length / 2) {
        let (before, after) = steps[length - 2 * round..].split_at(round);
        let same = |(one, two): (&Step, &Step)| key(one).is_some() && key(one) == key(two);
        if !before.iter().zip(after).all(same) {
            continue;
        }
        let earlier: Vec<Step> = steps.drain(length - 2 * round..length - round).collect();
        let start = length - 2 * round;
        for (earlier, later) in earlier.iter().zip(&mut steps[start..]) {
            join(later, earlier, namer);
        }
        return;
    }
}

/// Makes one step of two; the values stay those of the later one.
fn join(later: &mut Step, earlier: &Step, namer: &Namer) {
    match (later, earlier) {
        (Step::Test(later), Step::Test(earlier)) => {
            later.times += earlier.times;
            let by = namer.merged(&all(earlier, namer), &all(later, namer));
            later.by = if by == values(later, namer) { Vec::new() } else { by };
        }
        (Step::Lookup(later), Step::Lookup(earlier)) => {
            later.times += earlier.times;
            later.by = namer.merged(&earlier.by, &later.by);
        }
        (Step::Exception(later), Step::Exception(earlier)) => {
            later.times += earlier.times;
            later.by = namer.merged(&earlier.by, &later.by);
        }
        _ => {}
    }
}

/// What the two values of a test hang on.
fn values(test: &Test, namer: &Namer) -> Vec<Origin> {
    namer.merged(&test.found.from, test.with.as_ref().map_or(&[], |with| &with.from))
}

/// All that a test hangs on.
fn all(test: &Test, namer: &Namer) -> Vec<Origin> {
    if test.by.is_empty() { values(test, namer) } else { test.by.clone() }
}

//! The longest and the shortest path: the greatest and the smallest value that a count can have, with inputs that have it.

use super::Domain;
use super::ending::Ending;
use super::gates::Evidence;
use super::ground::Logic;
use super::logic::{Model, Term};

/// An extreme: the value, the ending, and inputs.
#[derive(Clone, Debug)]
pub struct Extreme {
    /// The value.
    pub value: u64,
    /// The ending, by index.
    pub ending: usize,
    /// Inputs.
    pub model: Model,
}

/// Which count.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Counted {
    /// Clock cycles.
    Cycles,
    /// Instructions.
    Instructions,
}

impl Counted {
    fn of(self, ending: &Ending) -> super::count::Count {
        match self {
            Self::Cycles => ending.state.held.cycles,
            Self::Instructions => ending.state.steps,
        }
    }
}

/// The greatest value over these endings.
pub fn greatest(logic: &mut Logic, evidence: &mut Evidence, endings: &[Ending], what: Counted) -> Option<Extreme> {
    extreme(logic, evidence, endings, what, true)
}

/// The smallest value over these endings.
pub fn smallest(logic: &mut Logic, evidence: &mut Evidence, endings: &[Ending], what: Counted) -> Option<Extreme> {
    extreme(logic, evidence, endings, what, false)
}

fn extreme(logic: &mut Logic, evidence: &mut Evidence, endings: &[Ending], what: Counted, up: bool) -> Option<Extreme> {
    let mut best: Option<Extreme> = None;
    for (index, ending) in endings.iter().enumerate() {
        let count = what.of(ending);
        let term = count.term(&mut logic.terms);
        // Nothing lies beyond the bound, and it is nearly always reached: it is tried first.
        let bound = if up { count.most } else { count.least };
        let better = |value: u64, than: u64| if up { value > than } else { value < than };
        if best.as_ref().is_some_and(|best| !better(bound, best.value)) {
            continue;
        }
        let mut limit = bound;
        let mut tried = bound;
        loop {
            let reaches = reaches(logic, term, tried, up);
            match evidence.never(logic, &[ending.guard(), reaches])? {
                Err(model) => {
                    let value = logic.terms.evaluate(term, &model);
                    best = Some(Extreme { value, ending: index, model });
                }
                Ok(_) if up => limit = tried.saturating_sub(1),
                Ok(_) => limit = tried + 1,
            }
            let known = best.as_ref().map(|best| best.value);
            if known.is_some_and(|known| !better(limit, known))
                || (known.is_none() && outside(limit, count.least, count.most))
            {
                break;
            }
            // Something, then half of what is left.
            tried = match known {
                None if up => count.least,
                None => count.most,
                Some(known) if up => known + (limit - known).div_ceil(2),
                Some(known) => known - (known - limit).div_ceil(2),
            };
        }
    }
    best
}

fn outside(value: u64, least: u64, most: u64) -> bool {
    value < least || value > most
}

/// One bit: whether a count is a number or lies beyond it.
fn reaches(logic: &mut Logic, count: Term, number: u64, up: bool) -> Term {
    let number = logic.terms.number(32, number);
    let short = if up { logic.terms.less(count, number) } else { logic.terms.less(number, count) };
    logic.terms.not(short)
}

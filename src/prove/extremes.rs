//! The longest and the shortest path: the greatest and the smallest value that a count can have, with inputs that have it.

use super::bound::Search;
use super::ending::Ending;
use super::few::try_all;
use super::gates::Evidence;
use super::ground::Logic;
use super::logic::{Answer, Model, Solver};

/// Conflicts that one question about a path may take: past them, bounds are what is left.
const CONFLICTS: u64 = 300;

/// An extreme: a value that is reached, the ending, and inputs.
#[derive(Clone, Debug)]
pub struct Extreme {
    /// The value.
    pub value: u64,
    /// No input goes beyond this: the value itself where that is proved.
    pub bound: u64,
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
    let better = |value: u64, than: u64| if up { value > than } else { value < than };
    let mut best: Option<Extreme> = None;
    let mut beyond: Option<u64> = None;
    for (index, ending) in endings.iter().enumerate() {
        let count = what.of(ending);
        let mut limit = if up { count.most } else { count.least };
        if best.as_ref().is_some_and(|best| !better(limit, best.value)) {
            continue;
        }
        let term = count.term(&mut logic.terms);
        let guard = ending.guard();
        let tried = try_all(logic, &[guard, term], |tape| {
            let mut numbers = tape.numbers();
            if let (Some(1), Some(value)) = (numbers.next(), numbers.next())
                && best.as_ref().is_none_or(|best| better(value, best.value))
            {
                best = Some(Extreme { value, bound: value, ending: index, model: tape.model() });
            }
        });
        if tried.is_some() {
            continue;
        }
        // Something that comes to this end at all, and then nothing but questions about what goes further.
        let Err(model) = evidence.never(logic, &[ending.guard()])? else { continue };
        let value = logic.terms.evaluate(term, &model);
        if best.as_ref().is_none_or(|best| better(value, best.value)) {
            best = Some(Extreme { value, bound: value, ending: index, model });
        }
        // What only hangs on comparisons is searched through; sums are too much for a solver.
        if let Some(search) = Search::new(&logic.terms, ending.guard(), term, up) {
            let found = search.run(best.as_ref().map(|best| best.value));
            if let Some((value, model)) = found.best {
                best = Some(Extreme { value, bound: value, ending: index, model });
            }
            if best.as_ref().is_some_and(|best| better(found.bound, best.value)) {
                beyond = Some(
                    beyond.map_or(found.bound, |other| if better(found.bound, other) { found.bound } else { other }),
                );
            }
            continue;
        }
        let mut solver = Solver::new().budget(CONFLICTS);
        // The limit itself is reached more often than not: it is tried first.
        let mut tried = limit;
        while let Some(known) = best.as_ref().map(|best| best.value).filter(|known| better(limit, *known)) {
            let reaches = count.reaches(&mut logic.terms, tried, up);
            match solver.ask(&logic.terms, &[ending.guard(), reaches]) {
                Answer::Possible(model) => {
                    let value = logic.terms.evaluate(term, &model);
                    best = Some(Extreme { value, bound: value, ending: index, model });
                }
                Answer::Impossible(_) if up => limit = tried - 1,
                Answer::Impossible(_) => limit = tried + 1,
                // Nearer to what is known; if that is too hard as well, the limit is all that is proved.
                Answer::Open(_) if tried.abs_diff(known) <= 1 => {
                    beyond = Some(beyond.map_or(limit, |other| if better(limit, other) { limit } else { other }));
                    break;
                }
                Answer::Open(_) => {
                    tried = if up { known + 1 } else { known - 1 };
                    continue;
                }
            }
            let known = best.as_ref().map_or(known, |best| best.value);
            let half = known.abs_diff(limit).div_ceil(2);
            tried = if up { known + half } else { known - half };
        }
    }
    best.map(|best| Extreme { bound: beyond.filter(|limit| better(*limit, best.value)).unwrap_or(best.value), ..best })
}

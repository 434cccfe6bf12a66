//! Says a guard in short: which unknowns have one value throughout, and which combinations of the others there are, or there
//! are not. What is said is exact: each step of it ends with a refutation of anything else.

use std::collections::BTreeMap;

use super::Domain;
use super::bound::Compared;
use super::ground::Logic;
use super::logic::{Answer, Model, Range, Ranges, Tape, Term, Unknown};
use super::share::Share;
use super::unknowns::{Source, all, any, is};

/// The most combinations that are listed.
pub const MOST_CUBES: usize = 96;

/// The most questions that one description may ask.
const MOST_QUESTIONS: usize = 1500;

/// The same where unknowns are not only compared with numbers: there is hardly ever a short form.
const FEW_QUESTIONS: usize = 200;

/// The most unknowns of a description that are no bytes of the image.
const MOST_OTHERS: usize = 16;

/// The most steps of a count.
const MOST_COUNTED: usize = 100_000;

/// Values of some unknowns.
pub type Cube = BTreeMap<Unknown, u64>;

/// A guard in short: `all` and one of `one_of` (if there are any) and none of `none_of`.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Described {
    /// What always holds.
    pub all: Cube,
    /// One of these holds, unless the list is empty.
    pub one_of: Vec<Cube>,
    /// None of these holds.
    pub none_of: Vec<Cube>,
}

/// Describes a guard that is possible; `None` if it has no short form, or a question stayed open.
pub fn describe(logic: &mut Logic, guard: Term) -> Option<Described> {
    // Reads of a port that is polled have no short form.
    let others = logic.terms.unknowns(guard).into_iter();
    let others = others.filter(|unknown| !matches!(logic.unknowns.source(*unknown), Source::Image(_)));
    if others.count() > MOST_OTHERS {
        return None;
    }
    let Answer::Possible(model) = logic.solver.ask(&logic.terms, &[guard]) else { return None };
    let forced = forced(logic, guard, &model)?;
    let rest = logic.terms.substitute(guard, &forced);
    let mut described = Described { all: forced, ..Described::default() };
    if logic.terms.known(rest) == Some(1) {
        return Some(described);
    }
    let other = logic.terms.not(rest);
    let compared = Compared::of(&logic.terms, &[rest]);
    let most = if compared.only { MOST_QUESTIONS } else { FEW_QUESTIONS };
    let (mut yes, mut no) = (Cubes::new(logic, rest, &compared), Cubes::new(logic, other, &compared));
    while yes.questions + no.questions < most && !(yes.hopeless && no.hopeless) {
        // In turns: the shorter list is the better one, and is complete first.
        if no.next(logic)? {
            described.none_of = no.list;
            return Some(described);
        }
        if yes.next(logic)? {
            described.one_of = yes.list;
            return Some(described);
        }
    }
    None
}

/// The unknowns that have the value of `model` in every model of the guard.
fn forced(logic: &mut Logic, guard: Term, model: &Model) -> Option<Cube> {
    // What can be another without a question is not forced.
    let mut tape = logic.terms.tape(&[guard]);
    tape.load(model);
    let unknowns: Vec<Unknown> = tape.unknowns().collect();
    let mut candidates: Vec<(Unknown, u64)> = unknowns
        .into_iter()
        .map(|unknown| (unknown, model.get(unknown)))
        .filter(|one| is_needed(&mut tape, *one))
        .collect();
    while !candidates.is_empty() {
        let mut differs = Vec::with_capacity(candidates.len());
        for (unknown, value) in &candidates {
            let same = same(logic, *unknown, *value);
            differs.push(logic.terms.not(same));
        }
        let differ = any(&mut logic.terms, differs);
        match logic.solver.ask(&logic.terms, &[guard, differ]) {
            Answer::Possible(other) => candidates.retain(|(unknown, value)| other.get(*unknown) == *value),
            Answer::Impossible(_) => break,
            Answer::Open(_) => return None,
        }
    }
    Some(candidates.into_iter().collect())
}

/// Whether no other value of one unknown alone lets the first term of a tape hold, as far as a few tries show it.
fn is_needed(tape: &mut Tape, (unknown, value): (Unknown, u64)) -> bool {
    let holds = (0..8).any(|bit| {
        tape.set(unknown, value ^ 1 << bit);
        tape.holds()
    });
    tape.set(unknown, value);
    !holds
}

/// Whether another value of one unknown alone lets it fail, as far as a few tries show it.
fn fails(tape: &mut Tape, (unknown, value): (Unknown, u64)) -> bool {
    let fails = (0..8).any(|bit| {
        tape.set(unknown, value ^ 1 << bit);
        !tape.holds()
    });
    tape.set(unknown, value);
    fails
}

/// One bit: whether an unknown has this value.
pub fn same(logic: &mut Logic, unknown: Unknown, value: u64) -> Term {
    let term = logic.unknown(unknown);
    is(&mut logic.terms, term, value)
}

/// One bit: whether a cube holds.
pub fn holds(logic: &mut Logic, cube: &Cube) -> Term {
    let parts: Vec<Term> = cube.iter().map(|(unknown, value)| same(logic, *unknown, *value)).collect();
    all(&mut logic.terms, parts)
}

/// Cubes that together are a term.
struct Cubes<'a> {
    term: Term,
    list: Vec<Cube>,
    /// What is left of the term.
    asked: Vec<Term>,
    /// How many questions were asked.
    questions: usize,
    /// Whether there are too many.
    hopeless: bool,
    compared: &'a Compared,
    tape: Tape,
    ranges: Ranges,
}

impl<'a> Cubes<'a> {
    fn new(logic: &Logic, term: Term, compared: &'a Compared) -> Self {
        let (tape, ranges) = (logic.terms.tape(&[term]), logic.terms.ranges(&[term]));
        Self { term, list: Vec::new(), asked: vec![term], questions: 0, hopeless: false, compared, tape, ranges }
    }

    /// One more cube, as large as it gets; whether the list is complete.
    fn next(&mut self, logic: &mut Logic) -> Option<bool> {
        if self.hopeless {
            return Some(false);
        }
        self.questions += 1;
        let model = match logic.solver.ask(&logic.terms, &self.asked) {
            Answer::Impossible(_) => return Some(true),
            Answer::Possible(model) => model,
            Answer::Open(_) => return None,
        };
        let cube = self.widen(logic, &model)?;
        self.hopeless = self.list.len() >= MOST_CUBES || self.any_other(&cube);
        let holds = holds(logic, &cube);
        self.asked.push(logic.terms.not(holds));
        self.list.push(cube);
        Some(false)
    }

    /// Whether a combination stands on a value that is one of many that are as good.
    fn any_other(&self, cube: &Cube) -> bool {
        let numbers = &self.compared.numbers;
        let told = |(unknown, value): (&Unknown, &u64)| numbers.get(unknown).is_some_and(|list| list.contains(value));
        self.compared.only && !cube.iter().all(told)
    }

    /// The values of a model that are enough for the term to hold.
    fn widen(&mut self, logic: &mut Logic, model: &Model) -> Option<Cube> {
        let unknowns: Vec<Unknown> = self.tape.unknowns().collect();
        let cube: Vec<(Unknown, u64)> = unknowns.iter().map(|unknown| (*unknown, model.get(*unknown))).collect();
        let mut cube = self.enough_by_ranges(cube);
        self.tape.load(model);
        // From the end: texts then tell by their beginnings.
        let mut kept = 0;
        while let Some(place) = cube.len().checked_sub(kept + 1) {
            if fails(&mut self.tape, cube[place]) {
                kept += 1;
                continue;
            }
            let mut shorter = cube.clone();
            shorter.remove(place);
            match self.enough(logic, shorter)? {
                Some(enough) => {
                    kept = kept.min(enough.len());
                    cube = enough;
                }
                None => kept += 1,
            }
        }
        Some(cube.into_iter().collect())
    }

    /// Those of the values of a whole model that are certain to be enough, as far as ranges tell it: no question is asked.
    fn enough_by_ranges(&mut self, cube: Vec<(Unknown, u64)>) -> Vec<(Unknown, u64)> {
        let mark = self.ranges.mark();
        for (unknown, value) in &cube {
            self.ranges.set(*unknown, Some(Range::one(*value)));
        }
        let mut kept = cube.clone();
        for (unknown, value) in cube.into_iter().rev() {
            self.ranges.set(unknown, None);
            if self.ranges.of(0) == Range::one(1) {
                kept.retain(|(other, _)| *other != unknown);
            } else {
                self.ranges.set(unknown, Some(Range::one(value)));
            }
        }
        self.ranges.undo(mark);
        kept
    }

    /// Those of some values that are enough for the term to hold, if all of them are.
    fn enough(&mut self, logic: &mut Logic, cube: Vec<(Unknown, u64)>) -> Option<Option<Vec<(Unknown, u64)>>> {
        let mut asked: Vec<Term> = Vec::with_capacity(cube.len() + 1);
        for (unknown, value) in &cube {
            asked.push(same(logic, *unknown, *value));
        }
        asked.push(logic.terms.not(self.term));
        self.questions += 1;
        match logic.solver.ask(&logic.terms, &asked) {
            Answer::Impossible(refutation) => {
                let core = refutation.core();
                let used = cube.into_iter().enumerate().filter(|(place, _)| core.contains(place));
                Some(Some(used.map(|(_, value)| value).collect()))
            }
            Answer::Possible(_) => Some(None),
            Answer::Open(_) => None,
        }
    }
}

impl Described {
    /// How many headers of so many bits; `None` if that takes too long.
    pub fn share(&self, bits: u32, width: impl Fn(Unknown) -> u32) -> Option<Share> {
        let fixed: u32 = self.all.keys().map(|unknown| width(*unknown)).sum();
        let free = bits.checked_sub(fixed)?;
        let mut steps = 0;
        if !self.one_of.is_empty() {
            return union(&self.one_of, free, &width, &mut steps);
        }
        let mut share = Share::power(free);
        share.take(&union(&self.none_of, free, &width, &mut steps)?);
        Some(share)
    }
}

/// How many values of `bits` bits are in one of the cubes.
fn union(cubes: &[Cube], bits: u32, width: &impl Fn(Unknown) -> u32, steps: &mut usize) -> Option<Share> {
    let mut sum = Share::default();
    for (place, cube) in cubes.iter().enumerate() {
        *steps += 1;
        if *steps > MOST_COUNTED {
            return None;
        }
        let fixed: u32 = cube.keys().map(|unknown| width(*unknown)).sum();
        let free = bits.checked_sub(fixed)?;
        sum.put(&Share::power(free));
        // Less what an earlier cube has of it.
        let shared: Vec<Cube> = cubes[..place].iter().filter_map(|other| within(other, cube)).collect();
        if !shared.is_empty() {
            sum.take(&union(&shared, free, width, steps)?);
        }
    }
    Some(sum)
}

/// What a cube still asks for where another one holds; `None` if they exclude each other.
fn within(cube: &Cube, other: &Cube) -> Option<Cube> {
    let agrees = cube.iter().all(|(unknown, value)| other.get(unknown).is_none_or(|held| held == value));
    agrees.then(|| cube.iter().filter(|(unknown, _)| !other.contains_key(unknown)).map(|(u, v)| (*u, *v)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cube(pairs: &[(u32, u64)]) -> Cube {
        pairs.iter().map(|(unknown, value)| (Unknown(*unknown), *value)).collect()
    }

    /// Unions of random cubes over three unknowns of 2 bits, against counting all 64 values.
    #[test]
    fn unions_are_counted_exactly() {
        let mut noise = crate::noise::Noise::new(5);
        for _ in 0..500 {
            let cubes: Vec<Cube> = (0..noise.bits() % 5)
                .map(|_| {
                    let held = (0..3u32).filter(|_| noise.bits().is_multiple_of(2)).collect::<Vec<_>>();
                    held.into_iter().map(|unknown| (Unknown(unknown), noise.bits() % 4)).collect()
                })
                .collect();
            let fits = |value: u64| {
                cubes.iter().any(|cube| cube.iter().all(|(unknown, held)| value >> (2 * unknown.0) & 3 == *held))
            };
            let counted = (0..64).filter(|value| fits(*value)).count() as u128;
            let share = union(&cubes, 6, &|_| 2, &mut 0).unwrap();
            assert_eq!(share.number(), Some(counted), "{cubes:?}");
        }
    }

    #[test]
    fn what_excludes_and_what_overlaps() {
        assert_eq!(within(&cube(&[(1, 2)]), &cube(&[(1, 3)])), None);
        assert_eq!(within(&cube(&[(1, 2), (4, 5)]), &cube(&[(1, 2), (3, 3)])), Some(cube(&[(4, 5)])));
    }
}

//! Sets of things from outside that a byte hangs on, small enough to be carried by every byte.
//!
//! A [`Taint`] is a number: nothing, one [`Source`], or a set that [`Sources`] keeps. Sets are made by joining two others
//! and are never changed; a set that is joined again and again (a checksum) costs one entry a join.

use std::collections::HashSet;

/// What a byte hangs on. Means something only beside the [`Sources`] that made it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Taint(u32);

/// A byte from outside the host ROM.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Source {
    /// A byte of the attached image, by its offset.
    Image(u32),
    /// A read of a port: the port's index.
    Port(u32),
    /// A byte of RAM that nothing had written, by its bus address.
    Ram(u32),
    /// A byte that nobody drives, by its bus address.
    OpenBus(u32),
    /// An interrupt, by its level: whether and when it came.
    Interrupt(u32),
}

/// Consecutive sources of one kind, both ends included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Stretch {
    /// The first.
    pub first: Source,
    /// The last, of the same kind.
    pub last: Source,
}

/// Marks a number as one source.
const ONE: u32 = 1 << 31;
/// Where the kind of a source stands.
const KIND: u32 = 28;
/// The bits of a source's address, offset or index.
const PLACE: u32 = (1 << KIND) - 1;

impl Taint {
    /// Nothing from outside.
    pub const CLEAN: Taint = Taint(0);

    /// One source.
    pub fn of(source: Source) -> Self {
        let (kind, place) = match source {
            Source::Image(offset) => (0, offset),
            Source::Port(index) => (1, index),
            Source::Ram(address) => (2, address),
            Source::OpenBus(address) => (3, address),
            Source::Interrupt(level) => (4, level),
        };
        Taint(ONE | kind << KIND | place & PLACE)
    }

    /// Whether nothing from outside is in it.
    #[inline]
    pub fn clean(self) -> bool {
        self.0 == 0
    }

    fn one(self) -> bool {
        self.0 & ONE != 0
    }
}

/// A set made by joining.
#[derive(Clone, Copy, Debug)]
enum Set {
    /// Every source from the first to the last, as numbers.
    Stretch(u32, u32),
    /// Two other sets.
    Both(Taint, Taint),
}

/// How many joins are remembered, so that the same join gives the same set.
const REMEMBERED: usize = 256;

/// The sets of one run.
#[derive(Clone, Debug)]
pub struct Sources {
    sets: Vec<Set>,
    joins: Box<[(Taint, Taint, Taint)]>,
}

impl Default for Sources {
    fn default() -> Self {
        Self { sets: Vec::new(), joins: vec![(Taint::CLEAN, Taint::CLEAN, Taint::CLEAN); REMEMBERED].into() }
    }
}

impl Sources {
    /// Forgets all sets.
    pub fn clear(&mut self) {
        if !self.sets.is_empty() {
            self.sets.clear();
            self.joins.fill((Taint::CLEAN, Taint::CLEAN, Taint::CLEAN));
        }
    }

    /// What hangs on either.
    #[inline]
    pub fn join(&mut self, left: Taint, right: Taint) -> Taint {
        if left == right || right.clean() {
            return left;
        }
        if left.clean() {
            return right;
        }
        self.join_different(left, right)
    }

    fn join_different(&mut self, left: Taint, right: Taint) -> Taint {
        let (left, right) = if left.0 < right.0 { (left, right) } else { (right, left) };
        let place = (left.0.wrapping_mul(0x9E37_79B1) ^ right.0.wrapping_mul(0x85EB_CA77)) >> 24;
        let (one, other, joined) = self.joins[place as usize];
        if (one, other) == (left, right) {
            return joined;
        }
        let joined = self.make(left, right);
        self.joins[place as usize] = (left, right, joined);
        joined
    }

    fn make(&mut self, left: Taint, right: Taint) -> Taint {
        let set = match (self.stretch(left), self.stretch(right)) {
            (Some((first, last)), Some((from, to))) if touch(first, last, from, to) => {
                let (first, last) = (first.min(from), last.max(to));
                // One lies within the other.
                for (taint, ends) in [(left, self.stretch(left)), (right, self.stretch(right))] {
                    if ends == Some((first, last)) {
                        return taint;
                    }
                }
                Set::Stretch(first, last)
            }
            _ => Set::Both(left, right),
        };
        self.sets.push(set);
        Taint(self.sets.len() as u32)
    }

    fn stretch(&self, taint: Taint) -> Option<(u32, u32)> {
        if taint.one() {
            return Some((taint.0, taint.0));
        }
        match self.sets.get(taint.0.checked_sub(1)? as usize)? {
            Set::Stretch(first, last) => Some((*first, *last)),
            Set::Both(..) => None,
        }
    }

    /// The sources of a set, as few stretches as can be, in order.
    pub fn stretches(&self, taint: Taint) -> Vec<Stretch> {
        let mut ends: Vec<(u32, u32)> = Vec::new();
        let mut seen: HashSet<Taint> = HashSet::new();
        let mut open = vec![taint];
        while let Some(taint) = open.pop() {
            if taint.clean() || !taint.one() && !seen.insert(taint) {
                continue;
            }
            match self.stretch(taint) {
                Some(stretch) => ends.push(stretch),
                None => {
                    if let Some(Set::Both(left, right)) = self.sets.get(taint.0 as usize - 1) {
                        open.extend([*left, *right]);
                    }
                }
            }
        }
        merge(ends).into_iter().map(|(first, last)| Stretch { first: source(first), last: source(last) }).collect()
    }
}

/// Whether two stretches overlap or lie side by side.
fn touch(first: u32, last: u32, from: u32, to: u32) -> bool {
    kind(first) == kind(from) && from <= last.saturating_add(1) && first <= to.saturating_add(1)
}

/// Joins stretches that touch; those of different kinds never do.
fn merge(mut ends: Vec<(u32, u32)>) -> Vec<(u32, u32)> {
    ends.sort_unstable();
    let mut merged: Vec<(u32, u32)> = Vec::new();
    for (first, last) in ends {
        match merged.last_mut() {
            Some((start, end)) if touch(*start, *end, first, last) => *end = last.max(*end),
            _ => merged.push((first, last)),
        }
    }
    merged
}

fn kind(number: u32) -> u32 {
    number >> KIND & 7
}

fn source(number: u32) -> Source {
    let place = number & PLACE;
    match kind(number) {
        0 => Source::Image(place),
        1 => Source::Port(place),
        2 => Source::Ram(place),
        3 => Source::OpenBus(place),
        _ => Source::Interrupt(place),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pretty_assertions::assert_eq;

    fn image(offset: u32) -> Taint {
        Taint::of(Source::Image(offset))
    }

    fn listed(sources: &Sources, taint: Taint) -> Vec<(Source, Source)> {
        sources.stretches(taint).into_iter().map(|stretch| (stretch.first, stretch.last)).collect()
    }

    #[test]
    fn neighbours_become_one_stretch_and_others_stay_apart() {
        let mut sources = Sources::default();
        let mut taint = Taint::CLEAN;
        for offset in [5, 4, 9, 6] {
            taint = sources.join(taint, image(offset));
        }
        taint = sources.join(Taint::of(Source::Port(1)), taint);
        let expected = [
            (Source::Image(4), Source::Image(6)),
            (Source::Image(9), Source::Image(9)),
            (Source::Port(1), Source::Port(1)),
        ];
        assert_eq!(listed(&sources, taint), expected);
    }

    #[test]
    fn the_same_join_makes_no_new_set() {
        let mut sources = Sources::default();
        let both = sources.join(image(1), image(7));
        for _ in 0..1000 {
            assert_eq!(sources.join(image(7), image(1)), both);
            assert_eq!(sources.join(both, both), both);
            assert_eq!(sources.join(both, Taint::CLEAN), both);
        }
        assert_eq!(sources.sets.len(), 1);
    }

    #[test]
    fn the_last_of_one_kind_does_not_touch_the_first_of_the_next() {
        let mut sources = Sources::default();
        let taint = sources.join(image(PLACE), Taint::of(Source::Port(0)));
        assert_eq!(listed(&sources, taint).len(), 2);
    }

    #[test]
    fn a_million_joins_are_listed_without_recursion() {
        let mut sources = Sources::default();
        let mut taint = Taint::CLEAN;
        for offset in 0..1_000_000 {
            taint = sources.join(taint, image(2 * offset));
        }
        assert_eq!(listed(&sources, taint).len(), 1_000_000);
    }
}

//! Numbers for unknowns.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// What is not known, by the caller's number.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct Unknown(pub u32);

/// A number for each unknown; those that are not named are 0. Copies share what they hold: whoever keeps the models of
/// ten thousand questions that differ in an unknown each does not keep ten thousand copies.
#[derive(Clone, Default, Debug)]
pub struct Model {
    /// The numbers but for those in `new`.
    old: Arc<BTreeMap<Unknown, u64>>,
    /// A few that were given since.
    new: Arc<BTreeMap<Unknown, u64>>,
}

/// As many as are copied at most when a shared model is changed, but for one time in as many.
const FEW: usize = 128;

impl Model {
    /// Every unknown is 0.
    pub fn new() -> Self {
        Self::default()
    }

    /// The number of an unknown.
    pub fn get(&self, unknown: Unknown) -> u64 {
        self.new.get(&unknown).or_else(|| self.old.get(&unknown)).copied().unwrap_or(0)
    }

    /// Gives an unknown a number.
    pub fn set(&mut self, unknown: Unknown, value: u64) {
        if self.new.get(&unknown).or_else(|| self.old.get(&unknown)) == Some(&value) {
            return;
        }
        Arc::make_mut(&mut self.new).insert(unknown, value);
        if self.new.len() >= FEW {
            let new = std::mem::take(&mut self.new);
            Arc::make_mut(&mut self.old).extend(new.iter());
        }
    }

    /// The numbers of these unknowns only. A solver's model also has what earlier questions left in it.
    pub fn only(&self, unknowns: &BTreeSet<Unknown>) -> Self {
        unknowns.iter().map(|&unknown| (unknown, self.get(unknown))).collect()
    }

    /// The unknowns that were given a number, in order.
    pub fn iter(&self) -> impl Iterator<Item = (Unknown, u64)> {
        let (mut old, mut new) = (self.old.iter().peekable(), self.new.iter().peekable());
        std::iter::from_fn(move || {
            let first = match (old.peek(), new.peek()) {
                (Some((one, _)), Some((two, _))) if one < two => old.next(),
                (Some((one, _)), Some((two, _))) if one == two => {
                    old.next();
                    new.next()
                }
                (_, Some(_)) => new.next(),
                (_, None) => old.next(),
            };
            first.map(|(&unknown, &value)| (unknown, value))
        })
    }
}

impl PartialEq for Model {
    fn eq(&self, other: &Self) -> bool {
        self.iter().eq(other.iter())
    }
}

impl Eq for Model {}

impl FromIterator<(Unknown, u64)> for Model {
    fn from_iter<I: IntoIterator<Item = (Unknown, u64)>>(pairs: I) -> Self {
        Self { old: Arc::new(pairs.into_iter().collect()), new: Arc::default() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_model_is_a_map_however_it_was_made() {
        let (mut model, mut plain) = (Model::new(), BTreeMap::new());
        let mut kept = Vec::new();
        for step in 0..1000u64 {
            let (unknown, value) = (Unknown((step * 37 % 301) as u32), step % 5);
            model.set(unknown, value);
            plain.insert(unknown, value);
            kept.push((model.clone(), plain.clone()));
        }
        for (model, plain) in kept {
            assert!(plain.iter().all(|(&unknown, &value)| model.get(unknown) == value));
            assert!(model.iter().eq(plain.into_iter()));
        }
        assert_eq!(model.get(Unknown(5000)), 0);
    }
}

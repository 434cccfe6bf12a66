//! Numbers for unknowns.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// What is not known, by the caller's number.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct Unknown(pub u32);

/// A number for each unknown; those that are not named are 0. Copies share what they hold until one of them changes.
#[derive(Clone, Default, PartialEq, Eq, Debug)]
pub struct Model {
    values: Arc<BTreeMap<Unknown, u64>>,
}

impl Model {
    /// Every unknown is 0.
    pub fn new() -> Self {
        Self::default()
    }

    /// The number of an unknown.
    pub fn get(&self, unknown: Unknown) -> u64 {
        self.values.get(&unknown).copied().unwrap_or(0)
    }

    /// Gives an unknown a number.
    pub fn set(&mut self, unknown: Unknown, value: u64) {
        if self.values.get(&unknown) != Some(&value) {
            Arc::make_mut(&mut self.values).insert(unknown, value);
        }
    }

    /// The numbers of these unknowns only. A solver's model also has what earlier questions left in it.
    pub fn only(&self, unknowns: &BTreeSet<Unknown>) -> Self {
        unknowns.iter().map(|&unknown| (unknown, self.get(unknown))).collect()
    }

    /// The unknowns that were given a number, in order.
    pub fn iter(&self) -> impl Iterator<Item = (Unknown, u64)> {
        self.values.iter().map(|(&unknown, &value)| (unknown, value))
    }
}

impl FromIterator<(Unknown, u64)> for Model {
    fn from_iter<I: IntoIterator<Item = (Unknown, u64)>>(pairs: I) -> Self {
        Self { values: Arc::new(pairs.into_iter().collect()) }
    }
}

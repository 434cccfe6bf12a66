//! What is known of the routine's ways: the features of all trials so far.

use std::collections::{BTreeMap, HashSet};

use super::deed::branch_of;
use super::feedback::{Feature, Way};

/// The features that are known.
#[derive(Debug, Default)]
pub struct Known {
    set: HashSet<Feature>,
    /// The same in the order in which they came, so that whoever knows a part can learn the rest.
    list: Vec<Feature>,
}

impl Known {
    /// Takes features in; whether any was new.
    pub fn learn(&mut self, features: Vec<Feature>) -> bool {
        let known = self.list.len();
        for feature in features {
            if self.set.insert(feature) {
                self.list.push(feature);
            }
        }
        self.list.len() > known
    }

    /// All of them, in the order in which they came.
    pub fn features(&self) -> &[Feature] {
        &self.list
    }

    /// The decisions that were met, and how many of them went both ways.
    pub fn decisions(&self) -> (usize, usize) {
        let mut decisions: BTreeMap<u32, HashSet<u32>> = BTreeMap::new();
        for feature in &self.list {
            if let Way::Decision { at, to } = Way::of(feature.way) {
                decisions.entry(at).or_default().insert(to);
            }
        }
        (decisions.len(), decisions.values().filter(|ways| ways.len() > 1).count())
    }

    /// Which of so many branches were reached, by index.
    pub fn branches(&self, count: usize) -> Vec<bool> {
        let mut reached = vec![false; count];
        for feature in &self.list {
            if let Way::End { code, .. } = Way::of(feature.way)
                && let Some(reached) = branch_of(code).and_then(|index| reached.get_mut(index))
            {
                *reached = true;
            }
        }
        reached
    }
}

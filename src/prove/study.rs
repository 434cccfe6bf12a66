//! The explorations of a harness: one for all ways of being attached that show the routine the same.

use super::Domain;
use super::attach::Way;
use super::ending::{Close, Ending};
use super::explore::explore;
use super::explored::{Budget, Explored};
use super::gates::{Evidence, Partition};
use super::ground::{Free, Ground, Logic};
use super::logic::{Model, Term};
use super::plugged::Plugged;
use super::unknowns::any;
use crate::suite::Harness;

/// Ways of being attached that lead to the same, and what that is.
pub struct Study {
    /// The ways, the first of which was explored.
    pub ways: Vec<Way>,
    /// What was found.
    pub explored: Explored,
}

impl Study {
    /// The way that was explored.
    pub fn way(&self) -> &Way {
        &self.ways[0]
    }

    /// The kinds of ends, each once, in order.
    pub fn closes(&self) -> Vec<Close> {
        let mut closes: Vec<Close> = self.explored.endings.iter().map(|ending| ending.close.clone()).collect();
        closes.sort();
        closes.dedup();
        closes
    }

    /// For which inputs an end is come to: one bit.
    pub fn guard(&self, logic: &mut Logic, close: &Close) -> Term {
        let endings = self.explored.endings.iter().filter(|ending| ending.close == *close);
        any(&mut logic.terms, endings.map(Ending::guard).collect::<Vec<_>>())
    }

    /// The ending to which inputs lead.
    pub fn ending(&self, logic: &Logic, model: &Model) -> Option<&Ending> {
        let guards: Vec<Term> = self.explored.endings.iter().map(Ending::guard).collect();
        let place = logic.terms.evaluate_all(&guards, model).iter().position(|holds| *holds == 1)?;
        self.explored.endings.get(place)
    }

    /// The machine of this study.
    pub fn ground<'a>(&self, harness: &'a Harness, free: &'a Free) -> Ground<'a> {
        Ground { harness, plugged: self.way().plugged.clone(), free }
    }

    /// Whether another way shows the same wherever the routine looked.
    fn covers(&self, plugged: &Plugged) -> bool {
        self.explored.looked.iter().all(|address| self.way().plugged.same_at(plugged, *address))
    }
}

/// Explores each way that shows something new.
pub fn study(
    logic: &mut Logic,
    evidence: &mut Evidence,
    harness: &Harness,
    ways: Vec<Way>,
    free: &Free,
    budget: Budget,
) -> Vec<Study> {
    let mut studies: Vec<Study> = Vec::new();
    for way in ways {
        if let Some(study) = studies.iter_mut().find(|study| study.covers(&way.plugged)) {
            study.ways.push(way);
            continue;
        }
        let ground = Ground { harness, plugged: way.plugged.clone(), free };
        let explored = explore(logic, &ground, budget);
        evidence.exploration(Partition::check(logic, &explored.endings));
        studies.push(Study { ways: vec![way], explored });
    }
    studies
}

/// The images of the ways in a few words, each once: `512 bytes to 2 MiB`.
pub fn told(ways: &[Way]) -> Vec<String> {
    ways.iter().map(|way| way.label.clone()).collect()
}

/// One bit that is always set.
pub fn always(logic: &mut Logic) -> Term {
    logic.terms.bit(true)
}

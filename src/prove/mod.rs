//! Proofs: what the routine does for every header, and what can never happen.
//!
//! A [`Prove`] says what is asked, and [`Prove::run`] explores every path of the routine for every input at once: bytes
//! that are not known are terms, paths that come together become one, and a solver is asked at the end. The answer is
//! [`Sealed`]: it is only [`Proved`] if every gate was passed.

mod answer;
mod attach;
mod bound;
mod breaches;
mod count;
mod counterexamples;
mod dead;
mod demands;
mod describe;
mod domain;
mod effects;
mod ending;
pub mod execute;
mod explore;
mod explored;
mod extremes;
mod few;
mod gates;
mod graph;
mod ground;
mod influence;
mod lanes;
mod live;
pub mod logic;
mod merge;
mod order;
mod plan;
mod plugged;
mod proof;
mod rounds;
mod said;
mod scene;
mod scope;
mod script;
mod share;
mod state;
mod study;
mod table;
#[cfg(test)]
mod tests;
mod told;
mod turn;
mod unknowns;
mod uses;
mod witness;
mod words;
mod world;

/// What comparing builds needs of a proof.
pub(crate) mod compared {
    pub use super::Domain;
    pub use super::effects::remains;
    pub use super::ending::{Close, Ending};
    pub use super::gates::{Doubt, Evidence};
    pub use super::ground::{Ground, Logic};
    pub use super::logic::{Model, Term};
    pub use super::proof::study_all;
    pub use super::scene::Wrongdoing;
    pub use super::scope::scope as scope_of;
    pub use super::study::{Study, always};
    pub use super::told::{describe_guard, doubt_at, witness_case};
    pub use super::unknowns::any;
    pub use super::witness::Replayer;
    pub use super::words::{end_words, witness_words};
}

pub use answer::{
    Answer, BranchAnswer, DeadCode, DeadEntry, DoubtAt, Effort, EndAnswer, FieldInfluence, OpenAnswer, PathAnswer,
    Paths, RuleAnswer, Scenario, Scope, Violation, WitnessAnswer,
};
pub use domain::Domain;
pub use ending::{Close, Ending};
pub use gates::{Doubt, Evidence, Partition, Proved, Replayed, Sealed};
pub use plan::{Prove, parse_range};
pub use said::{Condition, Holding, How};
pub use world::{Pin, ValueOf, World};

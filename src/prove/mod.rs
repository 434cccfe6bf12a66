//! Proofs: what the routine does for every header.

mod domain;
pub mod execute;
pub mod logic;
mod world;

pub use domain::Domain;
pub use world::{Pin, ValueOf, World};

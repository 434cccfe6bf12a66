//! Proofs, and what they are made of.

mod executor;

//! Harness and case files: read, checked, resolved, and refused with one clear complaint each.
//!
//! [`Harness::load`] makes the plan that every run shares; [`Suite::load`] reads a case file, and [`Suite::case`] makes
//! one ready-to-run [`Case`] at a time, so that a suite of a hundred thousand cases costs no more memory than its file.

mod attach;
mod board_file;
mod boundary;
mod case_file;
mod collection;
mod complaint;
mod contact_plan;
mod dead_rules;
mod document;
mod expect;
mod forms;
mod harness;
mod harness_file;
mod interrupt_file;
mod label;
mod locate;
mod maker;
mod named;
mod place;
mod placeholder;
mod plan_board;
mod plan_demands;
mod plan_interrupts;
mod plan_leaves;
mod plan_rules;
mod plan_table;
mod proof_file;
mod recipe_file;
mod refusal;
mod rule_file;
mod scalar;
mod schema;
mod sections;
mod strict;
mod suite_file;

pub use boundary::Boundary;
pub use complaint::{Complaint, Details, Position, nearest};
pub use harness::{Case, Harness};
pub use label::{empty_words, fill_words, interrupt_words, port_words};
pub use named::files_named;
pub use plan_demands::{Demand, Demanded, Relation};
pub use schema::{case_schema, harness_schema, lines_schema};
pub use suite_file::{LARGEST_PRODUCT, Suite};

/// The seed of all noise unless the caller gives one.
pub const DEFAULT_SEED: u64 = 1;

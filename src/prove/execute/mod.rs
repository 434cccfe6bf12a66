//! The executor.

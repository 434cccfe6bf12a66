//! keyway
pub mod board;
pub mod cartridge;
pub mod check;
#[doc(hidden)]
pub mod cli;
pub mod cpu;
pub mod noise;
pub mod report;
pub mod rom;
pub mod run;
pub mod suite;
pub mod units;
pub mod verdict;

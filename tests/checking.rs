//! The main job, seen from outside: the program on suites of every kind.

#[path = "checking/command_line.rs"]
mod command_line;
#[path = "checking/expectations.rs"]
mod expectations;
#[path = "checking/power_on.rs"]
mod power_on;
#[path = "support/mod.rs"]
mod support;

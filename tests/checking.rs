//! The main job, seen from outside: the program on suites of every kind.

mod command_line;
mod expectations;
mod left;
mod power_on;
mod time;

//! What the cases have tried of a routine: counts made by hand, what they lead to, and where they are written.

mod command_line;
mod counts;
mod files;
mod graph;
mod routines;
mod tables;

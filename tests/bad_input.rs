//! Bad input: one clear complaint with its place, exit code 2, and nothing written.

#[path = "bad_input/cases.rs"]
mod cases;
#[path = "bad_input/command.rs"]
mod command;
#[path = "bad_input/files.rs"]
mod files;
#[path = "bad_input/harness.rs"]
mod harness;
#[path = "bad_input/mutation.rs"]
mod mutation;
#[path = "bad_input/support.rs"]
mod support;
#[path = "bad_input/text.rs"]
mod text;

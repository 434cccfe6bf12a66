//! Bad input: one clear complaint with its place, exit code 2, and nothing written.

mod cases;
mod command;
mod files;
mod harness;
mod mutation;
mod support;
mod text;
mod timing;

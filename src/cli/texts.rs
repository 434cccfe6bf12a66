//! `keyway schema`, `completions` and `man`: texts made from the types and the arguments.

use std::io::{self, Write};

use clap::{Args, CommandFactory, ValueEnum};
use clap_complete::Shell;

use super::{Arguments, Failure, exit};
use crate::report::{ComparisonRecord, FuzzRecord, Listed, ProofRecord, Record, Told};
use crate::suite::{case_schema, harness_schema, lines_schema};

/// Arguments of `schema`.
#[derive(Debug, Args)]
pub struct SchemaArguments {
    /// Of which files, or of whose output.
    #[arg(value_enum)]
    of: SchemaOf,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum SchemaOf {
    /// Harness files.
    Harness,
    /// Case files.
    Case,
    /// The lines of `check --format json`.
    Results,
    /// The lines of `explain --format json`.
    Explanation,
    /// The lines of `list --format json`.
    List,
    /// The lines of `fuzz --format json`.
    Fuzz,
    /// The line of `prove --format json`.
    Proof,
    /// The line of `compare --format json`.
    Comparison,
}

/// Arguments of `completions`.
#[derive(Debug, Args)]
pub struct CompletionsArguments {
    /// The shell.
    #[arg(value_enum)]
    shell: Shell,
}

/// Prints a schema.
pub fn schema(arguments: &SchemaArguments) -> Result<u8, Failure> {
    let text = match arguments.of {
        SchemaOf::Harness => harness_schema(),
        SchemaOf::Case => case_schema(),
        SchemaOf::Results => lines_schema::<Record>(),
        SchemaOf::Explanation => lines_schema::<Told>(),
        SchemaOf::List => lines_schema::<Listed>(),
        SchemaOf::Fuzz => lines_schema::<FuzzRecord>(),
        SchemaOf::Proof => lines_schema::<ProofRecord>(),
        SchemaOf::Comparison => lines_schema::<ComparisonRecord>(),
    };
    print(text.as_bytes())
}

/// Prints completions.
pub fn completions(arguments: &CompletionsArguments) -> Result<u8, Failure> {
    let mut text = Vec::new();
    clap_complete::generate(arguments.shell, &mut Arguments::command(), "keyway", &mut text);
    print(&text)
}

/// Prints the manual page, its subcommands after it.
pub fn man() -> Result<u8, Failure> {
    let mut text = Vec::new();
    let mut command = Arguments::command();
    command.build();
    clap_mangen::Man::new(command).render(&mut text)?;
    print(&text)
}

fn print(text: &[u8]) -> Result<u8, Failure> {
    let mut out = io::stdout().lock();
    out.write_all(text)?;
    out.flush()?;
    Ok(exit::HELD)
}

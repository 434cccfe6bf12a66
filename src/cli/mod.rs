//! The command line: one file a command, its arguments and how it shows its result.

mod check;
mod compare;
mod complain;
mod coverage;
mod exit;
mod explain;
mod files;
mod fuzz;
mod list;
mod new;
mod outputs;
mod proofs;
mod prove;
mod select;
mod stamps;
mod texts;
mod watch;

use std::ffi::OsString;
use std::io;
use std::process::ExitCode;

use clap::{Parser, Subcommand, ValueEnum};

use crate::suite::Complaint;

/// Tests the boot code with which a host cartridge decides what is plugged into its pass-through socket.
///
/// Runs only the detection routine of a built 68000 ROM, against synthetic attached cartridges from YAML cases, and says
/// which branch it took and why.
#[derive(Debug, Parser)]
#[command(name = "keyway", version, propagate_version = true, after_help = EXIT_CODES)]
pub struct Arguments {
    #[command(subcommand)]
    command: Command,

    /// When to use colours.
    #[arg(long, global = true, value_enum, default_value_t = Color::Auto)]
    color: Color,
}

const EXIT_CODES: &str = "Exit codes: 0 everything held, 1 a case failed or a promise was broken, 2 wrong usage or bad input, 3 a fault of the \
tool itself, 4 nothing was selected, 5 undecided (a limit was reached), 130 interrupted.";

#[derive(Debug, Subcommand)]
enum Command {
    /// Run cases and say which branch each took.
    Check(check::CheckArguments),
    /// Tell why cases take their branch: what each decision compared, and what would have ended otherwise.
    Explain(explain::ExplainArguments),
    /// Vary what is attached until the routine breaks a promise, and write each finding as a case.
    Fuzz(fuzz::FuzzArguments),
    /// Prove what the routine does for every header: each branch with its exact condition, and what can never happen.
    Prove(prove::ProveArguments),
    /// Compare two builds of the ROM: which cartridges take another branch now, proved for all of them.
    Compare(compare::CompareArguments),
    /// Run cases again whenever the image, the harness or the cases change, and say what changed.
    Watch(watch::WatchArguments),
    /// List cases and branches.
    List(list::ListArguments),
    /// Write a small harness and suite for a ROM, to start from.
    New(new::NewArguments),
    /// Print the JSON Schema of harness or case files, or of JSON output.
    Schema(texts::SchemaArguments),
    /// Print shell completions.
    Completions(texts::CompletionsArguments),
    /// Print the manual page.
    Man,
}

/// When to use colours.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum Color {
    /// On a terminal; NO_COLOR, CLICOLOR_FORCE and TERM=dumb are followed.
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// How to print results.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Format {
    /// For people.
    Terminal,
    /// JSON lines for programs.
    Json,
}

/// Why a command did not come to its own exit code.
enum Failure {
    /// Something is wrong with an input file.
    Complaint(Box<Complaint>),
    /// Something is wrong with the arguments.
    Usage(String),
    /// Nothing was selected.
    Nothing(String),
    /// Output could not be written.
    Output(io::Error),
    /// The tool itself is at fault.
    Fault(anyhow::Error),
}

impl From<Complaint> for Failure {
    fn from(complaint: Complaint) -> Self {
        Failure::Complaint(Box::new(complaint))
    }
}

impl From<io::Error> for Failure {
    fn from(error: io::Error) -> Self {
        Failure::Output(error)
    }
}

impl From<anyhow::Error> for Failure {
    fn from(error: anyhow::Error) -> Self {
        Failure::Fault(error)
    }
}

/// Runs the command line; a panic is a fault of the tool and has its own exit code.
pub fn main(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let arguments: Vec<OsString> = arguments.into_iter().collect();
    let result = std::panic::catch_unwind(|| run(arguments));
    ExitCode::from(result.unwrap_or(exit::FAULT))
}

/// Runs the command line and returns the exit code.
fn run(arguments: impl IntoIterator<Item = OsString>) -> u8 {
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(error) => {
            let wrong = error.use_stderr();
            return match error.print() {
                Ok(()) if !wrong => exit::HELD,
                Ok(()) => exit::BAD_INPUT,
                Err(error) => complain::report(&Failure::Output(error)),
            };
        }
    };
    choose_color(arguments.color);
    let result = match arguments.command {
        Command::Check(arguments) => check::run(&arguments),
        Command::Explain(arguments) => explain::run(&arguments),
        Command::Fuzz(arguments) => fuzz::run(&arguments),
        Command::Prove(arguments) => prove::run(&arguments),
        Command::Compare(arguments) => compare::run(&arguments),
        Command::Watch(arguments) => watch::run(&arguments),
        Command::List(arguments) => list::run(&arguments),
        Command::New(arguments) => new::run(&arguments),
        Command::Schema(arguments) => texts::schema(&arguments),
        Command::Completions(arguments) => texts::completions(&arguments),
        Command::Man => texts::man(),
    };
    result.unwrap_or_else(|failure| complain::report(&failure))
}

fn choose_color(color: Color) {
    let choice = match color {
        Color::Auto => anstream::ColorChoice::Auto,
        Color::Always => anstream::ColorChoice::Always,
        Color::Never => anstream::ColorChoice::Never,
    };
    choice.write_global();
}

//! The program: parse, dispatch, exit code. Everything else is in the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    keyway::cli::main(std::env::args_os())
}

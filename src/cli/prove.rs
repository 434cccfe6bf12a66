//! `keyway prove`: what the routine does for every header, and what can never happen.

use std::io::{self, Write};
use std::ops::RangeInclusive;
use std::path::PathBuf;
use std::slice;
use std::sync::Arc;

use clap::Args;

use super::files::Files;
use super::outputs::sources;
use super::{Failure, Format, exit};
use crate::cartridge::LARGEST_IMAGE;
use crate::prove::{Answer, Prove, Sealed, parse_range};
use crate::report::{write_proof, write_proof_line, write_proof_page};
use crate::suite::{DEFAULT_SEED, Harness};

/// Arguments of `prove`.
#[derive(Debug, Args)]
pub struct ProveArguments {
    /// The harness file.
    #[arg(value_name = "HARNESS")]
    harness: PathBuf,

    #[command(flatten)]
    scope: ScopeArguments,

    /// Write counterexamples as case files into this folder. What is there is never overwritten.
    #[arg(long, value_name = "FOLDER", default_value = "cases/found")]
    found: PathBuf,

    /// How to print the answer.
    #[arg(long, value_enum, default_value_t = Format::Terminal)]
    format: Format,

    /// Also write the answer as a page for a browser.
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
}

/// What a proof is about.
#[derive(Debug, Args)]
pub struct ScopeArguments {
    /// What can be anything beside the header: offsets of the image like `0x200-0x2FF`, a port or a memory by its name, or
    /// bus addresses of RAM.
    #[arg(long, value_name = "WHAT", value_delimiter = ',')]
    unknown: Vec<String>,

    /// Let these offsets of the image be anything, and not the whole header.
    #[arg(long, value_name = "OFFSETS", value_parser = parse_range)]
    bytes: Option<RangeInclusive<u32>>,

    /// Give up after so many instructions, over all paths together.
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u64).range(1..))]
    steps: Option<u64>,

    /// The seed of all noise.
    #[arg(long, value_name = "NUMBER", default_value_t = DEFAULT_SEED)]
    seed: u64,
}

impl ScopeArguments {
    /// The seed of all noise.
    pub fn seed(&self) -> u64 {
        self.seed
    }

    /// The question about a harness.
    pub fn question(&self, harness: &Arc<Harness>) -> Result<Prove, Failure> {
        let mut prove = Prove::new(harness).seed(self.seed);
        if let Some(steps) = self.steps {
            prove = prove.steps(steps);
        }
        if let Some(bytes) = &self.bytes {
            if *bytes.end() >= LARGEST_IMAGE {
                let message = format!("--bytes: an image has no offset beyond 0x{:X}", LARGEST_IMAGE - 1);
                return Err(Failure::Usage(message));
            }
            prove = prove.only_bytes(bytes.clone());
        }
        for what in &self.unknown {
            prove = prove.let_be_unknown(what).map_err(|why| Failure::Usage(format!("--unknown: {why}")))?;
        }
        Ok(prove)
    }
}

/// Runs the command.
pub fn run(arguments: &ProveArguments) -> Result<u8, Failure> {
    let harness = Arc::new(Harness::load(&arguments.harness)?);
    let prove = arguments.scope.question(&harness)?.found(&arguments.found);
    let inputs: Vec<PathBuf> = harness.files.iter().cloned().chain(sources(&harness)).collect();
    let mut files = Files::new(&inputs);
    let page = arguments.html.as_ref().map(|path| files.open("--html", path)).transpose()?;
    let sealed = prove.run()?;
    let answer = sealed.found();
    let mut out = io::BufWriter::new(anstream::stdout());
    match arguments.format {
        Format::Terminal => write_proof(&mut out, &harness, answer)?,
        Format::Json => write_proof_line(&mut out, answer)?,
    }
    out.flush()?;
    if let Some(mut page) = page {
        write_proof_page(&mut page, slice::from_ref(answer))?;
    }
    files.put_in_place()?;
    Ok(code(&sealed))
}

/// A counterexample is one however the rest went; what is not proved is undecided.
fn code(sealed: &Sealed<Answer>) -> u8 {
    match (sealed, sealed.found().violations.is_empty()) {
        (_, false) => exit::FAILED,
        (Sealed::Proved(_), true) => exit::HELD,
        (Sealed::Inconclusive(..), true) => exit::UNDECIDED,
    }
}

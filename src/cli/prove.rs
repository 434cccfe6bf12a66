//! `keyway prove`: what the routine does for every header, and what can never happen.

use std::io::{self, Write};
use std::ops::RangeInclusive;
use std::path::PathBuf;
use std::sync::Arc;

use clap::Args;

use super::{Failure, Format, exit};
use crate::prove::{Answer, Prove, Sealed};
use crate::report::{write_proof, write_proof_line};
use crate::suite::{DEFAULT_SEED, Harness, nearest};

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
}

/// What a proof is about.
#[derive(Debug, Args)]
pub struct ScopeArguments {
    /// What can be anything beside the header: offsets of the image like `0x200-0x2FF`, a port or a memory by its name, or
    /// bus addresses of RAM.
    #[arg(long, value_name = "WHAT", value_delimiter = ',')]
    unknown: Vec<String>,

    /// Let these offsets of the image be anything, and not the whole header.
    #[arg(long, value_name = "OFFSETS", value_parser = range)]
    bytes: Option<RangeInclusive<u32>>,

    /// Give up after so many instructions, over all paths together.
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u64).range(1..))]
    steps: Option<u64>,

    /// The seed of all noise.
    #[arg(long, value_name = "NUMBER", default_value_t = DEFAULT_SEED)]
    seed: u64,
}

impl ScopeArguments {
    /// The question about a harness.
    pub fn question(&self, harness: &Arc<Harness>) -> Result<Prove, Failure> {
        let mut prove = Prove::new(harness).seed(self.seed);
        if let Some(steps) = self.steps {
            prove = prove.steps(steps);
        }
        if let Some(bytes) = &self.bytes {
            prove = prove.only_bytes(bytes.clone());
        }
        for what in &self.unknown {
            prove = add_unknown(prove, what, harness)?;
        }
        Ok(prove)
    }
}

fn add_unknown(mut prove: Prove, what: &str, harness: &Harness) -> Result<Prove, Failure> {
    let map = &harness.rig.map;
    if prove.unknown_port(what) || prove.unknown_ram(what) {
        return Ok(prove);
    }
    let Ok(range) = range(what) else {
        let names = map.ports().iter().filter(|port| port.reads.is_some()).map(|port| port.name.as_str());
        let names = names.chain(map.memory().iter().map(|area| area.name.as_str()));
        let near = nearest(what, names).first().map(|near| format!("; did you mean `{near}`?"));
        let message = format!(
            "--unknown: `{what}` is neither offsets like 0x200-0x2FF nor a readable port or a memory of the harness{}",
            near.unwrap_or_default()
        );
        return Err(Failure::Usage(message));
    };
    let ram = map.memory().iter().any(|area| area.range.contains(range.start()) && area.range.contains(range.end()));
    Ok(if ram { prove.unknown_ram_range(range) } else { prove.unknown_bytes(range) })
}

/// `0x200-0x2FF`, or one number.
fn range(text: &str) -> Result<RangeInclusive<u32>, String> {
    let number = |text: &str| {
        let text = text.trim();
        let hex = text.strip_prefix("0x").or_else(|| text.strip_prefix("0X"));
        hex.map_or_else(|| text.parse().ok(), |hex| u32::from_str_radix(hex, 16).ok())
    };
    let wrong = || "expected offsets like 0x200-0x2FF".to_owned();
    let (start, end) = text.split_once('-').unwrap_or((text, text));
    let range = number(start).ok_or_else(wrong)?..=number(end).ok_or_else(wrong)?;
    if range.is_empty() { Err("the range ends before it begins".to_owned()) } else { Ok(range) }
}

/// Runs the command.
pub fn run(arguments: &ProveArguments) -> Result<u8, Failure> {
    let harness = Arc::new(Harness::load(&arguments.harness)?);
    let prove = arguments.scope.question(&harness)?.found(&arguments.found);
    let sealed = prove.run()?;
    let answer = sealed.found();
    let mut out = io::BufWriter::new(anstream::stdout());
    match arguments.format {
        Format::Terminal => write_proof(&mut out, &harness, answer)?,
        Format::Json => write_proof_line(&mut out, answer)?,
    }
    out.flush()?;
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

//! `keyway compare`: what an edit of the ROM changes, for any cartridge at all.

use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::Args;

use super::prove::ScopeArguments;
use super::select::cases_of;
use super::{Failure, Format, exit};
use crate::compare::{Compare, Comparison, try_cases};
use crate::prove::Sealed;
use crate::report::{write_comparison, write_comparison_line};
use crate::suite::{Case, Harness};

/// Arguments of `compare`.
#[derive(Debug, Args)]
pub struct CompareArguments {
    /// The old build: a harness file, or a ROM image with `--harness`.
    #[arg(value_name = "OLD")]
    old: PathBuf,

    /// The new build, given in the same way.
    #[arg(value_name = "NEW")]
    new: PathBuf,

    /// The harness of both images.
    #[arg(long, value_name = "FILE")]
    harness: Option<PathBuf>,

    #[command(flatten)]
    scope: ScopeArguments,

    /// Cases to run on both builds where nothing can be proved: case files, folders of them, or single cases of the new
    /// harness.
    #[arg(long, value_name = "WHAT")]
    cases: Vec<String>,

    /// A corpus of `keyway fuzz` to run on both builds where nothing can be proved.
    #[arg(long, value_name = "FOLDER")]
    corpus: Option<PathBuf>,

    /// How to print the answer.
    #[arg(long, value_enum, default_value_t = Format::Terminal)]
    format: Format,
}

/// Runs the command.
pub fn run(arguments: &CompareArguments) -> Result<u8, Failure> {
    let [old, new] = [load(arguments, &arguments.old)?, load(arguments, &arguments.new)?];
    let (before, after) = (arguments.scope.question(&old)?, arguments.scope.question(&new)?);
    let cases = cases(arguments, &new)?;
    let entries = match &arguments.corpus {
        Some(folder) => crate::fuzz::corpus_trials(folder, &new)?,
        None => Vec::new(),
    };
    let seed = after.noise_seed();
    let sealed = Compare::new(before, after)?.run();
    let proved = matches!(sealed, Sealed::Proved(_));
    let mut comparison = sealed.found().clone();
    let something = !cases.is_empty() || !entries.is_empty();
    if !proved && something {
        comparison.tried = Some(try_cases(&old, &new, &cases, &entries, seed));
    }
    let mut out = io::BufWriter::new(anstream::stdout());
    match arguments.format {
        Format::Terminal => write_comparison(&mut out, &comparison)?,
        Format::Json => write_comparison_line(&mut out, &comparison)?,
    }
    out.flush()?;
    Ok(code(proved, &comparison))
}

fn code(proved: bool, comparison: &Comparison) -> u8 {
    match (comparison.differs(), proved) {
        (true, _) => exit::FAILED,
        (false, true) => exit::HELD,
        (false, false) => exit::UNDECIDED,
    }
}

/// A harness, or an image with the harness of both.
fn load(arguments: &CompareArguments, path: &Path) -> Result<Arc<Harness>, Failure> {
    let yaml = path.extension().is_some_and(|end| end.eq_ignore_ascii_case("yaml") || end.eq_ignore_ascii_case("yml"));
    let loaded = match (&arguments.harness, yaml) {
        (_, true) => Harness::load(path)?,
        (Some(harness), false) => Harness::load_with_image(harness, path)?,
        (None, false) => {
            let message = format!("{} is no harness file (.yaml); for ROM images give --harness too", path.display());
            return Err(Failure::Usage(message));
        }
    };
    Ok(Arc::new(loaded))
}

/// The cases to fall back on.
fn cases(arguments: &CompareArguments, new: &Arc<Harness>) -> Result<Vec<Case>, Failure> {
    if arguments.cases.is_empty() { Ok(Vec::new()) } else { cases_of(&arguments.cases, arguments.scope.seed(), new) }
}

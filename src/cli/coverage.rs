//! The options of `check` that are about coverage.

use std::path::PathBuf;

use annotate_snippets::Level;
use clap::Args;

use super::Failure;
use super::complain::say;
use super::select::Selected;
use crate::coverage::{Coverage, Share, has_lines};
use crate::units;

/// What to say about coverage.
#[derive(Debug, Args)]
pub struct CoverageArguments {
    /// Also say what the cases have not tried: instructions, directions of branches, header fields.
    #[arg(long)]
    coverage: bool,

    /// Fail unless the cases of each harness try at least so many percent of its instructions, and as many of the
    /// directions of its branches.
    #[arg(long, value_name = "PERCENT", value_parser = percent)]
    coverage_at_least: Option<Percent>,

    /// Also write line and branch coverage in LCOV's format, for an editor or a CI server.
    #[arg(long, value_name = "FILE")]
    pub lcov: Option<PathBuf>,

    /// Also write every instruction of the routine with its counts, beside its source line.
    #[arg(long, value_name = "FILE")]
    pub listing: Option<PathBuf>,
}

/// A part of all, in millionths, and as it was written.
#[derive(Clone, Debug)]
struct Percent {
    millionths: u64,
    text: String,
}

/// Reads `90`, `87.5` or `99.1234`.
fn percent(text: &str) -> Result<Percent, String> {
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let (whole, part) = text.split_once('.').unwrap_or((text, "0"));
    let number = if digits(whole) && digits(part) && whole.len() <= 3 && part.len() <= 4 {
        format!("{whole}{part:0<4}").parse().ok()
    } else {
        None
    };
    match number {
        Some(millionths @ 0..=1_000_000) => Ok(Percent { millionths, text: text.to_owned() }),
        _ => Err("a number from 0 to 100 is needed, with four decimals at the most".to_owned()),
    }
}

impl CoverageArguments {
    /// Whether coverage is measured at all.
    pub fn measured(&self) -> bool {
        self.printed() || self.lcov.is_some() || self.listing.is_some()
    }

    /// Whether people want to read it.
    pub fn printed(&self) -> bool {
        self.coverage || self.coverage_at_least.is_some()
    }

    /// LCOV is about source lines: without any there is nothing to write.
    pub fn check_lines(&self, groups: &[Selected]) -> Result<(), Failure> {
        if self.lcov.is_none() {
            return Ok(());
        }
        let groups = groups.iter().filter(|group| group.len() > 0);
        let (with, without): (Vec<&Selected>, Vec<&Selected>) = groups.partition(|group| has_lines(&group.harness.rig));
        let files = |group: &&Selected| units::tame(&group.harness.path.display().to_string()).into_owned();
        let files = without.iter().map(files).collect::<Vec<_>>().join(", ");
        if with.is_empty() {
            let message = format!(
                "--lcov needs source lines, and no image has any for its routine ({files}): build it with DWARF line \
                 tables and give the ELF file, or use --listing"
            );
            return Err(Failure::Usage(message));
        }
        if !without.is_empty() {
            let message = format!("no source lines, so nothing of this goes to --lcov: {files}");
            say(Level::WARNING, &message);
        }
        Ok(())
    }

    /// Whether coverage is less than it must be; says by how much.
    pub fn falls_short(&self, coverage: &Coverage) -> bool {
        let Some(wanted) = &self.coverage_at_least else { return false };
        let mut short = false;
        for (what, share) in [("instructions", coverage.instructions), ("directions", coverage.directions)] {
            if !share.reaches(wanted.millionths) {
                short = true;
                say(Level::ERROR, &shortfall(coverage, what, share, wanted));
            }
        }
        short
    }
}

fn shortfall(coverage: &Coverage, what: &str, share: Share, wanted: &Percent) -> String {
    let needed = (u128::from(share.total) * u128::from(wanted.millionths)).div_ceil(1_000_000) as u64;
    format!(
        "{}: {} of {} {what} were tried, {}; {}% would be {}, which is {} more",
        coverage.harness,
        units::thousands(share.covered),
        units::thousands(share.total),
        share.percent(),
        wanted.text,
        units::thousands(needed),
        units::thousands(needed - share.covered)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn percents_are_exact() {
        let millionths = |text: &str| percent(text).ok().map(|percent| percent.millionths);
        let good = [("0", 0), ("100", 1_000_000), ("87.5", 875_000), ("99.1234", 991_234), ("100.0", 1_000_000)];
        for (text, value) in good {
            assert_eq!(millionths(text), Some(value), "{text}");
        }
        for text in ["", "-1", "100.1", "101", "1e2", "50%", ".5", "5.", "99.12345", "NaN", "+5", "1000", "0x10"] {
            assert_eq!(millionths(text), None, "{text}");
        }
    }
}

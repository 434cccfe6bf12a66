//! Where results go: from the arguments to reporters, and to the files that some of them write.

use std::io;
use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::Failure;
use super::coverage::CoverageArguments;
use super::files::{FileWriter, Files};
use super::select::Selected;
use crate::check::{Explain, Watch};
use crate::report::{Github, Html, JsonLines, Junit, Lcov, Listing, Many, Markdown, Reporter, Terminal};
use crate::suite::Harness;

/// Where results go.
#[derive(Debug, Args)]
pub struct OutputArguments {
    /// How to print the results.
    #[arg(long, value_enum, default_value_t = Printed::Terminal)]
    format: Printed,

    /// Tell failures with the whole explanation, as `keyway explain` does, and not with the last decision alone.
    #[arg(long)]
    explain: bool,

    /// Also write the results as JUnit XML, for a CI server.
    #[arg(long, value_name = "FILE")]
    junit: Option<PathBuf>,

    /// Also write a page for a browser: the cases with their explanations, decision map, header map and listing.
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,

    /// Also write a compatibility matrix in Markdown, for release notes.
    #[arg(long, value_name = "FILE")]
    markdown: Option<PathBuf>,

    /// A date to stand in the Markdown file; without it the file has none.
    #[arg(long, value_name = "TEXT", requires = "markdown")]
    date: Option<String>,

    #[command(flatten)]
    pub coverage: CoverageArguments,
}

impl OutputArguments {
    /// What the outputs need to know of the cases.
    pub fn watch(&self) -> Watch {
        let page = self.html.is_some();
        let explain = match (page, self.explain) {
            (true, _) => Explain::All,
            (false, true) => Explain::Failures,
            (false, false) => Explain::No,
        };
        Watch { coverage: page || self.coverage.measured(), explain }
    }
}

/// What `check` prints.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Printed {
    /// For people.
    Terminal,
    /// JSON lines for programs.
    Json,
    /// Workflow commands for GitHub, which shows failures beside the case files.
    Github,
}

/// The reporters of one run, and their files.
pub struct Outputs {
    /// All reporters as one.
    pub reporter: Many,
    files: Files,
}

impl Outputs {
    /// Opens everything that the arguments ask for, before the first case runs.
    pub fn open(arguments: &OutputArguments, groups: &[Selected]) -> Result<Self, Failure> {
        arguments.coverage.check_lines(groups)?;
        let mut inputs: Vec<PathBuf> = groups.iter().flat_map(Selected::files).collect();
        inputs.extend(groups.iter().flat_map(|group| sources(&group.harness)));
        let mut outputs = Self { reporter: Many::default(), files: Files::new(&inputs) };
        let out = io::BufWriter::new(anstream::stdout());
        outputs.reporter.add(match arguments.format {
            Printed::Terminal => {
                let terminal = Terminal::new(out).with_coverage(arguments.coverage.printed());
                Box::new(terminal.with_explanations(arguments.explain))
            }
            Printed::Json => Box::new(JsonLines::new(out).with_explanations(arguments.explain)),
            Printed::Github => Box::new(Github::new(out)),
        });
        // One line for each file. A reporter flushes it in `finished`.
        outputs.file("--junit", arguments.junit.as_ref(), |file| Box::new(Junit::new(file)))?;
        outputs.file("--html", arguments.html.as_ref(), |file| Box::new(Html::new(file)))?;
        let date = arguments.date.as_deref();
        outputs.file("--markdown", arguments.markdown.as_ref(), |file| Box::new(Markdown::new(file, date)))?;
        let coverage = &arguments.coverage;
        outputs.file("--lcov", coverage.lcov.as_ref(), |file| Box::new(Lcov::new(file)))?;
        outputs.file("--listing", coverage.listing.as_ref(), |file| Box::new(Listing::new(file)))?;
        Ok(outputs)
    }

    fn file(
        &mut self,
        option: &'static str,
        path: Option<&PathBuf>,
        reporter: impl FnOnce(FileWriter) -> Box<dyn Reporter>,
    ) -> Result<(), Failure> {
        if let Some(path) = path {
            self.reporter.add(reporter(self.files.open(option, path)?));
        }
        Ok(())
    }

    /// Puts the files in their places, once every reporter has finished.
    pub fn put_in_place(self) -> Result<(), Failure> {
        self.files.put_in_place()
    }
}

/// The source files of a host. They are read too: their lines stand in listings, their labels in explanations.
pub fn sources(harness: &Harness) -> impl Iterator<Item = PathBuf> {
    harness.rig.map.host().lines().files().map(PathBuf::from).filter(|file| file.is_file())
}

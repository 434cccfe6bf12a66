//! `keyway watch`: runs cases again whenever a file changes that they are made from.
//!
//! [`Session`] keeps the last results and turns each round into what changed. What waits for a change is handed to it.

use std::collections::BTreeSet;
use std::io::Write;
use std::ops::ControlFlow;
use std::path::PathBuf;

use anyhow::Context;
use clap::Args;

use super::select::{Selected, Selection, select};
use super::stamps::{Stamps, named};
use super::{Failure, complain};
use crate::check::{CaseResult, Changes, Summary, Watch, check_all};
use crate::report::{write_changes, write_first};

/// Arguments of `watch`.
#[derive(Debug, Args)]
pub struct WatchArguments {
    #[command(flatten)]
    selection: Selection,

    /// How many threads to use, 1 to 256. Default: one for each core.
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u16).range(1..=256))]
    jobs: Option<u16>,
}

/// Runs the command; it ends when it is interrupted.
pub fn run(arguments: &WatchArguments) -> Result<u8, Failure> {
    let jobs = arguments.jobs.map_or(0, usize::from);
    let pool = rayon::ThreadPoolBuilder::new().num_threads(jobs).build().context("threads cannot be started")?;
    let selection = &arguments.selection;
    let mut session = Session { out: anstream::stdout(), last: None, files: BTreeSet::new(), said: false };
    loop {
        // What is seen before anything is read cannot miss a change that comes while it is read.
        let mut stamps = Stamps::of(session.files.iter().cloned().chain(named(selection)));
        // Output is not shared with other threads, only the work is.
        session.round(|| pool.install(|| work(selection)))?;
        stamps.add(session.files.iter().cloned());
        session.say_once(&stamps)?;
        stamps.wait(selection);
    }
}

/// All results of one round.
struct Round {
    results: Vec<CaseResult>,
    summary: Summary,
    open: usize,
    files: BTreeSet<PathBuf>,
}

/// Loads and runs everything.
fn work(selection: &Selection) -> Result<Round, Failure> {
    let groups = select(selection)?;
    let mut round = Round {
        results: Vec::new(),
        summary: Summary { derived: groups.iter().map(Selected::derived).sum(), ..Summary::default() },
        open: groups.iter().map(Selected::open).sum(),
        files: groups.iter().flat_map(Selected::files).collect(),
    };
    for group in &groups {
        check_all(&group.jobs, Watch::default(), |result| {
            round.summary.count(&result.verdict);
            round.results.push(result);
            ControlFlow::Continue(())
        })?;
    }
    Ok(round)
}

/// What is kept between rounds.
struct Session<W> {
    out: W,
    /// The last results that could be had.
    last: Option<Vec<CaseResult>>,
    /// The files from which they were made.
    files: BTreeSet<PathBuf>,
    said: bool,
}

impl<W: Write> Session<W> {
    /// Does one round of work and says what it changed. Input that is wrong is said in a line: it may be half written.
    fn round(&mut self, work: impl FnOnce() -> Result<Round, Failure>) -> Result<(), Failure> {
        let round = match work() {
            Ok(round) => round,
            Err(failure) => return self.not_loaded(failure),
        };
        let mut text = Vec::new();
        match &self.last {
            None => write_first(&mut text, &round.results, &round.summary, round.open)?,
            Some(last) => {
                let changes = Changes::between(last, &round.results);
                write_changes(&mut text, &changes, &round.summary, round.open)?;
            }
        }
        self.last = Some(round.results);
        self.files = round.files;
        self.write(&text)
    }

    fn not_loaded(&mut self, failure: Failure) -> Result<(), Failure> {
        let usable = match &failure {
            Failure::Complaint(_) => true,
            // A name that is wrong from the start will not become right.
            Failure::Usage(_) | Failure::Nothing(_) => self.last.is_some(),
            Failure::Output(_) | Failure::Fault(_) => false,
        };
        let Some(line) = complain::one_line(&failure).filter(|_| usable) else { return Err(failure) };
        let stand = if self.last.is_some() { "the last results stand" } else { "nothing was run" };
        self.write(format!("cannot be loaded, {stand}: {line}\n").as_bytes())
    }

    /// Says once what is watched.
    fn say_once(&mut self, stamps: &Stamps) -> Result<(), Failure> {
        if std::mem::replace(&mut self.said, true) {
            return Ok(());
        }
        let files = stamps.len();
        let plural = if files == 1 { "" } else { "s" };
        self.write(format!("watching {files} file{plural}\n").as_bytes())
    }

    fn write(&mut self, text: &[u8]) -> Result<(), Failure> {
        self.out.write_all(text)?;
        self.out.flush()?;
        Ok(())
    }
}

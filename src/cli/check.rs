//! `keyway check`: runs cases and reports them.

use std::io::{self, Write};
use std::ops::ControlFlow;
use std::time::{Duration, Instant};

use anyhow::Context;
use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};

use super::outputs::{OutputArguments, Outputs};
use super::proofs::{Question, questions, say_left};
use super::select::{Selected, Selection, select, select_some};
use super::{Failure, exit};
use crate::check::{Summary, check_all};
use crate::coverage;
use crate::report::{Group, NotRun, Reporter, Start};

/// How long a run may take before progress is shown.
const QUIET: Duration = Duration::from_secs(1);

/// Arguments of `check`.
#[derive(Debug, Args)]
pub struct CheckArguments {
    #[command(flatten)]
    selection: Selection,

    /// How many threads to use, 1 to 256. Default: one for each core.
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u16).range(1..=256))]
    jobs: Option<u16>,

    /// Stop at the first case that fails.
    #[arg(long)]
    fail_fast: bool,

    /// Also prove what suites demand for every header (`prove` in case files).
    #[arg(long)]
    proofs: bool,

    #[command(flatten)]
    outputs: OutputArguments,
}

/// Runs the command.
pub fn run(arguments: &CheckArguments) -> Result<u8, Failure> {
    let jobs = arguments.jobs.map_or(0, usize::from);
    let pool = rayon::ThreadPoolBuilder::new().num_threads(jobs).build().context("threads cannot be started")?;
    pool.install(|| {
        let groups = if arguments.proofs { select_some(&arguments.selection)? } else { select(&arguments.selection)? };
        let questions: Vec<Vec<Question>> = match arguments.proofs {
            true => groups.iter().map(|group| questions(group, arguments.selection.seed)).collect::<Result<_, _>>()?,
            false => groups.iter().map(|_| Vec::new()).collect(),
        };
        let mut outputs = Outputs::open(&arguments.outputs, &groups)?;
        let code = run_groups(arguments, &groups, &questions, &mut outputs.reporter)?;
        outputs.put_in_place()?;
        if !arguments.proofs {
            say_left(&groups);
        }
        Ok(code)
    })
}

fn run_groups(
    arguments: &CheckArguments,
    groups: &[Selected],
    questions: &[Vec<Question>],
    reporter: &mut dyn Reporter,
) -> Result<u8, Failure> {
    let start = Start {
        cases: groups.iter().map(Selected::len).sum::<usize>() + questions.iter().map(Vec::len).sum::<usize>(),
        derived: groups.iter().map(Selected::derived).sum(),
        open: groups.iter().map(Selected::open).sum(),
        seed: arguments.selection.seed,
    };
    let mut progress = Progress::new(start.cases);
    let mut summary = Summary { derived: start.derived, ..Summary::default() };
    let watch = arguments.outputs.watch();
    let mut short = false;
    reporter.started(&start)?;
    let groups_asked = groups.iter().zip(questions);
    for (group, questions) in groups_asked.filter(|(group, questions)| group.len() + questions.len() > 0) {
        let widest_label = group.widest_label()?;
        let cases = group.len() + questions.len();
        reporter.group(&Group { harness: &group.harness, cases, widest_label })?;
        let mut written = Ok(());
        let gathered = check_all(&group.jobs, watch, |result| {
            summary.count(&result.verdict);
            written = progress.aside(|| reporter.case(&result));
            let stop = written.is_err() || arguments.fail_fast && result.verdict.failed();
            if stop { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        })?;
        written?;
        for question in questions {
            if arguments.fail_fast && summary.failed > 0 {
                break;
            }
            let result = question.answer();
            summary.count(&result.verdict);
            progress.aside(|| reporter.case(&result))?;
        }
        if let Some(gathered) = gathered {
            let coverage = coverage::build(&group.harness, &gathered);
            reporter.coverage(&coverage)?;
            short |= arguments.outputs.coverage.falls_short(&coverage);
        }
        if arguments.fail_fast && summary.failed > 0 {
            break;
        }
    }
    progress.done();
    summary.not_run = start.cases - summary.cases;
    for (source, index) in groups.iter().flat_map(Selected::cases).skip(summary.cases) {
        let [harness, file] = [&source.harness().path, source.path()].map(|path| path.display().to_string());
        reporter.not_run(&NotRun { harness, name: source.name(index), file, line: source.line(index) })?;
    }
    reporter.finished(&summary)?;
    Ok(match summary {
        Summary { failed: 1.., .. } => exit::FAILED,
        _ if short => exit::FAILED,
        Summary { undecided: 1.., .. } => exit::UNDECIDED,
        _ => exit::HELD,
    })
}

/// A bar on standard error for runs that take longer; none where nobody sees it.
struct Progress {
    total: u64,
    began: Instant,
    done: u64,
    bar: Option<ProgressBar>,
    wanted: bool,
}

impl Progress {
    fn new(total: usize) -> Self {
        let terminal = io::IsTerminal::is_terminal(&io::stderr());
        let wanted = terminal && std::env::var_os("CI").is_none();
        Self { total: total as u64, began: Instant::now(), done: 0, bar: None, wanted }
    }

    /// Counts one case and writes something beside the bar.
    fn aside(&mut self, write: impl FnOnce() -> io::Result<()>) -> io::Result<()> {
        self.done += 1;
        if self.wanted && self.bar.is_none() && self.began.elapsed() > QUIET {
            let bar = ProgressBar::new(self.total);
            // The template is fixed, so it is always right.
            if let Ok(style) = ProgressStyle::with_template("{bar:32} {human_pos} of {human_len} cases, {eta} to go") {
                bar.set_style(style);
            }
            self.bar = Some(bar);
        }
        match &self.bar {
            Some(bar) => {
                bar.set_position(self.done);
                bar.suspend(write)
            }
            None => write(),
        }
    }

    fn done(self) {
        if let Some(bar) = self.bar {
            bar.finish_and_clear();
        }
        // Standard error keeps nothing of the bar.
        let _ = io::stderr().flush();
    }
}

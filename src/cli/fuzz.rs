//! `keyway fuzz`: varies what is attached until a promise is broken.

use std::io::{self, Write};
use std::ops::ControlFlow;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use anyhow::Context;
use clap::Args;

use super::select::cases_of;
use super::{Failure, Format, exit};
use crate::check::{Checker, Explain, Watch};
use crate::coverage::{self, Coverage};
use crate::fuzz::{Ended, Fuzz, Part, Promise, Report, Share};
use crate::report::{FuzzLines, FuzzReporter, FuzzStart, FuzzTerminal};
use crate::suite::{DEFAULT_SEED, Harness, nearest};

/// Arguments of `fuzz`.
#[derive(Debug, Args)]
pub struct FuzzArguments {
    /// The harness file.
    #[arg(value_name = "HARNESS")]
    harness: PathBuf,

    /// Also start from what these cases attach: case files, folders of them, or single cases.
    #[arg(long, value_name = "WHAT")]
    from: Vec<String>,

    /// The seed: the same seed makes the same trials.
    #[arg(long, value_name = "NUMBER", default_value_t = DEFAULT_SEED)]
    seed: u64,

    /// How many threads to use, 1 to 256. Default: one for each core. They change nothing but the time.
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u16).range(1..=256))]
    jobs: Option<u16>,

    /// End with the batch in which so many trials are made in this part, those of earlier sittings with the same corpus
    /// included.
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u64).range(1..))]
    trials: Option<u64>,

    /// End after this time, like `90 s` or `10 min`.
    #[arg(long, value_name = "TIME", value_parser = time)]
    time: Option<Duration>,

    /// End with the batch in which so many trials have brought nothing new. Default: 1000000, unless another limit is given.
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u64).range(1..))]
    plateau: Option<u64>,

    /// Vary these parts only.
    #[arg(long, value_name = "PARTS", value_enum, value_delimiter = ',')]
    only: Vec<Part>,

    /// Leave these header fields as they stand in what the trials start from.
    #[arg(long, value_name = "FIELDS", value_delimiter = ',')]
    pin: Vec<String>,

    /// Take no notice of these promises.
    #[arg(long, value_name = "PROMISES", value_enum, value_delimiter = ',')]
    without: Vec<Promise>,

    /// Keep trials that go a new way in this folder, start from what is there, and go on where the last sitting ended.
    #[arg(long, value_name = "FOLDER")]
    corpus: Option<PathBuf>,

    /// Do one part of the work, like 3/8: the parts together, in one folder or copied into one, make up the whole.
    #[arg(long, value_name = "PART", default_value_t = Share::default())]
    part: Share,

    /// Only remove what goes no way of its own from the corpus.
    #[arg(long, requires = "corpus", conflicts_with_all = ["from", "trials", "time", "plateau", "part", "without"])]
    tidy: bool,

    /// Write findings as case files into this folder. What is there is never overwritten.
    #[arg(long, value_name = "FOLDER", default_value = "cases/found")]
    found: PathBuf,

    /// How to print what happens.
    #[arg(long, value_enum, default_value_t = Format::Terminal)]
    format: Format,
}

/// Runs the command.
pub fn run(arguments: &FuzzArguments) -> Result<u8, Failure> {
    let jobs = arguments.jobs.map_or(0, usize::from);
    let pool = rayon::ThreadPoolBuilder::new().num_threads(jobs).build().context("threads cannot be started")?;
    pool.install(|| {
        let harness = Arc::new(Harness::load(&arguments.harness)?);
        let fuzz = plan(arguments, &harness)?;
        if arguments.tidy {
            let tidied = fuzz.tidy()?;
            writeln!(io::stdout(), "{} entries kept, {} removed", tidied.kept, tidied.removed)?;
            return Ok(exit::HELD);
        }
        work(arguments, &harness, &fuzz)
    })
}

fn work(arguments: &FuzzArguments, harness: &Arc<Harness>, fuzz: &Fuzz) -> Result<u8, Failure> {
    let stop = stop_on_interrupt()?;
    let out = io::BufWriter::new(anstream::stdout());
    let mut reporter: Box<dyn FuzzReporter> = match arguments.format {
        Format::Terminal => Box::new(FuzzTerminal::new(out)),
        Format::Json => Box::new(FuzzLines::new(out)),
    };
    let (seed, part, not_varied) = (arguments.seed, arguments.part, fuzz.not_varied());
    reporter.started(&FuzzStart { harness, seed, part, not_varied })?;
    let mut written = Ok(());
    let report = fuzz.run_with(&stop, |event| {
        written = reporter.event(&event);
        if written.is_ok() { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
    })?;
    written?;
    reporter.finished(&report, &covered(harness, &report))?;
    Ok(match (&report.findings[..], report.ended) {
        ([], Ended::Stopped) => exit::INTERRUPTED,
        ([], _) => exit::HELD,
        _ => exit::FAILED,
    })
}

/// The plan of the arguments.
fn plan(arguments: &FuzzArguments, harness: &Arc<Harness>) -> Result<Fuzz, Failure> {
    let mut fuzz = Fuzz::new(harness).seed(arguments.seed).part(arguments.part).only(&arguments.only);
    fuzz = fuzz.found(&arguments.found);
    for promise in &arguments.without {
        fuzz = fuzz.without(*promise);
    }
    for field in &arguments.pin {
        if !fuzz.pin(field) {
            let names = harness.layout.fields().iter().map(|field| field.name.as_str());
            let near = nearest(field, names).first().map(|near| format!("; did you mean `{near}`?"));
            let message = format!("--pin: the harness has no header field `{field}`{}", near.unwrap_or_default());
            return Err(Failure::Usage(message));
        }
    }
    fuzz = arguments.trials.into_iter().fold(fuzz, Fuzz::trials);
    fuzz = arguments.time.into_iter().fold(fuzz, Fuzz::time);
    fuzz = arguments.plateau.into_iter().fold(fuzz, Fuzz::plateau);
    fuzz = arguments.corpus.iter().fold(fuzz, Fuzz::corpus);
    if fuzz.promises_nothing() {
        return Err(Failure::Usage("--without leaves no promise that could be broken".to_owned()));
    }
    fuzz = fuzz.from(&arguments.from);
    if !arguments.from.is_empty() {
        for case in cases_of(&arguments.from, arguments.seed, harness)? {
            fuzz.start_from(&case);
        }
    }
    Ok(fuzz)
}

/// What the kept trials cover.
fn covered(harness: &Arc<Harness>, report: &Report) -> Coverage {
    let mut checker = Checker::watching(Arc::clone(harness), Watch { coverage: true, explain: Explain::No });
    for case in &report.cases {
        checker.check(case);
    }
    let gathered = checker.gathered().unwrap_or_default();
    coverage::build(harness, &gathered)
}

/// Set when the user interrupts: the work then ends by itself, and what it met is kept.
fn stop_on_interrupt() -> Result<Arc<AtomicBool>, Failure> {
    let stop = Arc::new(AtomicBool::new(false));
    let set = Arc::clone(&stop);
    ctrlc::set_handler(move || {
        if set.swap(true, Ordering::Relaxed) {
            std::process::exit(exit::INTERRUPTED.into());
        }
    })
    .context("interrupts cannot be handled")?;
    Ok(stop)
}

/// A time with its unit.
fn time(text: &str) -> Result<Duration, String> {
    let digits = text.trim_end_matches(|letter: char| letter.is_ascii_alphabetic() || letter == ' ');
    let number: f64 = digits.parse().map_err(|_| "expected a time like `90 s`, `10 min` or `1 h`".to_owned())?;
    let seconds = match text[digits.len()..].trim() {
        "" | "s" => 1.0,
        "ms" => 0.001,
        "min" => 60.0,
        "h" => 3600.0,
        unit => return Err(format!("unknown unit `{unit}`; known are ms, s, min and h")),
    };
    let time = Duration::try_from_secs_f64(number * seconds).map_err(|_| "this is no time to wait".to_owned())?;
    if time.is_zero() { Err("the time is zero".to_owned()) } else { Ok(time) }
}

//! What is seen of a work of fuzzing: for people on a terminal, and as JSON lines.

use std::io::{self, Write};
use std::time::Instant;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use schemars::JsonSchema;
use serde::Serialize;

use super::records::FORMAT;
use super::words::{BAD, BOLD, DIM, Fact, GOOD, OPEN, told, write_fact, write_harness};
use crate::coverage::{Coverage, NeverTaken};
use crate::fuzz::{Ended, Event, Finding, Report, Share, Status};
use crate::suite::{DEFAULT_SEED, Harness};
use crate::units;

/// Milliseconds between two lines of progress for programs.
const EVERY: u128 = 1000;

/// The most decisions that are listed at the end.
const MOST: usize = 20;

/// What a work is about to do.
#[derive(Clone, Copy, Debug)]
pub struct FuzzStart<'a> {
    /// The harness.
    pub harness: &'a Harness,
    /// The seed.
    pub seed: u64,
    /// The part of the work.
    pub part: Share,
    /// Cases to start from that are not varied.
    pub not_varied: usize,
}

/// What gets to see a work, in order.
pub trait FuzzReporter {
    /// The work begins.
    fn started(&mut self, start: &FuzzStart) -> io::Result<()>;
    /// Something has happened.
    fn event(&mut self, event: &Event) -> io::Result<()>;
    /// The work is over; `coverage` is what the trials that were kept cover.
    fn finished(&mut self, report: &Report, coverage: &Coverage) -> io::Result<()>;
}

/// For people: findings as they come, a line of progress below them, and a summary.
pub struct FuzzTerminal<W: Write> {
    out: W,
    bar: Option<ProgressBar>,
}

impl<W: Write> FuzzTerminal<W> {
    /// Writes to `out`; progress goes to standard error if that is a terminal.
    pub fn new(out: W) -> Self {
        let seen = io::IsTerminal::is_terminal(&io::stderr()) && std::env::var_os("CI").is_none();
        let bar = seen.then(|| ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr_with_hz(5)));
        // The template is fixed, so it is always right.
        if let (Some(bar), Ok(style)) = (&bar, ProgressStyle::with_template("{wide_msg}")) {
            bar.set_style(style);
        }
        Self { out, bar }
    }
}

impl<W: Write> FuzzReporter for FuzzTerminal<W> {
    fn started(&mut self, start: &FuzzStart) -> io::Result<()> {
        let share = if start.part == Share::default() { String::new() } else { format!(", part {}", start.part) };
        let out = &mut self.out;
        write_harness(out, start.harness)?;
        writeln!(out, "  {DIM}seed {}{share}{DIM:#}", start.seed)?;
        if start.not_varied > 0 {
            let cases = units::counted(start.not_varied as u64, "case");
            writeln!(out, "  {OPEN}{cases} not started from: parts such as an image file are not varied{OPEN:#}")?;
        }
        out.flush()
    }

    fn event(&mut self, event: &Event) -> io::Result<()> {
        match event {
            Event::Batch(status) => {
                if let Some(bar) = &self.bar {
                    bar.set_message(progress(status));
                }
                Ok(())
            }
            Event::Found(finding) => {
                let out = &mut self.out;
                let mut write = || {
                    found(out, finding)?;
                    out.flush()
                };
                match &self.bar {
                    Some(bar) => bar.suspend(write),
                    None => write(),
                }
            }
        }
    }

    fn finished(&mut self, report: &Report, coverage: &Coverage) -> io::Result<()> {
        if let Some(bar) = self.bar.take() {
            bar.finish_and_clear();
        }
        summary(&mut self.out, report, coverage)?;
        self.out.flush()
    }
}

/// One line about how far it has come.
fn progress(status: &Status) -> String {
    format!(
        "{} trials  {}/s  {}/{} branches  {}/{} both ways  {} broken  {} s quiet",
        units::thousands(status.trials),
        units::thousands(rate(status)),
        status.branches,
        status.of_branches,
        status.both_ways,
        status.decisions,
        status.findings,
        status.quiet_milliseconds / 1000
    )
}

fn rate(status: &Status) -> u64 {
    status.trials_now.saturating_mul(1000) / status.milliseconds.max(1)
}

fn found(out: &mut impl Write, finding: &Finding) -> io::Result<()> {
    writeln!(out, "\n{BAD}BROKEN{BAD:#} {BOLD}{}{BOLD:#}", units::tame(&finding.name))?;
    let mut facts: Vec<Fact> =
        vec![("promise", format!("{}: the routine {}", finding.promise.name(), finding.promise.text()))];
    for (index, reason) in finding.reasons.iter().enumerate() {
        facts.push((if index == 0 { "why" } else { "" }, reason.clone()));
    }
    let decided = finding.evidence.as_ref().and_then(|evidence| evidence.decided.as_ref()).map(|decided| &decided.at);
    let other = finding.at.as_ref().filter(|at| Some(*at) != decided);
    facts.extend(other.map(|at| ("where", at.to_string())));
    facts.extend(finding.evidence.iter().flat_map(told));
    if let Some(file) = &finding.file {
        let known = if finding.known { ", which was there before" } else { "" };
        let seed = if finding.seed == DEFAULT_SEED { String::new() } else { format!(" --seed {}", finding.seed) };
        facts.extend([("case", format!("{file}{known}")), ("explain", format!("keyway explain{seed} {file}"))]);
    }
    facts.iter().try_for_each(|(what, text)| write_fact(out, &(*what, units::tame(text).into_owned())))
}

fn summary(out: &mut impl Write, report: &Report, coverage: &Coverage) -> io::Result<()> {
    let status = &report.status;
    let width = report.branches.iter().map(|branch| branch.name.len()).max().unwrap_or(0).max(6);
    writeln!(out, "\n  {DIM}{:<width$}  {:<16}  {:>14}{DIM:#}", "branch", "kind", "trials")?;
    for branch in &report.branches {
        let (style, trials) = match branch.reached {
            // In an earlier sitting, or with another RAM fill than the first.
            true if branch.trials == 0 => (GOOD, "reached".to_owned()),
            true => (GOOD, units::thousands(branch.trials)),
            false => (OPEN, "never".to_owned()),
        };
        writeln!(out, "  {:<width$}  {:<16}  {style}{trials:>14}{style:#}", branch.name, branch.kind.name())?;
    }
    if report.elsewhere > 0 {
        let trials = units::thousands(report.elsewhere);
        writeln!(out, "  {:<width$}  {:<16}  {OPEN}{trials:>14}{OPEN:#}", "none", "")?;
    }
    if report.unjudged > 0 {
        let (some, all) = (units::thousands(report.unjudged), units::counted(status.trials_now, "trial"));
        writeln!(out, "  {OPEN}the acceptance table does not say the branch of {some} of {all}{OPEN:#}")?;
    }
    one_way(out, coverage)?;
    if report.not_looked_at > 0 {
        let breaches = units::counted(report.not_looked_at, "more breach");
        writeln!(out, "  {OPEN}{breaches} of kinds that were found were not looked at{OPEN:#}")?;
    }
    writeln!(out, "\n{}", ended(report))?;
    let known = status.known.saturating_mul(100) / status.trials_now.max(1);
    let (style, broken) = match report.findings.len() as u64 {
        0 => (GOOD, "no promise broken".to_owned()),
        count => (BAD, format!("{} broken", units::counted(count, "promise"))),
    };
    writeln!(
        out,
        "{} in {}.{:03} s ({}/s, {known}% known), {} kept: {style}{broken}{style:#}",
        units::counted(status.trials_now, "trial"),
        status.milliseconds / 1000,
        status.milliseconds % 1000,
        units::thousands(rate(status)),
        units::thousands(status.entries as u64)
    )
}

/// Decisions that were met and went one way only: what stands before the rest of the routine.
fn one_way(out: &mut impl Write, coverage: &Coverage) -> io::Result<()> {
    let met: Vec<&NeverTaken> = coverage.never_taken.iter().filter(|way| way.reached).collect();
    for (index, way) in met.iter().take(MOST).enumerate() {
        let what = if index == 0 { "one way only" } else { "" };
        let went = if way.taken { "never went to" } else { "never went on to" };
        writeln!(out, "  {DIM}{what:<12}{DIM:#}  {}  {}  {went} {}", way.at, units::tame(&way.instruction), way.to)?;
        writeln!(out, "{:16}{}", "", units::tame(&way.why))?;
    }
    if met.len() > MOST {
        writeln!(out, "{:16}and {} more", "", met.len() - MOST)?;
    }
    Ok(())
}

fn ended(report: &Report) -> String {
    match report.ended {
        Ended::Trials => "all trials made".to_owned(),
        Ended::Time => "time is over".to_owned(),
        Ended::Quiet => format!("nothing new in {}", units::counted(report.status.quiet, "trial")),
        Ended::Stopped => "stopped".to_owned(),
    }
}

/// One line of `keyway fuzz --format json`.
///
/// Later versions of keyway may add keys and kinds of records; a reader passes over what it does not know.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(tag = "record", rename_all = "kebab-case")]
pub enum FuzzRecord<'a> {
    /// The first line.
    Start(FuzzStartRecord),
    /// How far it has come; about once a second.
    Progress(&'a Status),
    /// A promise was found broken.
    Finding(&'a Finding),
    /// A decision that was met and went one way only; after the work.
    OneWay(&'a NeverTaken),
    /// The last line.
    Report(&'a Report),
}

/// What a work is about to do.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct FuzzStartRecord {
    /// The version of the format, which grows when a key changes its meaning or goes away.
    pub format: u32,
    /// `keyway`.
    pub tool: &'static str,
    /// The version of keyway.
    pub version: &'static str,
    /// The name of the harness.
    pub harness: String,
    /// Its file.
    pub file: String,
    /// The seed.
    pub seed: u64,
    /// The part of the work.
    pub part: String,
    /// Cases to start from that are not varied, as they have parts such as an image file.
    pub not_varied: usize,
}

/// For programs: JSON lines.
pub struct FuzzLines<W: Write> {
    out: W,
    last: Instant,
}

impl<W: Write> FuzzLines<W> {
    /// Writes to `out`.
    pub fn new(out: W) -> Self {
        Self { out, last: Instant::now() }
    }

    fn line(&mut self, record: &FuzzRecord) -> io::Result<()> {
        serde_json::to_writer(&mut self.out, record)?;
        self.out.write_all(b"\n")?;
        self.out.flush()
    }
}

impl<W: Write> FuzzReporter for FuzzLines<W> {
    fn started(&mut self, start: &FuzzStart) -> io::Result<()> {
        let record = FuzzStartRecord {
            format: FORMAT,
            tool: "keyway",
            version: env!("CARGO_PKG_VERSION"),
            harness: start.harness.name.clone(),
            file: start.harness.path.display().to_string(),
            seed: start.seed,
            part: start.part.to_string(),
            not_varied: start.not_varied,
        };
        self.line(&FuzzRecord::Start(record))
    }

    fn event(&mut self, event: &Event) -> io::Result<()> {
        match event {
            Event::Found(finding) => self.line(&FuzzRecord::Finding(finding)),
            Event::Batch(status) if self.last.elapsed().as_millis() >= EVERY => {
                self.last = Instant::now();
                self.line(&FuzzRecord::Progress(status))
            }
            Event::Batch(_) => Ok(()),
        }
    }

    fn finished(&mut self, report: &Report, coverage: &Coverage) -> io::Result<()> {
        for way in coverage.never_taken.iter().filter(|way| way.reached) {
            self.line(&FuzzRecord::OneWay(way))?;
        }
        self.line(&FuzzRecord::Report(report))
    }
}

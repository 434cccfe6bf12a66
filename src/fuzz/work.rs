//! Doing the work: batch after batch until a limit, and a closer look at whatever was broken.

use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::ops::ControlFlow;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use super::breach::{Breach, Broken};
use super::corpus::{Corpus, FoundFile, Progress};
use super::engine::Engine;
use super::found::{Finding, Writer, short};
use super::ground::Ground;
use super::plan::Fuzz;
use super::promise::Promise;
use super::reduce::{Reducer, Target};
use super::report::{BranchReached, Ended, Report, Status};
use super::trial::Trial;
use super::written::{Met, TrialFile};
use crate::check::Checker;
use crate::suite::{Case, Complaint, Harness};
use crate::trial::Shelf;

/// The most breaches that are looked at of those that end alike: more ways to one end seldom tell more.
const MOST_LOOKS: usize = 96;

/// Batches after which progress is written down though nothing new was met.
const SAVED_EVERY: u64 = 64;

/// Something that happens during the work.
#[derive(Clone, Copy, Debug)]
pub enum Event<'a> {
    /// A batch is done.
    Batch(&'a Status),
    /// A promise was found broken; its file is written.
    Found(&'a Finding),
}

/// A work that is being done.
struct Work<'a> {
    fuzz: &'a Fuzz,
    engine: Engine,
    checker: Checker,
    began: Instant,
    /// Trials before this sitting.
    before: u64,
    /// When something new was met.
    last_new: Instant,
    findings: Vec<Finding>,
    targets: HashSet<Target>,
    /// How many breaches of each kind were looked at.
    looks: BTreeMap<Breach, usize>,
    not_looked_at: u64,
}

impl Fuzz {
    /// Does the work, and tells nobody before it is over.
    ///
    /// # Errors
    /// A corpus or a folder that cannot be read or written, or a file there that does not fit the harness.
    pub fn run(&self) -> Result<Report, Complaint> {
        self.run_with(&AtomicBool::new(false), |_| ControlFlow::Continue(()))
    }

    /// Does the work, and tells of every batch and of every finding. It ends early when `watch` breaks, or soon after
    /// `stop` is set from another thread; whatever was told of is on disk, and a work with a corpus goes on from there.
    ///
    /// # Errors
    /// As [`Fuzz::run`].
    pub fn run_with(
        &self,
        stop: &AtomicBool,
        mut watch: impl FnMut(Event) -> ControlFlow<()>,
    ) -> Result<Report, Complaint> {
        let mut work = Work::begin(self)?;
        let ended = match work.go_on(stop, &mut watch)? {
            ControlFlow::Continue(ended) => {
                work.engine.save_progress()?;
                ended
            }
            // In the midst of a batch: it will be made again.
            ControlFlow::Break(()) => Ended::Stopped,
        };
        Ok(work.report(ended))
    }
}

/// A trial as a case that expects what the acceptance table says.
fn case(trial: &Trial, name: &str, harness: &Harness, seed: u64) -> Case {
    let mut case = harness.case(name, crate::cartridge::Attached::nothing());
    trial.set_up(&mut case.setup, harness, seed);
    case.expectation = harness.expectation(&case.setup.inputs);
    case
}

impl<'a> Work<'a> {
    fn begin(fuzz: &'a Fuzz) -> Result<Self, Complaint> {
        fuzz.found.as_deref().map_or(Ok(()), Shelf::check_writable)?;
        let plan = fuzz.number();
        let fresh = Progress { plan, seed: fuzz.seed, part: fuzz.share, ..Progress::default() };
        let corpus = fuzz.corpus.as_deref().map(Corpus::open).transpose()?;
        let (mut stored, mut progress) = (Vec::new(), fresh.clone());
        if let Some(corpus) = &corpus {
            stored = corpus.load(&fuzz.harness)?;
            let there: BTreeSet<&str> = stored.iter().map(|entry| entry.name.as_str()).collect();
            let known = corpus.progress(fuzz.seed, fuzz.share)?;
            let goes_on =
                |known: &Progress| known.plan == plan && known.entries.iter().all(|name| there.contains(name.as_str()));
            progress = known.filter(goes_on).unwrap_or(fresh);
        }
        let ground = Ground::new(&fuzz.harness, &fuzz.only, &fuzz.pinned);
        let before = progress.trials;
        let mut engine = Engine::new(&fuzz.harness, ground, fuzz.ordinary.clone(), fuzz.promises, progress, corpus);
        engine.take_up(stored, &fuzz.given);
        let now = Instant::now();
        Ok(Self {
            fuzz,
            engine,
            checker: Checker::new(Arc::clone(&fuzz.harness)),
            began: now,
            before,
            last_new: now,
            findings: Vec::new(),
            targets: HashSet::new(),
            looks: BTreeMap::new(),
            not_looked_at: 0,
        })
    }

    /// Makes batches until the work is over; breaks when `watch` does.
    fn go_on(
        &mut self,
        stop: &AtomicBool,
        watch: &mut impl FnMut(Event) -> ControlFlow<()>,
    ) -> Result<ControlFlow<(), Ended>, Complaint> {
        let deadline = self.fuzz.time.map(|time| self.began + time);
        if self.tell_again(watch)?.is_break() {
            return Ok(ControlFlow::Break(()));
        }
        loop {
            if let Some(ended) = self.over(deadline) {
                return Ok(ControlFlow::Continue(ended));
            }
            let known = self.known();
            let Some(broken) = self.engine.batch(deadline, stop)? else {
                let stopped = stop.load(Ordering::Relaxed);
                return Ok(ControlFlow::Continue(if stopped { Ended::Stopped } else { Ended::Time }));
            };
            for broken in broken {
                if self.look_at(&broken, watch)?.is_break() {
                    return Ok(ControlFlow::Break(()));
                }
            }
            if self.known() != known {
                self.last_new = Instant::now();
            }
            if self.known() != known || self.engine.progress.batches.is_multiple_of(SAVED_EVERY) {
                self.engine.save_progress()?;
            }
            if watch(Event::Batch(&self.status())).is_break() {
                return Ok(ControlFlow::Continue(Ended::Stopped));
            }
        }
    }

    /// Why the work is over, if it is.
    fn over(&self, deadline: Option<Instant>) -> Option<Ended> {
        let progress = &self.engine.progress;
        if self.fuzz.most_trials.is_some_and(|most| progress.trials >= most) {
            return Some(Ended::Trials);
        }
        if progress.quiet >= self.fuzz.quiet_limit() {
            return Some(Ended::Quiet);
        }
        deadline.filter(|deadline| Instant::now() >= *deadline).map(|_| Ended::Time)
    }

    /// Tells what earlier sittings have found: it is broken still, as the ROM is the same.
    fn tell_again(&mut self, watch: &mut impl FnMut(Event) -> ControlFlow<()>) -> Result<ControlFlow<()>, Complaint> {
        let found = std::mem::take(&mut self.engine.progress.found);
        for found in found {
            let refuse = |why| Complaint::about(self.fuzz.corpus.clone().unwrap_or_default(), why);
            let trial = found.trial.read(&self.fuzz.harness).map_err(refuse)?;
            if self.find(&trial, found.promise, found.met, watch)?.is_break() {
                return Ok(ControlFlow::Break(()));
            }
        }
        Ok(ControlFlow::Continue(()))
    }

    /// Has a closer look at a breach, unless there were many of its kind.
    fn look_at(
        &mut self,
        broken: &Broken,
        watch: &mut impl FnMut(Event) -> ControlFlow<()>,
    ) -> Result<ControlFlow<()>, Complaint> {
        let looks = self.looks.entry(broken.breach.anyhow()).or_default();
        if *looks == MOST_LOOKS {
            self.not_looked_at += 1;
            return Ok(ControlFlow::Continue(()));
        }
        *looks += 1;
        self.find(&broken.trial, broken.breach.promise, broken.met, watch)
    }

    /// Makes a finding of a trial that breaks a promise, and tells it, unless the same is known.
    fn find(
        &mut self,
        trial: &Trial,
        promise: Promise,
        met: Met,
        watch: &mut impl FnMut(Event) -> ControlFlow<()>,
    ) -> Result<ControlFlow<()>, Complaint> {
        let harness = &self.fuzz.harness;
        let mut prober = self.engine.prober();
        let mut reducer = Reducer {
            harness,
            ordinary: &self.fuzz.ordinary,
            prober: &mut prober,
            checker: &mut self.checker,
            seed: self.fuzz.seed,
        };
        let target = reducer.target(trial, promise);
        if !self.targets.insert(target) {
            self.engine.give_back(prober);
            return Ok(ControlFlow::Continue(()));
        }
        let reduced = reducer.reduce(trial, target);
        let short = short(&mut reducer, &reduced.trial, harness);
        self.engine.give_back(prober);
        let mut writer = Writer { fuzz: self.fuzz, checker: &mut self.checker };
        let finding = writer.write(&reduced, &target, met, &short)?;
        let trial = TrialFile::new(&reduced.trial, harness);
        self.engine.progress.found.push(FoundFile { promise, met, trial });
        let next = watch(Event::Found(&finding));
        self.findings.push(finding);
        Ok(next)
    }

    /// How much is known: entries and findings.
    fn known(&self) -> (usize, usize) {
        (self.engine.progress.entries.len(), self.findings.len())
    }

    fn status(&self) -> Status {
        let progress = &self.engine.progress;
        let (decisions, both_ways) = self.engine.known().decisions();
        let branches = self.engine.known().branches(self.fuzz.harness.rig.branches.len());
        let milliseconds = |time: Duration| u64::try_from(time.as_millis()).unwrap_or(u64::MAX);
        Status {
            trials: progress.trials,
            trials_now: progress.trials - self.before,
            known: self.engine.skipped,
            milliseconds: milliseconds(self.began.elapsed()),
            branches: branches.iter().filter(|reached| **reached).count(),
            of_branches: branches.len(),
            both_ways,
            decisions,
            findings: self.findings.len(),
            entries: self.engine.entries().count(),
            quiet: progress.quiet,
            quiet_milliseconds: milliseconds(self.last_new.elapsed()),
        }
    }

    fn report(self, ended: Ended) -> Report {
        let status = self.status();
        let reached = self.engine.known().branches(self.fuzz.harness.rig.branches.len());
        let branches = self.fuzz.harness.rig.branches.iter().zip(reached).zip(&self.engine.reached);
        let branches = branches.map(|((branch, reached), trials)| BranchReached {
            name: branch.name.clone(),
            kind: branch.kind,
            reached,
            trials: *trials,
        });
        let entries = self.engine.entries().enumerate();
        let (harness, seed) = (&self.fuzz.harness, self.fuzz.seed);
        let cases = entries.map(|(index, trial)| case(trial, &format!("entry {}", index + 1), harness, seed)).collect();
        Report {
            seed,
            part: self.fuzz.share.to_string(),
            ended,
            status,
            branches: branches.collect(),
            elsewhere: status.trials_now - self.engine.reached.iter().sum::<u64>(),
            unjudged: self.engine.unjudged,
            findings: self.findings,
            not_looked_at: self.not_looked_at,
            not_varied: self.fuzz.not_varied,
            cases,
        }
    }
}

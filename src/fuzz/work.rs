//! Doing the work: batch after batch until a limit, and a closer look at whatever was broken.

use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::ops::ControlFlow;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use super::breach::{Breach, Broken};
use super::corpus::{Corpus, Progress};
use super::engine::Engine;
use super::found::{Finding, Writer, short};
use super::ground::Ground;
use super::plan::Fuzz;
use super::reduce::{Reducer, Target};
use super::report::{BranchReached, Ended, Report, Status};
use super::trial::Trial;
use crate::check::Checker;
use crate::suite::{Case, Complaint, Harness};

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
    /// How many things were known then.
    known: (usize, usize),
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
        let ended = work.go_on(stop, &mut watch)?;
        work.engine.save_progress()?;
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
        if let Some(folder) = fuzz.found.as_ref().filter(|folder| folder.exists() && !folder.is_dir()) {
            return Err(Complaint::about(folder, "findings are written into a folder, and this is none"));
        }
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
            known: (0, 0),
            findings: Vec::new(),
            targets: HashSet::new(),
            looks: BTreeMap::new(),
            not_looked_at: 0,
        })
    }

    fn go_on(
        &mut self,
        stop: &AtomicBool,
        watch: &mut impl FnMut(Event) -> ControlFlow<()>,
    ) -> Result<Ended, Complaint> {
        let deadline = self.fuzz.time.map(|time| self.began + time);
        let most = self.fuzz.most_trials.unwrap_or(u64::MAX);
        loop {
            if self.engine.progress.trials >= most {
                return Ok(Ended::Trials);
            }
            if self.engine.progress.quiet >= self.fuzz.quiet_limit() {
                return Ok(Ended::Quiet);
            }
            if deadline.is_some_and(|deadline| Instant::now() >= deadline) {
                return Ok(Ended::Time);
            }
            let entries = self.engine.progress.entries.len();
            let Some(broken) = self.engine.batch(deadline, stop)? else {
                return Ok(if stop.load(Ordering::Relaxed) { Ended::Stopped } else { Ended::Time });
            };
            for broken in broken {
                if let Some(finding) = self.look_at(&broken)? {
                    self.findings.push(finding);
                    if let Some(finding) = self.findings.last()
                        && watch(Event::Found(finding)).is_break()
                    {
                        return Ok(Ended::Stopped);
                    }
                }
            }
            let progress = &self.engine.progress;
            if progress.entries.len() > entries || progress.batches.is_multiple_of(SAVED_EVERY) {
                self.engine.save_progress()?;
            }
            self.note_news();
            if watch(Event::Batch(&self.status())).is_break() {
                return Ok(Ended::Stopped);
            }
        }
    }

    /// A breach as a finding, unless the same is known.
    fn look_at(&mut self, broken: &Broken) -> Result<Option<Finding>, Complaint> {
        let looks = self.looks.entry(broken.breach.anyhow()).or_default();
        if *looks == MOST_LOOKS {
            self.not_looked_at += 1;
            return Ok(None);
        }
        *looks += 1;
        let mut prober = self.engine.prober();
        let mut reducer = Reducer {
            harness: &self.fuzz.harness,
            ordinary: &self.fuzz.ordinary,
            prober: &mut prober,
            checker: &mut self.checker,
            seed: self.fuzz.seed,
        };
        let target = reducer.target(&broken.trial, broken.breach.promise);
        if !self.targets.insert(target) {
            self.engine.give_back(prober);
            return Ok(None);
        }
        let reduced = reducer.reduce(&broken.trial, target);
        let short = short(&mut reducer, &reduced.trial, &self.fuzz.harness);
        self.engine.give_back(prober);
        let mut writer = Writer { fuzz: self.fuzz, checker: &mut self.checker };
        writer.write(&reduced, &target, broken.met, &short).map(Some)
    }

    fn note_news(&mut self) {
        let known = (self.engine.entries().count(), self.findings.len());
        if known != self.known {
            self.known = known;
            self.last_new = Instant::now();
        }
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
            findings: self.findings,
            not_looked_at: self.not_looked_at,
            not_varied: self.fuzz.not_varied,
            cases,
        }
    }
}

//! The work: numbered batches of trials, dealt out, tried, and put together in order.
//!
//! What a batch tries hangs only on the seed, the part, the number of the batch and what was known before it. Batches are
//! put together in the order of their trials, so the number of threads does not show. What was met is on disk before it
//! is told, so nothing that was told can be lost.

use std::collections::{BTreeMap, HashMap, HashSet, VecDeque};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

use rayon::prelude::*;

use super::breach::{Breach, Broken};
use super::corpus::{Corpus, MOST_TRIALS, Progress, Stored, name};
use super::deed::{Prober, Tried};
use super::dice::Dice;
use super::feedback::Feature;
use super::ground::Ground;
use super::known::Known;
use super::moves::{Mover, Parent};
use super::ordinary::Ordinary;
use super::promise::Promises;
use super::share::Share;
use super::trial::Trial;
use super::wishes::{Wish, WishObserver};
use super::written::Met;
use crate::run::{End, Machine, Setup};
use crate::suite::{Complaint, Harness};
use crate::verdict::Decision;

/// Instructions that a batch should take: small enough to be interrupted, large enough to be dealt out.
const BATCH_INSTRUCTIONS: u64 = 4_000_000;

/// The fewest and the most trials of a batch.
const BATCH: std::ops::RangeInclusive<u64> = 64..=MOST_TRIALS;

/// Trials that one thread takes at a time.
const CHUNK: usize = 64;

/// The newest entries, from which half of the trials are made.
const NEWEST: usize = 8;

/// The most trials that are planned to be tried as they are, in all.
const MOST_PLANNED: u64 = 1 << 16;

/// Instructions of a run before there was any: a guess that only makes the first batch.
const GUESS: u64 = 10_000;

/// A trial that is worth keeping, and what its run tells.
#[derive(Clone, Debug)]
struct Entry {
    trial: Trial,
    wishes: Vec<Wish>,
    offsets: Vec<u32>,
}

/// What the trials of a few threads have done.
#[derive(Debug, Default)]
struct Chunk {
    trials: u64,
    known: u64,
    instructions: u64,
    /// Trials that came to each branch.
    reached: Vec<u64>,
    /// Trials of which the acceptance table does not say the branch.
    unjudged: u64,
    novel: Vec<(u64, Trial, Vec<Feature>)>,
    broken: BTreeMap<Breach, (u64, Trial)>,
}

/// What is known so far.
#[derive(Debug)]
pub struct Engine {
    harness: Arc<Harness>,
    ground: Ground,
    ordinary: Arc<[Ordinary]>,
    seed: u64,
    share: Share,
    entries: Vec<Entry>,
    known: Known,
    /// Trials that are to be tried as they are.
    planned: VecDeque<Trial>,
    /// How many there were in all.
    ever_planned: u64,
    granted: HashSet<Wish>,
    breaches: HashSet<Breach>,
    probers: Mutex<Vec<Prober>>,
    promises: Promises,
    wishing: Machine<WishObserver>,
    setup: Setup,
    corpus: Option<Corpus>,
    /// How far the work has come.
    pub progress: Progress,
    /// Trials of which the runs were skipped, as they were known, since this work began.
    pub skipped: u64,
    /// Trials that came to each branch, since this work began.
    pub reached: Vec<u64>,
    /// Trials of which the acceptance table does not say the branch, since this work began.
    pub unjudged: u64,
}

impl Engine {
    /// An engine that knows nothing yet.
    pub fn new(
        harness: &Arc<Harness>,
        ground: Ground,
        ordinary: Vec<Ordinary>,
        promises: Promises,
        progress: Progress,
        corpus: Option<Corpus>,
    ) -> Self {
        Self {
            harness: Arc::clone(harness),
            ground,
            ordinary: ordinary.into(),
            seed: progress.seed,
            share: progress.part,
            entries: Vec::new(),
            known: Known::default(),
            planned: VecDeque::new(),
            ever_planned: 0,
            granted: HashSet::new(),
            breaches: HashSet::new(),
            probers: Mutex::default(),
            promises,
            wishing: Machine::watched(Arc::clone(&harness.rig), WishObserver::new(&harness.rig)),
            setup: Setup::default(),
            corpus,
            progress,
            skipped: 0,
            reached: vec![0; harness.rig.branches.len()],
            unjudged: 0,
        }
    }

    /// Takes up what a corpus holds: entries from elsewhere first, then those that this part has met, in their order. What
    /// the other parts of the same split have met is not looked at, so that parts may share a folder; nor is what this
    /// part has met after its progress was written down, as it will meet that again.
    pub fn take_up(&mut self, stored: Vec<Stored>, given: &[Trial]) {
        let names: HashSet<String> = self.progress.entries.iter().cloned().collect();
        let (plan, seed, of) = (self.progress.plan, self.seed, self.share.of);
        let split = |entry: &Stored| entry.met.plan == plan && entry.met.seed == seed && entry.met.part.of == of;
        let (own, others): (Vec<Stored>, Vec<Stored>) =
            stored.into_iter().partition(|entry| names.contains(&entry.name));
        let mut own: HashMap<String, Trial> = own.into_iter().map(|entry| (entry.name, entry.trial)).collect();
        let foreign: Vec<Trial> = others.into_iter().filter(|entry| !split(entry)).map(|entry| entry.trial).collect();
        let ordinary = Arc::clone(&self.ordinary);
        for trial in ordinary.iter().map(|ordinary| &ordinary.trial).chain(given).chain(&foreign) {
            self.plan(trial.clone());
        }
        // What is ordinary is always varied, also where it goes no way of its own: a cartridge that nobody looks at goes
        // the way of an empty socket.
        for ordinary in ordinary.iter() {
            self.recall(ordinary.trial.clone());
        }
        for trial in foreign {
            self.recall(trial);
        }
        for name in self.progress.entries.clone() {
            if let Some(trial) = own.remove(&name) {
                self.recall(trial);
            }
        }
        // What was tried before is not tried again.
        let done = (self.progress.planned as usize).min(self.planned.len());
        self.planned.drain(..done);
    }

    fn plan(&mut self, trial: Trial) {
        if self.ever_planned < MOST_PLANNED {
            self.ever_planned += 1;
            self.planned.push_back(trial);
        }
    }

    /// Makes an entry of a trial that is known already.
    fn recall(&mut self, trial: Trial) {
        let mut prober = self.prober();
        prober.run(&trial);
        let features = prober.features();
        self.give_back(prober);
        self.known.learn(features);
        self.enter(trial);
    }

    /// How many entries there are.
    pub fn entries(&self) -> impl Iterator<Item = &Trial> {
        self.entries.iter().map(|entry| &entry.trial)
    }

    /// What is known.
    pub fn known(&self) -> &Known {
        &self.known
    }

    /// A prober that nobody else uses, which knows what is known.
    pub fn prober(&self) -> Prober {
        let spare = self.probers.lock().unwrap_or_else(PoisonError::into_inner).pop();
        let mut prober = spare.unwrap_or_else(|| Prober::new(&self.harness, self.promises, self.seed));
        prober.learn(self.known.features());
        prober
    }

    /// Takes a prober back.
    pub fn give_back(&self, prober: Prober) {
        self.probers.lock().unwrap_or_else(PoisonError::into_inner).push(prober);
    }

    /// Tries the next batch: what it broke that is not known yet, in order; `None` if it was stopped, and then nothing of
    /// it counts.
    ///
    /// # Errors
    /// If an entry cannot be written.
    pub fn batch(&mut self, deadline: Option<Instant>, stop: &AtomicBool) -> Result<Option<Vec<Broken>>, Complaint> {
        let size = self.size();
        let count = self.planned.len().min(size as usize);
        let planned: Vec<Trial> = self.planned.drain(..count).collect();
        let chunks: Vec<Option<Chunk>> = (0..size)
            .collect::<Vec<u64>>()
            .par_chunks(CHUNK)
            .map(|numbers| self.try_chunk(numbers, &planned, deadline, stop))
            .collect();
        let Some(chunks) = chunks.into_iter().collect::<Option<Vec<Chunk>>>() else {
            for trial in planned.into_iter().rev() {
                self.planned.push_front(trial);
            }
            return Ok(None);
        };
        self.progress.planned += count as u64;
        let broken = self.put_together(chunks)?;
        self.progress.batches += 1;
        Ok(Some(broken))
    }

    /// How many trials the next batch has.
    fn size(&self) -> u64 {
        let trials = self.progress.trials;
        let mean = self.progress.instructions.checked_div(trials).unwrap_or(GUESS);
        // A young corpus learns from every batch.
        let young = (trials / 4).max(*BATCH.start());
        (BATCH_INSTRUCTIONS / mean.max(1)).min(young).clamp(*BATCH.start(), *BATCH.end())
    }

    fn try_chunk(
        &self,
        numbers: &[u64],
        planned: &[Trial],
        deadline: Option<Instant>,
        stop: &AtomicBool,
    ) -> Option<Chunk> {
        if deadline.is_some_and(|deadline| Instant::now() >= deadline) {
            return None;
        }
        let mut prober = self.prober();
        let mut chunk = Chunk { reached: vec![0; self.reached.len()], ..Chunk::default() };
        for number in numbers {
            if stop.load(Ordering::Relaxed) {
                self.give_back(prober);
                return None;
            }
            let trial = planned.get(*number as usize).cloned().unwrap_or_else(|| self.random(*number));
            let tried = prober.try_out(&trial);
            chunk.count(&tried);
            for promise in tried.broken.each() {
                let breach = Breach::new(promise, &tried);
                if !self.breaches.contains(&breach) {
                    chunk.broken.entry(breach).or_insert_with(|| (*number, trial.clone()));
                }
            }
            if tried.deed.novel && !tried.known {
                chunk.novel.push((*number, trial, prober.features()));
            }
        }
        self.give_back(prober);
        Some(chunk)
    }

    /// The trial of this number in the batch.
    fn random(&self, number: u64) -> Trial {
        let Share { part, of } = self.share;
        let mut dice = Dice::new(&[self.seed, u64::from(part), u64::from(of), self.progress.batches, number]);
        let mover = Mover { harness: &self.harness, ground: &self.ground };
        if self.entries.is_empty() {
            let trial =
                dice.pick(&self.ordinary).map_or_else(|| Trial::nothing(&self.harness), |one| one.trial.clone());
            let parent = Parent { trial: &trial, wishes: &[], offsets: &[] };
            return mover.vary(parent, &trial, &mut dice);
        }
        let newest = if dice.one_in(2) { self.entries.len().min(NEWEST) } else { self.entries.len() };
        let entry = &self.entries[self.entries.len() - 1 - dice.below(newest)];
        let other = &self.entries[dice.below(self.entries.len())].trial;
        let parent = Parent { trial: &entry.trial, wishes: &entry.wishes, offsets: &entry.offsets };
        mover.vary(parent, other, &mut dice)
    }

    fn put_together(&mut self, chunks: Vec<Chunk>) -> Result<Vec<Broken>, Complaint> {
        let mut broken: BTreeMap<Breach, (u64, Trial)> = BTreeMap::new();
        let mut last_new = None;
        let trials: u64 = chunks.iter().map(|chunk| chunk.trials).sum();
        for chunk in chunks {
            self.skipped += chunk.known;
            self.unjudged += chunk.unjudged;
            self.progress.trials += chunk.trials;
            self.progress.instructions += chunk.instructions;
            for (sum, count) in self.reached.iter_mut().zip(&chunk.reached) {
                *sum += count;
            }
            for (number, trial, features) in chunk.novel {
                if self.known.learn(features) {
                    last_new = Some(number);
                    self.keep(trial, number)?;
                }
            }
            for (breach, first) in chunk.broken {
                broken.entry(breach).or_insert(first);
            }
        }
        self.progress.quiet = last_new.map_or(self.progress.quiet + trials, |number| trials - 1 - number);
        let mut list: Vec<Broken> = Vec::new();
        for (breach, (number, trial)) in broken {
            if self.breaches.insert(breach) {
                list.push(Broken { breach, trial, met: self.met(number) });
            }
        }
        list.sort_by_key(|broken| (broken.met.trial, broken.breach));
        Ok(list)
    }

    fn met(&self, trial: u64) -> Met {
        let Progress { plan, batches: batch, .. } = self.progress;
        Met { plan, seed: self.seed, part: self.share, batch, trial }
    }

    /// Keeps a trial that went a new way.
    fn keep(&mut self, trial: Trial, number: u64) -> Result<(), Complaint> {
        let met = self.met(number);
        if let Some(corpus) = &self.corpus {
            corpus.add(&trial, met, &self.harness)?;
        }
        self.progress.entries.push(name(&trial, &self.harness));
        self.enter(trial);
        Ok(())
    }

    /// Makes an entry of a trial, and plans to try what its run would have liked to find.
    fn enter(&mut self, trial: Trial) {
        trial.set_up(&mut self.setup, &self.harness, self.seed);
        self.wishing.observer().begin();
        let fills = Harness::fills(&self.harness.power_on);
        self.wishing.run(&self.setup, fills.first().map_or(&[], Vec::as_slice));
        let observer = self.wishing.observer();
        let (wishes, offsets) = (observer.wishes.clone(), observer.offsets.clone());
        let mover = Mover { harness: &self.harness, ground: &self.ground };
        let mut trials = Vec::new();
        for wish in &wishes {
            if self.granted.insert(wish.clone()) {
                trials.extend([false, true].into_iter().filter_map(|whole| mover.granted(&trial, wish, whole)));
            }
        }
        trials.into_iter().for_each(|trial| self.plan(trial));
        self.entries.push(Entry { trial, wishes, offsets });
    }

    /// Writes down how far the work has come.
    ///
    /// # Errors
    /// If that cannot be written.
    pub fn save_progress(&self) -> Result<(), Complaint> {
        match &self.corpus {
            Some(corpus) => corpus.set_progress(&self.progress),
            None => Ok(()),
        }
    }
}

impl Chunk {
    fn count(&mut self, tried: &Tried) {
        self.trials += 1;
        self.known += u64::from(tried.known);
        self.instructions += tried.deed.instructions;
        self.unjudged += u64::from(!matches!(tried.decision, Decision::Branch { .. }));
        if let End::Branch(index) = tried.deed.end {
            self.reached[index] += 1;
        }
    }
}

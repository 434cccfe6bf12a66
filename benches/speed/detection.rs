//! The short job: the demo host finds a drum library, copies its format table, and is done after some 130 instructions.

use std::path::Path;
use std::sync::Arc;

use keyway::board::{Observer, RamFill};
use keyway::cartridge::{Attached, Checksum, Fill, Image, Recipe, Value};
use keyway::coverage::CoverageObserver;
use keyway::explain::Tracer;
use keyway::run::{Entry, Exit, Machine, Setup};
use keyway::suite::Harness;

use crate::naive::{Naive, Plan};
use crate::watch::Watch;

/// The demo harness.
pub fn harness_path() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("harness/aria.yaml")
}

/// A machine and what is plugged into it.
pub struct Keyway<O: Observer> {
    /// The machine.
    pub machine: Machine<O>,
    setup: Setup,
}

impl<O: Observer> Keyway<O> {
    pub fn new(machine: Machine<O>, setup: Setup) -> Self {
        Self { machine, setup }
    }

    /// What is plugged in.
    pub fn setup(&self) -> &Setup {
        &self.setup
    }

    /// Runs the routine and returns the index of its branch.
    pub fn run(&mut self) -> Option<usize> {
        self.machine.run(&self.setup, &[RamFill::Zeros]).branch()
    }
}

impl Keyway<Watch> {
    /// Runs the routine from a clean watch.
    pub fn run_watched(&mut self) -> Option<usize> {
        self.machine.observer().clear();
        self.run()
    }
}

impl Keyway<Tracer> {
    /// Runs the routine and follows its data.
    pub fn run_traced(&mut self) -> Option<usize> {
        self.machine.observer().start(&self.setup);
        self.run()
    }
}

impl Keyway<CoverageObserver> {
    /// Runs the routine as one case whose coverage is gathered.
    pub fn run_covered(&mut self) -> Option<usize> {
        self.machine.observer().begin_case(0, 0);
        self.machine.observer().begin_run(0);
        let branch = self.run();
        let (observer, outcome, _) = self.machine.watched_run();
        observer.finish_run(outcome);
        observer.finish_case(self.setup.inputs.attached.image.as_deref());
        branch
    }
}

/// The job, five ways.
pub struct Detection {
    pub keyway: Keyway<()>,
    pub naive: Naive<false>,
    pub keyway_watched: Keyway<Watch>,
    pub naive_watched: Naive<true>,
    pub keyway_traced: Keyway<Tracer>,
    pub keyway_covered: Keyway<CoverageObserver>,
}

impl Detection {
    /// Prepares all of them and sees to it that they do the same.
    pub fn new() -> Self {
        let harness = Harness::load(harness_path()).expect("the demo harness");
        let image = drums(&harness);
        let window = Arc::new((0..0x20_0000).map(|offset| image.byte(offset % image.size()).unwrap_or(0xFF)).collect());
        let setup = harness.case("drums", Attached::image(image)).setup;
        let rig = &harness.rig;
        let covering = CoverageObserver::new(rig, &harness.layout);
        let mut detection = Self {
            keyway: Keyway::new(Machine::new(Arc::clone(rig)), setup.clone()),
            naive: Naive::new(plan(&harness, &window)),
            keyway_watched: Keyway::new(Machine::watched(Arc::clone(rig), Watch::default()), setup.clone()),
            naive_watched: Naive::new(plan(&harness, &window)),
            keyway_traced: Keyway::new(Machine::watched(Arc::clone(rig), Tracer::new(Arc::clone(rig))), setup.clone()),
            keyway_covered: Keyway::new(Machine::watched(Arc::clone(rig), covering), setup),
        };
        detection.agree(harness.branch("patched"));
        detection
    }

    /// Instructions of one run.
    pub fn instructions(&self) -> u64 {
        self.naive.instructions
    }

    fn agree(&mut self, patched: Option<usize>) {
        assert_eq!(self.keyway.run(), patched);
        assert_eq!(self.keyway_watched.run_watched(), patched);
        assert_eq!(self.keyway_traced.run_traced(), patched);
        assert_eq!(self.keyway_covered.run_covered(), patched);
        let ran = self.keyway_covered.machine.observer().gathered().spots;
        assert_eq!(ran.values().map(|counts| counts.runs).sum::<u64>(), self.keyway.machine.outcome().instructions);
        assert!(self.naive.run().is_some() && self.naive_watched.run().is_some());
        assert_eq!(self.keyway.machine.outcome().instructions, self.naive.instructions);
        assert!(*self.keyway_watched.machine.observer() == *self.naive_watched.watch());
        assert_eq!(self.naive_watched.watch().reads(), 34, "the signature and two product codes as far as needed");
    }
}

/// The drum library, as `cases/drums.yaml` has it.
fn drums(harness: &Harness) -> Image {
    let text = |text: &str| Value::Text(text.to_owned());
    let fields = vec![
        ("signature".to_owned(), text("PARLOR16 SYSTEM ")),
        ("product".to_owned(), text("AW-2100-00")),
        ("checksum".to_owned(), Value::Checksum(Checksum::Right)),
    ];
    let recipe = Recipe { size: 1 << 20, fill: Fill::Byte(0xFF), fields, ..Recipe::default() };
    recipe.build(&harness.layout).expect("a drum library")
}

fn plan(harness: &Harness, window: &Arc<Vec<u8>>) -> Plan {
    let rig = &harness.rig;
    let Entry::At(entry) = rig.routine.entry else { panic!("the demo starts at a symbol") };
    let label = |exit: &Exit| match exit {
        Exit::At(address) => Some(*address),
        Exit::Return => None,
    };
    Plan {
        rom: rig.map.host().bytes().to_vec(),
        image: Arc::clone(window),
        patch: rig.map.overlays()[0].bytes.to_vec(),
        entry,
        stack: rig.routine.stack,
        labels: rig.branches.iter().filter_map(|branch| label(&branch.exit)).collect(),
    }
}

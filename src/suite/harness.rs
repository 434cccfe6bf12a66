//! A harness ready to run, and a case ready to run on it.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::complaint::Complaint;
use super::document::KeyPath;
use super::harness_file::Forbidden;
use super::sections::Sections;
use super::{plan_board, plan_interrupts, plan_rules, plan_table};
use crate::board::{Inputs, OpenBus, Place, RamFill};
use crate::cartridge::{Attached, Layout};
use crate::run::{Cell, Rig, Setup};
use crate::units;
use crate::verdict::{Acceptance, Decision, Expectation, Forbid, Names, Wanted, Within};

/// The most combinations of RAM fills.
const MOST_FILLS: usize = 64;

/// Everything that a harness file says, checked and resolved.
#[derive(Clone, Debug)]
pub struct Harness {
    /// Its name.
    pub name: String,
    /// Its file.
    pub path: PathBuf,
    /// Map, routine and branches.
    pub rig: Arc<Rig>,
    /// The header layout.
    pub layout: Layout,
    /// The clock in hertz, if the harness gives one.
    pub clock: Option<u64>,
    /// What the window reads where no cartridge answers.
    pub empty: OpenBus,
    /// The RAM fills of each area.
    pub power_on: Vec<Vec<RamFill>>,
    /// What no run may do.
    pub forbid: Forbid,
    /// The acceptance table.
    pub acceptance: Acceptance,
    /// The line of each acceptance rule, and the file in which the table stands.
    pub rule_lines: Vec<usize>,
    /// The file in which the acceptance table stands.
    pub rules_path: PathBuf,
    /// Every file that was read for it: its own, those that it extends, the host image, overlays.
    pub files: Vec<PathBuf>,
}

/// A case, ready to run.
#[derive(Clone, Debug)]
pub struct Case {
    /// Its name, unique in its file.
    pub name: String,
    /// What is attached and which inputs differ from the ordinary, in a few words.
    pub label: String,
    /// The file in which it stands.
    pub file: PathBuf,
    /// The line in that file.
    pub line: usize,
    /// The inputs of its runs.
    pub setup: Setup,
    /// The RAM fills of each of its runs, by area.
    pub fills: Vec<Vec<RamFill>>,
    /// What must happen.
    pub expectation: Expectation,
    /// Why it is known to fail.
    pub known_bug: Option<String>,
}

impl Harness {
    /// Reads a harness file, what it extends, and every file that it names.
    ///
    /// # Errors
    /// The first thing that is wrong with any of them.
    pub fn load(path: impl AsRef<Path>) -> Result<Self, Complaint> {
        Self::of_sections(path.as_ref(), Sections::read(path.as_ref())?)
    }

    /// The same with another host image, in one file, in place of the one that the harness names.
    ///
    /// # Errors
    /// The first thing that is wrong with any of them.
    pub fn load_with_image(path: impl AsRef<Path>, image: &Path) -> Result<Self, Complaint> {
        let mut sections = Sections::read(path.as_ref())?;
        let image = std::path::absolute(image).map_err(|error| Complaint::about(image, error.to_string()))?;
        if let Some(host) = &mut sections.file.host {
            host.image = Some(image.to_string_lossy().into_owned());
            (host.even, host.odd) = (None, None);
        }
        Self::of_sections(path.as_ref(), sections)
    }

    fn of_sections(path: &Path, sections: Sections) -> Result<Self, Complaint> {
        let host = plan_board::host(&sections)?;
        let (map, power_on) = plan_board::map(&sections, &host)?;
        let layout = plan_board::layout(&sections)?;
        let list = plan_rules::forbidden(&sections);
        let executes_anywhere = !list.contains(&Forbidden::ExecutesOutsideHost);
        let routine = plan_rules::routine(&sections, &map, executes_anywhere)?;
        let interrupts = plan_interrupts::interrupts(&sections, &map, &routine)?;
        let branches = plan_rules::branches(&sections, &map, &routine)?;
        let acceptance = plan_table::acceptance(&sections, &map, &layout, &branches)?;
        let table = KeyPath::root().key("acceptance");
        let rule_lines = (0..acceptance.rules.len()).map(|index| sections.document(&table).line(&table.index(index)));
        let combinations: usize = power_on.iter().map(Vec::len).product();
        if combinations > MOST_FILLS {
            let message = format!("the RAM fills make {combinations} combinations; {MOST_FILLS} is the most");
            return Err(sections.complain(&KeyPath::root().key("memory"), message));
        }
        if sections.file.name.as_ref().is_some_and(|name| name.trim().is_empty()) {
            return Err(sections.complain(&KeyPath::root().key("name"), "the name is empty"));
        }
        let file_name =
            path.file_stem().map_or_else(String::new, |stem| units::tame(&stem.to_string_lossy()).into_owned());
        let socket = sections.file.socket.as_ref();
        let files = sections.read.iter().chain(host.files()).cloned().chain(plan_board::overlay_files(&sections));
        Ok(Self {
            files: files.collect(),
            name: sections.file.name.clone().unwrap_or(file_name),
            path: path.to_owned(),
            layout,
            clock: sections.file.clock.map(|clock| clock.0),
            empty: socket.and_then(|socket| socket.empty).map_or(OpenBus::Floating, Into::into),
            power_on,
            forbid: plan_rules::forbid(&list),
            acceptance,
            rule_lines: rule_lines.collect(),
            rules_path: sections.document(&table).path.clone(),
            rig: Arc::new(Rig { map: Arc::new(map), routine, interrupts, branches }),
        })
    }

    /// Names for addresses.
    pub fn names(&self) -> Names<'_> {
        Names { rig: &self.rig, layout: &self.layout }
    }

    /// The index of a branch.
    pub fn branch(&self, name: &str) -> Option<usize> {
        self.rig.branches.iter().position(|branch| branch.name == name)
    }

    /// Whether a cell's value at power-on is known: the harness gives its RAM one content only.
    pub fn knows(&self, cell: Cell) -> bool {
        let Cell::Memory { address, width } = cell else { return true };
        (address..address + width.bytes()).all(|address| match self.rig.map.place(address) {
            Place::Ram(area) => matches!(self.power_on[area][..], [RamFill::Zeros | RamFill::Ones]),
            _ => false,
        })
    }

    /// Every combination of these RAM fills, by area.
    pub fn fills(power_on: &[Vec<RamFill>]) -> Vec<Vec<RamFill>> {
        let mut combinations = vec![Vec::new()];
        for area in power_on {
            combinations = area
                .iter()
                .flat_map(|fill| {
                    combinations.iter().map(move |combination: &Vec<RamFill>| {
                        let mut longer = combination.clone();
                        longer.push(*fill);
                        longer
                    })
                })
                .collect();
        }
        combinations
    }

    /// A case of this harness for a cartridge built in code: wants what the acceptance table says.
    pub fn case(&self, name: &str, attached: Attached) -> Case {
        let inputs = Inputs {
            attached,
            empty: self.empty,
            ports: vec![None; self.rig.map.ports().len()],
            seed: super::DEFAULT_SEED,
        };
        Case {
            name: name.to_owned(),
            label: name.to_owned(),
            file: self.path.clone(),
            line: 0,
            expectation: self.expectation(&inputs),
            setup: Setup { inputs, ..Setup::default() },
            fills: Self::fills(&self.power_on),
            known_bug: None,
        }
    }

    /// What is wanted of these inputs if a case says nothing: what the acceptance table says.
    pub fn expectation(&self, inputs: &Inputs) -> Expectation {
        Expectation {
            branch: Wanted::Specified,
            specified: self.decide(inputs),
            shows: Vec::new(),
            writes: Vec::new(),
            cells: Vec::new(),
            within: Within::default(),
            leaves: Vec::new(),
            forbid: Forbid::default(),
            never: Vec::new(),
            reads: None,
        }
    }

    /// What the acceptance table says of these inputs.
    pub fn decide(&self, inputs: &Inputs) -> Decision {
        self.acceptance.decide(&self.rig.map, &self.layout, inputs)
    }
}

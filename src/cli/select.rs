//! Which cases a command is about: files, folders, single cases, and the suites of the current folder.

use std::collections::{BTreeSet, HashMap, HashSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::Args;
use unicode_width::UnicodeWidthStr;

use super::Failure;
use crate::check::{Job, Source};
use crate::suite::{Boundary, Case, Complaint, DEFAULT_SEED, Harness, Suite, nearest};

/// Where suites are looked for when nothing is named.
pub const CASES: &str = "cases";

/// So many cases are made once more to see how wide a table has to be.
const FEW: usize = 500;

/// What to select.
#[derive(Debug, Args)]
pub struct Selection {
    /// Case files, folders of them, or single cases: FILE:LINE, FILE:NAME, or a case's whole name.
    ///
    /// Without any, every case file under `cases/` of the current folder.
    #[arg(value_name = "WHAT")]
    pub what: Vec<String>,

    /// Only cases whose name contains this text, in upper or lower case.
    #[arg(long, value_name = "TEXT")]
    name: Option<String>,

    /// Also derive cases from the acceptance table: each listed text and its near misses, sizes around the window,
    /// header copies.
    #[arg(long)]
    boundary: bool,

    /// Seed of all noise: RAM, open bus, fills, flickering contacts.
    #[arg(long, value_name = "NUMBER", default_value_t = DEFAULT_SEED)]
    pub seed: u64,
}

/// The cases of one harness.
pub struct Selected {
    /// The harness.
    pub harness: Arc<Harness>,
    /// Its cases, by source.
    pub jobs: Vec<Job>,
    /// The demands of suites of which all cases are selected: the suite, and the index.
    pub demands: Vec<(Arc<Suite>, usize)>,
}

impl Selected {
    /// How many cases there are.
    pub fn len(&self) -> usize {
        self.jobs.iter().map(|job| job.cases.len()).sum()
    }

    /// The width of the widest label, in columns: exact for few cases, that of their whole files for many.
    pub fn widest_label(&self) -> Result<usize, Complaint> {
        if self.len() > FEW {
            return Ok(self.jobs.iter().map(|job| job.source.widest_label()).max().unwrap_or(0));
        }
        let cases = self.jobs.iter().flat_map(|job| job.cases.iter().map(|index| job.source.case(*index as usize)));
        cases.map(|case| Ok(case?.label.width())).try_fold(0, |widest, width| Ok(widest.max(width?)))
    }

    /// Each of them, in order: its source and its index there.
    pub fn cases(&self) -> impl Iterator<Item = (&Source, usize)> + '_ {
        self.jobs.iter().flat_map(|job| job.cases.iter().map(|index| (&job.source, *index as usize)))
    }

    /// Every file that was read for them.
    pub fn files(&self) -> Vec<PathBuf> {
        let cases = self.jobs.iter().flat_map(|job| match &job.source {
            Source::Suite(suite) => suite.files(),
            Source::Boundary(_) => Vec::new(),
        });
        self.harness.files.iter().cloned().chain(cases).collect()
    }

    /// How many of them are derived from the acceptance table.
    pub fn derived(&self) -> usize {
        let derived = |job: &&Job| matches!(job.source, Source::Boundary(_));
        self.jobs.iter().filter(derived).map(|job| job.cases.len()).sum()
    }

    /// How many derived cartridges the table cannot decide.
    pub fn open(&self) -> usize {
        let open = self.jobs.iter().map(|job| match &job.source {
            Source::Boundary(boundary) => boundary.open(),
            Source::Suite(_) => 0,
        });
        open.sum()
    }
}

/// Which cases of a file.
enum Which {
    All,
    Line(usize),
    Name(String),
}

/// Loads everything that is selected, grouped by harness in order of appearance.
pub fn select(selection: &Selection) -> Result<Vec<Selected>, Failure> {
    let groups = select_some(selection)?;
    if groups.iter().all(|group| group.len() == 0) {
        let message = "no case is selected, only demands on proofs: `check --proofs` looks at them";
        return Err(Failure::Nothing(message.to_owned()));
    }
    Ok(groups)
}

/// The same, where demands on proofs are enough.
pub fn select_some(selection: &Selection) -> Result<Vec<Selected>, Failure> {
    let mut selector = Selector { selection, harnesses: HashMap::new(), suites: Vec::new(), boundaries: Vec::new() };
    if selection.what.is_empty() {
        selector.add_folder(Path::new(CASES))?;
    }
    for what in &selection.what {
        selector.add(what)?;
    }
    if selection.boundary && selector.boundaries.iter().all(|(boundary, _)| boundary.is_empty()) {
        let message = "no case is derived: the acceptance table lists no text, so --boundary has nothing to start from";
        return Err(Failure::Nothing(message.to_owned()));
    }
    let groups = selector.groups();
    if groups.iter().all(|group| group.len() == 0 && group.demands.is_empty()) {
        let filter = match &selection.name {
            Some(name) => format!(": no name contains {name:?}"),
            None => String::new(),
        };
        return Err(Failure::Nothing(format!("no case is selected{filter}")));
    }
    Ok(groups)
}

/// The cases of a harness among those that are named.
pub fn cases_of(what: &[String], seed: u64, harness: &Harness) -> Result<Vec<Case>, Failure> {
    let selection = Selection { what: what.to_vec(), name: None, boundary: false, seed };
    let groups = select(&selection)?;
    let group = groups.iter().find(|group| same_file(&group.harness.path, &harness.path));
    let Some(group) = group else {
        let message = format!("none of these cases is for {}: {}", harness.path.display(), what.join(", "));
        return Err(Failure::Nothing(message));
    };
    Ok(group.cases().map(|(source, index)| source.case(index)).collect::<Result<_, _>>()?)
}

struct Selector<'a> {
    selection: &'a Selection,
    harnesses: HashMap<PathBuf, Arc<Harness>>,
    suites: Vec<(Arc<Suite>, BTreeSet<u32>)>,
    /// Harnesses whose derived cases are wanted, with their cases if only some are.
    boundaries: Vec<(Arc<Boundary>, BTreeSet<u32>)>,
}

impl Selector<'_> {
    fn add(&mut self, what: &str) -> Result<(), Failure> {
        let path = Path::new(what);
        if path.is_dir() {
            return self.add_folder(path);
        }
        if path.exists() {
            return self.add_file(path, &Which::All);
        }
        for (at, _) in what.match_indices(':') {
            let (file, which) = (Path::new(&what[..at]), &what[at + 1..]);
            if file.is_file() {
                let which = match which.parse() {
                    Ok(line) => Which::Line(line),
                    Err(_) => Which::Name(which.to_owned()),
                };
                return self.add_file(file, &which);
            }
        }
        self.add_named(what)
    }

    /// A name alone: the case of that name under `cases/`.
    fn add_named(&mut self, name: &str) -> Result<(), Failure> {
        let looks_like_file = name.ends_with(".yaml") || name.ends_with(".yml") || name.contains('/');
        if looks_like_file || !Path::new(CASES).is_dir() {
            return Err(Failure::Usage(format!("there is no file, folder or case {name:?}")));
        }
        let mut names = Vec::new();
        for file in yaml_files(Path::new(CASES))? {
            let suite = self.load(&file)?;
            if let Some(index) = (0..suite.len()).find(|index| suite.name(*index) == name) {
                self.choose(suite, [index as u32]);
                return Ok(());
            }
            names.extend((0..suite.len()).map(|index| suite.name(index)));
        }
        Err(Failure::Usage(format!("there is no file, folder or case {name:?}{}", meant(name, &names))))
    }

    fn add_folder(&mut self, folder: &Path) -> Result<(), Failure> {
        if !folder.is_dir() {
            let message = format!(
                "there is no folder `{}` here; name case files or folders, or start with `keyway new`",
                folder.display()
            );
            return Err(Failure::Usage(message));
        }
        let files = yaml_files(folder)?;
        if files.is_empty() {
            return Err(Failure::Nothing(format!("there is no case file (*.yaml) in {}", folder.display())));
        }
        for file in files {
            self.add_file(&file, &Which::All)?;
        }
        Ok(())
    }

    fn add_file(&mut self, path: &Path, which: &Which) -> Result<(), Failure> {
        if self.selection.boundary && is_harness(path) {
            return self.add_boundary(path, which);
        }
        let suite = self.load(path)?;
        let chosen: Vec<u32> = match which {
            Which::All => (0..suite.len() as u32).collect(),
            Which::Line(line) => (0..suite.len() as u32).filter(|index| suite.line(*index as usize) == *line).collect(),
            Which::Name(name) => (0..suite.len() as u32).filter(|index| suite.name(*index as usize) == *name).collect(),
        };
        // A file without cases demands proofs.
        if chosen.is_empty() && !(matches!(which, Which::All) && suite.is_empty()) {
            return Err(Failure::Usage(no_such_case(path, which, &Source::Suite(suite))));
        }
        if self.selection.boundary {
            let harness = Arc::clone(&suite.harness);
            self.derive(harness);
        }
        self.choose(suite, chosen);
        Ok(())
    }

    fn load(&mut self, path: &Path) -> Result<Arc<Suite>, Complaint> {
        if let Some((suite, _)) = self.suites.iter().find(|(suite, _)| same_file(suite.path(), path)) {
            return Ok(Arc::clone(suite));
        }
        Suite::load_with(path, self.selection.seed, &mut self.harnesses).map(Arc::new)
    }

    fn choose(&mut self, suite: Arc<Suite>, cases: impl IntoIterator<Item = u32>) {
        match self.suites.iter_mut().find(|(other, _)| other.path() == suite.path()) {
            Some((_, chosen)) => chosen.extend(cases),
            None => self.suites.push((suite, cases.into_iter().collect())),
        }
    }

    fn add_boundary(&mut self, path: &Path, which: &Which) -> Result<(), Failure> {
        let harness = match self.harnesses.get(path) {
            Some(harness) => Arc::clone(harness),
            None => Arc::new(Harness::load(path)?),
        };
        self.harnesses.insert(path.to_owned(), Arc::clone(&harness));
        let index = self.derive(harness);
        let boundary = Arc::clone(&self.boundaries[index].0);
        let all = 0..boundary.len() as u32;
        let chosen: BTreeSet<u32> = match which {
            Which::All => all.collect(),
            Which::Line(line) => all.filter(|index| boundary.line(*index as usize) == *line).collect(),
            Which::Name(name) => all.filter(|index| boundary.name(*index as usize) == *name).collect(),
        };
        if chosen.is_empty() {
            return Err(Failure::Usage(no_such_case(path, which, &Source::Boundary(boundary))));
        }
        self.boundaries[index].1 = chosen;
        Ok(())
    }

    /// Derives the cases of a harness once, all of them chosen.
    fn derive(&mut self, harness: Arc<Harness>) -> usize {
        let known = self.boundaries.iter().position(|(boundary, _)| boundary.harness().path == harness.path);
        known.unwrap_or_else(|| {
            let boundary = Arc::new(Boundary::derive(&harness, self.selection.seed));
            let all = (0..boundary.len() as u32).collect();
            self.boundaries.push((boundary, all));
            self.boundaries.len() - 1
        })
    }

    fn groups(self) -> Vec<Selected> {
        let mut groups: Vec<Selected> = Vec::new();
        let suites = self.suites.into_iter().map(|(suite, cases)| (Source::Suite(suite), cases));
        let boundaries = self.boundaries.into_iter().map(|(boundary, cases)| (Source::Boundary(boundary), cases));
        let needle = self.selection.name.as_ref().map(|name| name.to_lowercase());
        for (source, cases) in suites.chain(boundaries) {
            let fits = |index: &u32| {
                needle.as_ref().is_none_or(|needle| source.name(*index as usize).to_lowercase().contains(needle))
            };
            let whole = cases.len() == source.len();
            let mut demands = Vec::new();
            if let (Source::Suite(suite), true) = (&source, whole) {
                let named = |name: &str| needle.as_ref().is_none_or(|needle| name.to_lowercase().contains(needle));
                let chosen = suite.demands().iter().enumerate().filter(|(_, demand)| named(&demand.name));
                demands.extend(chosen.map(|(index, _)| (Arc::clone(suite), index)));
            }
            let cases: Vec<u32> = cases.into_iter().filter(fits).collect();
            let harness = Arc::clone(source.harness());
            let job = Job { source, cases };
            match groups.iter_mut().find(|group| group.harness.path == harness.path) {
                Some(group) => {
                    group.jobs.push(job);
                    group.demands.extend(demands);
                }
                None => groups.push(Selected { harness, jobs: vec![job], demands }),
            }
        }
        groups
    }
}

fn no_such_case(path: &Path, which: &Which, source: &Source) -> String {
    let file = path.display();
    match which {
        Which::All => format!("{file} derives no case: its acceptance table lists no text"),
        Which::Line(line) => {
            let mut lines: Vec<usize> = (0..source.len()).map(|index| source.line(index)).collect();
            lines.dedup();
            let near = lines.iter().rev().find(|other| **other <= *line).or(lines.first());
            let near = near.map(|near| format!("; the nearest starts at line {near}")).unwrap_or_default();
            format!("no case of {file} starts at line {line}{near}")
        }
        Which::Name(name) => {
            let names: Vec<String> = (0..source.len()).map(|index| source.name(index)).collect();
            format!("{file} has no case {name:?}{}", meant(name, &names))
        }
    }
}

fn meant(name: &str, names: &[String]) -> String {
    let near = nearest(name, names.iter().map(String::as_str));
    near.first().map(|near| format!("; did you mean {near:?}?")).unwrap_or_default()
}

/// Whether a YAML file is a harness: it has the keys of one, or extends one.
fn is_harness(path: &Path) -> bool {
    let text = std::fs::read_to_string(path).unwrap_or_default();
    let key = |name: &str| text.lines().any(|line| line.starts_with(name));
    !key("cases:") && !key("prove:") && (key("routine:") || key("host:") || key("extends:"))
}

fn same_file(left: &Path, right: &Path) -> bool {
    left == right || left.canonicalize().ok().is_some_and(|left| right.canonicalize().ok() == Some(left))
}

/// The YAML files below a folder, in order.
pub fn yaml_files(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let mut files = Vec::new();
    let mut folders = vec![folder.to_owned()];
    let mut seen: HashSet<PathBuf> = folder.canonicalize().into_iter().collect();
    while let Some(folder) = folders.pop() {
        let refuse = |error: std::io::Error| {
            Failure::from(Complaint::about(&folder, format!("the folder cannot be read: {error}")))
        };
        for entry in std::fs::read_dir(&folder).map_err(refuse)? {
            let path = entry.map_err(refuse)?.path();
            let kind = path.extension().and_then(|extension| extension.to_str());
            if path.is_dir() {
                // A link back to a folder that is being looked through would lead round and round.
                if seen.insert(path.canonicalize().map_err(refuse)?) {
                    folders.push(path);
                }
            } else if matches!(kind, Some("yaml" | "yml")) {
                files.push(path);
            }
        }
    }
    files.sort();
    Ok(files)
}

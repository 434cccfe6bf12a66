//! A case file ready to run: `for` lists multiplied, defaults applied, one case made at a time.

use std::collections::{BTreeSet, HashMap, HashSet};
use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError};

use rayon::prelude::*;
use serde_yaml::{Mapping, Value as Yaml};
use unicode_width::UnicodeWidthStr;

use super::DEFAULT_SEED;
use super::attach::{Bench, Files, NOTHING};
use super::case_file::{CaseFile, DefaultsSpec};
use super::collection::Named;
use super::complaint::Complaint;
use super::document::{Document, KeyPath};
use super::harness::{Case, Harness};
use super::maker::{self, Maker};
use super::placeholder::{Bindings, is_name, names, spell};
use super::plan_demands::{self, Demand};
use super::rule_file::Literal;
use super::sections::beside;
use super::{expect, plan_interrupts};
use crate::board::Inputs;
use crate::run::Setup;

/// The most cases that one case's `for` lists may make.
pub const LARGEST_PRODUCT: usize = 1_000_000;

/// Keys of a case whose mappings are merged with those of `defaults`, one key at a time.
pub(super) const MERGED: [&str; 3] = ["ports", "interrupts", "expect"];

/// A case file, checked.
#[derive(Debug)]
pub struct Suite {
    /// Its harness.
    pub harness: Arc<Harness>,
    pub(super) document: Document,
    cartridges: Named<Yaml>,
    templates: Vec<Template>,
    demands: Vec<Demand>,
    files: Files,
    pub(super) seed: u64,
    widest_label: usize,
}

/// A case before its `for` lists are multiplied.
#[derive(Debug)]
pub(super) struct Template {
    /// The case's keys, with the defaults.
    pub value: Yaml,
    /// The case's own keys.
    pub own: Mapping,
    pub path: KeyPath,
    pub line: usize,
    pub variables: Vec<(String, Vec<Literal>)>,
    /// How many cases of the file come before it.
    first: usize,
}

impl Template {
    fn count(&self) -> usize {
        self.variables.iter().map(|(_, values)| values.len()).product()
    }

    /// The values of the variables in one combination; the last variable changes fastest.
    fn bindings(&self, mut number: usize) -> Bindings {
        let mut values = Vec::new();
        for (name, list) in self.variables.iter().rev() {
            values.push((name.clone(), list[number % list.len()].clone()));
            number /= list.len();
        }
        values.reverse();
        Bindings::new(values)
    }
}

impl Suite {
    /// Reads and checks a case file and its harness; every case is made once, so that whatever is wrong is found now.
    ///
    /// # Errors
    /// The first thing that is wrong.
    pub fn load(path: impl AsRef<Path>) -> Result<Self, Complaint> {
        Self::load_with(path, DEFAULT_SEED, &mut HashMap::new())
    }

    /// Like [`Suite::load`], with a seed for all noise, and with harnesses that are loaded already (by path).
    ///
    /// # Errors
    /// The first thing that is wrong.
    pub fn load_with(
        path: impl AsRef<Path>,
        seed: u64,
        harnesses: &mut HashMap<PathBuf, Arc<Harness>>,
    ) -> Result<Self, Complaint> {
        let document = Document::read(path.as_ref())?;
        let file: CaseFile = document.parse()?;
        let key = KeyPath::root().key("harness");
        let harness_path = beside(&document.path, &file.harness);
        if !harness_path.is_file() {
            document.read_named(&key, &harness_path)?;
        }
        let harness = match harnesses.get(&harness_path) {
            Some(harness) => Arc::clone(harness),
            None => {
                let harness = Arc::new(Harness::load(&harness_path)?);
                harnesses.insert(harness_path, Arc::clone(&harness));
                harness
            }
        };
        Self::checked(document, file, harness, seed)
    }

    /// Like [`Suite::load_with`], for a case file that was written for this harness a moment ago.
    ///
    /// # Errors
    /// The first thing that is wrong.
    pub fn load_for(path: impl AsRef<Path>, seed: u64, harness: &Arc<Harness>) -> Result<Self, Complaint> {
        let document = Document::read(path.as_ref())?;
        let file: CaseFile = document.parse()?;
        Self::checked(document, file, Arc::clone(harness), seed)
    }

    fn checked(document: Document, file: CaseFile, harness: Arc<Harness>, seed: u64) -> Result<Self, Complaint> {
        let mut suite = Self::prepare(document, file, harness, seed)?;
        suite.widest_label = suite.check()?;
        Ok(suite)
    }

    fn prepare(document: Document, file: CaseFile, harness: Arc<Harness>, seed: u64) -> Result<Self, Complaint> {
        let root = KeyPath::root();
        if let Some(defaults) = &file.defaults {
            check_defaults(&document, &harness, defaults)?;
        }
        if file.cartridges.get(NOTHING).is_some() {
            let path = root.key("cartridges").key(NOTHING);
            return Err(document.complain_key(&path, format!("`{NOTHING}` is the empty socket; give another name")));
        }
        if file.cases.is_empty() && file.prove.is_empty() {
            return Err(document.complain(&root.key("cases"), "there is no case in this file"));
        }
        let demands = plan_demands::demands(&document, &harness, &file.prove)?;
        let mut templates: Vec<Template> = Vec::new();
        let mut first = 0;
        let lines = document.element_lines(&root.key("cases"));
        for (index, value) in file.cases.iter().enumerate() {
            let path = root.key("cases").index(index);
            let mut template = template(&document, file.defaults.as_ref(), value, path, first)?;
            // A list behind an alias is not spelled out here; it has one line.
            template.line = lines.get(index).copied().unwrap_or_else(|| document.line(&template.path));
            first += template.count();
            templates.push(template);
        }
        let (cartridges, files) = (file.cartridges, Files::default());
        Ok(Self { harness, document, cartridges, templates, demands, files, seed, widest_label: 0 })
    }

    /// Makes every case once, and checks that their names differ. Returns the width of the widest label.
    fn check(&self) -> Result<usize, Complaint> {
        let bases = self.bases();
        for name in self.cartridges.names() {
            self.check_cartridge(name, bases.contains(name))?;
        }
        // Of several complaints the first in the file is given, whichever thread found it.
        let made: Vec<Result<(String, usize), Complaint>> = (0..self.len())
            .into_par_iter()
            .map(|index| self.case(index).map(|case| (case.name, case.label.width())))
            .collect();
        let made: Vec<(String, usize)> = made.into_iter().collect::<Result<_, _>>()?;
        let mut seen: HashMap<&str, usize> = HashMap::with_capacity(made.len());
        for (index, (name, _)) in made.iter().enumerate() {
            if let Some(earlier) = seen.insert(name, index) {
                let (template, other) = (self.template(index).0, self.template(earlier).0);
                let message = match std::ptr::eq(template, other) {
                    true => format!("two combinations of the `for` lists make the name {name:?}"),
                    false => format!("the name {name:?} is that of the case in line {} too", other.line),
                };
                return Err(self.document.complain(&template.path.key("name"), message));
            }
        }
        Ok(made.iter().map(|(_, width)| *width).max().unwrap_or(0))
    }

    /// The cartridges from which others start; these need not make a cartridge by themselves.
    fn bases(&self) -> BTreeSet<&str> {
        let attached = self.templates.iter().filter_map(|template| template.value.get("attach"));
        let recipes = self.cartridges.0.iter().map(|(_, value)| value).chain(attached);
        recipes.filter_map(|recipe| recipe.get("with")?.as_str()).collect()
    }

    /// A cartridge is checked also if no case attaches it, as far as it can be without the values of placeholders.
    fn check_cartridge(&self, name: &str, base: bool) -> Result<(), Complaint> {
        let complete = self.bench().check_keys(name)?;
        if complete && !base {
            let path = KeyPath::root().key("cartridges").key(name);
            self.bench().understand(&Yaml::String(name.to_owned()), &path, &Bindings::default())?;
        }
        Ok(())
    }

    /// A complaint about what a demand lets be unknown.
    pub fn complain_unknown(&self, demand: usize, place: usize, why: String) -> Complaint {
        let path = KeyPath::root().key("prove").index(demand).key("unknown");
        let many = self.demands[demand].unknown.len() > 1;
        self.document.complain(&if many { path.index(place) } else { path }, why)
    }

    /// What must be proved.
    pub fn demands(&self) -> &[Demand] {
        &self.demands
    }

    pub(super) fn bench(&self) -> Bench<'_> {
        Bench {
            document: &self.document,
            cartridges: &self.cartridges,
            layout: &self.harness.layout,
            files: &self.files,
            seed: self.seed,
        }
    }

    /// The case file.
    pub fn path(&self) -> &Path {
        &self.document.path
    }

    /// Every file that was read for it, those of its harness left out: its own, and the images that its cases attach.
    pub fn files(&self) -> Vec<PathBuf> {
        let attached = self.files.lock().unwrap_or_else(PoisonError::into_inner);
        [self.document.path.clone()].into_iter().chain(attached.keys().cloned()).collect()
    }

    /// The seed of all noise.
    pub fn seed(&self) -> u64 {
        self.seed
    }

    /// The width of the widest label of any case, in columns.
    pub fn widest_label(&self) -> usize {
        self.widest_label
    }

    /// How many cases there are.
    pub fn len(&self) -> usize {
        self.templates.last().map_or(0, |last| last.first + last.count())
    }

    /// Whether there is no case; a suite that has been loaded has at least one.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    fn template(&self, index: usize) -> (&Template, usize) {
        let after = self.templates.partition_point(|template| template.first <= index);
        let template = &self.templates[after - 1];
        (template, index - template.first)
    }

    /// The line of a case.
    pub fn line(&self, index: usize) -> usize {
        self.template(index).0.line
    }

    /// The name of a case, without making the case.
    pub fn name(&self, index: usize) -> String {
        let (template, number) = self.template(index);
        name(template, &template.bindings(number))
    }

    /// Makes a case; `index` is below [`Suite::len`].
    ///
    /// # Errors
    /// Whatever is wrong with it; never for a suite that has been loaded, unless files have changed.
    pub fn case(&self, index: usize) -> Result<Case, Complaint> {
        let (template, number) = self.template(index);
        Maker { suite: self, template }.make(&template.bindings(number))
    }

    /// All cases, in order.
    pub fn cases(&self) -> impl Iterator<Item = Result<Case, Complaint>> + '_ {
        (0..self.len()).map(|index| self.case(index))
    }
}

/// Reads what can be told of a case before its variables have values.
fn template(
    document: &Document,
    defaults: Option<&Yaml>,
    value: &Yaml,
    path: KeyPath,
    first: usize,
) -> Result<Template, Complaint> {
    let Yaml::Mapping(own) = value else {
        return Err(document.complain(&path, "a case is a mapping of keys to values"));
    };
    let mut merged = own.clone();
    for (key, default) in defaults.and_then(Yaml::as_mapping).into_iter().flatten() {
        match merged.get_mut(key) {
            None => {
                merged.insert(key.clone(), default.clone());
            }
            Some(Yaml::Mapping(given)) if key.as_str().is_some_and(|key| MERGED.contains(&key)) => {
                for (inner, default) in default.as_mapping().into_iter().flatten() {
                    if !given.contains_key(inner) && !excluded(given, inner) {
                        given.insert(inner.clone(), default.clone());
                    }
                }
            }
            Some(_) => {}
        }
    }
    if own.get("name").is_some_and(|name| !name.is_string() && name.as_u64().is_none()) {
        return Err(document.complain(&path.key("name"), "the name is a text; put it in quotes"));
    }
    let variables = variables(document, own.get("for"), &path)?;
    // Every case is made from a copy of the value, and the lists may be long.
    merged.remove("for");
    let value = Yaml::Mapping(merged);
    Ok(Template { value, own: own.clone(), path, line: 0, variables, first })
}

/// The defaults by themselves, so that what is wrong with them is found even if every case says otherwise.
fn check_defaults(document: &Document, harness: &Harness, defaults: &Yaml) -> Result<(), Complaint> {
    let root = KeyPath::root().key("defaults");
    let spec: DefaultsSpec = document.parse_value(defaults, &root)?;
    let mut placeholders = Vec::new();
    names(defaults, &root, &mut placeholders);
    if !placeholders.is_empty() {
        return Ok(());
    }
    let ports = spec.ports.as_ref().map_or(&[][..], |named| &named.0);
    maker::schedules(harness, ports).map_err(|refusal| {
        let path = root.key("ports").join(&refusal.path);
        refusal.complain(document, &path)
    })?;
    let interrupts = spec.interrupts.as_ref().map_or(&[][..], |named| &named.0);
    plan_interrupts::timings(harness, interrupts).map_err(|refusal| {
        let path = root.key("interrupts").join(&refusal.path);
        refusal.complain(document, &path)
    })?;
    let inputs = Inputs { ports: vec![None; harness.rig.map.ports().len()], ..Inputs::default() };
    let mut setup = Setup { inputs, ..Setup::default() };
    match expect::resolve(harness, &spec.expect.unwrap_or_default(), &mut setup) {
        // Whether a case expects anything at all is the case's business.
        Err(refusal) if !refusal.path.0.is_empty() => {
            let path = root.key("expect").join(&refusal.path);
            Err(refusal.complain(document, &path))
        }
        _ => Ok(()),
    }
}

/// A case that names a branch does not take a kind from the defaults, and the other way round.
fn excluded(given: &Mapping, key: &Yaml) -> bool {
    match key.as_str() {
        Some("branch") => given.contains_key("kind"),
        Some("kind") => given.contains_key("branch"),
        _ => false,
    }
}

fn variables(
    document: &Document,
    value: Option<&Yaml>,
    path: &KeyPath,
) -> Result<Vec<(String, Vec<Literal>)>, Complaint> {
    let at = path.key("for");
    let Some(value) = value else { return Ok(Vec::new()) };
    let lists: Named<Vec<Literal>> = document.parse_value(value, &at)?;
    let mut product: usize = 1;
    for (name, values) in &lists.0 {
        let here = at.key(name);
        if !is_name(name) {
            let message = "a variable is a letter, then letters, digits, `-` and `_`";
            return Err(document.complain_key(&here, message));
        }
        if values.is_empty() {
            return Err(document.complain(&here, "the list is empty, so the case would never run"));
        }
        let mut seen = HashSet::new();
        for (index, value) in values.iter().enumerate() {
            if !seen.insert(value) {
                return Err(document.complain(&here.index(index), format!("{} is listed twice", spell(value))));
            }
        }
        product = product.saturating_mul(values.len());
        if product > LARGEST_PRODUCT {
            let message = format!("the lists make more than {LARGEST_PRODUCT} cases, which is the most");
            return Err(document.complain(&at, message));
        }
    }
    Ok(lists.0)
}

/// The name with its placeholders replaced; what it does not mention follows.
pub(super) fn name(template: &Template, bindings: &Bindings) -> String {
    let mut mentioned = BTreeSet::new();
    let mut value = template.value.get("name").cloned().unwrap_or(Yaml::Null);
    bindings.fill(&mut value, &mut mentioned);
    let mut name = match value {
        Yaml::String(text) => text,
        Yaml::Number(number) => number.to_string(),
        _ => String::new(),
    };
    for (variable, _) in template.variables.iter().filter(|(variable, _)| !mentioned.contains(variable)) {
        if let Some(value) = bindings.get(variable) {
            name.push_str(&format!(", {variable} {}", spell(value)));
        }
    }
    name
}

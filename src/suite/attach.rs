//! What a case attaches: from names, overrides and placeholders to a cartridge.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};

use serde_yaml::{Mapping, Value as Yaml};

use super::collection::Named;
use super::complaint::{Complaint, suggestion};
use super::contact_plan;
use super::document::{Document, KeyPath};
use super::placeholder::{self, Bindings, key_text};
use super::recipe_file::{RECIPE_KEYS, RecipeSpec};
use super::rule_file::Literal;
use super::scalar::Number;
use super::sections::beside;
use crate::cartridge::{Attached, Checksum, ErrorPlace, Fill, Holds, Layout, Recipe, Value};

/// What the word for an empty socket is.
pub const NOTHING: &str = "nothing";

/// The longest chain of `with`.
const LONGEST_CHAIN: usize = 32;

/// Image files that have been read, shared by all cases of a suite.
pub type Files = Mutex<BTreeMap<PathBuf, Arc<[u8]>>>;

/// Everything that is needed to understand an `attach`.
pub struct Bench<'a> {
    /// The case file.
    pub document: &'a Document,
    /// Its cartridges.
    pub cartridges: &'a Named<Yaml>,
    /// The header layout of the harness.
    pub layout: &'a Layout,
    /// Image files read so far.
    pub files: &'a Files,
    /// Seed of noise.
    pub seed: u64,
}

/// One key of a recipe: where it stands, and what it says.
#[derive(Clone)]
struct Entry {
    key: String,
    value: Yaml,
    path: KeyPath,
}

/// A cartridge as understood.
pub struct Understood {
    /// The cartridge.
    pub attached: Attached,
    /// What to call it.
    pub label: Vec<String>,
    /// The placeholders that stood in it.
    pub used: BTreeSet<String>,
}

impl Bench<'_> {
    /// Understands the value of `attach`, which stands at `path`.
    pub fn understand(&self, value: &Yaml, path: &KeyPath, variables: &Bindings) -> Result<Understood, Complaint> {
        if value.as_str() == Some(NOTHING) {
            let (label, used) = (vec![NOTHING.to_owned()], BTreeSet::new());
            return Ok(Understood { attached: Attached::nothing(), label, used });
        }
        let mut entries = self.entries(value, path, &mut Vec::new())?;
        let mut used = BTreeSet::new();
        let bindings = self.bind(&mut entries, variables, &mut used)?;
        for entry in &mut entries {
            bindings.fill(&mut entry.value, &mut used);
        }
        self.check_placeholders(&entries)?;
        let label = self.label(value, &entries, variables, &bindings, &used);
        let attached = self.build(&entries, path)?;
        Ok(Understood { attached, label, used })
    }

    /// Checks the keys of a cartridge of the file, also if no case attaches it. Returns whether all its placeholders have
    /// values, so that it can be understood by itself.
    pub fn check_keys(&self, name: &str) -> Result<bool, Complaint> {
        let path = KeyPath::root().key("cartridges").key(name);
        let mut entries = self.named(name, &path, &mut Vec::new())?;
        let bindings = self.bind(&mut entries, &Bindings::default(), &mut BTreeSet::new())?;
        let mut open = Vec::new();
        for entry in &mut entries {
            bindings.fill(&mut entry.value, &mut BTreeSet::new());
            placeholder::names(&entry.value, &entry.path, &mut open);
        }
        Ok(open.is_empty())
    }

    /// All keys of a recipe, those of the cartridge that it starts from first.
    fn entries(&self, value: &Yaml, path: &KeyPath, chain: &mut Vec<String>) -> Result<Vec<Entry>, Complaint> {
        match value {
            Yaml::String(name) => self.named(name, path, chain),
            Yaml::Mapping(mapping) if mapping.is_empty() => {
                let message = "the recipe is empty; for an erased cartridge say `fill: 0xFF`";
                Err(self.document.complain(path, message))
            }
            Yaml::Mapping(mapping) => {
                let with = mapping.get("with");
                let mut entries = match with {
                    Some(Yaml::String(name)) => self.named(name, &path.key("with"), chain)?,
                    Some(_) => return Err(self.document.complain(&path.key("with"), "give the name of a cartridge")),
                    None => Vec::new(),
                };
                for (key, value) in mapping.iter().filter(|(key, _)| key.as_str() != Some("with")) {
                    let key = key_text(key);
                    let entry = Entry { path: path.key(&key), value: value.clone(), key };
                    match entries.iter_mut().find(|other| other.key == entry.key) {
                        Some(other) => *other = entry,
                        None => entries.push(entry),
                    }
                }
                Ok(entries)
            }
            _ => Err(self.document.complain(path, "give `nothing`, the name of a cartridge, or a recipe")),
        }
    }

    fn named(&self, name: &str, path: &KeyPath, chain: &mut Vec<String>) -> Result<Vec<Entry>, Complaint> {
        let Some(value) = self.cartridges.get(name) else {
            if name == NOTHING {
                return Err(self.document.complain(path, format!("a recipe cannot start from `{NOTHING}`")));
            }
            let mut complaint = self.document.complain(path, format!("there is no cartridge `{name}`"));
            complaint.help = suggestion(name, self.cartridges.names().chain([NOTHING]));
            return Err(complaint);
        };
        if chain.iter().any(|other| other == name) || chain.len() == LONGEST_CHAIN {
            let message =
                format!("the cartridge `{name}` starts from itself in the end ({} -> {name})", chain.join(" -> "));
            return Err(self.document.complain(path, message));
        }
        let at = KeyPath::root().key("cartridges").key(name);
        if !value.is_mapping() {
            return Err(self.document.complain(&at, "a cartridge is a mapping of keys to values"));
        }
        chain.push(name.to_owned());
        let entries = self.entries(value, &at, chain);
        chain.pop();
        entries
    }

    /// Takes the values of placeholders out of the entries.
    fn bind(
        &self,
        entries: &mut Vec<Entry>,
        variables: &Bindings,
        used: &mut BTreeSet<String>,
    ) -> Result<Bindings, Complaint> {
        let mut found = Vec::new();
        entries.iter().for_each(|entry| placeholder::names(&entry.value, &entry.path, &mut found));
        let known = |key: &str| RECIPE_KEYS.contains(&key) || self.layout.find(key).is_some();
        let mut bindings = variables.clone();
        let mut own: Vec<Entry> = Vec::new();
        for entry in std::mem::take(entries) {
            if known(&entry.key) {
                entries.push(entry);
            } else if found.iter().any(|(name, _)| *name == entry.key) {
                own.push(entry);
            } else {
                let names = found.iter().map(|(name, _)| name.as_str());
                let words =
                    self.layout.fields().iter().map(|field| field.name.as_str()).chain(RECIPE_KEYS).chain(names);
                let words: Vec<&str> = words.collect();
                let mut complaint = self.document.complain_key(&entry.path, format!("unknown key `{}`", entry.key));
                complaint.help = suggestion(&entry.key, words);
                return Err(complaint);
            }
        }
        // A value may hold placeholders of `for` variables and of other values; a few rounds settle them.
        for _ in 0..4 {
            for entry in &mut own {
                bindings.fill(&mut entry.value, used);
            }
            for entry in &own {
                let literal: Literal = self.document.parse_value(&entry.value, &entry.path)?;
                bindings.bind(&entry.key, literal);
            }
        }
        Ok(bindings)
    }

    fn check_placeholders(&self, entries: &[Entry]) -> Result<(), Complaint> {
        let mut open = Vec::new();
        entries.iter().for_each(|entry| placeholder::names(&entry.value, &entry.path, &mut open));
        match open.first() {
            None => Ok(()),
            Some((name, path)) => Err(self
                .document
                .complain(path, format!("nothing gives `{{{name}}}` a value"))
                .with_help(format!("set it with `for: {{{name}: [...]}}` or `attach: {{with: ..., {name}: ...}}`"))),
        }
    }

    fn build(&self, entries: &[Entry], path: &KeyPath) -> Result<Attached, Complaint> {
        let mut keys = Mapping::new();
        let mut fields = Vec::new();
        for entry in entries {
            if self.layout.find(&entry.key).is_some() {
                let literal: Literal = self.document.parse_value(&entry.value, &entry.path)?;
                fields.push((entry.key.clone(), self.field_value(&entry.key, literal)));
            } else {
                keys.insert(Yaml::String(entry.key.clone()), entry.value.clone());
            }
        }
        let spec: RecipeSpec = self.parse_keys(&keys, entries, path)?;
        let place = |key: &str| entry_path(entries, key, path);
        let contacts = contact_plan::contacts(spec.contacts.as_deref().unwrap_or_default())
            .map_err(|(index, message)| self.document.complain(&place("contacts").index(index), message))?;
        let recipe = self.recipe(&spec, fields, &place)?;
        let image = recipe.build(self.layout).map_err(|error| {
            let at = place(&error.part);
            let many = entries.iter().any(|entry| entry.key == error.part && !is_scalar(&entry.value));
            let at = match error.at {
                Some(ErrorPlace::Index(index)) if many => at.index(index),
                Some(ErrorPlace::Offset(offset)) => at.key(&offset.to_string()),
                _ => at,
            };
            self.document.complain(&at, error.reason)
        })?;
        Ok(Attached { image: Some(Arc::new(image)), contacts })
    }

    /// Reads the fixed keys; a complaint points at the place where the key really stands.
    fn parse_keys(&self, keys: &Mapping, entries: &[Entry], path: &KeyPath) -> Result<RecipeSpec, Complaint> {
        // One key at a time, so that an inherited key is complained about where it was written.
        for (key, value) in keys {
            let mut single = Mapping::new();
            single.insert(key.clone(), value.clone());
            let at = entry_path(entries, &key_text(key), path);
            let base = KeyPath(at.0[..at.0.len().saturating_sub(1)].to_vec());
            self.document.parse_value::<RecipeSpec>(&Yaml::Mapping(single), &base)?;
        }
        self.document.parse_value(&Yaml::Mapping(keys.clone()), path)
    }

    fn field_value(&self, name: &str, literal: Literal) -> Value {
        let checksum = self.layout.find(name).is_some_and(|field| matches!(field.holds, Holds::Sum16 { .. }));
        match literal {
            Literal::Text(text) if checksum && text == "right" => Value::Checksum(Checksum::Right),
            Literal::Text(text) if checksum && text == "wrong" => Value::Checksum(Checksum::Wrong),
            Literal::Text(text) => Value::Text(text),
            Literal::Number(number) => Value::Number(number),
        }
    }

    fn recipe(
        &self,
        spec: &RecipeSpec,
        fields: Vec<(String, Value)>,
        place: &dyn Fn(&str) -> KeyPath,
    ) -> Result<Recipe, Complaint> {
        let file = spec.file.as_ref().map(|name| self.file(name, &place("file"))).transpose()?;
        let default_size = file.as_ref().map_or(1 << 20, |bytes| bytes.len() as u32);
        let header = spec.header.as_ref().map(|header| {
            let at = header.at.map_or(self.layout.extent().start, |Number(at)| at);
            (at, header.hex.0.clone())
        });
        Ok(Recipe {
            size: spec.size.map_or(default_size, |size| size.0),
            fill: spec.fill.map_or(Fill::Byte(0xFF), |fill| fill.with_seed(self.seed)),
            file,
            header,
            fields,
            bytes: spec.bytes.iter().flat_map(|bytes| &bytes.0).map(|(at, hex)| (*at, hex.0.clone())).collect(),
            copies: spec.header_copy.iter().flat_map(|copies| &copies.0).map(|copy| copy.0).collect(),
            order: spec.byte_order.unwrap_or_default().into(),
        })
    }

    fn file(&self, name: &str, path: &KeyPath) -> Result<Arc<[u8]>, Complaint> {
        let file = beside(&self.document.path, name);
        let mut files = self.files.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(bytes) = files.get(&file) {
            return Ok(Arc::clone(bytes));
        }
        let bytes = self.document.image(path, &file)?;
        let bytes: Arc<[u8]> = bytes.into();
        files.insert(file, Arc::clone(&bytes));
        Ok(bytes)
    }

    /// What to call the cartridge: its name or file, then what is said of it here.
    fn label(
        &self,
        value: &Yaml,
        entries: &[Entry],
        variables: &Bindings,
        bindings: &Bindings,
        used: &BTreeSet<String>,
    ) -> Vec<String> {
        let mut words = Vec::new();
        let overrides = match value {
            Yaml::String(name) => {
                words.push(name.clone());
                None
            }
            Yaml::Mapping(mapping) => {
                words.extend(mapping.get("with").and_then(Yaml::as_str).map(str::to_owned));
                Some(mapping)
            }
            _ => None,
        };
        for name in used {
            let own = overrides.is_some_and(|mapping| mapping.contains_key(name.as_str()));
            if !own && let Some(value) = variables.get(name) {
                words.push(format!("{name} {}", placeholder::spell(value)));
            }
        }
        for (key, raw) in overrides.into_iter().flatten().filter(|(key, _)| key.as_str() != Some("with")) {
            let key = key_text(key);
            let bound = bindings.get(&key).map(|literal| Yaml::String(placeholder::spell(literal)));
            let entry = entries.iter().find(|entry| entry.key == key).map(|entry| entry.value.clone());
            words.push(super::label::override_words(&key, &entry.or(bound).unwrap_or_else(|| raw.clone())));
        }
        words
    }
}

/// Where a key of the recipe stands, or the recipe itself.
fn entry_path(entries: &[Entry], key: &str, path: &KeyPath) -> KeyPath {
    let own = entries.iter().find(|entry| entry.key == key).map(|entry| entry.path.clone());
    own.unwrap_or_else(|| path.clone())
}

fn is_scalar(value: &Yaml) -> bool {
    !value.is_sequence() && !value.is_mapping()
}

//! One case of a template: placeholders filled in, cartridge built, inputs and expectations resolved.

use std::collections::BTreeSet;

use serde_yaml::Value as Yaml;

use super::board_file::ReadsSpec;
use super::case_file::CaseSpec;
use super::complaint::Complaint;
use super::document::{KeyPath, Step};
use super::harness::{Case, Harness};
use super::placeholder::Bindings;
use super::refusal::Refusal;
use super::suite_file::{MERGED, Suite, Template, name};
use super::{expect, label, plan_board, plan_interrupts};
use crate::board::{Inputs, Schedule};
use crate::run::{Setup, Timing};
use crate::units;

/// Makes the cases of one template.
pub(super) struct Maker<'a> {
    pub suite: &'a Suite,
    pub template: &'a Template,
}

impl Maker<'_> {
    pub fn make(&self, bindings: &Bindings) -> Result<Case, Complaint> {
        let harness = &self.suite.harness;
        let mut used = BTreeSet::new();
        let spec = self.read(bindings, &mut used)?;
        let understood = self
            .suite
            .bench()
            .understand(&spec.attach, &self.template.path.key("attach"), bindings)
            .map_err(|complaint| self.name_case(complaint, &spec.name))?;
        used.extend(understood.used.iter().cloned());
        self.check_variables(&used)?;
        let ports = self.ports(&spec)?;
        let empty = spec.empty.map_or(harness.empty, Into::into);
        let inputs = Inputs { attached: understood.attached, empty, ports, seed: self.suite.seed };
        let interrupts = self.interrupts(&spec)?;
        let mut setup = Setup { inputs, interrupts, ..Setup::default() };
        let label = self.label(understood.label, &spec, &setup);
        let expectation =
            expect::resolve(harness, &spec.expect.unwrap_or_default(), &mut setup).map_err(|refusal| {
                let path = self.place(&KeyPath::root().key("expect").join(&refusal.path));
                refusal.complain(&self.suite.document, &path)
            })?;
        let power_on = match &spec.power_on {
            Some(words) => vec![plan_board::ram_fills(&words.0); harness.power_on.len()],
            None => harness.power_on.clone(),
        };
        Ok(Case {
            name: spec.name,
            label,
            file: self.suite.document.path.clone(),
            line: self.template.line,
            setup,
            fills: Harness::fills(&power_on),
            expectation,
            // One line, however the file breaks it.
            known_bug: spec.known_bug.map(|why| why.split_whitespace().collect::<Vec<_>>().join(" ")),
        })
    }

    /// The case with its placeholders filled in; the names of these are added to `used`.
    fn read(&self, bindings: &Bindings, used: &mut BTreeSet<String>) -> Result<CaseSpec, Complaint> {
        let mut value = self.template.value.clone();
        // The attached cartridge is filled in by itself.
        let attach = value.as_mapping_mut().and_then(|mapping| {
            if let Some(text) = mapping.get_mut("name") {
                *text = Yaml::String(name(self.template, bindings));
            }
            mapping.get_mut("attach").map(|attach| std::mem::replace(attach, Yaml::Null))
        });
        bindings.fill(&mut value, used);
        if let (Some(attach), Some(mapping)) = (attach, value.as_mapping_mut()) {
            mapping.insert("attach".into(), attach);
        }
        let mut spec: CaseSpec = self.parse(&value)?;
        bindings.fill(&mut spec.attach, used);
        self.check_texts(&spec)?;
        Ok(spec)
    }

    /// What came from the defaults was checked there, so a complaint is about the case's own keys; but a value that a
    /// placeholder got may be wrong in a default too.
    fn parse(&self, value: &Yaml) -> Result<CaseSpec, Complaint> {
        self.suite.document.parse_value(value, &self.template.path).map_err(|complaint| {
            let own = self.template.own.keys().filter_map(Yaml::as_str);
            let whole = complaint.path == self.template.path.to_string();
            let paths = own.map(|key| self.template.path.key(key).to_string());
            if whole || paths.into_iter().any(|path| complaint.path.starts_with(&path)) {
                return complaint;
            }
            complaint.with_help("the value stands in `defaults`")
        })
    }

    fn check_texts(&self, spec: &CaseSpec) -> Result<(), Complaint> {
        let at = |key: &str| self.template.path.key(key);
        if spec.name.trim().is_empty() {
            return Err(self.suite.document.complain(&at("name"), "the name is empty"));
        }
        if spec.name.contains(units::acts) {
            return Err(self.suite.document.complain(&at("name"), "a name is one line, without tabs"));
        }
        if spec.known_bug.as_ref().is_some_and(|why| why.trim().is_empty()) {
            return Err(self.suite.document.complain(&at("known-bug"), "say why the case is known to fail"));
        }
        Ok(())
    }

    /// A complaint about a cartridge says which case attaches it.
    fn name_case(&self, mut complaint: Complaint, name: &str) -> Complaint {
        if !complaint.path.starts_with(&self.template.path.to_string()) {
            complaint.message.push_str(&format!(" (case {name:?}, line {})", self.template.line));
        }
        complaint
    }

    /// A `for` variable that nothing uses would only repeat the same case.
    fn check_variables(&self, used: &BTreeSet<String>) -> Result<(), Complaint> {
        let unused = self.template.variables.iter().find(|(name, _)| !used.contains(name));
        match unused {
            None => Ok(()),
            Some((name, _)) => {
                let path = self.template.path.key("for").key(name);
                let message =
                    format!("nothing but the name uses `{{{name}}}`, so the same case would run again and again");
                Err(self.suite.document.complain_key(&path, message))
            }
        }
    }

    /// Where a key below the case stands: in the case, or in the defaults.
    fn place(&self, below: &KeyPath) -> KeyPath {
        let keys: Vec<&str> = below.0.iter().map_while(Step::as_key).take(2).collect();
        let stands = |value: Option<&Yaml>| match (value, &keys[..]) {
            (Some(value), [first, second]) if MERGED.contains(first) => value.get(*second).is_some(),
            (value, _) => value.is_some(),
        };
        let first = keys.first().copied().unwrap_or_default();
        let own = stands(self.template.own.get(first));
        let base = if own || !stands(self.template.value.get(first)) {
            self.template.path.clone()
        } else {
            KeyPath::root().key("defaults")
        };
        base.join(below)
    }

    fn ports(&self, spec: &CaseSpec) -> Result<Vec<Option<Schedule>>, Complaint> {
        let given = spec.ports.as_ref().map_or(&[][..], |named| &named.0);
        schedules(&self.suite.harness, given).map_err(|refusal| {
            let path = self.place(&KeyPath::root().key("ports").join(&refusal.path));
            refusal.complain(&self.suite.document, &path)
        })
    }

    fn interrupts(&self, spec: &CaseSpec) -> Result<Vec<Option<Timing>>, Complaint> {
        let given = spec.interrupts.as_ref().map_or(&[][..], |named| &named.0);
        plan_interrupts::timings(&self.suite.harness, given).map_err(|refusal| {
            let path = self.place(&KeyPath::root().key("interrupts").join(&refusal.path));
            refusal.complain(&self.suite.document, &path)
        })
    }

    /// The cartridge, and every input that is not the harness's own.
    fn label(&self, mut words: Vec<String>, spec: &CaseSpec, setup: &Setup) -> String {
        let (rig, inputs) = (&self.suite.harness.rig, &setup.inputs);
        let map = &rig.map;
        if inputs.empty != self.suite.harness.empty {
            words.push(label::empty_words(inputs.empty).to_owned());
        }
        for (index, schedule) in inputs.ports.iter().enumerate() {
            if let Some(schedule) = schedule
                && map.ports()[index].reads.as_ref() != Some(schedule)
            {
                words.push(label::port_words(map, index, schedule));
            }
        }
        for (device, timing) in rig.interrupts.iter().zip(&setup.interrupts) {
            if let Some(timing) = timing
                && device.timing != *timing
            {
                words.push(label::interrupt_words(&device.name, *timing));
            }
        }
        if let Some(power_on) = &spec.power_on {
            let fills = plan_board::ram_fills(&power_on.0);
            let each: Vec<String> = fills.iter().map(|fill| label::fill_words(map, &[*fill])).collect();
            words.push(format!("RAM {}", each.join("/")));
        }
        words.retain(|word| !word.is_empty());
        words.join(", ")
    }
}

/// What ports read, by index, from what a case says by name. A refusal's place is below `ports`.
pub(super) fn schedules(harness: &Harness, given: &[(String, ReadsSpec)]) -> Result<Vec<Option<Schedule>>, Refusal> {
    let ports = harness.rig.map.ports();
    let mut schedules = vec![None; ports.len()];
    for (name, reads) in given {
        let at = KeyPath::root().key(name);
        let Some(index) = ports.iter().position(|port| port.name == *name) else {
            return Err(Refusal::unknown_key(at, "port", name, ports.iter().map(|port| port.name.as_str())));
        };
        if ports[index].reads.is_none() {
            return Err(Refusal::of_key(at, format!("the port `{name}` cannot be read")));
        }
        let schedule = plan_board::schedule(reads, ports[index].size);
        schedules[index] = Some(schedule.map_err(|(keys, message)| Refusal::new(at.join(&keys), message))?);
    }
    Ok(schedules)
}

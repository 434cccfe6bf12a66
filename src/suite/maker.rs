//! One case of a template: placeholders filled in, cartridge built, inputs and expectations resolved.

use std::collections::BTreeSet;

use serde_yaml::Value as Yaml;

use super::case_file::CaseSpec;
use super::complaint::{Complaint, suggestion};
use super::document::{KeyPath, Step};
use super::harness::{Case, Harness};
use super::harness_file::ReadsSpec;
use super::placeholder::Bindings;
use super::suite_file::{Suite, Template, name};
use super::{expect, label, plan_board};
use crate::board::{Inputs, Schedule};
use crate::run::Setup;

/// Keys of `defaults`.
const DEFAULT_KEYS: [&str; 4] = ["empty", "ports", "power-on", "expect"];

/// Makes the cases of one template.
pub(super) struct Maker<'a> {
    pub suite: &'a Suite,
    pub template: &'a Template,
}

impl Maker<'_> {
    pub fn make(&self, bindings: &Bindings) -> Result<Case, Complaint> {
        let harness = &self.suite.harness;
        let mut used = BTreeSet::new();
        let mut value = self.template.value.clone();
        // The attached cartridge is filled in by itself.
        let attach = value.as_mapping_mut().and_then(|mapping| {
            if let Some(text) = mapping.get_mut("name") {
                *text = Yaml::String(name(self.template, bindings));
            }
            mapping.get_mut("attach").map(|attach| std::mem::replace(attach, Yaml::Null))
        });
        bindings.fill(&mut value, &mut used);
        if let (Some(attach), Some(mapping)) = (attach, value.as_mapping_mut()) {
            mapping.insert("attach".into(), attach);
        }
        let mut spec: CaseSpec = self.parse(&value)?;
        bindings.fill(&mut spec.attach, &mut used);
        if spec.name.trim().is_empty() {
            return Err(self.complain(&["name"], "the name is empty"));
        }
        let understood = self.suite.bench().understand(&spec.attach, &self.template.path.key("attach"), bindings)?;
        used.extend(understood.used.iter().cloned());
        self.check_variables(&used)?;
        let ports = self.ports(&spec)?;
        let empty = spec.empty.map_or(harness.empty, Into::into);
        let inputs = Inputs { attached: understood.attached, empty, ports, seed: self.suite.seed };
        let label = self.label(understood.label, &spec, &inputs);
        let mut setup = Setup { inputs, probes: Vec::new() };
        let expectation =
            expect::resolve(harness, &spec.expect.unwrap_or_default(), &mut setup).map_err(|refusal| {
                expect::complain(refusal, |keys, message| {
                    let keys: Vec<&str> = ["expect"].into_iter().chain(keys.iter().map(String::as_str)).collect();
                    self.complain(&keys, message)
                })
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
            known_bug: spec.known_bug,
        })
    }

    fn parse(&self, value: &Yaml) -> Result<CaseSpec, Complaint> {
        self.suite.document.parse_value(value, &self.template.path).map_err(|complaint| {
            // What came from the defaults was checked there, so a complaint is about the case's own keys; but a value
            // that a placeholder got may be wrong in a default too.
            match self.template.own.keys().any(|key| key.as_str().is_some_and(|key| complaint.path.contains(key))) {
                true => complaint,
                false => complaint.with_help("the key may stand in `defaults`"),
            }
        })
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

    /// A complaint about keys below the case; where the case does not have them, the defaults do.
    fn complain(&self, keys: &[&str], message: impl Into<String>) -> Complaint {
        let mut here = Some(&self.template.own);
        let mut found = 0;
        for key in keys {
            let Some(value) = here.and_then(|mapping| mapping.get(*key)) else { break };
            here = value.as_mapping();
            found += 1;
        }
        let in_defaults = found < keys.len().min(2) && keys.first().is_some_and(|key| DEFAULT_KEYS.contains(key));
        let known_default = in_defaults && self.suite.document.line(&KeyPath::root().key("defaults")) > 0 && {
            let value = keys.iter().try_fold(&self.template.value, |value, key| value.get(*key));
            value.is_some()
        };
        let base = if known_default { KeyPath::root().key("defaults") } else { self.template.path.clone() };
        let path = KeyPath(base.0.into_iter().chain(keys.iter().map(|key| Step::Key((*key).to_owned()))).collect());
        self.suite.document.complain(&path, message)
    }

    fn ports(&self, spec: &CaseSpec) -> Result<Vec<Option<Schedule>>, Complaint> {
        let ports = self.suite.harness.rig.map.ports();
        let mut schedules = vec![None; ports.len()];
        let given: &[(String, ReadsSpec)] = spec.ports.as_ref().map_or(&[], |named| &named.0);
        for (name, reads) in given {
            let Some(index) = ports.iter().position(|port| port.name == *name) else {
                let mut complaint = self.complain(&["ports", name], format!("there is no port `{name}`"));
                complaint.help = suggestion(name, ports.iter().map(|port| port.name.as_str()));
                return Err(complaint);
            };
            if ports[index].reads.is_none() {
                return Err(self.complain(&["ports", name], format!("the port `{name}` cannot be read")));
            }
            let schedule = plan_board::schedule(reads, ports[index].size)
                .map_err(|message| self.complain(&["ports", name], message))?;
            schedules[index] = Some(schedule);
        }
        Ok(schedules)
    }

    /// The cartridge, and every input that is not the harness's own.
    fn label(&self, mut words: Vec<String>, spec: &CaseSpec, inputs: &Inputs) -> String {
        let map = &self.suite.harness.rig.map;
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
        if let Some(power_on) = &spec.power_on {
            let fills = plan_board::ram_fills(&power_on.0);
            let each: Vec<String> = fills.iter().map(|fill| label::fill_words(map, &[*fill])).collect();
            words.push(format!("RAM {}", each.join("/")));
        }
        words.retain(|word| !word.is_empty());
        words.join(", ")
    }
}

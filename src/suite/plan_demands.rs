//! From a case file's `prove` to demands: names become indices, and whatever is wrong is said with its place.

use super::complaint::{Complaint, suggestion};
use super::document::{Document, KeyPath};
use super::expect::within;
use super::harness::Harness;
use super::plan_table::conditions_of;
use super::proof_file::DemandSpec;
use super::rule_file::ConditionSpec;
use crate::trial::Promise;
use crate::verdict::{Conditions, Within};

/// Something that must be proved.
#[derive(Clone, Debug)]
pub struct Demand {
    /// Its name.
    pub name: String,
    /// Its line in the file.
    pub line: usize,
    /// What is unknown beside the header, as written.
    pub unknown: Vec<String>,
    /// What must hold.
    pub wanted: Vec<Demanded>,
}

/// One thing that must hold.
#[derive(Clone, Debug)]
pub enum Demanded {
    /// A branch, by index, and the conditions under which it is taken.
    Branch {
        /// The branch.
        branch: usize,
        /// The conditions.
        when: Conditions,
        /// How they and the branch belong together.
        relation: Relation,
    },
    /// A promise that nothing breaks.
    Keeps(Promise),
    /// A branch that nothing reaches, by index.
    Unreachable(usize),
    /// Limits.
    Within(Within),
}

/// How a branch and conditions belong together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Relation {
    /// The branch is taken if and only if they hold.
    Exactly,
    /// Only if they hold.
    Only,
    /// Always if they hold.
    Always,
}

/// The demands of a case file.
pub fn demands(document: &Document, harness: &Harness, specs: &[DemandSpec]) -> Result<Vec<Demand>, Complaint> {
    let mut list: Vec<Demand> = Vec::new();
    let root = KeyPath::root().key("prove");
    for (index, spec) in specs.iter().enumerate() {
        let path = root.index(index);
        let wanted = wanted(document, harness, &path, spec)?;
        let name = spec.name.clone().unwrap_or_else(|| named(&wanted, harness));
        if name.trim().is_empty() {
            return Err(document.complain(&path.key("name"), "the name is empty"));
        }
        if let Some(other) = list.iter().find(|other| other.name == name) {
            let message = format!("the name {name:?} is that of the demand in line {} too", other.line);
            return Err(document.complain(&path, message));
        }
        let unknown = spec.unknown.as_ref().map_or_else(Vec::new, |unknown| unknown.0.clone());
        list.push(Demand { name, line: document.line(&path), unknown, wanted });
    }
    Ok(list)
}

fn wanted(
    document: &Document,
    harness: &Harness,
    path: &KeyPath,
    spec: &DemandSpec,
) -> Result<Vec<Demanded>, Complaint> {
    let mut list = Vec::new();
    let given: [(&str, &Option<ConditionSpec>, Relation); 3] = [
        ("exactly-when", &spec.exactly_when, Relation::Exactly),
        ("only-when", &spec.only_when, Relation::Only),
        ("always-when", &spec.always_when, Relation::Always),
    ];
    for (key, conditions, relation) in given {
        let Some(conditions) = conditions else { continue };
        let Some(branch) = &spec.branch else {
            return Err(document.complain_key(&path.key(key), format!("`{key}` needs a `branch`")));
        };
        let branch = branch_of(document, harness, &path.key("branch"), branch)?;
        let when = conditions_of(document, &path.key(key), conditions, &harness.rig.map, &harness.layout)?;
        list.push(Demanded::Branch { branch, when, relation });
    }
    if spec.branch.is_some() && list.is_empty() {
        let message = "say when the branch is taken: `exactly-when`, `only-when` or `always-when`";
        return Err(document.complain_key(&path.key("branch"), message));
    }
    let never = spec.never.as_ref().map_or(&[][..], |never| &never.0);
    for (index, name) in never.iter().enumerate() {
        let at = path.key("never");
        let at = if never.len() > 1 { at.index(index) } else { at };
        list.push(never_of(document, harness, &at, name)?);
    }
    if let Some(limits) = &spec.within {
        let limits = within(harness, &path.key("within"), *limits);
        let limits = limits.map_err(|refusal| {
            let at = refusal.path.clone();
            refusal.complain(document, &at)
        })?;
        list.push(Demanded::Within(limits));
    }
    if list.is_empty() {
        let message = "nothing is demanded: give `branch` with a condition, `never` or `within`";
        return Err(document.complain(path, message));
    }
    Ok(list)
}

fn branch_of(document: &Document, harness: &Harness, path: &KeyPath, name: &str) -> Result<usize, Complaint> {
    harness.branch(name).ok_or_else(|| {
        let mut complaint = document.complain(path, format!("there is no branch `{name}`"));
        complaint.help = suggestion(name, harness.rig.branches.iter().map(|branch| branch.name.as_str()));
        complaint
    })
}

fn never_of(document: &Document, harness: &Harness, path: &KeyPath, name: &str) -> Result<Demanded, Complaint> {
    if let Some(promise) = DemandSpec::promise(name) {
        let forbid = harness.forbid;
        let nothing = match promise {
            Promise::Accepts | Promise::Refuses | Promise::Branch if harness.acceptance.rules.is_empty() => {
                "the harness has no acceptance table"
            }
            Promise::Forbidden
                if !(forbid.reads_ram_before_writing || forbid.reads_outside_map || forbid.executes_remapped) =>
            {
                "the harness forbids nothing of the kind"
            }
            _ => return Ok(Demanded::Keeps(promise)),
        };
        return Err(document.complain(path, format!("`{name}` cannot be broken: {nothing}")));
    }
    if let Some(branch) = harness.branch(name) {
        return Ok(Demanded::Unreachable(branch));
    }
    let mut complaint = document.complain(path, format!("`{name}` is neither a promise nor a branch"));
    let known = Promise::ALL.iter().map(|promise| promise.name());
    complaint.help = suggestion(name, known.chain(harness.rig.branches.iter().map(|branch| branch.name.as_str())));
    Err(complaint)
}

/// What a demand says.
fn named(wanted: &[Demanded], harness: &Harness) -> String {
    let branch = |index: usize| harness.rig.branches[index].name.as_str();
    let words = wanted.iter().map(|one| match one {
        Demanded::Branch { branch: index, relation, .. } => match relation {
            Relation::Exactly => format!("{} exactly when demanded", branch(*index)),
            Relation::Only => format!("{} only when demanded", branch(*index)),
            Relation::Always => format!("{} always when demanded", branch(*index)),
        },
        Demanded::Keeps(promise) => format!("never {}", promise.name()),
        Demanded::Unreachable(index) => format!("never {}", branch(*index)),
        Demanded::Within(_) => "within its limits".to_owned(),
    });
    words.collect::<Vec<_>>().join(", ")
}

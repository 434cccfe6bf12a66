//! The references name every key of the schemas and no other, their examples load and hold, and every YAML file of the
//! repository fits its schema.
//!
//! A key stands in a table with the head `| key | value | default | meaning |`, as its whole path in backticks: `[]` for
//! an element of a list, `NAME` for a name that the user chooses. An example is a block that begins with
//! ```` ```yaml ````.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;

use keyway::check::Checker;
use keyway::prove::Prove;
use keyway::suite::{Harness, Suite};
use keyway::verdict::Verdict;
use pretty_assertions::{assert_eq, assert_str_eq};
use serde_json::{Map, Value};
use serde_yaml::Value as Yaml;

/// A kind of file: its schema, its reference, and what else is checked with them.
struct Kind {
    /// The argument of `keyway schema`.
    word: &'static str,
    schema: &'static str,
    reference: &'static str,
    /// Paths that the reference describes elsewhere: the start of a path, and what it stands for.
    same: &'static [(&'static str, &'static str)],
}

const HARNESS: Kind = Kind {
    word: "harness",
    schema: "harness/harness.schema.json",
    reference: "harness/README.md",
    same: &[("acceptance[].unless.", "acceptance[].when.")],
};

const CASE: Kind = Kind {
    word: "case",
    schema: "cases/case.schema.json",
    reference: "cases/README.md",
    same: &[
        ("defaults.", "cases[]."),
        ("cases[].attach.", "cartridges.NAME."),
        ("prove[].only-when.", "prove[].exactly-when."),
        ("prove[].always-when.", "prove[].exactly-when."),
    ],
};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn read(name: impl AsRef<Path>) -> String {
    let path = root().join(name);
    fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

impl Kind {
    fn schema(&self) -> Value {
        serde_json::from_str(&read(self.schema)).unwrap()
    }

    fn canonical(&self, path: &str) -> String {
        let replace = |path: String, (from, to): &(&str, &str)| match path.strip_prefix(from) {
            Some(rest) => format!("{to}{rest}"),
            None => path,
        };
        self.same.iter().fold(path.to_owned(), replace)
    }

    fn check(&self, what: &str, instance: &Value) {
        let schema = self.schema();
        let validator = jsonschema::draft7::new(&schema).unwrap();
        let errors = validator.iter_errors(instance).map(|error| format!("{}: {error}", error.instance_path()));
        assert_eq!(errors.collect::<Vec<_>>(), Vec::<String>::new(), "{what} does not fit {}", self.schema);
    }

    /// The YAML examples of the reference, quotes of files left out.
    fn examples(&self) -> Vec<String> {
        examples(self.reference)
    }
}

fn examples(document: &str) -> Vec<String> {
    let text = read(document);
    let blocks = text.split("```yaml\n").skip(1).filter_map(|block| block.split("```\n").next());
    blocks.filter(|block| !block.starts_with("# ")).map(str::to_owned).collect()
}

/// A YAML text as JSON; numbers as keys become texts.
fn json(text: &str) -> Value {
    fn convert(value: Yaml) -> Value {
        match value {
            Yaml::Mapping(mapping) => {
                let pair = |(key, value)| (key_text(&key), convert(value));
                Value::Object(mapping.into_iter().map(pair).collect::<Map<_, _>>())
            }
            Yaml::Sequence(list) => list.into_iter().map(convert).collect(),
            other => serde_json::to_value(other).unwrap(),
        }
    }
    fn key_text(key: &Yaml) -> String {
        key.as_str().map_or_else(|| key.as_u64().unwrap().to_string(), str::to_owned)
    }
    convert(serde_yaml::from_str(text).unwrap_or_else(|error| panic!("{error}:\n{text}")))
}

/// What a schema says of a value: itself, or the alternatives that it names.
fn alternatives<'a>(schema: &'a Value, whole: &'a Value) -> Vec<&'a Value> {
    if let Some(Value::String(reference)) = schema.get("$ref") {
        return alternatives(whole.pointer(reference.trim_start_matches('#')).unwrap(), whole);
    }
    let inner = ["anyOf", "oneOf", "allOf"].into_iter().filter_map(|word| schema.get(word)?.as_array()).flatten();
    let mut list: Vec<&Value> = inner.flat_map(|inner| alternatives(inner, whole)).collect();
    list.push(schema);
    list
}

/// The paths of all keys.
pub fn keys(schema: &Value, whole: &Value, path: &str, found: &mut BTreeSet<String>) {
    for schema in alternatives(schema, whole) {
        for (key, inner) in schema.get("properties").and_then(Value::as_object).into_iter().flatten() {
            let path = join(path, key);
            keys(inner, whole, &path, found);
            found.insert(path);
        }
        if let Some(inner) = schema.get("additionalProperties").filter(|inner| inner.is_object()) {
            keys(inner, whole, &join(path, "NAME"), found);
        }
        if let Some(inner) = schema.get("items") {
            keys(inner, whole, &format!("{path}[]"), found);
        }
    }
}

/// The paths of the keys that a value has.
fn keys_used(schema: &Value, whole: &Value, value: &Value, path: &str, found: &mut BTreeSet<String>) {
    for schema in alternatives(schema, whole) {
        let property = |key: &str| schema.get("properties").and_then(|properties| properties.get(key));
        for (key, value) in value.as_object().into_iter().flatten() {
            if let Some(inner) = property(key) {
                let path = join(path, key);
                keys_used(inner, whole, value, &path, found);
                found.insert(path);
            } else if let Some(inner) = schema.get("additionalProperties") {
                keys_used(inner, whole, value, &join(path, "NAME"), found);
            }
        }
        if let (Some(inner), Value::Array(list)) = (schema.get("items"), value) {
            list.iter().for_each(|value| keys_used(inner, whole, value, &format!("{path}[]"), found));
        }
    }
}

fn join(path: &str, key: &str) -> String {
    if path.is_empty() { key.to_owned() } else { format!("{path}.{key}") }
}

/// The keys in the tables of a reference; every cell of such a table says something.
fn documented(reference: &str) -> Vec<String> {
    let mut keys = Vec::new();
    let mut in_table = false;
    for line in read(reference).lines() {
        if line == "| key | value | default | meaning |" {
            in_table = true;
        } else if !line.starts_with('|') {
            in_table = false;
        } else if in_table && !line.starts_with("|---") {
            let cells: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
            assert!(cells.len() == 4 && cells.iter().all(|cell| !cell.is_empty()), "{reference}: {line}");
            keys.push(cells[0].trim_matches('`').to_owned());
        }
    }
    keys
}

fn assert_complete(kind: &Kind) {
    let schema = kind.schema();
    let mut all = BTreeSet::new();
    keys(&schema, &schema, "", &mut all);
    let all: BTreeSet<String> = all.iter().map(|path| kind.canonical(path)).collect();
    assert!(all.len() > 20, "{} has lost its keys", kind.schema);
    let listed = documented(kind.reference);
    let once: BTreeSet<String> = listed.iter().cloned().collect();
    assert_eq!(listed.len(), once.len(), "{} lists a key twice", kind.reference);
    let missing: Vec<&String> = all.difference(&once).collect();
    let unknown: Vec<&String> = once.difference(&all).collect();
    assert!(missing.is_empty(), "{} lacks keys of the schema: {missing:#?}", kind.reference);
    assert!(unknown.is_empty(), "{} lists keys that the schema lacks: {unknown:#?}", kind.reference);
    let mut shown = BTreeSet::new();
    for example in kind.examples() {
        keys_used(&schema, &schema, &json(&example), "", &mut shown);
    }
    let shown: BTreeSet<String> = shown.iter().map(|path| kind.canonical(path)).collect();
    let unshown: Vec<&String> = all.difference(&shown).collect();
    assert!(unshown.is_empty(), "{} has no example of these keys: {unshown:#?}", kind.reference);
}

#[test]
fn the_harness_reference_is_complete() {
    assert_complete(&HARNESS);
}

#[test]
fn the_case_reference_is_complete() {
    assert_complete(&CASE);
}

/// A folder with the demo's harness, and its ROM in other forms, for examples.
fn workplace() -> tempfile::TempDir {
    let place = tempfile::tempdir().unwrap();
    let folder = place.path().join("harness");
    fs::create_dir(&folder).unwrap();
    fs::create_dir(place.path().join("cases")).unwrap();
    for name in ["aria.yaml", "blanks.yaml", "aria.elf", "patch.bin"] {
        fs::copy(root().join("harness").join(name), folder.join(name)).unwrap();
    }
    let harness = Harness::load(folder.join("aria.yaml")).unwrap();
    let host = harness.rig.map.host();
    assert_eq!(host.origin(), 0);
    let half = |first: usize| host.bytes().iter().copied().skip(first).step_by(2).collect::<Vec<u8>>();
    fs::write(folder.join("boot-even.bin"), half(0)).unwrap();
    fs::write(folder.join("boot-odd.bin"), half(1)).unwrap();
    let mut symbols = String::new();
    for (name, address) in host.symbols().iter() {
        writeln!(symbols, "{name} T {address:x}").unwrap();
    }
    fs::write(folder.join("boot.nm"), symbols).unwrap();
    place
}

/// A part of a harness file as a whole one: it replaces keys of the demo's, and what no longer fits is left empty.
fn whole_harness(part: &str) -> String {
    let has = |key: &str| part.lines().any(|line| line.starts_with(&format!("{key}:")));
    let mut text = part.to_owned();
    if !has("extends") {
        text.push_str("extends: aria.yaml\n");
    }
    if ["header", "ports", "branches"].into_iter().any(has) && !has("acceptance") {
        text.push_str("acceptance: []\n");
    }
    if has("ports") && !has("overlays") {
        text.push_str("overlays: []\n");
    }
    text
}

/// A part of a case file as a whole one.
fn whole_cases(part: &str) -> String {
    let has = |key: &str| part.lines().any(|line| line.starts_with(&format!("{key}:")));
    let mut text = part.to_owned();
    if !has("harness") {
        text.push_str("harness: ../harness/aria.yaml\n");
    }
    if !has("cases") {
        text.push_str("cases: [{name: nothing, attach: nothing}]\n");
    }
    text
}

#[test]
fn harness_examples_fit_the_schema_and_load() {
    let place = workplace();
    let file = place.path().join("harness/example.yaml");
    for example in HARNESS.examples() {
        let text = whole_harness(&example);
        HARNESS.check(&format!("an example of {}", HARNESS.reference), &json(&text));
        fs::write(&file, &text).unwrap();
        if let Err(complaint) = Harness::load(&file) {
            panic!("an example of {} does not load: {complaint}\n{text}", HARNESS.reference);
        }
    }
}

#[test]
fn case_examples_fit_the_schema_and_hold() {
    let place = workplace();
    let file = place.path().join("cases/example.yaml");
    for document in [CASE.reference, "README.md"] {
        let examples = examples(document);
        assert!(examples.len() > 2, "{document} has lost its examples");
        for example in examples {
            let text = whole_cases(&example);
            CASE.check(&format!("an example of {document}"), &json(&text));
            fs::write(&file, &text).unwrap();
            let suite = Suite::load(&file).unwrap_or_else(|complaint| panic!("{document}: {complaint}\n{text}"));
            let mut checker = Checker::new(Arc::clone(&suite.harness));
            for case in suite.cases() {
                let result = checker.check(&case.unwrap());
                let held = matches!(result.verdict, Verdict::Held | Verdict::KnownBug { .. });
                assert!(held, "{document}: {}: {:?}\n{text}", result.name, result.verdict);
            }
            for demand in suite.demands() {
                let free = |prove: Prove, what: &String| prove.let_be_unknown(what).unwrap();
                let prove = demand.unknown.iter().fold(Prove::new(&suite.harness), free);
                let against = prove.demand(&demand.wanted);
                assert!(against.is_empty(), "{document}: {}: {against:?}\n{text}", demand.name);
            }
        }
    }
}

/// The YAML files below a folder.
fn yaml_files(folder: &Path) -> Vec<PathBuf> {
    let mut files = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            files.extend(yaml_files(&path));
        } else if path.extension().is_some_and(|extension| extension == "yaml") {
            files.push(path);
        }
    }
    files
}

#[test]
fn committed_files_fit_their_schemas() {
    let shapes = [(HARNESS, "tests/explaining/harness"), (CASE, "tests/explaining/cases")];
    let routines = [
        (HARNESS, "tests/proving/routines/harness"),
        (HARNESS, "tests/proving/routines/edits"),
        (HARNESS, "tests/proving/routines/sizes"),
        (CASE, "tests/proving/routines/cases"),
    ];
    let demo = [(HARNESS, "harness"), (CASE, "cases"), (CASE, "tests/readme")];
    for (kind, folder) in demo.into_iter().chain(shapes).chain(routines) {
        let files = yaml_files(&root().join(folder));
        assert!(!files.is_empty(), "there is no YAML file in {folder}");
        for file in files {
            kind.check(&file.display().to_string(), &json(&read(&file)));
        }
    }
}

#[test]
fn committed_schemas_are_what_the_types_say() {
    for kind in [HARNESS, CASE] {
        let output = Command::new(env!("CARGO_BIN_EXE_keyway")).args(["schema", kind.word]).output().unwrap();
        let printed = String::from_utf8(output.stdout).unwrap();
        let committed = read(kind.schema);
        let (word, file) = (kind.word, kind.schema);
        assert_str_eq!(committed, printed, "{file} is out of date; rewrite it: keyway schema {word} > {file}");
    }
}

/// The checks above can fail: a wrong key is found in a file, and a key that is left out in a reference.
#[test]
fn a_wrong_key_does_not_fit() {
    let schema = CASE.schema();
    let validator = jsonschema::draft7::new(&schema).unwrap();
    let wrong = json("harness: x.yaml\ncases: [{name: a, atach: nothing}]\n");
    assert!(!validator.is_valid(&wrong));
    let mut all = BTreeSet::new();
    keys(&schema, &schema, "", &mut all);
    for key in ["cases[].expect.within.time", "cases[].attach.contacts[].is", "defaults.ports.NAME.first"] {
        assert!(all.contains(key), "{key} is not found in {}", CASE.schema);
    }
}

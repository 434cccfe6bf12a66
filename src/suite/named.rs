//! Which files a harness or case file names, also if something is wrong with it or with them: for whoever waits until
//! they are mended.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use serde_yaml::Value as Yaml;

use super::document::Document;
use super::sections::beside;

/// Keys whose value is another YAML file.
const YAML: [&str; 2] = ["harness", "extends"];

/// Keys whose value is a file of another kind.
const OTHER: [&str; 5] = ["image", "even", "odd", "symbols", "file"];

/// A file and all that it names, whether they exist or not. A file that cannot be read names none.
pub fn files_named(path: &Path) -> BTreeSet<PathBuf> {
    let mut files = BTreeSet::new();
    let mut open = vec![path.to_owned()];
    while let Some(path) = open.pop() {
        if files.insert(path.clone())
            && let Ok(document) = Document::read(&path)
            && let Ok(value) = serde_yaml::from_str(&document.text)
        {
            collect(&path, &value, &mut files, &mut open);
        }
    }
    files
}

fn collect(path: &Path, value: &Yaml, files: &mut BTreeSet<PathBuf>, open: &mut Vec<PathBuf>) {
    match value {
        Yaml::Mapping(mapping) => {
            for (key, value) in mapping {
                match (key.as_str(), value.as_str()) {
                    (Some(key), Some(name)) if YAML.contains(&key) => open.push(beside(path, name)),
                    (Some(key), Some(name)) if OTHER.contains(&key) => {
                        files.insert(beside(path, name));
                    }
                    _ => collect(path, value, files, open),
                }
            }
        }
        Yaml::Sequence(list) => list.iter().for_each(|value| collect(path, value, files, open)),
        _ => {}
    }
}

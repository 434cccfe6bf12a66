//! Where labels stand in assembler sources: assemblers write no line rows for data, so the sources themselves are asked.
//!
//! Only sources that the line tables name and that can be read are looked at, and only labels at the start of a line.

use std::collections::HashMap;
use std::fs;
use std::path::Path;

/// The largest source that is read, in bytes.
const LARGEST: u64 = 4 << 20;

/// Labels and where they stand: file and line.
#[derive(Clone, Debug, Default)]
pub struct Labels {
    at: HashMap<String, (String, u32)>,
}

impl Labels {
    /// Reads the sources among these files; a label that stands in two places is not known.
    pub fn read<'a>(files: impl Iterator<Item = &'a str>) -> Self {
        let mut places: HashMap<String, Option<(String, u32)>> = HashMap::new();
        for file in files.filter(|file| assembler(file)) {
            let small = fs::metadata(file).is_ok_and(|data| data.is_file() && data.len() <= LARGEST);
            let Some(text) = small.then(|| fs::read(file).ok()).flatten() else { continue };
            for (index, line) in String::from_utf8_lossy(&text).lines().enumerate() {
                let Some(label) = label(line) else { continue };
                let place = Some((file.to_owned(), index as u32 + 1));
                places.entry(label.to_owned()).and_modify(|known| *known = None).or_insert(place);
            }
        }
        Self { at: places.into_iter().filter_map(|(label, place)| Some((label, place?))).collect() }
    }

    /// The file and the line of a label.
    pub fn find(&self, label: &str) -> Option<(&str, u32)> {
        self.at.get(label).map(|(file, line)| (file.as_str(), *line))
    }
}

fn assembler(file: &str) -> bool {
    let kind = Path::new(file).extension().and_then(|kind| kind.to_str());
    kind.is_some_and(|kind| ["s", "asm", "inc", "x68", "68k"].contains(&kind.to_ascii_lowercase().as_str()))
}

/// The label at the start of a line.
fn label(line: &str) -> Option<&str> {
    let (label, _) = line.split_once(':')?;
    let plain = |letter: char| letter.is_ascii_alphanumeric() || matches!(letter, '_' | '.' | '$');
    let first = label.chars().next()?;
    (!first.is_ascii_digit() && label.chars().all(plain)).then_some(label)
}

#[cfg(test)]
mod tests {
    use super::*;
    use pretty_assertions::assert_eq;

    #[test]
    fn labels_start_a_line_and_stand_once() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a.s");
        fs::write(&path, "one:\n  two: nop\nthree: .word 1 | four:\n1: nop\ntwice:\ntwice:\n").expect("a file");
        let file = path.to_str().expect("UTF-8");
        let labels = Labels::read([file, "nowhere.s"].into_iter());
        let line = |label: &str| labels.find(label).map(|(_, line)| line);
        assert_eq!(["one", "two", "three", "four", "1", "twice"].map(line), [Some(1), None, Some(3), None, None, None]);
    }
}

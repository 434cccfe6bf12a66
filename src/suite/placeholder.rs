//! Placeholders: `{rev}` in the texts of a case or a cartridge, and what replaces them.

use std::collections::BTreeSet;

use serde_yaml::Value as Yaml;

use super::document::KeyPath;
use super::rule_file::Literal;

/// Values of placeholders, by name.
#[derive(Clone, Debug, Default)]
pub struct Bindings {
    values: Vec<(String, Literal)>,
}

impl Bindings {
    /// Bindings of these values; later ones hide earlier ones of the same name.
    pub fn new(values: Vec<(String, Literal)>) -> Self {
        Self { values }
    }

    /// The value of a name.
    pub fn get(&self, name: &str) -> Option<&Literal> {
        self.values.iter().rev().find(|(key, _)| key == name).map(|(_, value)| value)
    }

    /// Binds a name.
    pub fn bind(&mut self, name: &str, value: Literal) {
        self.values.push((name.to_owned(), value));
    }

    /// Replaces the placeholders that are bound, in every text of a value, and remembers the names used.
    pub fn fill(&self, value: &mut Yaml, used: &mut BTreeSet<String>) {
        match value {
            Yaml::String(text) => {
                if let Some(new) = self.fill_text(text, used) {
                    *value = new;
                }
            }
            Yaml::Sequence(list) => list.iter_mut().for_each(|item| self.fill(item, used)),
            Yaml::Mapping(mapping) => mapping.iter_mut().for_each(|(_, item)| self.fill(item, used)),
            _ => {}
        }
    }

    /// The text with its placeholders replaced; a number if it is one placeholder and nothing else; `None` if nothing
    /// changes.
    fn fill_text(&self, text: &str, used: &mut BTreeSet<String>) -> Option<Yaml> {
        if !text.contains('{') {
            return None;
        }
        let parts = split(text);
        if let [Part::Name(name)] = parts[..] {
            let value = self.get(name)?;
            used.insert(name.to_owned());
            return Some(match value {
                Literal::Text(text) => Yaml::String(text.clone()),
                Literal::Number(number) => Yaml::Number((*number).into()),
            });
        }
        let mut changed = false;
        let filled: String = parts
            .iter()
            .map(|part| match part {
                Part::Text(text) => (*text).to_owned(),
                Part::Name(name) => match self.get(name) {
                    Some(value) => {
                        changed = true;
                        used.insert((*name).to_owned());
                        spell(value)
                    }
                    None => format!("{{{name}}}"),
                },
            })
            .collect();
        changed.then_some(Yaml::String(filled))
    }
}

/// A literal as it stands in a text.
pub fn spell(value: &Literal) -> String {
    match value {
        Literal::Text(text) => text.clone(),
        Literal::Number(number) => number.to_string(),
    }
}

enum Part<'a> {
    Text(&'a str),
    Name(&'a str),
}

/// Text and `{name}` parts. Braces around anything but a name are text.
fn split(text: &str) -> Vec<Part<'_>> {
    let mut parts = Vec::new();
    let mut rest = text;
    let mut from = 0;
    while let Some(open) = rest[from..].find('{').map(|at| from + at) {
        let close = rest[open..].find('}').map(|at| open + at);
        match close.map(|close| (&rest[open + 1..close], close)) {
            Some((name, close)) if is_name(name) => {
                if open > 0 {
                    parts.push(Part::Text(&rest[..open]));
                }
                parts.push(Part::Name(name));
                rest = &rest[close + 1..];
                from = 0;
            }
            _ => from = open + 1,
        }
    }
    if !rest.is_empty() || parts.is_empty() {
        parts.push(Part::Text(rest));
    }
    parts
}

/// Whether a text can be the name of a placeholder.
pub fn is_name(text: &str) -> bool {
    let mut letters = text.chars();
    letters.next().is_some_and(|first| first.is_ascii_alphabetic())
        && letters.all(|letter| letter.is_ascii_alphanumeric() || letter == '-' || letter == '_')
}

/// Every placeholder in the texts of a value, with the path to its text.
pub fn names(value: &Yaml, path: &KeyPath, found: &mut Vec<(String, KeyPath)>) {
    match value {
        Yaml::String(text) if text.contains('{') => {
            for part in split(text) {
                if let Part::Name(name) = part {
                    found.push((name.to_owned(), path.clone()));
                }
            }
        }
        Yaml::Sequence(list) => {
            list.iter().enumerate().for_each(|(index, item)| names(item, &path.index(index), found));
        }
        Yaml::Mapping(mapping) => {
            for (key, item) in mapping {
                names(item, &path.key(&key_text(key)), found);
            }
        }
        _ => {}
    }
}

/// A mapping's key as text.
pub fn key_text(key: &Yaml) -> String {
    match key {
        Yaml::String(text) => text.clone(),
        Yaml::Number(number) => number.to_string(),
        Yaml::Bool(value) => value.to_string(),
        _ => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pretty_assertions::assert_eq;

    fn filled(text: &str) -> Yaml {
        let bindings =
            Bindings::new(vec![("rev".into(), Literal::Text("0B".into())), ("size".into(), Literal::Number(4096))]);
        let mut value = Yaml::String(text.into());
        bindings.fill(&mut value, &mut BTreeSet::new());
        value
    }

    #[test]
    fn replaces_names_and_leaves_other_braces() {
        assert_eq!(filled("AW-2100-{rev}"), Yaml::String("AW-2100-0B".into()));
        assert_eq!(filled("{rev}{rev}!"), Yaml::String("0B0B!".into()));
        assert_eq!(filled("{size}"), Yaml::Number(4096.into()));
        assert_eq!(filled("{size} bytes"), Yaml::String("4096 bytes".into()));
        assert_eq!(filled("{other} {rev}"), Yaml::String("{other} 0B".into()));
        assert_eq!(filled("{ {rev} } {"), Yaml::String("{ 0B } {".into()));
    }
}

//! A table in which each distinct value stands once. Explanations of many cases say mostly the same, so a page that
//! holds ten thousand of them stays small. [`Table`] turns a JSON value into a number; the page turns it back.

use std::collections::HashMap;

use serde_json::Value;

use crate::units;

/// The shape of an array, in place of the keys of an object.
const ARRAY: usize = 0;

/// Distinct values. A text, a number, true, false and null stand as they are; an array is `[0, value, ...]` and an
/// object `[shape, value, ...]`, where a value is its number in this table and a shape is a list of keys.
#[derive(Debug, Default)]
pub struct Table {
    shapes: HashMap<Vec<String>, usize>,
    values: HashMap<Box<str>, usize>,
}

impl Table {
    /// The number of a value; it is added, with everything inside, unless it is there. Inner values come first.
    pub fn add(&mut self, value: Value) -> usize {
        match value {
            Value::Array(items) => self.compound(ARRAY, items),
            Value::Object(fields) => {
                let (keys, items): (Vec<String>, Vec<Value>) = fields.into_iter().unzip();
                let next = self.shapes.len() + 1;
                let shape = *self.shapes.entry(keys).or_insert(next);
                self.compound(shape, items)
            }
            Value::String(text) => self.text(&text),
            other => self.entry(other.to_string()),
        }
    }

    /// The number of a text. Characters that would act on what stands around them are taken out.
    pub fn text(&mut self, text: &str) -> usize {
        self.entry(Value::from(units::tame(text)).to_string())
    }

    fn compound(&mut self, shape: usize, items: impl IntoIterator<Item = Value>) -> usize {
        let mut entry = format!("[{shape}");
        for item in items {
            entry.push(',');
            entry.push_str(&self.add(item).to_string());
        }
        entry.push(']');
        self.entry(entry)
    }

    fn entry(&mut self, entry: String) -> usize {
        let next = self.values.len();
        *self.values.entry(entry.into_boxed_str()).or_insert(next)
    }

    /// The values as a JSON array.
    pub fn values(&self) -> String {
        joined(self.values.iter().map(|(text, number)| (*number, text.as_ref())))
    }

    /// The keys of the shapes as a JSON array; the first is that of arrays.
    pub fn shapes(&self) -> String {
        let texts: Vec<(usize, String)> =
            self.shapes.iter().map(|(keys, number)| (*number, Value::from(keys.as_slice()).to_string())).collect();
        joined(std::iter::once((ARRAY, "[]")).chain(texts.iter().map(|(number, text)| (*number, text.as_str()))))
    }
}

/// A JSON array of texts that are JSON, in the order of their numbers.
fn joined<'a>(entries: impl Iterator<Item = (usize, &'a str)>) -> String {
    let mut entries: Vec<(usize, &str)> = entries.collect();
    entries.sort_unstable();
    let texts: Vec<&str> = entries.into_iter().map(|(_, text)| text).collect();
    format!("[{}]", texts.join(",\n"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    /// What the page does.
    fn expand(values: &[Value], shapes: &[Value], number: usize) -> Value {
        let Value::Array(entry) = &values[number] else { return values[number].clone() };
        let inner = |value: &Value| expand(values, shapes, value.as_u64().unwrap() as usize);
        let items: Vec<Value> = entry[1..].iter().map(inner).collect();
        match entry[0].as_u64().unwrap() as usize {
            ARRAY => Value::Array(items),
            shape => {
                let keys = shapes[shape].as_array().unwrap().iter().map(|key| key.as_str().unwrap().to_owned());
                Value::Object(keys.zip(items).collect())
            }
        }
    }

    #[test]
    fn values_come_back_and_stand_once() {
        let mut table = Table::default();
        let one =
            json!({"at": {"address": 600, "symbol": "compare"}, "list": [1, "1", null, true, [], {}], "text": "<b>"});
        let two = json!({"at": {"address": 600, "symbol": "compare"}, "list": [], "text": "<b>"});
        let numbers = [table.add(one.clone()), table.add(two.clone()), table.add(one.clone())];
        assert_eq!(numbers[0], numbers[2]);
        let values: Vec<Value> = serde_json::from_str(&table.values()).unwrap();
        let shapes: Vec<Value> = serde_json::from_str(&table.shapes()).unwrap();
        assert_eq!(expand(&values, &shapes, numbers[0]), one);
        assert_eq!(expand(&values, &shapes, numbers[1]), two);
        let count = |text: &str| table.values().matches(text).count();
        assert_eq!((count("\"compare\""), count("600")), (1, 1));
    }

    #[test]
    fn what_turns_the_direction_of_writing_is_taken_out() {
        let mut table = Table::default();
        table.add(json!("a\u{202E}b\u{2028}c\u{7}"));
        assert_eq!(table.values(), "[\"a\u{FFFD}b\u{FFFD}c\u{FFFD}\"]");
    }
}

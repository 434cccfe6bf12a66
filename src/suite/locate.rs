//! Where a key stands in a YAML text: a walk over the events of a position-keeping parser, without recursion and without
//! expanding aliases, so that no text can make it run away.

use std::ops::Range;

use saphyr_parser::{Event, Marker, Parser, Span};

use super::document::{KeyPath, Step};
use super::strict::normal;

/// Which part of the entry at a path is meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// The key.
    Key,
    /// The second occurrence of the key.
    SecondKey,
    /// The value.
    Value,
}

/// A collection that is open while walking.
enum Open {
    /// A mapping; the key whose value comes next, if a key has been read.
    Mapping(Option<String>),
    /// A list; the index of the next element.
    List(usize),
}

/// A place in a text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// Its bytes.
    pub bytes: Range<usize>,
    /// The way to it, as the file spells the keys.
    pub path: KeyPath,
}

/// The part at a path; the nearest part before it if the path leads through something that the file does not spell out
/// (an alias, say); `None` if the text is not YAML.
pub fn find(text: &str, path: &KeyPath, part: Part) -> Option<Found> {
    let mut walk = Walk::new(text, path, part);
    for event in Parser::new_from_str(text) {
        let (event, span) = event.ok()?;
        walk.step(&event, span);
        if walk.found.is_some() {
            break;
        }
    }
    let (depth, bytes) = walk.found.or(walk.best)?;
    let spelled = walk.spelled[..depth].iter().chain(&path.0[depth..]).cloned().collect();
    Some(Found { bytes, path: KeyPath(spelled) })
}

/// The lines (from 1) on which the elements of the list at a path start, in one walk; empty if there is no such list.
pub fn element_lines(text: &str, list: &KeyPath) -> Vec<usize> {
    let mut walk = Walk::new(text, list, Part::SecondKey);
    let mut lines = Vec::new();
    for event in Parser::new_from_str(text) {
        let Ok((event, span)) = event else { break };
        let starts =
            matches!(event, Event::Scalar(..) | Event::Alias(_) | Event::MappingStart(..) | Event::SequenceStart(..));
        // A key stands within an element, where the way to it is still that of the element.
        if starts
            && matches!(walk.open.last(), Some(Open::List(_)))
            && let Some((Step::Index(_), before)) = walk.here.split_last()
            && same(before, &list.0)
        {
            lines.push(span.start.line());
        }
        walk.step(&event, span);
    }
    lines
}

struct Walk<'a> {
    text: &'a str,
    path: &'a KeyPath,
    part: Part,
    open: Vec<Open>,
    /// The path of the value that comes next, as far as the open collections give it.
    here: Vec<Step>,
    best: Option<(usize, Range<usize>)>,
    found: Option<(usize, Range<usize>)>,
    keys: usize,
    /// The keys on the way, as the file spells them.
    spelled: Vec<Step>,
}

impl<'a> Walk<'a> {
    fn new(text: &'a str, path: &'a KeyPath, part: Part) -> Self {
        let (open, here, spelled) = (Vec::new(), Vec::new(), Vec::new());
        Self { text, path, part, open, here, best: None, found: None, keys: 0, spelled }
    }

    fn step(&mut self, event: &Event, span: Span) {
        match event {
            Event::Scalar(value, ..) => match self.open.last_mut() {
                Some(Open::Mapping(key @ None)) => {
                    *key = Some(value.to_string());
                    self.here.push(Step::Key(value.to_string()));
                    self.see_key(span);
                }
                _ => {
                    self.see_value(span);
                    self.leave_value();
                }
            },
            Event::Alias(_) => {
                self.see_value(span);
                self.leave_value();
            }
            Event::MappingStart(..) => {
                self.see_value(span);
                self.enter(Open::Mapping(None));
            }
            Event::SequenceStart(..) => {
                self.see_value(span);
                self.enter(Open::List(0));
                self.here.push(Step::Index(0));
            }
            Event::MappingEnd => {
                self.open.pop();
                self.leave_value();
            }
            Event::SequenceEnd => {
                self.open.pop();
                self.here.pop();
                self.leave_value();
            }
            _ => {}
        }
    }

    fn enter(&mut self, collection: Open) {
        // A collection as a key has no name that a path could spell; it counts as an empty one.
        if let Some(Open::Mapping(key @ None)) = self.open.last_mut() {
            *key = Some(String::new());
            self.here.push(Step::Key(String::new()));
        }
        self.open.push(collection);
    }

    /// A value is over: the next one of the collection around it comes.
    fn leave_value(&mut self) {
        match self.open.last_mut() {
            Some(Open::Mapping(key @ Some(_))) => {
                *key = None;
                self.here.pop();
            }
            Some(Open::Mapping(None)) => {}
            Some(Open::List(index)) => {
                *index += 1;
                self.here.pop();
                self.here.push(Step::Index(*index));
            }
            None => {}
        }
    }

    fn see_key(&mut self, span: Span) {
        if !same(&self.here, &self.path.0) {
            return;
        }
        self.keys += 1;
        let place = (self.here.len(), bytes_of(self.text, span));
        self.spelled.clone_from(&self.here);
        self.best = Some(place.clone());
        if self.part == Part::Key || self.part == Part::SecondKey && self.keys == 2 {
            self.found = Some(place);
        }
    }

    fn see_value(&mut self, span: Span) {
        let depth = self.here.len();
        if depth <= self.path.0.len() && same(&self.here, &self.path.0[..depth]) {
            let place = (depth, bytes_of(self.text, span));
            if self.best.as_ref().is_none_or(|(best, _)| *best < depth) {
                self.spelled.clone_from(&self.here);
                self.best = Some(place.clone());
            }
            if depth == self.path.0.len() && self.part == Part::Value {
                self.found = Some(place);
            }
        }
    }
}

/// A span in bytes. Block collections span far; their first line is enough to point at.
pub fn bytes_of(text: &str, span: Span) -> Range<usize> {
    let start = marker_byte(text, span.start);
    let line_end = text[start..].find('\n').map_or(text.len(), |length| start + length);
    start..marker_byte(text, span.end).clamp(start, line_end)
}

/// The byte at a marker of the parser, which counts lines and characters.
fn marker_byte(text: &str, marker: Marker) -> usize {
    let lines = text.split_inclusive('\n').take(marker.line().saturating_sub(1));
    let line_start = lines.map(str::len).sum::<usize>();
    let line = &text[line_start..];
    line_start + line.char_indices().nth(marker.col()).map_or(line.len(), |(at, _)| at)
}

/// Whether two paths are the same; keys that spell one number differently (0x1F0, 496) are.
fn same(left: &[Step], right: &[Step]) -> bool {
    left.len() == right.len()
        && left.iter().zip(right).all(|pair| match pair {
            (Step::Key(left), Step::Key(right)) => left == right || normal(left) == normal(right),
            (left, right) => left == right,
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use pretty_assertions::assert_eq;

    const TEXT: &str =
        "a: 1\nlist:\n  - x: {y: 2}\n  - [p, {q: r}]\nbytes: {0x1F0: \"4A\"}\nb: &z\n  c: 3\nd: *z\na: 2\n";

    fn found(path: &[Step], part: Part) -> &'static str {
        &TEXT[find(TEXT, &KeyPath(path.to_vec()), part).unwrap().bytes]
    }

    fn key(name: &str) -> Step {
        Step::Key(name.to_owned())
    }

    #[test]
    fn finds_keys_and_values() {
        assert_eq!(found(&[key("a")], Part::Value), "1");
        assert_eq!(found(&[key("list"), Step::Index(0), key("x"), key("y")], Part::Key), "y");
        assert_eq!(found(&[key("list"), Step::Index(0), key("x"), key("y")], Part::Value), "2");
        assert_eq!(found(&[key("list"), Step::Index(1), Step::Index(1), key("q")], Part::Value), "r");
        assert_eq!(found(&[key("bytes"), key("496")], Part::Value), "\"4A\"");
        let spelled = find(TEXT, &KeyPath(vec![key("bytes"), key("496")]), Part::Value).unwrap();
        assert_eq!(spelled.path.to_string(), "bytes.0x1F0");
        assert_eq!(found(&[key("b"), key("c")], Part::Value), "3");
        let second = find(TEXT, &KeyPath(vec![key("a")]), Part::SecondKey).unwrap();
        assert_eq!(second.bytes.start, TEXT.rfind("a: 2").unwrap());
    }

    /// Block and flow elements, scalars and an alias; nested lists are no elements.
    #[test]
    fn elements_have_their_lines() {
        let text = "a: &z [9]\ncases:\n- x: 1\n  y: [1,\n   2]\n-\n  x: 2\n- *z\n- {k: [v,\n  w]}\n- s\nb: [1, 2]\n";
        let list = |key: &str| element_lines(text, &KeyPath::root().key(key));
        assert_eq!(list("cases"), [3, 7, 8, 9, 11]);
        for (index, line) in list("cases").into_iter().enumerate() {
            let one = find(text, &KeyPath::root().key("cases").index(index), Part::Value).unwrap().bytes.start;
            assert_eq!(text[..one].matches('\n').count() + 1, line);
        }
        assert_eq!((list("b"), list("none")), (vec![12, 12], Vec::new()));
    }

    #[test]
    fn falls_back_to_what_the_file_spells_out() {
        assert_eq!(found(&[key("d"), key("c")], Part::Value), "*z");
        // A list that is too short: where the list begins.
        let list = find(TEXT, &KeyPath(vec![key("list"), Step::Index(7)]), Part::Value).unwrap().bytes;
        assert_eq!(&TEXT[list.start..list.start + 4], "- x:");
    }
}

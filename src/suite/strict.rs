//! What YAML allows and these files do not mean: keys without a value, keys given twice, tags, merge keys, a second
//! document, control characters, deep nesting, aliases that repeat without end.
//!
//! [`check`] walks over the events of the position-keeping parser, without recursion and without expanding aliases, before
//! anything is understood. What a key means is not known here.

use std::collections::HashMap;
use std::ops::Range;

use saphyr_parser::{Event, Parser, ScalarStyle, Span};

use super::document::{KeyPath, Step};
use super::locate::bytes_of;
use crate::units;

/// The deepest nesting.
const DEEPEST: usize = 24;

/// How many values aliases may repeat in one file.
const MOST_REPEATED: usize = 100_000;

/// Something that is wrong with the text itself.
#[derive(Debug)]
pub struct Fault {
    /// The bytes at fault.
    pub bytes: Range<usize>,
    /// The path to the key, as far as it is known.
    pub path: KeyPath,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub help: Option<String>,
}

/// The first fault of a text.
pub fn check(text: &str) -> Option<Fault> {
    if let Some(fault) = odd_character(text) {
        return Some(fault);
    }
    let mut walk = Walk { text, open: Vec::new(), documents: 0, values: 0, repeated: 0, sizes: HashMap::new() };
    for event in Parser::new_from_str(text) {
        let found = match event {
            Ok((event, span)) => walk.step(&event, span),
            Err(error) if error.info().contains("recursion limit") => {
                let message = format!("the file is nested more than {DEEPEST} levels deep");
                Err(walk.fault(Span::empty(*error.marker()), message))
            }
            Err(error) => Err(walk.fault(Span::empty(*error.marker()), format!("this is not YAML: {}", error.info()))),
        };
        if let Err(fault) = found {
            return Some(*fault);
        }
    }
    None
}

/// Characters that a terminal or an editor would act on, before the parser stumbles over them.
fn odd_character(text: &str) -> Option<Fault> {
    let (at, odd) = text.char_indices().find(|(at, letter)| match letter {
        '\n' | '\t' => false,
        '\r' => !text[at + 1..].starts_with('\n'),
        letter => units::acts(*letter),
    })?;
    let message = match odd {
        '\r' => "a carriage return without a line feed stands here".to_owned(),
        odd => format!("the control character U+{:04X} stands here; the file is to be plain text", u32::from(odd)),
    };
    Some(Fault { bytes: at..at + odd.len_utf8(), path: KeyPath::root(), message, help: None })
}

type Checked = Result<(), Box<Fault>>;

/// A collection that is open while walking.
struct Open {
    /// For a mapping, its keys so far with their lines.
    keys: Option<HashMap<String, usize>>,
    /// In a mapping, the key whose value comes next, and where it stands.
    key: Option<(String, Span)>,
    /// In a list, the index of the next element.
    index: usize,
    anchor: usize,
    /// How many values came before this one.
    before: usize,
}

struct Walk<'a> {
    text: &'a str,
    open: Vec<Open>,
    documents: usize,
    /// Values so far, with those that aliases repeat.
    values: usize,
    repeated: usize,
    /// Values below each anchor that is complete.
    sizes: HashMap<usize, usize>,
}

impl Walk<'_> {
    fn step(&mut self, event: &Event, span: Span) -> Checked {
        match event {
            Event::DocumentStart(_) => {
                self.documents += 1;
                if self.documents > 1 {
                    let message = "a second document begins here, but a file holds one";
                    return Err(self.fault(span, message));
                }
            }
            Event::Scalar(value, style, anchor, tag) => {
                self.no_tag(tag.is_some(), span)?;
                self.scalar(value, *style, *anchor, span)?;
            }
            Event::Alias(anchor) => self.alias(*anchor, span)?,
            Event::MappingStart(anchor, tag) | Event::SequenceStart(anchor, tag) => {
                self.no_tag(tag.is_some(), span)?;
                self.enter(matches!(event, Event::MappingStart(..)), *anchor, span)?;
            }
            Event::MappingEnd | Event::SequenceEnd => {
                if let Some(open) = self.open.pop() {
                    self.remember(open.anchor, self.values - open.before);
                }
                self.leave_value();
            }
            _ => {}
        }
        Ok(())
    }

    /// Whether a key of a mapping comes next.
    fn key_is_next(&self) -> bool {
        self.open.last().is_some_and(|open| open.keys.is_some() && open.key.is_none())
    }

    fn scalar(&mut self, value: &str, style: ScalarStyle, anchor: usize, span: Span) -> Checked {
        if let Some(odd) = value.chars().find(|letter| !matches!(letter, '\n' | '\t') && units::acts(*letter)) {
            let message = format!("the text holds the control character U+{:04X}", u32::from(odd));
            let mut fault = self.fault(span, message);
            fault.help = Some("raw bytes of a cartridge go into `bytes` or `header`".to_owned());
            return Err(fault);
        }
        let plain = style == ScalarStyle::Plain;
        if self.key_is_next() {
            return self.key(value, plain, span);
        }
        self.values += 1;
        self.remember(anchor, 1);
        if plain && is_null(value) {
            return Err(self.no_value(span));
        }
        if plain && is_too_large(value) {
            let mut fault = self.fault(span, format!("the number {value} is too large"));
            fault.help = Some("put it in quotes if it is a text".to_owned());
            return Err(fault);
        }
        let named = self.open.last().and_then(|open| open.key.as_ref()).is_some_and(|(key, _)| key == "name");
        if named && value.contains(['\n', '\t']) {
            return Err(self.fault(span, "a name is one line, without tabs"));
        }
        self.leave_value();
        Ok(())
    }

    fn key(&mut self, key: &str, plain: bool, span: Span) -> Checked {
        let problem = if plain && key == "<<" {
            Some(("merge keys are not understood", Some("use `extends`, `with` or `defaults`")))
        } else if key.trim().is_empty() {
            Some(("a key is empty", None))
        } else if key.contains(['\n', '\t']) {
            Some(("a key is one line, without tabs", None))
        } else if plain && (is_null(key) || is_no_text(key)) {
            Some(("a key is a name; put it in quotes", None))
        } else {
            None
        };
        if let Some((message, help)) = problem {
            let mut fault = self.fault(span, message);
            fault.help = help.map(str::to_owned);
            return Err(fault);
        }
        let Some(open) = self.open.last_mut() else { return Ok(()) };
        let earlier = open.keys.as_mut().and_then(|keys| keys.insert(normal(key), span.start.line()));
        open.key = Some((key.to_owned(), span));
        if let Some(earlier) = earlier {
            let mut fault = self.fault(span, format!("`{key}` is given twice"));
            fault.help = Some(format!("the first one stands in line {earlier}"));
            return Err(fault);
        }
        Ok(())
    }

    fn alias(&mut self, anchor: usize, span: Span) -> Checked {
        if self.key_is_next() {
            return Err(self.fault(span, "a key is a name, not an alias"));
        }
        let Some(size) = self.sizes.get(&anchor) else {
            return Err(self.fault(span, "the alias stands within what it repeats"));
        };
        self.values = self.values.saturating_add(*size);
        self.repeated = self.repeated.saturating_add(*size);
        if self.repeated > MOST_REPEATED {
            let most = units::thousands(MOST_REPEATED as u64);
            return Err(self.fault(span, format!("the aliases of this file repeat more than {most} values")));
        }
        self.leave_value();
        Ok(())
    }

    fn enter(&mut self, mapping: bool, anchor: usize, span: Span) -> Checked {
        if self.key_is_next() {
            return Err(self.fault(span, "a key is a name, not a list or a mapping"));
        }
        if self.open.len() == DEEPEST {
            let message = format!("the file is nested more than {DEEPEST} levels deep");
            return Err(self.fault(span, message));
        }
        self.values += 1;
        let keys = mapping.then(HashMap::new);
        self.open.push(Open { keys, key: None, index: 0, anchor, before: self.values - 1 });
        Ok(())
    }

    /// How many values an anchor stands for.
    fn remember(&mut self, anchor: usize, values: usize) {
        // Zero is the parser's word for "no anchor".
        if anchor > 0 {
            self.sizes.insert(anchor, values);
        }
    }

    /// A value is over: the next one of the collection around it comes.
    fn leave_value(&mut self) {
        if let Some(open) = self.open.last_mut() {
            open.key = None;
            open.index += 1;
        }
    }

    fn no_tag(&self, tagged: bool, span: Span) -> Checked {
        let message = "tags (`!...`) have no meaning in these files";
        if tagged { Err(self.fault(span, message)) } else { Ok(()) }
    }

    fn no_value(&self, span: Span) -> Box<Fault> {
        match self.open.last() {
            None => self.fault(span, "there is nothing in this file"),
            Some(Open { key: Some((key, at)), .. }) => self.fault(*at, format!("`{key}` has no value")),
            Some(_) => self.fault(span, "this element of the list is empty"),
        }
    }

    fn fault(&self, span: Span, message: impl Into<String>) -> Box<Fault> {
        let step = |open: &Open| match (&open.key, &open.keys) {
            (Some((key, _)), _) => Some(Step::Key(key.clone())),
            (None, None) => Some(Step::Index(open.index)),
            (None, Some(_)) => None,
        };
        let path = KeyPath(self.open.iter().filter_map(step).collect());
        let bytes = bytes_of(self.text, span);
        Box::new(Fault { bytes, path, message: message.into(), help: None })
    }
}

/// One spelling for all spellings of an offset, so that `0x1F0` and `496` are the same key.
pub fn normal(key: &str) -> String {
    let hex = key.strip_prefix("0x").or_else(|| key.strip_prefix("0X"));
    let number = hex.and_then(|hex| u64::from_str_radix(&hex.replace('_', ""), 16).ok());
    number.map_or_else(|| key.to_owned(), |number| number.to_string())
}

fn is_null(plain: &str) -> bool {
    matches!(plain, "" | "~" | "null" | "Null" | "NULL")
}

/// What YAML takes for a truth value or a number with a fraction.
fn is_no_text(plain: &str) -> bool {
    let fraction = plain.contains('.') && plain.parse::<f64>().is_ok();
    fraction || matches!(plain, "true" | "True" | "TRUE" | "false" | "False" | "FALSE")
}

/// A whole number that does not fit 64 bits.
fn is_too_large(plain: &str) -> bool {
    let digits = plain.strip_prefix(['+', '-']).unwrap_or(plain);
    let (digits, radix) = digits.strip_prefix("0x").map_or((digits, 10), |hex| (hex, 16));
    let number = !digits.is_empty() && digits.chars().all(|digit| digit.is_digit(radix));
    // A leading zero makes a text of it.
    number && !(radix == 10 && digits.starts_with('0')) && u64::from_str_radix(digits, radix).is_err()
}

#[cfg(test)]
mod tests {
    use super::*;
    use pretty_assertions::assert_eq;

    fn found(text: &str) -> (String, String, usize) {
        let fault = check(text).unwrap_or_else(|| panic!("no fault in {text:?}"));
        (fault.path.to_string(), fault.message, fault.bytes.start)
    }

    #[test]
    fn names_the_first_fault_and_its_place() {
        let (path, message, at) = found("a: {b: 1, b: 2}\n");
        assert_eq!((path.as_str(), message.as_str(), at), ("a.b", "`b` is given twice", 10));
        let (path, message, at) = found("a:\n  - b:\n  - c: 1\n");
        assert_eq!((path.as_str(), message.as_str(), at), ("a[0].b", "`b` has no value", 7));
        assert_eq!(found("a: [1, !x 2]\n").0, "a[1]");
        assert_eq!(found("bytes: {0x1F0: \"1\", 496: \"2\"}\n").1, "`496` is given twice");
        assert_eq!(found("a: 1\n---\nb: 2\n").1, "a second document begins here, but a file holds one");
        assert_eq!(found(&"[".repeat(100_000)).1, "the file is nested more than 24 levels deep");
    }

    #[test]
    fn aliases_may_repeat_but_not_explode() {
        assert!(check("a: &x {b: 1}\nc: [*x, *x]\n").is_none());
        let big = format!("a: &x [{}]\nb: [{}]\n", "1,".repeat(1000), "*x,".repeat(101));
        assert_eq!(found(&big).0, "b[99]");
        assert_eq!(found("a: &x [*x]\n").1, "the alias stands within what it repeats");
    }
}

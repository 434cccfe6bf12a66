//! Symbols as text in the portable format of POSIX.1-2017 `nm -P`: `name type value [size]`,
//! numbers in hexadecimal.

use thiserror::Error;

use super::symbols::{Binding, Home, Kind, Symbol};

/// What is wrong with a line of `nm -P` output.
#[derive(Debug, Error, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum NmFault {
    /// Too few or too many fields.
    #[error("A line is `name type value [size]`, but this one has {0} fields.")]
    Fields(usize),
    /// The type is not one letter.
    #[error("The symbol type `{0}` is not a single letter.")]
    Type(String),
    /// A number is not hexadecimal or too large.
    #[error("The {field} `{text}` is not a hexadecimal number of at most 32 bits.")]
    Number {
        /// `value` or `size`.
        field: &'static str,
        /// What stands there.
        text: String,
    },
    /// The traditional column order.
    #[error("The line begins with a number, as in the output of `nm` without `-P`; write the file with `nm -P`.")]
    NotPortable,
}

/// Reads every defined symbol; a fault comes with its line, counted from 1.
///
/// The standard's headings of several files (`file:` or `library[object]:` alone on a line) and its
/// `-A` prefixes are passed over, and so are undefined symbols.
pub(super) fn read(text: &str) -> Result<Vec<Symbol>, (usize, NmFault)> {
    let mut symbols = Vec::new();
    for (index, line) in text.lines().enumerate() {
        let line = line.trim();
        if line.is_empty() || line.ends_with(':') {
            continue;
        }
        symbols.extend(symbol(line).map_err(|fault| (index + 1, fault))?);
    }
    Ok(symbols)
}

fn symbol(line: &str) -> Result<Option<Symbol>, NmFault> {
    let line = line.split_once(": ").map_or(line, |(_, after_prefix)| after_prefix);
    let fields: Vec<&str> = line.split_ascii_whitespace().collect();
    let (name, kind, numbers) = match fields[..] {
        [name, kind, ref numbers @ ..] if numbers.len() <= 2 => (name, kind, numbers),
        _ => return Err(NmFault::Fields(fields.len())),
    };
    // No assembler lets a symbol begin with a digit, but the traditional format begins with the
    // value.
    if name.starts_with(|first: char| first.is_ascii_digit()) {
        return Err(NmFault::NotPortable);
    }
    let &[letter] = kind.as_bytes() else {
        return Err(NmFault::Type(shown(kind)));
    };
    match (letter, numbers) {
        (b'U' | b'w' | b'v', []) | (b'U', _) => Ok(None),
        (letter, _) if !letter.is_ascii_alphabetic() => Err(NmFault::Type(shown(kind))),
        // Debugging entries are no addresses.
        (b'N' | b'n', _) => Ok(None),
        (_, []) => Err(NmFault::Fields(fields.len())),
        (letter, [value, size @ ..]) => {
            let address = number("value", value)?;
            let size = size.first().map_or(Ok(0), |size| number("size", size))?;
            Ok(Some(defined(name, letter, address, size)))
        }
    }
}

fn defined(name: &str, letter: u8, address: u32, size: u32) -> Symbol {
    Symbol {
        name: name.into(),
        address,
        size,
        kind: if letter.eq_ignore_ascii_case(&b'T') { Kind::Function } else { Kind::Label },
        binding: match letter {
            b'W' | b'V' | b'w' | b'v' => Binding::Weak,
            upper if upper.is_ascii_uppercase() => Binding::Global,
            _ => Binding::Local,
        },
        home: if letter.eq_ignore_ascii_case(&b'A') { Home::Absolute } else { Home::Unknown },
    }
}

fn number(field: &'static str, text: &str) -> Result<u32, NmFault> {
    let digits_only = text.bytes().all(|digit| digit.is_ascii_hexdigit());
    match u32::from_str_radix(text, 16) {
        Ok(value) if digits_only => Ok(value),
        _ => Err(NmFault::Number { field, text: shown(text) }),
    }
}

/// A field as a message can show it: short, and without control characters.
fn shown(text: &str) -> String {
    const LONGEST: usize = 40;
    let mut short: String = text.chars().take(LONGEST).flat_map(char::escape_debug).collect();
    if text.chars().nth(LONGEST).is_some() {
        short.push_str("...");
    }
    short
}

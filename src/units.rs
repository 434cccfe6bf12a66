//! Sizes, times and addresses as people write them; one place, so that every output agrees.

use std::borrow::Cow;
use std::path::PathBuf;

/// A size in bytes as text: whole MiB or KiB where it is one, bytes otherwise.
pub fn size(bytes: u32) -> String {
    match bytes {
        1 => "1 byte".to_owned(),
        _ if bytes > 0 && bytes.is_multiple_of(1 << 20) => format!("{} MiB", bytes >> 20),
        _ if bytes > 0 && bytes.is_multiple_of(1 << 10) => format!("{} KiB", bytes >> 10),
        _ => format!("{} bytes", thousands(u64::from(bytes))),
    }
}

/// A count with thousands separators.
pub fn thousands(count: u64) -> String {
    let digits = count.to_string();
    let mut text = String::with_capacity(digits.len() + digits.len() / 3);
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}

/// A bus address, six hexadecimal digits (the 68000 has 24 address bits).
pub fn address(address: u32) -> String {
    format!("0x{address:06X}")
}

/// Cycles as milliseconds at a clock in hertz.
pub fn milliseconds(cycles: u64, hertz: u64) -> f64 {
    cycles as f64 * 1000.0 / hertz as f64
}

/// A number of things, with its plural.
pub fn counted(count: u64, what: &str) -> String {
    let plural = match (count, what.ends_with("ch") || what.ends_with("ss")) {
        (1, _) => "",
        (_, true) => "es",
        (_, false) => "s",
    };
    format!("{} {what}{plural}", thousands(count))
}

/// A byte as a printable character, a dot for anything else.
pub fn printable(byte: u8) -> char {
    if (0x20..0x7F).contains(&byte) { char::from(byte) } else { '.' }
}

/// The files of an image as one text.
pub fn file_names(files: &[PathBuf]) -> String {
    files.iter().map(|file| file.display().to_string()).collect::<Vec<_>>().join(" + ")
}

/// Whether a terminal would act on a character instead of showing it: control characters, line and paragraph separators,
/// and marks that turn the direction of writing.
pub fn acts(letter: char) -> bool {
    letter.is_control() || matches!(letter, '\u{2028}'..='\u{202E}' | '\u{2066}'..='\u{2069}' | '\u{200E}' | '\u{200F}')
}

/// A text from outside, such as a file's name, without anything that a terminal would act on.
pub fn tame(text: &str) -> Cow<'_, str> {
    if text.contains(acts) { text.replace(acts, "\u{FFFD}").into() } else { text.into() }
}

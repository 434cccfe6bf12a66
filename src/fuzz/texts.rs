//! Moves on the bytes of one field: edits as they happen to product codes, and numbers at their limits.

use super::dice::Dice;
use crate::cartridge::{Holds, Pad};

/// Changes the bytes of a field.
pub fn vary(bytes: &mut [u8], holds: &Holds, texts: &[Vec<u8>], dice: &mut Dice) {
    if bytes.is_empty() {
        return;
    }
    match holds {
        Holds::Text(pad) => vary_text(bytes, *pad, texts, dice),
        Holds::Number | Holds::Sum16 { .. } => vary_number(bytes, dice),
    }
}

fn vary_text(bytes: &mut [u8], pad: Pad, texts: &[Vec<u8>], dice: &mut Dice) {
    let used = bytes.iter().rposition(|byte| *byte != pad.byte()).map_or(0, |last| last + 1);
    let place = dice.below(bytes.len());
    let within = if used > 0 { dice.below(used) } else { 0 };
    match dice.below(14) {
        0 => replace(bytes, pad, texts, dice),
        1 => bytes[within..].fill(pad.byte()),
        2 => extend(bytes, used, dice),
        3 => bytes[place] = flipped(bytes[place]),
        4 => bytes.iter_mut().for_each(|byte| *byte = flipped(*byte)),
        5 => pad_otherwise(&mut bytes[used..], dice),
        6 | 7 => revise(&mut bytes[..used], dice),
        8 => bytes.swap(within, place),
        9 => swap_words(bytes, dice),
        10 if dice.one_in(2) => bytes.rotate_left(1),
        10 => bytes.rotate_right(1),
        _ => edit(bytes, place, dice),
    }
}

/// Another text, or a part of one.
fn replace(bytes: &mut [u8], pad: Pad, texts: &[Vec<u8>], dice: &mut Dice) {
    let Some(text) = dice.pick(texts) else { return };
    let from = if dice.one_in(4) { dice.below(text.len().max(1)) } else { 0 };
    let part = &text[from.min(text.len())..];
    let length = part.len().min(bytes.len());
    bytes[..length].copy_from_slice(&part[..length]);
    if dice.one_in(2) {
        bytes[length..].fill(pad.byte());
    }
}

/// Something behind the text.
fn extend(bytes: &mut [u8], used: usize, dice: &mut Dice) {
    let room = bytes.len() - used;
    if room > 0 {
        let end = used + 1 + dice.below(room);
        bytes[used..end].iter_mut().for_each(|byte| *byte = printable(dice));
    }
}

/// Padding of another kind.
fn pad_otherwise(padding: &mut [u8], dice: &mut Dice) {
    let byte = [0, 0xFF, b' ', b'.'][dice.below(4)];
    let from = if padding.is_empty() { 0 } else { dice.below(padding.len()) };
    padding[from..].fill(byte);
}

/// A neighbouring revision: a digit more or less.
fn revise(text: &mut [u8], dice: &mut Dice) {
    let digits: Vec<usize> = (0..text.len()).filter(|place| text[*place].is_ascii_alphanumeric()).collect();
    // The last ones are the revision, most of the time.
    let last = digits.len().saturating_sub(if dice.one_in(3) { digits.len() } else { 2 });
    let Some(place) = dice.pick(&digits[last..]).copied() else { return };
    text[place] = match (text[place], dice.below(3)) {
        (byte @ b'0'..=b'9', 2) => b'A' + (byte - b'0') % 6,
        (byte, 0) => byte.wrapping_add(1),
        (byte, _) => byte.wrapping_sub(1),
    };
}

/// Two words change places: a sum stays what it is.
fn swap_words(bytes: &mut [u8], dice: &mut Dice) {
    let words = bytes.len() / 2;
    if words > 1 {
        let (left, right) = (2 * dice.below(words), 2 * dice.below(words));
        bytes.swap(left, right);
        bytes.swap(left + 1, right + 1);
    }
}

fn edit(bytes: &mut [u8], place: usize, dice: &mut Dice) {
    bytes[place] = match dice.below(8) {
        0 => bytes[place].wrapping_add(1),
        1 => bytes[place].wrapping_sub(1),
        2 => bytes[place] ^ 1 << dice.below(8),
        3 => [0, 0xFF, b' ', 0x7F, 0x80][dice.below(5)],
        4 => dice.byte(),
        _ => printable(dice),
    };
}

fn vary_number(bytes: &mut [u8], dice: &mut Dice) {
    let place = dice.below(bytes.len());
    match dice.below(5) {
        0 => bytes.fill([0, 0xFF][dice.below(2)]),
        1 => add(bytes, 1),
        2 => add(bytes, 0xFF),
        3 => {
            // The greatest positive number, and the least negative one.
            let negative = dice.one_in(2);
            bytes.fill(if negative { 0 } else { 0xFF });
            bytes[0] = if negative { 0x80 } else { 0x7F };
        }
        _ => edit(bytes, place, dice),
    }
}

/// One more, or one less if `each` is 0xFF.
fn add(bytes: &mut [u8], each: u8) {
    let mut carry = 1u16;
    for byte in bytes.iter_mut().rev() {
        let sum = match each {
            1 => u16::from(*byte) + carry,
            _ => u16::from(*byte) + 0x100 - carry,
        };
        *byte = sum as u8;
        carry = if each == 1 { sum >> 8 } else { 1 - (sum >> 8) };
    }
}

fn flipped(byte: u8) -> u8 {
    if byte.is_ascii_alphabetic() { byte ^ 0x20 } else { byte }
}

fn printable(dice: &mut Dice) -> u8 {
    const LIKELY: &[u8] = b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-_. abz";
    if dice.one_in(4) { 0x20 + dice.below(0x5F) as u8 } else { LIKELY[dice.below(LIKELY.len())] }
}

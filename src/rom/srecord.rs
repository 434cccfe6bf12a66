//! S-records: lines of hexadecimal text, each with a byte count, an address and a checksum.
//!
//! Types S0 (header), S1/S2/S3 (data at a 16, 24 or 32-bit address), S5/S6 (count of the data
//! records above) and S9/S8/S7 (terminator) are read, and every number that a record states about
//! itself is verified. The start address of the terminator is not used: the routine's entry is the
//! harness's to say.

use std::borrow::Cow;

use thiserror::Error;

use super::blocks::{Block, Place};

/// What is wrong with a line of S-records.
#[derive(Debug, Error, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum SRecordFault {
    /// The line does not begin with `S` and a digit.
    #[error("A record begins with S and a digit, but this line does not.")]
    NoRecord,
    /// A record type without a meaning.
    #[error("Record type S4 is reserved and has no meaning.")]
    Reserved,
    /// Not a hexadecimal digit.
    #[error("Character {column} of the line is not a hexadecimal digit.")]
    NotHex {
        /// The character's place in the line, counted from 1.
        column: usize,
    },
    /// The byte count does not agree with the line.
    #[error("The byte count says that {counted} bytes follow it, but the line has {found}.")]
    ByteCount {
        /// The count in the record.
        counted: usize,
        /// The bytes that follow it on the line.
        found: usize,
    },
    /// Half a byte at the end of the line.
    #[error("The line ends in the middle of a byte: it has an odd number of hexadecimal digits.")]
    HalfByte,
    /// The record is too short for its type.
    #[error("An S{kind} record has at least {least} bytes after its count, but this one has {found}.")]
    TooShort {
        /// The digit of the type.
        kind: u8,
        /// Address and checksum together.
        least: usize,
        /// The bytes that follow the count.
        found: usize,
    },
    /// Data in a record that takes none.
    #[error("An S{kind} record carries no data, but this one has {extra} bytes of it.")]
    ExtraData {
        /// The digit of the type.
        kind: u8,
        /// How many bytes of data it has.
        extra: usize,
    },
    /// The checksum is wrong.
    #[error("The checksum is 0x{found:02X}, but the bytes of the record give 0x{right:02X}.")]
    Checksum {
        /// The checksum in the record.
        found: u8,
        /// The ones' complement of the sum of the other bytes.
        right: u8,
    },
    /// S5 or S6 disagrees with the file.
    #[error("The record count is {counted}, but {found} data records stand above it.")]
    RecordCount {
        /// The count in the record.
        counted: u32,
        /// The data records (S1, S2, S3) so far.
        found: u32,
    },
    /// No terminator.
    #[error("The file ends here without an S7, S8 or S9 record, so it is probably truncated.")]
    NoTerminator,
    /// Something after the terminator.
    #[error("Nothing may follow the terminating record of line {terminator}.")]
    AfterTerminator {
        /// The line of the terminator, counted from 1.
        terminator: usize,
    },
}

/// A fault and its line, counted from 1.
pub(super) type Fault = (usize, SRecordFault);

/// Reads a whole file of records into one block a data record.
pub(super) fn read(text: &[u8]) -> Result<Vec<Block<'static>>, Fault> {
    let mut reader = Reader::default();
    let mut last_line = 1;
    for (index, line) in text.split(|&byte| byte == b'\n').enumerate() {
        let line = line.trim_ascii_end();
        if !line.is_empty() {
            last_line = index + 1;
            reader.line(last_line, line).map_err(|fault| (last_line, fault))?;
        }
    }
    match reader.terminator {
        Some(_) => Ok(reader.blocks),
        None => Err((last_line, SRecordFault::NoTerminator)),
    }
}

#[derive(Default)]
struct Reader {
    blocks: Vec<Block<'static>>,
    data_records: u32,
    terminator: Option<usize>,
}

impl Reader {
    fn line(&mut self, number: usize, line: &[u8]) -> Result<(), SRecordFault> {
        if let Some(terminator) = self.terminator {
            return Err(SRecordFault::AfterTerminator { terminator });
        }
        let record = Record::parse(line)?;
        match record.kind {
            1..=3 => {
                self.data_records += 1;
                let (start, bytes) = (u64::from(record.address), Cow::Owned(record.data));
                self.blocks.push(Block { start, bytes, place: Place::Line(number) });
            }
            5 | 6 if record.address != self.data_records => {
                return Err(SRecordFault::RecordCount { counted: record.address, found: self.data_records });
            }
            7..=9 => self.terminator = Some(number),
            _ => {}
        }
        Ok(())
    }
}

/// One verified record.
struct Record {
    /// The digit after the S.
    kind: u8,
    /// The address field; the count in S5 and S6.
    address: u32,
    data: Vec<u8>,
}

impl Record {
    fn parse(line: &[u8]) -> Result<Record, SRecordFault> {
        // Blanks before the record are harmless, but count for the column of a message.
        let indent = line.len() - line.trim_ascii_start().len();
        let [b'S', kind @ b'0'..=b'9', digits @ ..] = &line[indent..] else {
            return Err(SRecordFault::NoRecord);
        };
        let kind = kind - b'0';
        let width = address_width(kind).ok_or(SRecordFault::Reserved)?;
        let bytes = hex(digits, indent + 3)?;
        let (counted, body) = match bytes.split_first() {
            Some((&count, body)) => (usize::from(count), body),
            None => (0, &[][..]),
        };
        if counted != body.len() {
            return Err(SRecordFault::ByteCount { counted, found: body.len() });
        }
        if body.len() < width + 1 {
            return Err(SRecordFault::TooShort { kind, least: width + 1, found: body.len() });
        }
        check_sum(&bytes)?;
        let (address, data) = body[..body.len() - 1].split_at(width);
        if kind >= 5 && !data.is_empty() {
            return Err(SRecordFault::ExtraData { kind, extra: data.len() });
        }
        let address = address.iter().fold(0, |sum, &byte| sum << 8 | u32::from(byte));
        Ok(Record { kind, address, data: data.to_vec() })
    }
}

/// Bytes of the address field; `None` for the reserved type.
fn address_width(kind: u8) -> Option<usize> {
    match kind {
        0 | 1 | 5 | 9 => Some(2),
        2 | 6 | 8 => Some(3),
        3 | 7 => Some(4),
        _ => None,
    }
}

/// Decodes hexadecimal digits of either case. `column` is the place of the first in its line,
/// counted from 1.
fn hex(digits: &[u8], column: usize) -> Result<Vec<u8>, SRecordFault> {
    let value = |digit: u8| char::from(digit).to_digit(16).map(|value| value as u8);
    if let Some(at) = digits.iter().position(|&digit| value(digit).is_none()) {
        return Err(SRecordFault::NotHex { column: column + at });
    }
    if !digits.len().is_multiple_of(2) {
        return Err(SRecordFault::HalfByte);
    }
    let pair = |pair: &[u8]| value(pair[0]).unwrap_or(0) << 4 | value(pair[1]).unwrap_or(0);
    Ok(digits.chunks_exact(2).map(pair).collect())
}

/// The last byte is the ones' complement of the low byte of the sum of count, address and data.
fn check_sum(record: &[u8]) -> Result<(), SRecordFault> {
    let Some((&found, summed)) = record.split_last() else {
        return Err(SRecordFault::HalfByte);
    };
    let right = !summed.iter().fold(0u8, |sum, &byte| sum.wrapping_add(byte));
    if found == right { Ok(()) } else { Err(SRecordFault::Checksum { found, right }) }
}

//! Where the fields of a cartridge header stand: data from the harness, never code.

use std::ops::Range;

/// How a text shorter than its field is filled up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Pad {
    /// With spaces (0x20).
    #[default]
    Space,
    /// With zero bytes.
    Zero,
}

impl Pad {
    /// The byte to pad with.
    pub fn byte(self) -> u8 {
        match self {
            Pad::Space => b' ',
            Pad::Zero => 0,
        }
    }
}

/// What a field holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Holds {
    /// Text, padded to the field's length.
    Text(Pad),
    /// A big-endian number of 1, 2 or 4 bytes.
    Number,
    /// The 16-bit word sum of a part of the image; `to` is `None` for "to the end of the image".
    Sum16 {
        /// First offset summed.
        from: u32,
        /// One past the last offset summed.
        to: Option<u32>,
    },
}

/// A named field of the header.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Field {
    /// Its name, unique in the layout.
    pub name: String,
    /// Offset in the image.
    pub at: u32,
    /// Length in bytes.
    pub length: u32,
    /// What it holds.
    pub holds: Holds,
}

impl Field {
    /// The offsets the field covers.
    pub fn range(&self) -> Range<u32> {
        self.at..self.at + self.length
    }

    /// The bytes of a text in this field, padded; `None` if the text is longer than the field or the field is no text.
    pub fn text(&self, text: &str) -> Option<Vec<u8>> {
        let Holds::Text(pad) = self.holds else { return None };
        let mut bytes = text.as_bytes().to_vec();
        if bytes.len() > self.length as usize {
            return None;
        }
        bytes.resize(self.length as usize, pad.byte());
        Some(bytes)
    }

    /// The bytes of a number in this field (number or checksum); `None` if it does not fit.
    pub fn number(&self, value: u32) -> Option<Vec<u8>> {
        if matches!(self.holds, Holds::Text(_)) || self.length < 4 && value >> (8 * self.length) != 0 {
            return None;
        }
        Some(value.to_be_bytes()[4 - self.length as usize..].to_vec())
    }
}

/// All fields of a header, in the order of the harness file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Layout {
    fields: Vec<Field>,
}

impl Layout {
    /// A layout of these fields; names are taken to be unique.
    pub fn new(fields: Vec<Field>) -> Self {
        Self { fields }
    }

    /// The fields, in order.
    pub fn fields(&self) -> &[Field] {
        &self.fields
    }

    /// The field of this name.
    pub fn find(&self, name: &str) -> Option<&Field> {
        self.fields.iter().find(|field| field.name == name)
    }

    /// The first field that covers an image offset.
    pub fn at(&self, offset: u32) -> Option<&Field> {
        self.fields.iter().find(|field| field.range().contains(&offset))
    }

    /// The offsets from the first field to the end of the last one; empty without fields.
    pub fn extent(&self) -> Range<u32> {
        let start = self.fields.iter().map(|field| field.at).min().unwrap_or(0);
        let end = self.fields.iter().map(|field| field.range().end).max().unwrap_or(0);
        start..end
    }
}

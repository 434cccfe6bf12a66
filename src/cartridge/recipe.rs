//! From field values to an image.
//!
//! A [`Recipe`] is what a case file says of a cartridge, checked and with every reference resolved. [`Recipe::build`]
//! lays it down in a fixed order: file, raw header, fields, bytes, checksums, header copies.

use std::sync::Arc;

use super::{Fill, Holds, Image, LARGEST_IMAGE, Layout};
use crate::rom::ByteOrder;

/// The value of a header field.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Value {
    /// A text, padded as the field says.
    Text(String),
    /// A number.
    Number(u32),
    /// A checksum, computed or spoilt.
    Checksum(Checksum),
}

/// Which checksum to write.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Checksum {
    /// The sum of the image as built.
    Right,
    /// The sum plus one.
    Wrong,
}

/// A cartridge to build.
#[derive(Clone, Debug)]
pub struct Recipe {
    /// Size in bytes, 1 to [`LARGEST_IMAGE`].
    pub size: u32,
    /// What stands where nothing is put.
    pub fill: Fill,
    /// The bytes of an image file, laid at offset 0.
    pub file: Option<Arc<[u8]>>,
    /// Raw header bytes at an offset.
    pub header: Option<(u32, Vec<u8>)>,
    /// Field values by field name, in order.
    pub fields: Vec<(String, Value)>,
    /// Bytes at offsets.
    pub bytes: Vec<(u32, Vec<u8>)>,
    /// Offsets at which the header stands once more.
    pub copies: Vec<u32>,
    /// Byte order in which the image shows.
    pub order: ByteOrder,
}

impl Default for Recipe {
    fn default() -> Self {
        Self {
            size: 1 << 20,
            fill: Fill::Byte(0xFF),
            file: None,
            header: None,
            fields: Vec::new(),
            bytes: Vec::new(),
            copies: Vec::new(),
            order: ByteOrder::Normal,
        }
    }
}

/// Why a recipe cannot be built. `part` names the key of the recipe that is at fault.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{reason}")]
pub struct RecipeError {
    /// Key of the recipe: a field name, `size`, `bytes`, `header` or `header-copy`.
    pub part: String,
    /// Which entry of that key, if it has several.
    pub at: Option<ErrorPlace>,
    /// What is wrong, as a sentence.
    pub reason: String,
}

/// One of several entries of a recipe's key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ErrorPlace {
    /// An element of a list.
    Index(usize),
    /// The bytes at an offset.
    Offset(u32),
}

impl RecipeError {
    fn new(part: &str, reason: String) -> Self {
        Self { part: part.to_owned(), at: None, reason }
    }
}

impl Recipe {
    /// Builds the image.
    ///
    /// # Errors
    /// A size outside 1 to 16 MiB, a field that the layout lacks, a text or number that does not fit its field, and
    /// anything placed beyond the image.
    pub fn build(&self, layout: &Layout) -> Result<Image, RecipeError> {
        if self.size == 0 || self.size > LARGEST_IMAGE {
            let reason = format!("an image has 1 byte to 16 MiB, not {}", self.size);
            return Err(RecipeError::new("size", reason));
        }
        let mut image = Image::new(self.size, self.fill);
        if let Some(file) = &self.file {
            if file.len() > self.size as usize {
                let size = crate::units::size(self.size);
                let reason = format!("the file has {} bytes, more than the image of {size}", file.len());
                return Err(RecipeError::new("file", reason));
            }
            image.put(0, Arc::clone(file));
        }
        if let Some((at, bytes)) = &self.header {
            self.put(&mut image, "header", *at, bytes)?;
        }
        for (name, value) in &self.fields {
            if let Some(bytes) = self.field_bytes(layout, name, value)? {
                let at = layout.find(name).map_or(0, |field| field.at);
                self.put(&mut image, name, at, &bytes)?;
            }
        }
        for (at, bytes) in &self.bytes {
            let place = Some(ErrorPlace::Offset(*at));
            self.put(&mut image, "bytes", *at, bytes).map_err(|error| RecipeError { at: place, ..error })?;
        }
        self.put_checksums(&mut image, layout)?;
        self.copy_header(&mut image, layout)?;
        image.set_order(self.order);
        Ok(image)
    }

    fn put(&self, image: &mut Image, part: &str, at: u32, bytes: &[u8]) -> Result<(), RecipeError> {
        let end = u64::from(at) + bytes.len() as u64;
        if end > u64::from(self.size) {
            let (last, size) = (end.saturating_sub(1), crate::units::size(self.size));
            let hex = if self.size > 9 { format!(" (0x{:X} bytes)", self.size) } else { String::new() };
            let reason = format!("0x{at:06X}-0x{last:06X} lies beyond the image of {size}{hex}");
            return Err(RecipeError::new(part, reason));
        }
        image.put(at, bytes);
        Ok(())
    }

    /// The bytes of a field, or `None` for a checksum that is computed later.
    fn field_bytes(&self, layout: &Layout, name: &str, value: &Value) -> Result<Option<Vec<u8>>, RecipeError> {
        let field =
            layout.find(name).ok_or_else(|| RecipeError::new(name, format!("the header has no field `{name}`")))?;
        let length = field.length;
        match (&field.holds, value) {
            (Holds::Text(_), Value::Text(text)) => field.text(text).map(Some).ok_or_else(|| {
                let reason = format!("{text:?} has {} bytes, the field `{name}` holds {length}", text.len());
                RecipeError::new(name, reason)
            }),
            (Holds::Number | Holds::Sum16 { .. }, Value::Number(number)) => {
                field.number(*number).map(Some).ok_or_else(|| {
                    let reason = format!("0x{number:X} does not fit the {length} bytes of the field `{name}`");
                    RecipeError::new(name, reason)
                })
            }
            (Holds::Sum16 { .. }, Value::Checksum(_)) => Ok(None),
            (Holds::Text(_), _) => {
                Err(RecipeError::new(name, format!("the field `{name}` holds a text; put it in quotes")))
            }
            (Holds::Number, _) => Err(RecipeError::new(name, format!("the field `{name}` holds a number"))),
            (Holds::Sum16 { .. }, Value::Text(text)) => {
                let reason = format!("the field `{name}` holds a checksum: right, wrong or a number, not {text:?}");
                Err(RecipeError::new(name, reason))
            }
        }
    }

    /// Checksums come after everything that they sum, other checksums too: each is written as often as there are some.
    fn put_checksums(&self, image: &mut Image, layout: &Layout) -> Result<(), RecipeError> {
        let sums: Vec<_> = self.fields.iter().filter(|(_, value)| matches!(value, Value::Checksum(_))).collect();
        for (name, value) in sums.iter().flat_map(|_| &sums) {
            let (Some(field), Value::Checksum(which)) = (layout.find(name), value) else { continue };
            let Holds::Sum16 { from, to } = field.holds else { continue };
            let end = to.unwrap_or(self.size);
            if from >= end || end > self.size {
                let (last, size) = (end.max(from + 1) - 1, crate::units::size(self.size));
                let reason = format!("the checksum sums 0x{from:06X}-0x{last:06X}, beyond the image of {size}");
                return Err(RecipeError::new(name, reason));
            }
            let sum = image.sum16(from..end);
            let written = match which {
                Checksum::Right => sum,
                Checksum::Wrong => sum.wrapping_add(1),
            };
            self.put(image, name, field.at, &written.to_be_bytes())?;
        }
        Ok(())
    }

    fn copy_header(&self, image: &mut Image, layout: &Layout) -> Result<(), RecipeError> {
        let mut header = 0..layout.extent().end;
        if let Some((at, bytes)) = &self.header {
            header.end = header.end.max(at + bytes.len() as u32);
        }
        let used = image.spans().filter(|(at, _)| *at < header.end).map(|(at, span)| at + span.len() as u32);
        let used = used.max().unwrap_or(0).min(header.end);
        for (index, copy) in self.copies.iter().enumerate() {
            let refuse = |reason: String| {
                let at = Some(ErrorPlace::Index(index));
                Err(RecipeError { part: "header-copy".to_owned(), at, reason })
            };
            if used == 0 {
                return refuse("there is no header to copy: the recipe has no field, `header` or `file`".to_owned());
            }
            if *copy < header.end {
                return refuse(format!("a header copy at 0x{copy:06X} would lie over the header itself"));
            }
            if self.copies[..index].iter().any(|other| other.abs_diff(*copy) < used) {
                return refuse(format!("a header copy at 0x{copy:06X} would lie over another one"));
            }
            if u64::from(*copy) + u64::from(used) > u64::from(self.size) {
                let reason =
                    format!("a header copy at 0x{copy:06X} lies beyond the image of {}", crate::units::size(self.size));
                return refuse(reason);
            }
            image.copy(header.clone(), *copy);
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Field, Pad};
    use super::*;
    use pretty_assertions::assert_eq;

    fn layout() -> Layout {
        let field = |name: &str, at, length, holds| Field { name: name.into(), at, length, holds };
        Layout::new(vec![
            field("signature", 0x100, 16, Holds::Text(Pad::Space)),
            field("product", 0x180, 14, Holds::Text(Pad::Zero)),
            field("checksum", 0x1A0, 2, Holds::Sum16 { from: 0x200, to: None }),
        ])
    }

    fn recipe(fields: &[(&str, Value)]) -> Recipe {
        let fields = fields.iter().map(|(name, value)| ((*name).to_owned(), value.clone())).collect();
        Recipe { fields, size: 0x20_0000, ..Recipe::default() }
    }

    fn shown(image: &Image, at: u32, length: u32) -> Vec<u8> {
        (at..at + length).map(|offset| image.byte(offset).unwrap()).collect()
    }

    #[test]
    fn texts_are_padded_and_copied() {
        let mut recipe = recipe(&[("product", Value::Text("AW-3200-00".into()))]);
        recipe.copies = vec![0x10_0000];
        let image = recipe.build(&layout()).unwrap();
        assert_eq!(shown(&image, 0x180, 14), b"AW-3200-00\0\0\0\0");
        assert_eq!(shown(&image, 0x10_0180, 14), b"AW-3200-00\0\0\0\0");
        assert_eq!(shown(&image, 0x10_0100, 2), [0xFF, 0xFF]);
    }

    #[test]
    fn checksums_are_right_or_wrong_by_one() {
        let mut right = recipe(&[("checksum", Value::Checksum(Checksum::Right))]);
        right.fill = Fill::Byte(0);
        right.bytes = vec![(0x200, vec![0x12, 0x34]), (0x1F_FFFE, vec![0x01, 0x02])];
        let image = right.build(&layout()).unwrap();
        assert_eq!(shown(&image, 0x1A0, 2), 0x1336u16.to_be_bytes());
        right.fields = vec![("checksum".into(), Value::Checksum(Checksum::Wrong))];
        assert_eq!(shown(&right.build(&layout()).unwrap(), 0x1A0, 2), 0x1337u16.to_be_bytes());
    }

    #[test]
    fn what_does_not_fit_is_refused_with_its_key() {
        let long = recipe(&[("product", Value::Text("AW-3200-00-TOO-LONG".into()))]);
        assert_eq!(long.build(&layout()).unwrap_err().part, "product");
        let mut small = recipe(&[("product", Value::Text("AW".into()))]);
        small.size = 0x18D;
        assert_eq!(small.build(&layout()).unwrap_err().part, "product");
        small.size = 0;
        assert_eq!(small.build(&layout()).unwrap_err().part, "size");
        let mut copy = recipe(&[("product", Value::Text("AW".into()))]);
        copy.copies = vec![0x1F_FF00];
        assert_eq!(copy.build(&layout()).unwrap_err().part, "header-copy");
        assert!(recipe(&[("sinature", Value::Number(1))]).build(&layout()).is_err());
    }
}

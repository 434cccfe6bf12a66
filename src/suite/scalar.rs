//! The values people write in YAML files: ranges, sizes, times, places. Each parses from one scalar and describes itself
//! for the schema; none of them knows which key it stands under.

use std::fmt;
use std::ops::RangeInclusive;

use schemars::{Schema, json_schema};
use serde::de::{Deserializer, Error, Visitor};

use crate::cartridge::Fill;

/// A YAML scalar before it is understood.
pub enum Scalar {
    /// A whole number that is not negative.
    Number(u64),
    /// Anything else, as text.
    Text(String),
}

/// A value that is written as one scalar.
pub trait FromScalar: Sized {
    /// What is expected, for messages: "a range like 0x200000-0x3FFFFF".
    const EXPECTED: &'static str;

    /// What to do about a value that YAML does not take for text, where text may stand.
    const QUOTES: &'static str = "";

    /// Understands the scalar; `None` if it is something else.
    fn from_scalar(scalar: Scalar) -> Option<Self>;

    /// The schema of the value, without its description.
    fn schema() -> Schema;
}

struct ScalarVisitor<T>(std::marker::PhantomData<T>);

impl<T: FromScalar> Visitor<'_> for ScalarVisitor<T> {
    type Value = T;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(T::EXPECTED)
    }

    fn visit_u64<E: Error>(self, value: u64) -> Result<T, E> {
        T::from_scalar(Scalar::Number(value)).ok_or_else(|| E::custom(format!("expected {}, not {value}", T::EXPECTED)))
    }

    fn visit_i64<E: Error>(self, value: i64) -> Result<T, E> {
        u64::try_from(value)
            .ok()
            .and_then(|value| T::from_scalar(Scalar::Number(value)))
            .ok_or_else(|| E::custom(format!("expected {}, not {value}", T::EXPECTED)))
    }

    fn visit_f64<E: Error>(self, value: f64) -> Result<T, E> {
        // Never a text: YAML has dropped zeros and exponents that the user may have meant.
        Err(E::custom(format!("expected {}, not the number {value:?}{}", T::EXPECTED, T::QUOTES)))
    }

    fn visit_bool<E: Error>(self, value: bool) -> Result<T, E> {
        Err(E::custom(format!("expected {}, not the truth value {value}{}", T::EXPECTED, T::QUOTES)))
    }

    fn visit_str<E: Error>(self, value: &str) -> Result<T, E> {
        T::from_scalar(Scalar::Text(value.to_owned()))
            .ok_or_else(|| E::custom(format!("expected {}, not {value:?}", T::EXPECTED)))
    }
}

/// Reads a scalar type.
pub(super) fn read<'de, T: FromScalar, D: Deserializer<'de>>(deserializer: D) -> Result<T, D::Error> {
    deserializer.deserialize_any(ScalarVisitor::<T>(std::marker::PhantomData))
}

/// The schema of a scalar type, described.
pub(super) fn described<T: FromScalar>() -> Schema {
    let mut schema = T::schema();
    schema.insert("description".to_owned(), T::EXPECTED.into());
    schema
}

/// Deserialisation and schema of a scalar type.
macro_rules! scalar {
    ($type:ty) => {
        impl<'de> serde::Deserialize<'de> for $type {
            fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                $crate::suite::scalar::read::<$type, D>(deserializer)
            }
        }

        impl schemars::JsonSchema for $type {
            fn schema_name() -> std::borrow::Cow<'static, str> {
                stringify!($type).into()
            }

            fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
                $crate::suite::scalar::described::<$type>()
            }
        }
    };
}

/// The whole number that a text spells.
pub(super) fn number_text(text: &str) -> Option<u64> {
    let digits: String = text.trim().replace('_', "");
    match digits.strip_prefix("0x").or_else(|| digits.strip_prefix("0X")) {
        Some(hex) => u64::from_str_radix(hex, 16).ok(),
        None if digits.bytes().all(|digit| digit.is_ascii_digit()) => digits.parse().ok(),
        None => None,
    }
}

impl Scalar {
    /// The whole number that the scalar is or spells.
    fn number(&self) -> Option<u64> {
        match self {
            Scalar::Number(value) => Some(*value),
            Scalar::Text(text) => number_text(text),
        }
    }

    /// The number before a unit, times the unit's factor.
    fn with_unit(&self, units: &[(&str, f64)], plain: f64) -> Option<f64> {
        let text = match self {
            Scalar::Number(value) => return Some(*value as f64 * plain),
            Scalar::Text(text) => text.trim(),
        };
        let start = text.find(|c: char| c.is_ascii_alphabetic() || c == 'µ').unwrap_or(text.len());
        let (amount, unit) = (text[..start].trim(), text[start..].trim());
        let factor = units.iter().find(|(name, _)| name.eq_ignore_ascii_case(unit)).map(|(_, factor)| *factor)?;
        let amount: f64 = amount.parse().ok()?;
        (amount.is_finite() && amount >= 0.0).then_some(amount * factor)
    }
}

/// A whole number of 32 bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Number(pub u32);

impl FromScalar for Number {
    const EXPECTED: &'static str = "a whole number from 0 to 0xFFFFFFFF";

    fn from_scalar(scalar: Scalar) -> Option<Self> {
        scalar.number()?.try_into().ok().map(Number)
    }

    fn schema() -> Schema {
        json_schema!({"type": ["integer", "string"], "minimum": 0, "maximum": u32::MAX, "pattern": "^(0[xX][0-9A-Fa-f_]+|[0-9]+)$"})
    }
}
scalar!(Number);
pub(super) use scalar;

/// An offset in an image, as a key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Offset(pub u32);

impl FromScalar for Offset {
    const EXPECTED: &'static str = "an offset like 0x1F0 as the key";

    fn from_scalar(scalar: Scalar) -> Option<Self> {
        Number::from_scalar(scalar).map(|Number(offset)| Offset(offset))
    }

    fn schema() -> Schema {
        Number::schema()
    }
}
scalar!(Offset);

/// A count of instructions or cycles.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Count(pub u64);

impl FromScalar for Count {
    const EXPECTED: &'static str = "a whole number of at least 1";

    fn from_scalar(scalar: Scalar) -> Option<Self> {
        scalar.number().filter(|value| *value > 0).map(Count)
    }

    fn schema() -> Schema {
        json_schema!({"type": "integer", "minimum": 1})
    }
}
scalar!(Count);

/// An inclusive range of addresses or offsets.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Range(pub RangeInclusive<u32>);

impl FromScalar for Range {
    const EXPECTED: &'static str = "an inclusive range like 0x200000-0x3FFFFF";

    fn from_scalar(scalar: Scalar) -> Option<Self> {
        let Scalar::Text(text) = scalar else { return None };
        let (start, end) = text.split_once('-')?;
        let (start, end) = (u32::try_from(number_text(start)?).ok()?, u32::try_from(number_text(end)?).ok()?);
        Some(Range(start..=end))
    }

    fn schema() -> Schema {
        json_schema!({"type": "string", "pattern": "^\\s*(0[xX][0-9A-Fa-f_]+|[0-9]+)\\s*-\\s*(0[xX][0-9A-Fa-f_]+|[0-9]+)\\s*$"})
    }
}
scalar!(Range);

/// The part of an image that a checksum sums.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SumRange {
    /// First offset.
    pub from: u32,
    /// Last offset, or `None` for the end of the image.
    pub to: Option<u32>,
}

impl FromScalar for SumRange {
    const EXPECTED: &'static str = "an inclusive range of offsets like 0x200-end or 0x200-0xFFFFF";

    fn from_scalar(scalar: Scalar) -> Option<Self> {
        let Scalar::Text(text) = scalar else { return None };
        let (from, to) = text.split_once('-')?;
        let from = u32::try_from(number_text(from)?).ok()?;
        let to = match to.trim() {
            "end" => None,
            to => Some(u32::try_from(number_text(to)?).ok()?),
        };
        to.is_none_or(|to| to >= from && to < u32::MAX).then_some(SumRange { from, to })
    }

    fn schema() -> Schema {
        json_schema!({"type": "string", "pattern": "^\\s*(0[xX][0-9A-Fa-f_]+|[0-9]+)\\s*-\\s*(0[xX][0-9A-Fa-f_]+|[0-9]+|end)\\s*$"})
    }
}
scalar!(SumRange);

/// A size in bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Size(pub u32);

impl FromScalar for Size {
    const EXPECTED: &'static str = "a size in bytes, or like 128 KiB or 1 MiB";

    fn from_scalar(scalar: Scalar) -> Option<Self> {
        let units = [("B", 1.0), ("bytes", 1.0), ("KiB", 1024.0), ("MiB", 1_048_576.0)];
        let bytes = match scalar.number() {
            Some(bytes) => bytes as f64,
            None => scalar.with_unit(&units, 1.0)?,
        };
        (bytes.fract() == 0.0 && bytes <= f64::from(u32::MAX)).then_some(Size(bytes as u32))
    }

    fn schema() -> Schema {
        json_schema!({"type": ["integer", "string"], "minimum": 1, "pattern": "^\\s*[0-9.xXA-Fa-f_]+\\s*([Bb]|[Bb]ytes|[Kk][Ii][Bb]|[Mm][Ii][Bb])?\\s*$"})
    }
}
scalar!(Size);

/// A clock in hertz.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Clock(pub u64);

impl FromScalar for Clock {
    const EXPECTED: &'static str = "a clock like 8 MHz or 7.6 MHz";

    fn from_scalar(scalar: Scalar) -> Option<Self> {
        let hertz = scalar.with_unit(&[("Hz", 1.0), ("kHz", 1e3), ("MHz", 1e6)], 1.0)?.round();
        (1.0..=1e9).contains(&hertz).then_some(Clock(hertz as u64))
    }

    fn schema() -> Schema {
        json_schema!({"type": ["integer", "string"], "minimum": 1, "pattern": "^\\s*[0-9.]+\\s*([Hh][Zz]|[Kk][Hh][Zz]|[Mm][Hh][Zz])\\s*$"})
    }
}
scalar!(Clock);

/// A time in nanoseconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Time(pub u64);

impl FromScalar for Time {
    const EXPECTED: &'static str = "a time like 2 ms or 500 us";

    fn from_scalar(scalar: Scalar) -> Option<Self> {
        if matches!(scalar, Scalar::Number(_)) {
            return None;
        }
        let nanoseconds = scalar.with_unit(&[("us", 1e3), ("µs", 1e3), ("ms", 1e6), ("s", 1e9)], 1.0)?.round();
        (1.0..=1e15).contains(&nanoseconds).then_some(Time(nanoseconds as u64))
    }

    fn schema() -> Schema {
        json_schema!({"type": "string", "pattern": "^\\s*[0-9.]+\\s*([Uu][Ss]|µ[Ss]|[Mm][Ss]|[Ss])\\s*$"})
    }
}
scalar!(Time);

/// Bytes as hexadecimal text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hex(pub Vec<u8>);

impl FromScalar for Hex {
    const EXPECTED: &'static str = "bytes in hexadecimal, in quotes, like \"4A 4B\"";

    fn from_scalar(scalar: Scalar) -> Option<Self> {
        let Scalar::Text(text) = scalar else { return None };
        let digits: Vec<u32> =
            text.chars().filter(|c| !c.is_whitespace()).map(|c| c.to_digit(16)).collect::<Option<_>>()?;
        if digits.is_empty() || !digits.len().is_multiple_of(2) {
            return None;
        }
        Some(Hex(digits.chunks(2).map(|pair| (pair[0] << 4 | pair[1]) as u8).collect()))
    }

    fn schema() -> Schema {
        json_schema!({"type": "string", "pattern": "^\\s*([0-9A-Fa-f]\\s*[0-9A-Fa-f]\\s*)+$"})
    }
}
scalar!(Hex);

/// What fills an image where nothing is put.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ImageFill {
    /// A byte.
    Byte(u8),
    /// Seeded noise.
    Noise,
}

impl ImageFill {
    /// The fill, noise with this seed.
    pub fn with_seed(self, seed: u64) -> Fill {
        match self {
            ImageFill::Byte(byte) => Fill::Byte(byte),
            ImageFill::Noise => Fill::Noise(seed),
        }
    }
}

impl FromScalar for ImageFill {
    const EXPECTED: &'static str = "a byte (0 to 0xFF) or noise";

    fn from_scalar(scalar: Scalar) -> Option<Self> {
        match &scalar {
            Scalar::Text(text) if text == "noise" => Some(ImageFill::Noise),
            _ => scalar.number()?.try_into().ok().map(ImageFill::Byte),
        }
    }

    fn schema() -> Schema {
        json_schema!({"oneOf": [{"type": "integer", "minimum": 0, "maximum": 255}, {"const": "noise"}]})
    }
}
scalar!(ImageFill);

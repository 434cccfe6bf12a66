//! Values that may be written in several forms: one scalar, a list, or a mapping.
//!
//! serde's `untagged` would do it with messages that help nobody; here each form is read for what it is, so a mistake in
//! it is complained about where it stands.

use std::fmt;
use std::marker::PhantomData;

use serde::Deserialize;
use serde::de::value::MapAccessDeserializer;
use serde::de::{Deserializer, Error, IntoDeserializer, MapAccess, SeqAccess, Unexpected, Visitor};

/// A value with several forms. The forms that a type does not have are refused.
pub(super) trait Forms: Sized {
    /// What is expected, for messages.
    const EXPECTED: &'static str;

    /// What a scalar is read as.
    type One: for<'de> Deserialize<'de>;

    /// What a mapping is read as.
    type Keys: for<'de> Deserialize<'de>;

    /// The form of one scalar.
    fn one(value: Self::One) -> Option<Self>;

    /// The form of a mapping.
    fn mapping(keys: Self::Keys) -> Result<Self, String>;

    /// The form of a list.
    fn list<'de, A: SeqAccess<'de>>(access: A) -> Result<Self, A::Error> {
        let _ = access;
        Err(A::Error::invalid_type(Unexpected::Seq, &Self::EXPECTED))
    }
}

/// Reads a value in whichever form it has.
pub(super) fn read<'de, T: Forms, D: Deserializer<'de>>(deserializer: D) -> Result<T, D::Error> {
    deserializer.deserialize_any(FormVisitor::<T>(PhantomData))
}

/// Deserialisation of a type with several forms.
macro_rules! forms {
    ($type:ty) => {
        impl<'de> serde::Deserialize<'de> for $type {
            fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                $crate::suite::forms::read(deserializer)
            }
        }
    };
}
pub(super) use forms;

struct FormVisitor<T>(PhantomData<T>);

impl<T: Forms> FormVisitor<T> {
    fn scalar<'de, V: IntoDeserializer<'de, E>, E: Error>(value: V, unexpected: Unexpected) -> Result<T, E> {
        let one = T::One::deserialize(value.into_deserializer())?;
        T::one(one).ok_or_else(|| E::invalid_type(unexpected, &T::EXPECTED))
    }
}

impl<'de, T: Forms> Visitor<'de> for FormVisitor<T> {
    type Value = T;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(T::EXPECTED)
    }

    fn visit_str<E: Error>(self, value: &str) -> Result<T, E> {
        Self::scalar(value, Unexpected::Str(value))
    }

    fn visit_u64<E: Error>(self, value: u64) -> Result<T, E> {
        Self::scalar(value, Unexpected::Unsigned(value))
    }

    fn visit_i64<E: Error>(self, value: i64) -> Result<T, E> {
        Self::scalar(value, Unexpected::Signed(value))
    }

    fn visit_f64<E: Error>(self, value: f64) -> Result<T, E> {
        Self::scalar(value, Unexpected::Float(value))
    }

    fn visit_bool<E: Error>(self, value: bool) -> Result<T, E> {
        Self::scalar(value, Unexpected::Bool(value))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, access: A) -> Result<T, A::Error> {
        T::list(access)
    }

    fn visit_map<A: MapAccess<'de>>(self, access: A) -> Result<T, A::Error> {
        T::mapping(T::Keys::deserialize(MapAccessDeserializer::new(access))?).map_err(A::Error::custom)
    }
}

//! Lists and mappings of user-written values: one or many, and names that the user chooses.

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;
use serde::de::{Deserializer, Error, IntoDeserializer, MapAccess, SeqAccess, Visitor};

/// The elements of a list that must not be empty.
pub(super) fn some<'de, T: Deserialize<'de>, A: SeqAccess<'de>>(mut access: A) -> Result<Vec<T>, A::Error> {
    let mut values = Vec::new();
    while let Some(value) = access.next_element()? {
        values.push(value);
    }
    if values.is_empty() {
        return Err(A::Error::custom("the list is empty"));
    }
    Ok(values)
}

/// One value or a list of them.
#[derive(Clone, Debug)]
pub struct OneOrMany<T>(pub Vec<T>);

impl<'de, T: Deserialize<'de>> Deserialize<'de> for OneOrMany<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Either<T>(std::marker::PhantomData<T>);

        impl<'de, T: Deserialize<'de>> Visitor<'de> for Either<T> {
            type Value = OneOrMany<T>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("one value or a list")
            }

            fn visit_str<E: Error>(self, value: &str) -> Result<Self::Value, E> {
                T::deserialize(value.into_deserializer()).map(|value| OneOrMany(vec![value]))
            }

            fn visit_u64<E: Error>(self, value: u64) -> Result<Self::Value, E> {
                T::deserialize(value.into_deserializer()).map(|value| OneOrMany(vec![value]))
            }

            fn visit_i64<E: Error>(self, value: i64) -> Result<Self::Value, E> {
                T::deserialize(value.into_deserializer()).map(|value| OneOrMany(vec![value]))
            }

            fn visit_f64<E: Error>(self, value: f64) -> Result<Self::Value, E> {
                T::deserialize(value.into_deserializer()).map(|value| OneOrMany(vec![value]))
            }

            fn visit_bool<E: Error>(self, value: bool) -> Result<Self::Value, E> {
                T::deserialize(value.into_deserializer()).map(|value| OneOrMany(vec![value]))
            }

            fn visit_seq<A: SeqAccess<'de>>(self, access: A) -> Result<Self::Value, A::Error> {
                some(access).map(OneOrMany)
            }
        }

        deserializer.deserialize_any(Either(std::marker::PhantomData))
    }
}

impl<T: JsonSchema> JsonSchema for OneOrMany<T> {
    fn schema_name() -> Cow<'static, str> {
        format!("OneOrMany{}", T::schema_name()).into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let one = generator.subschema_for::<T>();
        json_schema!({"anyOf": [one, {"type": "array", "items": one, "minItems": 1}]})
    }
}

/// A mapping whose keys are names that the user chooses, in the order of the file. A name given twice is an error.
#[derive(Clone, Debug)]
pub struct Named<T>(pub Vec<(String, T)>);

impl<T> Default for Named<T> {
    fn default() -> Self {
        Named(Vec::new())
    }
}

impl<T> Named<T> {
    /// The value of a name.
    pub fn get(&self, name: &str) -> Option<&T> {
        self.0.iter().find(|(key, _)| key == name).map(|(_, value)| value)
    }

    /// The names, in order.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.0.iter().map(|(name, _)| name.as_str())
    }
}

/// A name as a key; a whole number without quotes is one too.
struct KeyText(String);

impl<'de> Deserialize<'de> for KeyText {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Key;

        impl Visitor<'_> for Key {
            type Value = KeyText;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a name")
            }

            fn visit_str<E: Error>(self, value: &str) -> Result<KeyText, E> {
                Ok(KeyText(value.to_owned()))
            }

            fn visit_u64<E: Error>(self, value: u64) -> Result<KeyText, E> {
                Ok(KeyText(value.to_string()))
            }

            fn visit_i64<E: Error>(self, value: i64) -> Result<KeyText, E> {
                Ok(KeyText(value.to_string()))
            }
        }

        deserializer.deserialize_any(Key)
    }
}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Named<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Pairs<T>(std::marker::PhantomData<T>);

        impl<'de, T: Deserialize<'de>> Visitor<'de> for Pairs<T> {
            type Value = Named<T>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a mapping")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut access: A) -> Result<Self::Value, A::Error> {
                let mut pairs: Vec<(String, T)> = Vec::new();
                while let Some(KeyText(key)) = access.next_key()? {
                    if pairs.iter().any(|(name, _)| *name == key) {
                        return Err(A::Error::custom(format!("`{key}` is given twice")));
                    }
                    pairs.push((key, access.next_value()?));
                }
                Ok(Named(pairs))
            }
        }

        deserializer.deserialize_map(Pairs(std::marker::PhantomData))
    }
}

impl<T: JsonSchema> JsonSchema for Named<T> {
    fn schema_name() -> Cow<'static, str> {
        format!("Named{}", T::schema_name()).into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let value = generator.subschema_for::<T>();
        json_schema!({"type": "object", "additionalProperties": value})
    }
}

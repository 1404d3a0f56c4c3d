//! How long a text of a caller may be: said in the schema (`maxLength`), and held to as the text is read, so that
//! nothing longer gets as far as a method, the journal or an error's message.
//!
//! The types are named by `#[serde(with = "…")]` beside a field, which serde and schemars both understand; the field
//! itself stays a `String`.

use std::borrow::Cow;
use std::fmt;
use std::marker::PhantomData;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{Deserialize, Deserializer, Error, MapAccess, SeqAccess, Visitor};
use serde::ser::{Serialize, Serializer};
use serde_json::{Map, Value};

/// A name or id: of a bay, a test point, a person, a unit, a key.
pub(super) type Name = Limited<Text<200>>;
pub(super) type OptionalName = Limited<Option<Text<200>>>;
pub(super) type OptionalNames = Limited<Option<List<Text<200>, 100>>>;
/// A moment: RFC 3339 with nanoseconds and an offset has 35 characters.
pub(super) type Moment = Limited<Text<64>>;
/// A few sentences.
pub(super) type OptionalNote = Limited<Option<Text<4000>>>;
/// The path of a port.
pub(super) type Path = Limited<Text<1000>>;
pub(super) type RulesetText = Limited<Text<RULESET>>;
pub(super) type OptionalRulesetText = Limited<Option<Text<RULESET>>>;
/// A case, or its stream.
pub(super) type CaseToml = Limited<Text<CASES>>;
pub(super) type OptionalStream = Limited<Option<Text<CASES>>>;
pub(super) type OptionalSenml = Limited<Option<List<Members<SENML>, RECORDS>>>;
/// What `instrument.attach` takes as settings, which are the adapter's to know.
pub(super) type Settings = Limited<Members<SETTINGS>>;

/// Characters of a rule set, and of all cases of a trial together with their streams.
const RULESET: usize = 1024 * 1024;
const CASES: usize = 4 * 1024 * 1024;
/// SenML records of a submission.
const RECORDS: usize = 100_000;
/// Characters of an object's texts, its members' names included.
const SENML: usize = 1000;
const SETTINGS: usize = 64 * 1024;

/// Reads and writes a field whose values are limited as `T` says.
pub(super) struct Limited<T>(PhantomData<T>);

/// What is limited, and the plain type of the field that it is a limit of.
pub(super) trait Limit {
    type Plain: Serialize;
    fn plain(self) -> Self::Plain;
}

/// A text of up to `MAX` characters.
pub(super) struct Text<const MAX: usize>(String);

/// A list of up to `ITEMS` items.
pub(super) struct List<T, const ITEMS: usize>(Vec<T>);

/// An object whose texts have up to `MAX` characters together.
pub(super) struct Members<const MAX: usize>(Map<String, Value>);

impl<T: Limit> Limited<T> {
    pub(super) fn serialize<S: Serializer>(plain: &T::Plain, to: S) -> Result<S::Ok, S::Error> {
        plain.serialize(to)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<T::Plain, D::Error>
    where
        T: Deserialize<'de>,
    {
        T::deserialize(from).map(T::plain)
    }
}

impl<T: JsonSchema> JsonSchema for Limited<T> {
    fn inline_schema() -> bool {
        T::inline_schema()
    }

    fn schema_name() -> Cow<'static, str> {
        T::schema_name()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        T::json_schema(generator)
    }
}

impl<T: Limit> Limit for Option<T> {
    type Plain = Option<T::Plain>;
    fn plain(self) -> Self::Plain {
        self.map(T::plain)
    }
}

impl<const MAX: usize> Limit for Text<MAX> {
    type Plain = String;
    fn plain(self) -> String {
        self.0
    }
}

impl<T: Limit, const ITEMS: usize> Limit for List<T, ITEMS> {
    type Plain = Vec<T::Plain>;
    fn plain(self) -> Self::Plain {
        self.0.into_iter().map(T::plain).collect()
    }
}

impl<const MAX: usize> Limit for Members<MAX> {
    type Plain = Map<String, Value>;
    fn plain(self) -> Self::Plain {
        self.0
    }
}

/// How the message of a refusal begins; `params::explain` adds the hint.
pub(crate) const TOO_LONG: &str = "too long:";

fn too_long<E: Error>(found: usize, most: usize, what: &str) -> E {
    let message = format!("{TOO_LONG} {found} {what}, at most {most} are taken");
    E::custom(message)
}

fn check<E: Error>(text: &str, most: usize) -> Result<(), E> {
    // A character has a byte or more, so most texts need no counting.
    if text.len() <= most {
        return Ok(());
    }
    match text.chars().count() {
        found if found > most => Err(too_long(found, most, "characters")),
        _ => Ok(()),
    }
}

// All checks are within visitors: there serde_json still knows the place, which the refusal names.

impl<'de, const MAX: usize> Deserialize<'de> for Text<MAX> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Read<const MAX: usize>;
        impl<const MAX: usize> Visitor<'_> for Read<MAX> {
            type Value = Text<MAX>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a string")
            }

            fn visit_str<E: Error>(self, text: &str) -> Result<Text<MAX>, E> {
                check(text, MAX)?;
                Ok(Text(text.to_owned()))
            }
        }
        from.deserialize_str(Read)
    }
}

impl<'de, T: Deserialize<'de>, const ITEMS: usize> Deserialize<'de> for List<T, ITEMS> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Read<T, const ITEMS: usize>(PhantomData<T>);
        impl<'de, T: Deserialize<'de>, const ITEMS: usize> Visitor<'de> for Read<T, ITEMS> {
            type Value = List<T, ITEMS>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a sequence")
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<Self::Value, A::Error> {
                let mut taken = Vec::new();
                while let Some(item) = items.next_element()? {
                    if taken.len() == ITEMS {
                        return Err(too_long(ITEMS + 1, ITEMS, "items or more"));
                    }
                    taken.push(item);
                }
                Ok(List(taken))
            }
        }
        from.deserialize_seq(Read(PhantomData))
    }
}

impl<'de, const MAX: usize> Deserialize<'de> for Members<MAX> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Read<const MAX: usize>;
        impl<'de, const MAX: usize> Visitor<'de> for Read<MAX> {
            type Value = Members<MAX>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a map")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut from: A) -> Result<Members<MAX>, A::Error> {
                let (mut members, mut found) = (Map::new(), 0);
                while let Some((name, value)) = from.next_entry::<String, Value>()? {
                    found += name.len() + bytes(&value);
                    if found > MAX {
                        return Err(too_long(found, MAX, "bytes of text or more"));
                    }
                    members.insert(name, value);
                }
                Ok(Members(members))
            }
        }
        from.deserialize_map(Read)
    }
}

/// The bytes of a value's texts; anything else counts as one.
fn bytes(value: &Value) -> usize {
    match value {
        Value::String(text) => text.len(),
        Value::Array(items) => items.iter().map(bytes).sum::<usize>() + 1,
        Value::Object(members) => {
            let of = |(name, value): (&String, &Value)| name.len() + bytes(value);
            members.iter().map(of).sum::<usize>() + 1
        }
        Value::Null | Value::Bool(_) | Value::Number(_) => 1,
    }
}

impl<const MAX: usize> JsonSchema for Text<MAX> {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> Cow<'static, str> {
        format!("Text{MAX}").into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({"type": "string", "maxLength": MAX})
    }
}

impl<T: JsonSchema, const ITEMS: usize> JsonSchema for List<T, ITEMS> {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> Cow<'static, str> {
        format!("List{ITEMS}Of{}", T::schema_name()).into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let mut schema = <Vec<T>>::json_schema(generator);
        schema.insert("maxItems".to_owned(), ITEMS.into());
        schema
    }
}

impl<const MAX: usize> JsonSchema for Members<MAX> {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> Cow<'static, str> {
        format!("Members{MAX}").into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        <Map<String, Value>>::json_schema(generator)
    }
}

//! Reading JSON-RPC 2.0 requests: what is a call, what is a notification, and
//! what is neither. No I/O; text in, entries out.
//!
//! jsonrpsee's own reading takes a request with an id of `-1` or `1.5` for a
//! notification and answers `"method": 1` with a parse error; so the requests
//! are read here and jsonrpsee runs the methods.

use std::borrow::Cow;
use std::fmt;

use serde::Deserialize;
use serde::de::{DeserializeSeed, Deserializer, IgnoredAny, SeqAccess, Visitor};
use serde_json::value::RawValue;

/// A whole message, as far as it can be told before its entries are looked at.
#[derive(Debug)]
pub(super) enum Message<'a> {
    /// One request, notification or wrong object.
    Single(Entry<'a>),
    /// A batch of at least one entry, each still as it was written.
    Batch(Vec<&'a RawValue>),
    /// A batch of more entries than are allowed.
    TooManyEntries,
    /// An empty batch.
    EmptyBatch,
    /// Not JSON.
    Broken,
}

/// One request of a message.
#[derive(Debug)]
pub(super) enum Entry<'a> {
    /// Wants an answer under its id, which is kept as it was written.
    Call {
        id: &'a RawValue,
        request: Request<'a>,
    },
    /// Wants none.
    Notification(Request<'a>),
    /// Is not a request; the id is there if one could be made out.
    Invalid {
        id: Option<&'a RawValue>,
        why: &'static str,
    },
}

/// A method and what it is called with.
#[derive(Debug)]
pub(super) struct Request<'a> {
    pub method: Cow<'a, str>,
    pub params: Option<&'a RawValue>,
}

/// Reads a message; a batch may have up to `most` entries.
pub(super) fn read(text: &[u8], most: usize) -> Message<'_> {
    let first = text.iter().find(|byte| !byte.is_ascii_whitespace());
    if first == Some(&b'[') {
        return read_batch(text, most);
    }
    // As it was written: an id is given back to the letter, which a number that went through an f64 is not.
    match serde_json::from_slice::<&RawValue>(text) {
        Ok(raw) => Message::Single(entry(raw)),
        Err(_) => Message::Broken,
    }
}

/// Reads one entry: an object with `jsonrpc`, `method` and perhaps `params` and `id`.
pub(super) fn entry(raw: &RawValue) -> Entry<'_> {
    // Derived structures would take an array as well.
    if !raw.get().starts_with('{') {
        return Entry::Invalid {
            id: None,
            why: "a request is an object",
        };
    }
    match serde_json::from_str::<Fields<'_>>(raw.get()) {
        Ok(fields) => fields.entry(),
        Err(_) => Entry::Invalid {
            id: None,
            why: "a request names each of its members once",
        },
    }
}

/// The members of a request, unread. Others are left alone.
#[derive(Deserialize)]
struct Fields<'a> {
    #[serde(borrow, default, deserialize_with = "as_written")]
    jsonrpc: Option<&'a RawValue>,
    #[serde(borrow, default, deserialize_with = "as_written")]
    id: Option<&'a RawValue>,
    #[serde(borrow, default, deserialize_with = "as_written")]
    method: Option<&'a RawValue>,
    #[serde(borrow, default, deserialize_with = "as_written")]
    params: Option<&'a RawValue>,
}

/// Keeps `null` apart from a missing member.
fn as_written<'de, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<Option<&'de RawValue>, D::Error> {
    <&RawValue>::deserialize(deserializer).map(Some)
}

impl<'a> Fields<'a> {
    fn entry(self) -> Entry<'a> {
        if self.id.is_some_and(|id| !is_id(id)) {
            return Entry::Invalid {
                id: None,
                why: "an id is a string, a number or null",
            };
        }
        let request = match self.request() {
            Ok(request) => request,
            Err(why) => return Entry::Invalid { id: self.id, why },
        };
        match self.id {
            Some(id) => Entry::Call { id, request },
            None => Entry::Notification(request),
        }
    }

    fn request(&self) -> Result<Request<'a>, &'static str> {
        if self.jsonrpc.and_then(text_of).as_deref() != Some("2.0") {
            return Err("a request says \"jsonrpc\": \"2.0\"");
        }
        let method = self.method.and_then(text_of);
        let method = method.ok_or("a request names its method as a string")?;
        // Some clients write `null` where they have no parameters; it is harmless.
        let params = self.params.filter(|params| params.get() != "null");
        match params.map(|params| params.get().as_bytes().first()) {
            None | Some(Some(b'{' | b'[')) => Ok(Request { method, params }),
            Some(_) => Err("parameters are an object or an array"),
        }
    }
}

/// Whether a value may be an id. Fractions and negative numbers are discouraged
/// by the specification, not forbidden.
fn is_id(raw: &RawValue) -> bool {
    matches!(
        raw.get().as_bytes().first(),
        Some(b'"' | b'-' | b'0'..=b'9' | b'n')
    )
}

/// The string a value is, if it is one; borrowed unless it has escapes.
pub(super) fn text_of(raw: &RawValue) -> Option<Cow<'_, str>> {
    match serde_json::from_str::<&str>(raw.get()) {
        Ok(text) => Some(Cow::Borrowed(text)),
        Err(_) => serde_json::from_str::<String>(raw.get())
            .ok()
            .map(Cow::Owned),
    }
}

fn read_batch(text: &[u8], most: usize) -> Message<'_> {
    let mut over = false;
    let mut reader = serde_json::Deserializer::from_slice(text);
    let entries = Entries {
        most,
        over: &mut over,
    };
    let read = entries.deserialize(&mut reader);
    match read.and_then(|entries| reader.end().map(|()| entries)) {
        Ok(_) if over => Message::TooManyEntries,
        Ok(entries) if entries.is_empty() => Message::EmptyBatch,
        Ok(entries) => Message::Batch(entries),
        Err(_) => Message::Broken,
    }
}

/// Collects the entries of a batch, but never more than allowed: ten megabytes
/// of `1,` would otherwise become eighty of entries.
struct Entries<'o> {
    most: usize,
    over: &'o mut bool,
}

impl<'de> DeserializeSeed<'de> for Entries<'_> {
    type Value = Vec<&'de RawValue>;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Self::Value, D::Error> {
        deserializer.deserialize_seq(self)
    }
}

impl<'de> Visitor<'de> for Entries<'_> {
    type Value = Vec<&'de RawValue>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a batch")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Self::Value, A::Error> {
        let mut entries = Vec::new();
        while entries.len() < self.most {
            match seq.next_element()? {
                Some(entry) => entries.push(entry),
                None => return Ok(entries),
            }
        }
        // The rest is read through all the same, so that broken JSON is called that.
        while seq.next_element::<IgnoredAny>()?.is_some() {
            *self.over = true;
        }
        Ok(entries)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Says in a few words what a text was read as.
    fn check(text: &str, expected: &str) {
        let found = match read(text.as_bytes(), 3) {
            Message::Single(entry) => told(&entry),
            Message::Batch(entries) => {
                let told: Vec<_> = entries.into_iter().map(|raw| told(&entry(raw))).collect();
                format!("batch: {}", told.join("; "))
            }
            Message::TooManyEntries => "too many".to_owned(),
            Message::EmptyBatch => "empty batch".to_owned(),
            Message::Broken => "broken".to_owned(),
        };
        assert_eq!(found, expected, "{text}");
    }

    fn told(entry: &Entry<'_>) -> String {
        match entry {
            Entry::Call { id, request } => format!("call {id} {}", request.method),
            Entry::Notification(request) => format!("notification {}", request.method),
            Entry::Invalid { id, .. } => format!("invalid {}", id.map_or("-", RawValue::get)),
        }
    }

    #[test]
    fn ids_are_kept_as_written() {
        check(r#"{"jsonrpc":"2.0","method":"m","id":1}"#, "call 1 m");
        check(r#"{"jsonrpc":"2.0","method":"m","id":"a"}"#, "call \"a\" m");
        check(r#"{"jsonrpc":"2.0","method":"m","id":null}"#, "call null m");
        check(r#"{"jsonrpc":"2.0","method":"m","id":1.5}"#, "call 1.5 m");
        check(r#"{"jsonrpc":"2.0","method":"m","id":-1}"#, "call -1 m");
        check(r#"{"jsonrpc":"2.0","method":"m","id":1e99}"#, "call 1e99 m");
        check(r#"{"jsonrpc":"2.0","method":"m","id":true}"#, "invalid -");
        check(r#"{"jsonrpc":"2.0","method":"m","id":{}}"#, "invalid -");
        check(r#"{"jsonrpc":"2.0","method":"m"}"#, "notification m");
    }

    #[test]
    fn wrong_requests_are_invalid_and_keep_their_id() {
        check(r#"{"jsonrpc":"2.0","method":1,"id":3}"#, "invalid 3");
        check(r#"{"jsonrpc":"1.0","method":"m","id":3}"#, "invalid 3");
        check(r#"{"method":"m","id":3}"#, "invalid 3");
        check(
            r#"{"jsonrpc":"2.0","method":"m","params":3,"id":3}"#,
            "invalid 3",
        );
        check(
            r#"{"jsonrpc":"2.0","method":"m","method":"n","id":3}"#,
            "invalid -",
        );
        check("1", "invalid -");
        check("null", "invalid -");
    }

    #[test]
    fn harmless_oddities_are_taken() {
        check(
            r#"{"jsonrpc":"2.0","method":"m","params":null,"id":3}"#,
            "call 3 m",
        );
        check(
            " \r\n {\"jsonrpc\":\"2.0\",\"method\":\"\\u006d\",\"id\":3,\"more\":0} ",
            "call 3 m",
        );
    }

    #[test]
    fn batches_are_counted_and_bounded() {
        check("[]", "empty batch");
        check("[1,2,3]", "batch: invalid -; invalid -; invalid -");
        check("[1,2,3,4]", "too many");
        check("[[1]]", "batch: invalid -");
        check(r#"[["2.0",1,"m",[]]]"#, "batch: invalid -");
    }

    #[test]
    fn what_is_not_json_is_broken() {
        for text in [
            "",
            " ",
            "{",
            "[1",
            "[1,]",
            "[] x",
            "{} {}",
            "[1,2,3,4",
            "nul",
            "\u{feff}[]",
        ] {
            check(text, "broken");
        }
        assert!(matches!(read(b"{\"a\":\"\xff\"}", 3), Message::Broken));
    }

    #[test]
    fn depth_costs_no_stack() {
        let deep = "[".repeat(1_000_000);
        assert!(matches!(read(deep.as_bytes(), 3), Message::Broken));
        let closed = format!("{}{}", "[".repeat(200_000), "]".repeat(200_000));
        assert!(
            matches!(read(closed.as_bytes(), 3), Message::Batch(entries) if entries.len() == 1)
        );
    }
}

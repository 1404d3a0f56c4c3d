//! What a line says. No I/O.

use std::borrow::Cow;

use serde::{Deserialize, Serialize};
use serde_json::Value;
use serde_json::value::RawValue;

use super::sample::SampleSaid;
use crate::State;

/// A line of a plugin that was understood.
#[derive(Debug)]
pub(super) enum Heard<'a> {
    /// What its instrument said.
    Samples(Vec<SampleSaid<'a>>),
    /// How it is doing.
    State(StateSaid<'a>),
    /// An answer to what was asked.
    Answer {
        /// To which question.
        id: u64,
        /// The result, or the error.
        outcome: Result<Value, Refusal>,
    },
    /// A question of its own: the service answers none.
    Asked {
        /// The question's id, as it was written.
        id: &'a RawValue,
        /// The method.
        method: Cow<'a, str>,
    },
}

/// Parameters of `state`. Counts are totals since the plugin was started.
#[derive(Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub(super) struct StateSaid<'a> {
    pub state: State,
    #[serde(default, borrow, skip_serializing_if = "Option::is_none")]
    pub why: Option<Cow<'a, str>>,
    #[serde(default)]
    pub bad_frames: u64,
    #[serde(default)]
    pub skipped_bytes: u64,
}

/// The error of an answer.
#[derive(Debug, Deserialize, Serialize)]
pub(super) struct Refusal {
    /// The code of JSON-RPC 2.0, or one of the plugin's own.
    pub code: i64,
    /// What was wrong, in words.
    pub message: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Envelope<'a> {
    #[serde(borrow)]
    jsonrpc: Cow<'a, str>,
    #[serde(borrow)]
    id: Option<&'a RawValue>,
    #[serde(borrow)]
    method: Option<Cow<'a, str>>,
    #[serde(borrow)]
    params: Option<&'a RawValue>,
    #[serde(borrow)]
    result: Option<&'a RawValue>,
    #[serde(borrow)]
    error: Option<&'a RawValue>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SamplesSaid<'a> {
    #[serde(borrow)]
    samples: Vec<SampleSaid<'a>>,
}

/// Reads a line; or says why it is none of this contract.
pub(super) fn read(line: &[u8]) -> Result<Heard<'_>, String> {
    let text = std::str::from_utf8(line).map_err(|_| "a line that is no text in UTF-8")?;
    if text.trim().is_empty() {
        return Err("an empty line".to_owned());
    }
    let envelope: Envelope<'_> = serde_json::from_str(text)
        .map_err(|error| format!("a line that is no JSON-RPC message: {error}"))?;
    if envelope.jsonrpc != "2.0" {
        return Err("a message whose `jsonrpc` is not \"2.0\"".to_owned());
    }
    match (envelope.method, envelope.id) {
        (Some(method), Some(id)) => Ok(Heard::Asked { id, method }),
        (Some(method), None) => notification(&method, envelope.params),
        (None, Some(id)) => answer(id, envelope.result, envelope.error),
        (None, None) => Err("a message with neither `method` nor `id`".to_owned()),
    }
}

fn notification<'a>(method: &str, params: Option<&'a RawValue>) -> Result<Heard<'a>, String> {
    let params = params.map_or("{}", RawValue::get);
    let unfit = |error: serde_json::Error| format!("the parameters of `{method}`: {error}");
    match method {
        "samples" => {
            let said: SamplesSaid<'_> = serde_json::from_str(params).map_err(unfit)?;
            Ok(Heard::Samples(said.samples))
        }
        "state" => serde_json::from_str(params)
            .map(Heard::State)
            .map_err(unfit),
        _ => Err(format!(
            "there is no notification `{method}`: send samples or state"
        )),
    }
}

fn answer<'a>(
    id: &RawValue,
    result: Option<&RawValue>,
    error: Option<&RawValue>,
) -> Result<Heard<'a>, String> {
    let number = id.get().parse();
    let id = number.map_err(|_| format!("an answer to {}, which was not asked", id.get()))?;
    let outcome = match (result, error) {
        (Some(_), Some(_)) => return Err("an answer with both `result` and `error`".to_owned()),
        (result, None) => {
            let text = result.map_or("null", RawValue::get);
            Ok(serde_json::from_str(text).map_err(|error| error.to_string())?)
        }
        (None, Some(error)) => {
            let refusal = serde_json::from_str(error.get());
            Err(refusal.map_err(|why| format!("an `error` that is none: {why}"))?)
        }
    };
    Ok(Heard::Answer { id, outcome })
}

/// A request as it is written, with its line feed.
pub(super) fn request(id: u64, method: &str, params: &Value) -> Vec<u8> {
    #[derive(Serialize)]
    struct Request<'a> {
        jsonrpc: &'a str,
        id: u64,
        method: &'a str,
        params: &'a Value,
    }
    line(&Request {
        jsonrpc: "2.0",
        id,
        method,
        params,
    })
}

/// A notification as it is written, with its line feed.
pub(super) fn notify<P: Serialize>(method: &str, params: &P) -> Vec<u8> {
    #[derive(Serialize)]
    struct Notification<'a, P> {
        jsonrpc: &'a str,
        method: &'a str,
        params: &'a P,
    }
    line(&Notification {
        jsonrpc: "2.0",
        method,
        params,
    })
}

/// An answer as it is written, with its line feed.
pub(super) fn reply<I: Serialize>(id: &I, outcome: Result<Value, Refusal>) -> Vec<u8> {
    #[derive(Serialize)]
    struct Answer<'a, I> {
        jsonrpc: &'a str,
        id: &'a I,
        #[serde(skip_serializing_if = "Option::is_none")]
        result: Option<Value>,
        #[serde(skip_serializing_if = "Option::is_none")]
        error: Option<Refusal>,
    }
    let (result, error) = match outcome {
        Ok(result) => (Some(result), None),
        Err(error) => (None, Some(error)),
    };
    line(&Answer {
        jsonrpc: "2.0",
        id,
        result,
        error,
    })
}

fn line<T: Serialize>(message: &T) -> Vec<u8> {
    // Texts, numbers and JSON values always serialise.
    let mut line = serde_json::to_vec(message).unwrap_or_default();
    line.push(b'\n');
    line
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn refused(line: &[u8], why: &str) {
        let error = read(line).unwrap_err();
        assert!(error.contains(why), "{error}");
    }

    #[test]
    fn what_is_written_is_byte_for_byte_as_documented() {
        let asked = request(1, "describe", &serde_json::json!({}));
        assert_eq!(
            asked,
            b"{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"describe\",\"params\":{}}\n"
        );
        let refusal = Refusal {
            code: -32601,
            message: "no".to_owned(),
        };
        let answered = reply(&7, Err(refusal));
        assert_eq!(
            answered,
            b"{\"jsonrpc\":\"2.0\",\"id\":7,\"error\":{\"code\":-32601,\"message\":\"no\"}}\n"
        );
        assert_eq!(
            reply(&7, Ok(Value::Null)),
            b"{\"jsonrpc\":\"2.0\",\"id\":7,\"result\":null}\n"
        );
    }

    #[test]
    fn answers_and_questions_are_told_apart() {
        let null = read(br#"{"jsonrpc":"2.0","id":2,"result":null}"#).unwrap();
        assert!(matches!(
            null,
            Heard::Answer {
                id: 2,
                outcome: Ok(Value::Null)
            }
        ));
        let error =
            read(br#"{"id":3,"error":{"code":1,"message":"no port","data":{}},"jsonrpc":"2.0"}"#);
        assert!(
            matches!(error.unwrap(), Heard::Answer { id: 3, outcome: Err(r) } if r.message == "no port")
        );
        let asked = read(br#"{"jsonrpc":"2.0","id":"a","method":"help"}"#).unwrap();
        assert!(matches!(asked, Heard::Asked { method, .. } if method == "help"));
        let state = read(
            br#"{"jsonrpc":"2.0","method":"state","params":{"state":"silent","why":"no cable"}}"#,
        );
        assert!(
            matches!(state.unwrap(), Heard::State(s) if s.state == State::Silent && s.why.as_deref() == Some("no cable"))
        );
    }

    #[test]
    fn what_is_none_of_the_contract_is_refused_in_words() {
        refused(b"\xff\xfe\x00", "no text in UTF-8");
        refused(b"", "an empty line");
        refused(b"reading 12.4 V", "no JSON-RPC message");
        refused(b"[]", "no JSON-RPC message");
        refused(br#"{"jsonrpc":"1.0","method":"state"}"#, "`jsonrpc` is not");
        refused(br#"{"jsonrpc":"2.0"}"#, "neither `method` nor `id`");
        refused(
            br#"{"jsonrpc":"2.0","id":null,"result":1}"#,
            "neither `method` nor `id`",
        );
        refused(
            br#"{"jsonrpc":"2.0","method":"sample"}"#,
            "there is no notification `sample`",
        );
        refused(
            br#"{"jsonrpc":"2.0","method":"state","params":{"state":"fine"}}"#,
            "unknown variant `fine`",
        );
        refused(
            br#"{"jsonrpc":"2.0","id":"x","result":1}"#,
            "which was not asked",
        );
        refused(
            br#"{"jsonrpc":"2.0","id":1,"result":1,"error":{}}"#,
            "both `result` and `error`",
        );
        refused(
            br#"{"jsonrpc":"2.0","id":1,"error":"no"}"#,
            "an `error` that is none",
        );
    }
}

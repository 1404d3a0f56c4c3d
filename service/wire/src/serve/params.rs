//! Parameters by name, and what is wrong with them said so that it can be mended.

use super::position::path_at;
use crate::error::{ErrorKind, WireError};
use crate::nearest;
use crate::types::text::TOO_LONG;
use serde::de::DeserializeOwned;

/// Parses the parameters of a call; left out they are an empty object.
///
/// # Errors
/// [`ErrorKind::InvalidParams`], or [`ErrorKind::TooLarge`] for a text over its limit, with the member at fault as
/// `field` and the way out as `hint`.
pub fn parse<P: DeserializeOwned>(raw: Option<&str>) -> Result<P, WireError> {
    let text = match raw.unwrap_or("{}").trim() {
        // No parameters, as clients of other languages say it.
        "[]" => "{}",
        text => text,
    };
    if !text.starts_with('{') {
        return Err(ErrorKind::InvalidParams
            .because("the parameters are not an object")
            .hint("pass parameters by name: {\"name\": value, ..}"));
    }
    serde_json::from_str(text).map_err(|error| explain(text, &error))
}

/// Turns serde's message into a refusal with the member at fault and a hint.
fn explain(text: &str, error: &serde_json::Error) -> WireError {
    // serde's errors have no parts, only their text; a test of each shape below finds a version that words it otherwise.
    let message = without_position(&error.to_string());
    let path = path_at(text, error.line(), error.column());
    let named = backticked(&message);
    if let (true, [given, known @ ..]) = (message.starts_with("unknown field"), &named[..]) {
        return unknown_member(sibling(&path, given), given, known);
    }
    if let (true, [missing, ..]) = (message.starts_with("missing field"), &named[..]) {
        // The error is noticed at the end of the object that lacks it.
        return ErrorKind::InvalidParams
            .because(format!("`{missing}` is missing"))
            .at(child(&path, missing))
            .hint(format!("add `{missing}`"));
    }
    // A word that stands in an enumeration: the nearest of those it has.
    let refusal = match (message.starts_with("unknown variant"), &named[..]) {
        (true, [given, known @ ..]) => ErrorKind::InvalidParams
            .because(format!("`{given}` is not one of the words allowed here"))
            .hint_nearest(given, known.iter().copied()),
        _ => match message.strip_prefix(TOO_LONG) {
            Some(why) => ErrorKind::TooLarge
                .because(format!("too long: {}", why.trim()))
                .hint("shorten it; the method's schema says how long each text may be"),
            None => ErrorKind::InvalidParams.because(message.clone()),
        },
    };
    if path.is_empty() {
        refusal
    } else {
        refusal.at(path)
    }
}

fn unknown_member(field: String, given: &str, known: &[&str]) -> WireError {
    let refusal = ErrorKind::InvalidParams
        .because(format!("`{given}` is not a parameter here"))
        .at(field);
    match nearest::advice(given, known.iter().copied()) {
        Some(advice) => refusal.hint(advice),
        None => refusal.hint("leave it out: there are no parameters here"),
    }
}

/// `a.b` and `c` → `a.c`: the error stands at a member, the name is one beside it.
fn sibling(path: &str, name: &str) -> String {
    match path.strip_suffix(name) {
        Some(_) => path.to_owned(),
        None => child(path.rsplit_once('.').map_or("", |(parent, _)| parent), name),
    }
}

fn child(path: &str, name: &str) -> String {
    if path.is_empty() {
        name.to_owned()
    } else {
        format!("{path}.{name}")
    }
}

/// serde_json ends its messages with ` at line 1 column 7`, which nobody who wrote no lines can use.
fn without_position(message: &str) -> String {
    match message.rfind(" at line ") {
        Some(end) => message[..end].to_owned(),
        None => message.to_owned(),
    }
}

/// The words serde put between backticks.
fn backticked(message: &str) -> Vec<&str> {
    message.split('`').skip(1).step_by(2).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::types::{
        BayName, InstrumentAttachParams, JobCloseParams, NoParams, PhaseSayParams,
        ReadingSubmitParams,
    };

    fn check<P: DeserializeOwned + std::fmt::Debug>(text: &str, expected: &str) {
        let refusal = parse::<P>(Some(text)).unwrap_err();
        assert_eq!(refusal.kind, ErrorKind::InvalidParams);
        let field = refusal.field.unwrap_or_default();
        let hint = refusal.hint.unwrap_or_default();
        assert_eq!(format!("{field}: {}; {hint}", refusal.message), expected);
    }

    #[test]
    fn left_out_parameters_are_an_empty_object() {
        assert!(parse::<NoParams>(None).is_ok());
        assert!(parse::<NoParams>(Some(" {} ")).is_ok());
        let missing = parse::<BayName>(None).unwrap_err();
        assert_eq!(missing.field.as_deref(), Some("bay"));
    }

    #[test]
    fn parameters_by_position_are_refused() {
        let by_position =
            r#": the parameters are not an object; pass parameters by name: {"name": value, ..}"#;
        check::<BayName>(r#"["b1"]"#, by_position);
        check::<BayName>("null", by_position);
    }

    #[test]
    fn an_unknown_member_is_named_with_the_nearest_known_one() {
        check::<BayName>(
            r#"{"bya": "b1"}"#,
            "bya: `bya` is not a parameter here; did you mean `bay`?",
        );
        check::<NoParams>(
            r#"{"bay": "b1"}"#,
            "bay: `bay` is not a parameter here; leave it out: there are no parameters here",
        );
        check::<ReadingSubmitParams>(
            r#"{"bay": "b1", "readings": [{"point": "battery", "value": 12, "unit": "V"}, {"point": "battery", "vlaue": 12}]}"#,
            "readings[1].vlaue: `vlaue` is not a parameter here; did you mean `value`?",
        );
    }

    #[test]
    fn a_missing_member_is_named_with_its_path() {
        check::<PhaseSayParams>(r#"{"phase": "idle"}"#, "bay: `bay` is missing; add `bay`");
        check::<ReadingSubmitParams>(
            r#"{"bay": "b1", "readings": [{"point": "battery", "value": 12.4}], "key": "k"}"#,
            "readings[0].unit: `unit` is missing; add `unit`",
        );
    }

    #[test]
    fn a_member_of_another_type_is_named() {
        check::<BayName>(
            r#"{"bay": 1}"#,
            "bay: invalid type: integer `1`, expected a string; ",
        );
        check::<ReadingSubmitParams>(
            "{\"bay\": \"b1\",\n \"readings\": [{\"point\": \"battery\", \"value\": \"12 V\", \"unit\": \"V\"}]}",
            "readings[0].value: invalid type: string \"12 V\", expected f64; ",
        );
    }

    #[test]
    fn an_unknown_word_is_named_with_the_nearest_known_one() {
        check::<PhaseSayParams>(
            r#"{"bay": "b1", "phase": "crankin"}"#,
            "phase: `crankin` is not one of the words allowed here; did you mean `cranking`?",
        );
    }

    /// The whole text would otherwise come back in the refusal, or be compared with every name there is.
    fn check_too_long<P: DeserializeOwned + std::fmt::Debug>(text: &str, field: &str) {
        let refusal = parse::<P>(Some(text)).unwrap_err();
        assert_eq!(refusal.kind, ErrorKind::TooLarge, "{refusal}");
        assert_eq!(refusal.field.as_deref(), Some(field), "{refusal}");
        let hint = refusal.hint.as_deref().unwrap_or_default();
        assert!(hint.contains("shorten"), "{refusal}");
        assert!(refusal.to_string().len() < 300, "{refusal}");
    }

    #[test]
    fn a_text_over_its_limit_is_named() {
        // Characters are counted, not bytes.
        let most = "\u{20ac}".repeat(200);
        assert!(parse::<BayName>(Some(&format!(r#"{{"bay": "{most}"}}"#))).is_ok());
        check_too_long::<BayName>(&format!(r#"{{"bay": "{most}x"}}"#), "bay");
        let long = "x".repeat(4_000_000);
        let close = format!(r#"{{"job": "j", "note": "{long}"}}"#);
        check_too_long::<JobCloseParams>(&close, "note");
        let confirmed = format!(r#"{{"job": "j", "confirmed": ["a", "{long}"]}}"#);
        check_too_long::<JobCloseParams>(&confirmed, "confirmed[1]");
        let many = vec![r#""a""#; 101].join(",");
        let many = format!(r#"{{"job": "j", "confirmed": [{many}]}}"#);
        check_too_long::<JobCloseParams>(&many, "confirmed[100]");
        let unit = format!(
            r#"{{"bay": "b", "readings": [{{"point": "p", "value": 1, "unit": "{long}"}}]}}"#
        );
        check_too_long::<ReadingSubmitParams>(&unit, "readings[0].unit");
        let senml =
            format!(r#"{{"bay": "b", "senml": [{{"n": "p", "v": 1}}, {{"n": "{long}"}}]}}"#);
        check_too_long::<ReadingSubmitParams>(&senml, "senml[1]");
        let settings = format!(
            r#"{{"bay": "b", "instrument": "i", "adapter": "a", "settings": {{"deep": [{{"x": "{long}"}}]}}}}"#
        );
        check_too_long::<InstrumentAttachParams>(&settings, "settings");
        // Also where it is not a text that was asked for, but one comes.
        let mistaken = format!(r#"{{"{long}": 1}}"#);
        let refusal = parse::<BayName>(Some(&mistaken)).unwrap_err();
        assert!(refusal.to_string().len() < 10_000);
        assert!(refusal.field.unwrap_or_default().len() < 10_000);
    }

    #[test]
    fn null_is_left_out_and_escapes_count_as_what_they_are() {
        let close = parse::<JobCloseParams>(Some(r#"{"job": "j", "note": null}"#)).unwrap();
        assert_eq!(close.note, None);
        let escaped = r"\u0041".repeat(200);
        assert!(parse::<BayName>(Some(&format!(r#"{{"bay": "{escaped}"}}"#))).is_ok());
    }

    #[test]
    fn text_cut_or_spoilt_anywhere_is_refused_or_read() {
        let text = r#"{"bay": "b\u00e91", "readings": [{"point": "p\"", "value": 1e3, "unit": "V"}], "key": null}"#;
        assert!(parse::<ReadingSubmitParams>(Some(text)).is_ok());
        for at in (0..text.len()).filter(|at| text.is_char_boundary(*at)) {
            assert!(
                parse::<ReadingSubmitParams>(text.get(..at)).is_err(),
                "cut at {at}"
            );
            for spoilt in ["}", "]", "\"", "\\", "\n", ",", "\u{e9}", "{"] {
                let text = format!("{}{spoilt}{}", &text[..at], &text[at..]);
                // Either way, as long as it ends in an answer.
                let _ = parse::<ReadingSubmitParams>(Some(&text));
            }
        }
    }
}

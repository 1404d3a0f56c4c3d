//! What the answers of a SCPI meter say.

/// An entry of the error queue, such as `-113,"Undefined header"`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct QueuedError {
    /// 0: the queue is empty.
    pub code: i32,
    pub text: String,
}

/// An answer to `SYST:ERR?`; nothing else looks like one.
pub(crate) fn error(line: &str) -> Option<QueuedError> {
    let (code, text) = line.split_once(',')?;
    let code = code.trim();
    let code = code.strip_prefix('+').unwrap_or(code).parse().ok()?;
    let text = text.trim().strip_prefix('"')?.strip_suffix('"')?;
    Some(QueuedError {
        code,
        text: text.to_owned(),
    })
}

/// An answer to `*IDN?`: maker, model, serial number and version, by commas
/// (IEEE 488.2). A number or a quoted text is none.
pub(crate) fn is_identity(line: &str) -> bool {
    let quoted = line.starts_with('"');
    !quoted
        && number(line.split(',').next().unwrap_or_default()).is_none()
        && line.split(',').count() >= 4
}

/// An answer to `CONF?`, such as `"VOLT +1.000000E+01,+1.000000E-05"`.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Configured {
    /// The function, such as `VOLT` or `VOLT AC`.
    pub function: String,
    /// The end of the range, where it is told.
    pub range: Option<f64>,
    /// One digit, where it is told.
    pub resolution: Option<f64>,
}

/// What `CONF?` answers; a number is no such answer.
pub(crate) fn configured(line: &str) -> Option<Configured> {
    let line = line.trim();
    let line = match line.strip_prefix('"') {
        Some(rest) => rest.strip_suffix('"')?,
        None => line,
    };
    let numbers_at = line
        .char_indices()
        .find(|(at, character)| {
            let starts = character.is_ascii_digit() || matches!(character, '+' | '-' | '.');
            starts && line[..*at].ends_with([' ', ','])
        })
        .map_or(line.len(), |(at, _)| at);
    let function = line[..numbers_at].trim().to_ascii_uppercase();
    // A temperature names its probe before the numbers: `TEMP FRTD,100,...`.
    let function = match function.strip_prefix("TEMP ") {
        Some(_) => "TEMP".to_owned(),
        None => function,
    };
    if !function.starts_with(|first: char| first.is_ascii_uppercase()) {
        return None;
    }
    let numbers: Vec<f64> = line[numbers_at..].split(',').filter_map(number).collect();
    let (range, resolution) = match numbers[..] {
        [.., range, resolution] => (Some(range), Some(resolution)),
        _ => (None, None),
    };
    let sound = |value: &f64| value.is_finite() && *value > 0.0;
    Some(Configured {
        function,
        range: range.filter(sound),
        resolution: resolution.filter(sound),
    })
}

/// An answer to `READ?`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Reading {
    Exactly(f64),
    /// Beyond the range; on the side below zero if true.
    Overload {
        negative: bool,
    },
    NotANumber,
}

/// Magnitudes from here on are no readings (SCPI-99: ±9.9E37 is infinity, 9.91E37
/// no number).
const NO_READING: f64 = 9e37;
const NOT_A_NUMBER: std::ops::Range<f64> = 9.905e37..9.915e37;

/// A single number.
pub(crate) fn reading(line: &str) -> Option<Reading> {
    let value = number(line)?;
    let magnitude = value.abs();
    Some(if NOT_A_NUMBER.contains(&magnitude) {
        Reading::NotANumber
    } else if magnitude >= NO_READING {
        Reading::Overload {
            negative: value < 0.0,
        }
    } else {
        Reading::Exactly(value)
    })
}

/// A number as SCPI writes it; `inf` and `nan`, which Rust would take, are none.
fn number(text: &str) -> Option<f64> {
    let text = text.trim();
    let numeric = |byte: u8| byte.is_ascii_digit() || b"+-.eE".contains(&byte);
    if !text.bytes().all(numeric) {
        return None;
    }
    text.parse::<f64>().ok().filter(|value| value.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn errors_are_a_number_and_a_quoted_text() {
        let code = |line| error(line).map(|e| e.code);
        assert_eq!(code("+0,\"No error\""), Some(0));
        assert_eq!(code("0,\"No error\""), Some(0));
        assert_eq!(code("-113,\"Undefined header\""), Some(-113));
        assert_eq!(code("+1.000000E+01"), None);
        assert_eq!(code("-113,Undefined"), None);
        assert_eq!(code("\"VOLT +1,+2\""), None);
    }

    #[test]
    fn an_identity_has_four_fields_and_is_no_number() {
        assert!(is_identity("Maker,Model 1,123,1.0-2"));
        assert!(is_identity("Maker,Model 1,0,A,B"));
        assert!(!is_identity("+1.2E+0,+1.3E+0,+1.4E+0,+1.5E+0"));
        assert!(!is_identity("\"TEMP FRTD,100,1,0.1\""));
        assert!(!is_identity("0,\"No error\""));
    }

    #[test]
    fn configurations_tell_function_range_and_resolution() {
        let check = |line, function: &str, range, resolution| {
            let expected = Configured {
                function: function.to_owned(),
                range,
                resolution,
            };
            assert_eq!(configured(line), Some(expected), "{line}");
        };
        let (ten, fine) = (Some(10.0), Some(1e-5));
        check("\"VOLT +1.000000E+01,+1.000000E-05\"", "VOLT", ten, fine);
        check("VOLT:AC 10,0.00001", "VOLT:AC", ten, fine);
        check("\"VOLT AC\"", "VOLT AC", None, None);
        check("\"DIOD\"", "DIOD", None, None);
        check("\"TEMP THER,5000,+1.0E+01,+1.0E-05\"", "TEMP", ten, fine);
        check("\"TEMP FRTD\"", "TEMP", None, None);
        check("\"VOLT +9.9E37X,+0\"", "VOLT", None, None);
        assert_eq!(configured("+1.0E+01"), None);
        assert_eq!(configured("\"VOLT"), None);
        assert_eq!(configured(""), None);
    }

    #[test]
    fn readings_tell_overload_and_no_number() {
        let check = |line, expected| assert_eq!(reading(line), expected, "{line}");
        check("+1.23450000E+01", Some(Reading::Exactly(12.345)));
        check(" -5.0E-3 ", Some(Reading::Exactly(-0.005)));
        check("12.6", Some(Reading::Exactly(12.6)));
        let overload = |negative| Some(Reading::Overload { negative });
        check("+9.90000000E+37", overload(false));
        check("-9.9E37", overload(true));
        check("9.91E37", Some(Reading::NotANumber));
        check("1e999", None);
        check("inf", None);
        check("NAN", None);
        check("1.0,2.0", None);
        check("", None);
    }

    proptest::proptest! {
        #[test]
        fn no_answer_makes_a_panic(line in ".{0,60}") {
            let _ = (error(&line), configured(&line), reading(&line), is_identity(&line));
        }
    }
}

//! Numbers as devices print them.

/// What stands where a number should.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Number {
    /// A number, and one step of its last digit: 0.1 for `12.4`.
    Value {
        /// The number.
        value: f64,
        /// One step of the last digit written.
        step: f64,
    },
    /// Beyond the upper end of the range: `OL`, `inf`.
    Above,
    /// Beyond the lower end of the range: `-OL`, `-inf`.
    Below,
    /// No number: `nan`, `--`, `null`.
    Missing,
}

/// Longer than any number that is printed.
const LONGEST: usize = 40;

/// What devices print when they have no number.
const WORDS: [(&[u8], Number); 12] = [
    (b"-inf", Number::Below),
    (b"+inf", Number::Above),
    (b"inf", Number::Above),
    (b"-OL", Number::Below),
    (b"OL", Number::Above),
    (b"-nan", Number::Missing),
    (b"nan", Number::Missing),
    (b"NaN", Number::Missing),
    (b"NAN", Number::Missing),
    (b"null", Number::Missing),
    (b"---", Number::Missing),
    (b"--", Number::Missing),
];

/// The number at the front of some bytes, and how many bytes it takes.
pub(super) fn number_at(bytes: &[u8]) -> Option<(Number, usize)> {
    let Some((length, decimals, exponent)) = extent(bytes) else {
        let word = |(word, number): &(&[u8], Number)| {
            bytes.starts_with(word).then_some((*number, word.len()))
        };
        return WORDS.iter().find_map(word);
    };
    let text = std::str::from_utf8(bytes.get(..length)?).ok()?;
    let value: f64 = text.parse().ok()?;
    // Finite text may still be beyond a double.
    if !value.is_finite() {
        return None;
    }
    let power = exponent.saturating_sub(i32::try_from(decimals).ok()?);
    let step = format!("1e{power}").parse().ok()?;
    Some((Number::Value { value, step }, length))
}

/// Length, decimals and exponent of a decimal number.
fn extent(bytes: &[u8]) -> Option<(usize, usize, i32)> {
    let digits = |from: usize| {
        let rest = bytes.get(from..).unwrap_or_default();
        rest.iter()
            .take_while(|byte| byte.is_ascii_digit())
            .take(LONGEST + 1)
            .count()
    };
    let sign = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    let whole = digits(sign);
    let mut length = sign + whole;
    let mut decimals = 0;
    if bytes.get(length) == Some(&b'.') {
        decimals = digits(length + 1);
        length += 1 + decimals;
    }
    if whole + decimals == 0 {
        return None;
    }
    let mut exponent = 0;
    if matches!(bytes.get(length), Some(b'e' | b'E')) {
        let signed = usize::from(matches!(bytes.get(length + 1), Some(b'+' | b'-')));
        let count = digits(length + 1 + signed);
        let power = bytes.get(length + 1..length + 1 + signed + count);
        let power = power.and_then(|power| std::str::from_utf8(power).ok()?.parse().ok());
        // Otherwise the letter begins what follows the number.
        if let Some(power) = power {
            exponent = power;
            length += 1 + signed + count;
        }
    }
    (length <= LONGEST).then_some((length, decimals, exponent))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, expected: Option<(Number, usize)>) {
        assert_eq!(number_at(text.as_bytes()), expected, "{text}");
    }

    #[test]
    fn numbers_end_where_they_end_and_know_their_last_digit() {
        let value = |value, step, length| Some((Number::Value { value, step }, length));
        check("12.4 psi", value(12.4, 0.1, 4));
        check("-3", value(-3.0, 1.0, 2));
        check("+.50V", value(0.5, 0.01, 4));
        check("7.", value(7.0, 1.0, 2));
        check("1.20e3", value(1200.0, 10.0, 6));
        check("2E-2;", value(0.02, 0.01, 4));
        check("5em", value(5.0, 1.0, 1));
        check("5e+", value(5.0, 1.0, 1));
        check("1.2.3", value(1.2, 0.1, 3));
    }

    #[test]
    fn words_stand_for_what_is_no_number() {
        check("OL psi", Some((Number::Above, 2)));
        check("-inf", Some((Number::Below, 4)));
        check("nan;", Some((Number::Missing, 3)));
        check("---", Some((Number::Missing, 3)));
        check("-", None);
        check(".", None);
        check("psi", None);
        check("", None);
        check("1e999", None);
        check(&"9".repeat(41), None);
        check(&"9".repeat(4000), None);
    }
}

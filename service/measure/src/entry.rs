//! Values as people write them: "12.4 psi", "−3 inHg", "OL", "22 degC".

use crate::{Amount, NANOS_PER_SECOND, Quantity, Reference, Unit, UnitError};

/// A value as it was written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Entry {
    /// The amount, in [`Entry::unit`].
    pub amount: Entered,
    /// The unit, if one was written.
    pub unit: Option<Unit>,
    /// What a pressure counts from, if it was written: `psia`, `barg`.
    pub reference: Option<Reference>,
    /// One step of the last digit written, in the same unit: 0.1 for "12.4".
    pub step: Option<f64>,
}

/// The amount of an [`Entry`], in the unit that was written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Entered {
    /// A number.
    Exactly(f64),
    /// "> 40 MOhm": beyond a range whose end is known.
    Above(f64),
    /// "< -30 inHg": the same on the other side.
    Below(f64),
    /// "OL": beyond a range whose end was not written.
    Overload,
}

/// A text that is no value, or the wrong one for its place.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum EntryError {
    /// Not a number.
    #[error("cannot read `{0}` as a value: write a number and a unit, such as `12.4 psi`, or `OL`")]
    Number(String),
    /// A comma where a point should be.
    #[error("cannot read `{0}` as a value: write the decimal point as `.`")]
    Comma(String),
    /// A unit that is not known.
    #[error(transparent)]
    Unit(#[from] UnitError),
    /// No unit where one is needed.
    #[error("`{text}` has no unit: write one of {quantity}, such as `{text} {example}`")]
    NoUnit {
        /// What was written.
        text: String,
        /// What was expected.
        quantity: Quantity,
        /// A unit that fits.
        example: &'static str,
    },
    /// A unit of another quantity.
    #[error("`{text}` is a {got}, but a {wanted} is wanted here, such as one in {example}")]
    Quantity {
        /// What was written.
        text: String,
        /// What it is.
        got: Quantity,
        /// What was expected.
        wanted: Quantity,
        /// A unit that fits.
        example: &'static str,
    },
    /// An overload where a number is needed.
    #[error("`{0}` is beyond a range: a number is wanted here")]
    Overload(String),
    /// An absolute pressure where gauge pressure is meant.
    #[error(
        "`{0}` is an absolute pressure, and gauge pressure is wanted here: take the barometric pressure off"
    )]
    Absolute(String),
    /// An uncertainty or a duration below zero.
    #[error("`{0}` is below zero")]
    Negative(String),
}

/// Reads a value with an optional unit.
///
/// # Errors
/// What is wrong with the text, and how to write it.
pub fn parse_entry(text: &str) -> Result<Entry, EntryError> {
    let trimmed = text.trim();
    let (beyond, rest) = match trimmed.chars().next() {
        Some(sign @ ('>' | '<')) => (Some(sign), trimmed[1..].trim_start()),
        _ => (None, trimmed),
    };
    let (word, after) = rest.split_once(char::is_whitespace).unwrap_or((rest, ""));
    let overloads = ["OL", "ol", "0L", "0.L", ".OL", "O.L", "overload"];
    if beyond.is_none() && overloads.contains(&word) {
        let (unit, reference) = unit_of(after)?;
        return Ok(Entry {
            amount: Entered::Overload,
            unit,
            reference,
            step: None,
        });
    }
    let end = number_end(rest);
    let digits = rest[..end].replace('−', "-");
    if rest[end..].starts_with(',') && !digits.is_empty() {
        return Err(EntryError::Comma(trimmed.to_owned()));
    }
    let number: f64 = digits
        .parse()
        .map_err(|_| EntryError::Number(trimmed.to_owned()))?;
    if !number.is_finite() {
        return Err(EntryError::Number(trimmed.to_owned()));
    }
    let amount = match beyond {
        Some('>') => Entered::Above(number),
        Some(_) => Entered::Below(number),
        None => Entered::Exactly(number),
    };
    let (unit, reference) = unit_of(&rest[end..])?;
    Ok(Entry {
        amount,
        unit,
        reference,
        step: Some(step_of(&digits)),
    })
}

impl Entry {
    /// Whether an absolute pressure was written.
    pub fn is_absolute(&self) -> bool {
        self.reference == Some(Reference::Absolute)
    }

    /// The same without what it counts from, for those who take the barometric
    /// pressure off themselves.
    pub fn absolute(self) -> Entry {
        Entry {
            reference: None,
            ..self
        }
    }

    /// The amount and the step in SI, for a place that wants `quantity`.
    /// An overload without a range is taken to lie beyond `range_end` (SI).
    ///
    /// # Errors
    /// A missing unit (unless a ratio is wanted), one of another quantity, an
    /// overload where no range end is known, or an absolute pressure (see
    /// [`Entry::absolute`]). `text` is quoted in the message.
    pub fn to_si(
        &self,
        text: &str,
        quantity: Quantity,
        range_end: Option<f64>,
    ) -> Result<(Amount, Option<f64>), EntryError> {
        if self.is_absolute() {
            return Err(EntryError::Absolute(text.trim().to_owned()));
        }
        let unit = match self.unit {
            Some(unit) => unit,
            None if quantity == Quantity::Ratio || self.amount == Entered::Overload => {
                quantity.si_unit()
            }
            None => {
                return Err(EntryError::NoUnit {
                    text: text.trim().to_owned(),
                    quantity,
                    example: example(quantity),
                });
            }
        };
        if unit.quantity() != quantity {
            return Err(EntryError::Quantity {
                text: text.trim().to_owned(),
                got: unit.quantity(),
                wanted: quantity,
                example: example(quantity),
            });
        }
        let amount = match self.amount {
            Entered::Exactly(x) => Amount::Exactly(unit.to_si(x)),
            Entered::Above(x) => Amount::Above(unit.to_si(x)),
            Entered::Below(x) => Amount::Below(unit.to_si(x)),
            Entered::Overload => {
                let end = range_end.ok_or_else(|| EntryError::Overload(text.trim().to_owned()))?;
                Amount::Above(end)
            }
        };
        Ok((amount, self.step.map(|step| unit.span_to_si(step))))
    }
}

/// Reads a plain value of a quantity, in SI. A bare number is a ratio only.
///
/// # Errors
/// As [`parse_entry`]; also a missing unit, another quantity, an overload.
pub fn parse_value(text: &str, quantity: Quantity) -> Result<f64, EntryError> {
    let (amount, _) = parse_entry(text)?.to_si(text, quantity, None)?;
    amount
        .exact()
        .ok_or_else(|| EntryError::Overload(text.trim().to_owned()))
}

/// Reads a difference or an uncertainty of a quantity, in SI: no offset, not
/// below zero.
///
/// # Errors
/// As [`parse_value`].
pub fn parse_span(text: &str, quantity: Quantity) -> Result<f64, EntryError> {
    let entry = parse_entry(text)?;
    entry.to_si(text, quantity, None)?;
    let unit = entry.unit.unwrap_or(quantity.si_unit());
    match entry.amount {
        Entered::Exactly(x) if x >= 0.0 => Ok(unit.span_to_si(x)),
        Entered::Exactly(_) => Err(EntryError::Negative(text.trim().to_owned())),
        _ => Err(EntryError::Overload(text.trim().to_owned())),
    }
}

/// Reads a duration such as "1 s", "500 ms" or "10 min", in nanoseconds.
///
/// # Errors
/// As [`parse_span`]; also a duration too long to count (over 290 years).
pub fn parse_duration(text: &str) -> Result<i64, EntryError> {
    let nanos = (parse_span(text, Quantity::Time)? * NANOS_PER_SECOND as f64).round();
    if nanos > 9.2e18 {
        return Err(EntryError::Number(text.trim().to_owned()));
    }
    Ok(nanos as i64)
}

fn unit_of(text: &str) -> Result<(Option<Unit>, Option<Reference>), UnitError> {
    match text.trim() {
        "" => Ok((None, None)),
        unit => {
            let (unit, reference) = Unit::parse_referenced(unit)?;
            Ok((Some(unit), reference))
        }
    }
}

const fn example(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Pressure => Unit::PSI.symbol(),
        Quantity::Temperature => Unit::CELSIUS.symbol(),
        Quantity::RotationalSpeed => Unit::RPM.symbol(),
        Quantity::Volume => Unit::MILLILITRE.symbol(),
        Quantity::VolumeFlow => Unit::LITRE_PER_MINUTE.symbol(),
        other => other.si_unit().symbol(),
    }
}

/// Where the number at the start of `text` ends (a byte offset).
fn number_end(text: &str) -> usize {
    let mut end = 0;
    let mut rest = text.chars().peekable();
    let mut previous = None;
    while let Some(c) = rest.next() {
        let sign = matches!(c, '+' | '-' | '−') && matches!(previous, None | Some('e' | 'E'));
        // An `e` belongs to the number only if a digit or a sign follows.
        let exponent = matches!(c, 'e' | 'E')
            && previous.is_some_and(|p: char| p.is_ascii_digit() || p == '.')
            && rest
                .peek()
                .is_some_and(|n| n.is_ascii_digit() || matches!(n, '+' | '-' | '−'));
        if !(c.is_ascii_digit() || c == '.' || sign || exponent) {
            break;
        }
        end += c.len_utf8();
        previous = Some(c);
    }
    end
}

/// One step of the last digit of a number that parsed.
fn step_of(digits: &str) -> f64 {
    let (mantissa, exponent) = match digits.split_once(['e', 'E']) {
        Some((mantissa, exponent)) => (mantissa, exponent.parse::<i32>().unwrap_or(0)),
        None => (digits, 0),
    };
    let decimals = mantissa.split_once('.').map_or(0, |(_, after)| after.len());
    let power = exponent.saturating_sub(i32::try_from(decimals).unwrap_or(i32::MAX));
    // By text, so that "0.1" steps by exactly 0.1.
    format!("1e{power}").parse().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn check(text: &str, amount: Entered, unit: Option<Unit>, step: Option<f64>) {
        let reference = None;
        let expected = Entry {
            amount,
            unit,
            reference,
            step,
        };
        assert_eq!(parse_entry(text), Ok(expected), "{text}");
    }

    #[test]
    fn as_the_trade_writes_it() {
        check(
            "12.4 psi",
            Entered::Exactly(12.4),
            Some(Unit::PSI),
            Some(0.1),
        );
        check(
            "−3 inHg",
            Entered::Exactly(-3.0),
            Some(Unit::INCH_OF_MERCURY),
            Some(1.0),
        );
        check("OL", Entered::Overload, None, None);
        check("OL MOhm", Entered::Overload, Some(Unit::MEGAOHM), None);
        check(
            "> 40 MΩ",
            Entered::Above(40.0),
            Some(Unit::MEGAOHM),
            Some(1.0),
        );
        check(
            "22 degC",
            Entered::Exactly(22.0),
            Some(Unit::CELSIUS),
            Some(1.0),
        );
        check(
            " 12.40V ",
            Entered::Exactly(12.4),
            Some(Unit::VOLT),
            Some(0.01),
        );
        check(
            "1.5e3 rpm",
            Entered::Exactly(1500.0),
            Some(Unit::RPM),
            Some(100.0),
        );
        check("0.30", Entered::Exactly(0.3), None, Some(0.01));
    }

    #[test]
    fn mistakes_say_what_to_write() {
        let message = |text| parse_entry(text).map(|_| ()).map_err(|e| e.to_string());
        assert!(matches!(message("12,4 psi"), Err(m) if m.contains("`.`")));
        assert!(matches!(message("much"), Err(m) if m.contains("12.4 psi")));
        assert!(matches!(message("12.4 parsec"), Err(m) if m.contains("unknown unit `parsec`")));
        for text in [
            "", ">", "--3 V", "1e999 V", "3 V V", "nan V", "inf V", "é", "> OL",
        ] {
            assert!(parse_entry(text).is_err(), "{text}");
        }
    }

    #[test]
    fn the_place_decides_what_fits() {
        assert_eq!(parse_value("22 degC", Quantity::Temperature), Ok(295.15));
        assert_eq!(parse_value("30 %", Quantity::Ratio), Ok(0.3));
        assert_eq!(parse_value("0.3", Quantity::Ratio), Ok(0.3));
        assert!(matches!(
            parse_value("5 psi", Quantity::Voltage),
            Err(EntryError::Quantity {
                got: Quantity::Pressure,
                ..
            })
        ));
        let bare = parse_value("5", Quantity::Pressure).map_err(|e| e.to_string());
        assert!(matches!(bare, Err(m) if m.contains("`5 psi`")));
        assert!(matches!(
            parse_value("OL", Quantity::Resistance),
            Err(EntryError::Overload(_))
        ));
    }

    #[test]
    fn absolute_pressures_are_no_gauge_pressures() {
        let gauge = parse_value("5 psig", Quantity::Pressure);
        assert_eq!(gauge, parse_value("5 psi", Quantity::Pressure));
        assert!(matches!(
            parse_value("19.7 psia", Quantity::Pressure),
            Err(EntryError::Absolute(_))
        ));
        let entry = parse_entry("19.7 psia");
        let absolute = entry.map(|e| e.absolute().to_si("19.7 psia", Quantity::Pressure, None));
        let pascals = Unit::PSI.to_si(19.7);
        let step = Unit::PSI.span_to_si(0.1);
        assert_eq!(absolute, Ok(Ok((Amount::Exactly(pascals), Some(step)))));
        // A span is the same from either zero, but nobody writes it so.
        assert!(parse_span("0.2 psia", Quantity::Pressure).is_err());
    }

    #[test]
    fn spans_and_durations() {
        let kelvins = parse_span("9 degF", Quantity::Temperature);
        assert!(matches!(kelvins, Ok(x) if (x - 5.0).abs() < 1e-12));
        assert!(matches!(
            parse_span("-1 V", Quantity::Voltage),
            Err(EntryError::Negative(_))
        ));
        assert_eq!(parse_duration("0.5 s"), Ok(500_000_000));
        assert_eq!(parse_duration("10 min"), Ok(600_000_000_000));
        assert!(parse_duration("1e300 s").is_err());
    }

    proptest! {
        #[test]
        fn no_text_panics(text in "\\PC*") {
            let _ = parse_entry(&text);
            let _ = crate::Accuracy::parse(&text);
            let _ = parse_duration(&text);
        }

        #[test]
        fn what_is_written_is_read(x in -1e6..1e6f64, decimals in 0usize..6) {
            let text = format!("{x:.decimals$} kPa");
            let entry = parse_entry(&text);
            let written: f64 = format!("{x:.decimals$}").parse().unwrap_or(f64::NAN);
            prop_assert_eq!(entry.map(|e| e.amount), Ok(Entered::Exactly(written)));
        }
    }
}

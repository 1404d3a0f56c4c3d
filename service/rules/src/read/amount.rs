//! Amounts with units, durations and plain numbers.

use toml::de::DeValue;
use trisect_measure::{Entered, EntryError, Quantity, parse_duration, parse_entry};

use super::{Findings, Item, Span};
use crate::DefectKind;

/// What an amount is wanted as.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Scale {
    /// A value of the quantity.
    Absolute(Quantity),
    /// A difference of two values, which knows no offset.
    Difference(Quantity),
}

impl Scale {
    const fn quantity(self) -> Quantity {
        match self {
            Scale::Absolute(quantity) | Scale::Difference(quantity) => quantity,
        }
    }
}

/// An integer or float of TOML, if it is a finite number.
pub(crate) fn bare_number(value: &DeValue<'_>) -> Option<f64> {
    let number = match value {
        DeValue::Float(float) => float.as_str().parse().ok()?,
        DeValue::Integer(integer) => {
            i64::from_str_radix(integer.as_str(), integer.radix()).ok()? as f64
        }
        _ => return None,
    };
    Some(number).filter(|n: &f64| n.is_finite())
}

/// An amount in SI. A ratio may be a plain number; all else is text with a unit.
pub(crate) fn amount(
    item: &Item<'_>,
    scale: Scale,
    place: &str,
    found: &mut Findings,
) -> Option<f64> {
    let quantity = scale.quantity();
    let text = match item.get_ref() {
        DeValue::String(text) => text.as_ref(),
        number if quantity == Quantity::Ratio && bare_number(number).is_some() => {
            return bare_number(number);
        }
        other => {
            found.error(
                &item.span(),
                DefectKind::WrongType,
                format!("{place} is of type {}", other.type_str()),
                format!(
                    "write a {quantity} with its unit in quotes, such as `{}`",
                    example(quantity)
                ),
            );
            return None;
        }
    };
    match in_si(text, scale) {
        Ok(value) => Some(value),
        Err(error) => {
            note_entry(&error, quantity, &item.span(), place, found);
            None
        }
    }
}

fn in_si(text: &str, scale: Scale) -> Result<f64, EntryError> {
    let entry = parse_entry(text)?;
    let (value, _) = entry.to_si(text, scale.quantity(), None)?;
    let absolute = value
        .exact()
        .ok_or_else(|| EntryError::Overload(text.trim().to_owned()))?;
    Ok(match (scale, entry.unit, entry.amount) {
        (Scale::Difference(_), Some(unit), Entered::Exactly(written)) => unit.span_to_si(written),
        _ => absolute,
    })
}

/// A duration in nanoseconds.
pub(crate) fn duration(item: &Item<'_>, place: &str, found: &mut Findings) -> Option<i64> {
    let DeValue::String(text) = item.get_ref() else {
        found.error(
            &item.span(),
            DefectKind::WrongType,
            format!("{place} is of type {}", item.get_ref().type_str()),
            "write a duration in quotes, such as `1.5 s`",
        );
        return None;
    };
    match parse_duration(text) {
        Ok(nanos) => Some(nanos),
        Err(error) => {
            note_entry(&error, Quantity::Time, &item.span(), place, found);
            None
        }
    }
}

fn note_entry(
    error: &EntryError,
    quantity: Quantity,
    span: &Span,
    place: &str,
    found: &mut Findings,
) {
    found.error(
        span,
        entry_kind(error),
        format!("{place}: {error}"),
        entry_hint(quantity),
    );
}

/// The kind of defect that an unreadable value is.
pub(crate) fn entry_kind(error: &EntryError) -> DefectKind {
    match error {
        EntryError::Unit(_) => DefectKind::UnknownUnit,
        EntryError::NoUnit { .. } => DefectKind::MissingUnit,
        EntryError::Quantity { .. } | EntryError::Absolute(_) => DefectKind::QuantityMismatch,
        EntryError::Number(_)
        | EntryError::Comma(_)
        | EntryError::Overload(_)
        | EntryError::Negative(_) => DefectKind::BadValue,
    }
}

/// How to write a value of a quantity.
pub(crate) fn entry_hint(quantity: Quantity) -> String {
    format!(
        "write a {quantity} with its unit, such as `{}`",
        example(quantity)
    )
}

const fn example(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Voltage => "12.4 V",
        Quantity::Current => "3.5 A",
        Quantity::Resistance => "60 Ohm",
        Quantity::Pressure => "5 psi",
        Quantity::Temperature => "21 degC",
        Quantity::RotationalSpeed => "120 rpm",
        Quantity::Frequency => "50 Hz",
        Quantity::Capacitance => "10 uF",
        Quantity::Volume => "500 mL",
        Quantity::VolumeFlow => "1.2 L/min",
        Quantity::Time => "1.5 s",
        Quantity::Ratio => "30 %",
    }
}

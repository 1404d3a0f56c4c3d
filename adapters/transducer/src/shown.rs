//! From a value in its unit to a sample, the same for registers and text.

use trisect_kit::{BadFrame, SettingsError};
use trisect_measure::{Amount, Flags, Function, Quantity, Sample, Unit};

/// What an input measures, and in which unit its values come.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shown {
    pub channel: u16,
    pub function: Function,
    /// The width of the range as a difference in SI, where it is known.
    pub span: Option<f64>,
}

impl Shown {
    /// A sample of an amount and its last digit, both in `unit`.
    ///
    /// # Errors
    /// The amount is beyond all numbers.
    pub fn sample(
        &self,
        unit: Unit,
        amount: Amount,
        digit: Option<f64>,
        flags: Flags,
    ) -> Result<Sample, BadFrame> {
        let amount = match amount {
            Amount::Exactly(value) => Amount::Exactly(unit.to_si(value)),
            Amount::Above(value) => Amount::Above(unit.to_si(value)),
            Amount::Below(value) => Amount::Below(unit.to_si(value)),
        };
        if !amount.edge().is_finite() {
            return Err(BadFrame::new("the scaled value is beyond all numbers"));
        }
        Ok(Sample {
            channel: self.channel,
            function: self.function,
            amount,
            digit: digit.map(|step| unit.span_to_si(step).abs()),
            span: self.span,
            coupling: None,
            flags,
        })
    }
}

/// The function of an input that measures a quantity.
pub(crate) fn function(quantity: Quantity) -> Result<Function, String> {
    Ok(match quantity {
        Quantity::Voltage => Function::Voltage,
        Quantity::Current => Function::Current,
        Quantity::Resistance => Function::Resistance,
        Quantity::Pressure => Function::Pressure,
        Quantity::Temperature => Function::Temperature,
        Quantity::RotationalSpeed => Function::RotationalSpeed,
        Quantity::Frequency => Function::Frequency,
        Quantity::Capacitance => Function::Capacitance,
        Quantity::Volume | Quantity::VolumeFlow | Quantity::Time | Quantity::Ratio => {
            return Err(format!(
                "no transducer of a bay measures {quantity}; use pressure, temperature, rotational-speed, frequency, voltage or current"
            ));
        }
    })
}

/// A unit that has to be one of a quantity.
pub(crate) fn unit_of(text: &str, quantity: Quantity) -> Result<Unit, String> {
    let unit = Unit::parse(text).map_err(|error| error.to_string())?;
    if unit.quantity() == quantity {
        Ok(unit)
    } else {
        Err(format!(
            "`{text}` is a unit of {}, not of {quantity}",
            unit.quantity()
        ))
    }
}

/// A setting that cannot be used.
pub(crate) fn wrong(field: &'static str, why: impl ToString) -> SettingsError {
    SettingsError {
        field,
        why: why.to_string(),
    }
}

/// Checks that a time in milliseconds is 1 ms to an hour.
pub(crate) fn check_millis(field: &'static str, millis: u64) -> Result<(), SettingsError> {
    const HOUR: u64 = 3_600_000;
    if (1..=HOUR).contains(&millis) {
        Ok(())
    } else {
        Err(wrong(field, "it must be 1 to 3600000"))
    }
}

//! A sample as one JSON object.

use serde_json::{Value, json};
use trisect_measure::{Quantity, Sample, Unit};

/// A sample as `trisect decode` prints it: `function`, `value` (null when
/// beyond the range), `unit`, `overload`, `coupling` (`DC`, `AC`, `AC+DC` or
/// null) and `flags`, in base units. Temperatures are in degrees Celsius
/// (`Cel`), ratios in percent (`%`).
pub fn sample_json(sample: &Sample) -> Value {
    let (unit, symbol) = shown(sample.function.quantity());
    json!({
        "function": sample.function,
        "value": sample.amount.exact().map(|value| unit.from_si(value)),
        "unit": symbol,
        "overload": sample.amount.is_overload(),
        "coupling": sample.coupling,
        "flags": sample.flags.words(),
    })
}

fn shown(quantity: Quantity) -> (Unit, &'static str) {
    match quantity {
        Quantity::Temperature => (Unit::CELSIUS, "Cel"),
        Quantity::Ratio => (Unit::PERCENT, "%"),
        other => (other.si_unit(), other.si_unit().symbol()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use trisect_measure::{Amount, Coupling, Flags, Function};

    fn check(function: Function, amount: Amount, expected: &str) {
        let sample = Sample {
            channel: 0,
            function,
            amount,
            digit: None,
            span: None,
            coupling: Some(Coupling::Dc),
            flags: Flags::AUTO,
        };
        let json = sample_json(&sample);
        assert_eq!(
            format!("{} {} {}", json["value"], json["unit"], json["overload"]),
            expected
        );
        assert_eq!(json["coupling"], "DC");
        assert_eq!(json["flags"], json!(["auto"]));
    }

    #[test]
    fn shows_base_units_and_clean_decimals() {
        check(
            Function::Voltage,
            Amount::Exactly(0.3481),
            "0.3481 \"V\" false",
        );
        check(
            Function::Capacitance,
            Amount::Exactly(4.2e-11),
            "4.2e-11 \"F\" false",
        );
        check(
            Function::Temperature,
            Amount::Exactly(298.15),
            "25.0 \"Cel\" false",
        );
        check(Function::Duty, Amount::Exactly(0.494), "49.4 \"%\" false");
        check(
            Function::Resistance,
            Amount::Above(4e7),
            "null \"Ohm\" true",
        );
    }
}

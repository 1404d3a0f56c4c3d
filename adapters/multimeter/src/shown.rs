//! From the counts on a display to SI.

use trisect_kit::BadFrame;
use trisect_measure::{Amount, Function, Unit};

/// In which unit, but for a power of ten, the display counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Scale {
    /// The SI unit of the quantity.
    Si,
    /// Percent.
    Percent,
    /// Degrees Celsius.
    Celsius,
    /// Degrees Fahrenheit.
    Fahrenheit,
}

/// What the display is set to show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Shown {
    pub function: Function,
    pub scale: Scale,
    /// One count is this power of ten of the scale's unit.
    pub exponent: i32,
    /// Counts at the end of the range.
    pub full: u32,
}

impl Shown {
    /// A number of counts, in SI.
    pub fn si(&self, negative: bool, counts: u32) -> f64 {
        let magnitude = self.scaled(counts);
        let value = if negative { -magnitude } else { magnitude };
        match self.scale {
            Scale::Si | Scale::Percent => value + 0.0,
            Scale::Celsius => Unit::CELSIUS.to_si(value),
            Scale::Fahrenheit => Unit::FAHRENHEIT.to_si(value),
        }
    }

    /// One count, as a difference in SI.
    pub fn digit(&self) -> f64 {
        match self.scale {
            Scale::Si | Scale::Percent => self.scaled(1),
            Scale::Celsius => Unit::CELSIUS.span_to_si(self.scaled(1)),
            Scale::Fahrenheit => Unit::FAHRENHEIT.span_to_si(self.scaled(1)),
        }
    }

    /// The end of the range, in SI. The meter around the chip may end sooner.
    pub fn end(&self) -> f64 {
        self.si(false, self.full)
    }

    /// Beyond the end of the range, on the side of the sign.
    pub fn overload(&self, negative: bool) -> Result<Amount, BadFrame> {
        if !negative {
            return Ok(Amount::Above(self.end()));
        }
        match self.function {
            Function::Voltage | Function::Current | Function::Diode | Function::Temperature => {
                Ok(Amount::Below(self.si(true, self.full)))
            }
            _ => Err(BadFrame::new(
                "a negative overload of what cannot be negative",
            )),
        }
    }

    /// Counts times the power of ten, as the double nearest to the decimal shown:
    /// both operands are exact, so one division or product rounds once. A
    /// product with a negative power of ten would round twice.
    fn scaled(&self, counts: u32) -> f64 {
        let percent = if self.scale == Scale::Percent { 2 } else { 0 };
        let exponent = self.exponent - percent;
        let power = power_of_ten(exponent.unsigned_abs());
        if exponent < 0 {
            f64::from(counts) / power
        } else {
            f64::from(counts) * power
        }
    }
}

/// Exact up to 10^22, far beyond any range.
fn power_of_ten(exponent: u32) -> f64 {
    (0..exponent.min(22)).fold(1.0, |power, _| power * 10.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(function: Function, scale: Scale, exponent: i32) -> Shown {
        Shown {
            function,
            scale,
            exponent,
            full: 4000,
        }
    }

    #[test]
    fn every_count_is_the_double_nearest_to_its_decimal() {
        for exponent in -13..=5 {
            let shown = shown(Function::Voltage, Scale::Si, exponent);
            for counts in 0..22_000 {
                let text = format!("{counts}e{exponent}");
                assert_eq!(Ok(shown.si(false, counts)), text.parse::<f64>());
            }
        }
    }

    #[test]
    fn temperatures_and_percents_become_si() {
        let fahrenheit = shown(Function::Temperature, Scale::Fahrenheit, 0);
        assert!((fahrenheit.si(false, 77) - 298.15).abs() < 1e-9);
        assert!((fahrenheit.digit() - 5.0 / 9.0).abs() < 1e-12);
        let celsius = shown(Function::Temperature, Scale::Celsius, -1);
        assert!((celsius.si(true, 400) - 233.15).abs() < 1e-9);
        assert_eq!(
            shown(Function::Duty, Scale::Percent, -1).si(false, 494),
            0.494
        );
    }

    #[test]
    fn an_overload_tells_its_end() {
        let volts = shown(Function::Voltage, Scale::Si, -3);
        assert_eq!(volts.overload(false), Ok(Amount::Above(4.0)));
        assert_eq!(volts.overload(true), Ok(Amount::Below(-4.0)));
        assert!(
            shown(Function::Resistance, Scale::Si, 0)
                .overload(true)
                .is_err()
        );
    }
}

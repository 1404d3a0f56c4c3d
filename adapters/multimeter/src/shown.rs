//! From the counts and signs on a display to SI.

use trisect_kit::BadFrame;
use trisect_measure::{Amount, Coupling, Flags, Function, Unit};

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
    /// Revolutions per minute.
    TurnsPerMinute,
}

// Beyond these, meters around a chip show an overload although its range goes
// on. The input ratings are common practice, no source: the lowest of meters for
// such work. The diode test of ES51962 and ES51986 gives up above 2 V (their
// data sheets); that others do not give up below 1 V is common practice, no source.
const RATED_VOLTS: f64 = 600.0;
const RATED_AMPERES: f64 = 10.0;
const DIODE_VOLTS: f64 = 1.0;

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
            Scale::TurnsPerMinute => Unit::RPM.to_si(value),
        }
    }

    /// One count, as a difference in SI.
    pub fn digit(&self) -> f64 {
        match self.scale {
            Scale::Si | Scale::Percent => self.scaled(1),
            Scale::Celsius => Unit::CELSIUS.span_to_si(self.scaled(1)),
            Scale::Fahrenheit => Unit::FAHRENHEIT.span_to_si(self.scaled(1)),
            Scale::TurnsPerMinute => Unit::RPM.span_to_si(self.scaled(1)),
        }
    }

    /// The end of the range, in SI. The meter around the chip may end sooner.
    pub fn end(&self) -> f64 {
        self.si(false, self.full)
    }

    /// Beyond the end of the range, or of what any meter takes, on the side of
    /// the sign.
    pub fn overload(&self, negative: bool) -> Result<Amount, BadFrame> {
        let most = match self.function {
            Function::Voltage => RATED_VOLTS,
            Function::Current => RATED_AMPERES,
            Function::Diode => DIODE_VOLTS,
            _ => f64::INFINITY,
        };
        if !negative {
            return Ok(Amount::Above(self.end().min(most)));
        }
        match self.function {
            Function::Voltage | Function::Current | Function::Diode | Function::Temperature => {
                Ok(Amount::Below(self.si(true, self.full).max(-most)))
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

/// The coupling that the signs DC and AC show; none where nothing alternates.
pub(crate) fn coupling(
    function: Function,
    dc: bool,
    ac: bool,
) -> Result<Option<Coupling>, BadFrame> {
    let passive = matches!(
        function,
        Function::Resistance | Function::Continuity | Function::Capacitance | Function::Temperature
    );
    match (dc, ac) {
        (true, true) => Err(BadFrame::new("AC and DC at once")),
        (false, true) if passive => Err(BadFrame::new("AC of what does not alternate")),
        (false, true) => Ok(Some(Coupling::Ac)),
        (true, false) if !passive => Ok(Some(Coupling::Dc)),
        _ => Ok(None),
    }
}

/// How the range is chosen, and every flag whose bits are not 0.
pub(crate) fn flags(auto: bool, lit: &[(u8, Flags)]) -> Flags {
    let range = if auto {
        Flags::AUTO
    } else {
        Flags::MANUAL_RANGE
    };
    lit.iter()
        .filter(|(bits, _)| *bits != 0)
        .fold(range, |flags, (_, flag)| flags | *flag)
}

/// Digits, the most significant first, as counts.
pub(crate) fn counts(digits: &[u8]) -> Option<u32> {
    digits.iter().try_fold(0_u32, |counts, digit| {
        let next = counts.checked_mul(10)?.checked_add(u32::from(*digit))?;
        (*digit <= 9).then_some(next)
    })
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
        let kilovolts = shown(Function::Voltage, Scale::Si, 0);
        assert_eq!(kilovolts.overload(true), Ok(Amount::Below(-600.0)));
        let diode = shown(Function::Diode, Scale::Si, -3);
        assert_eq!(diode.overload(false), Ok(Amount::Above(1.0)));
        let turns = shown(Function::RotationalSpeed, Scale::TurnsPerMinute, 0);
        assert!((turns.si(false, 60) - std::f64::consts::TAU).abs() < 1e-12);
    }
}

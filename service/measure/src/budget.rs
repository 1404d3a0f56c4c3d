//! What the standard uncertainty of one reading of an instrument (a meter, a gauge) is made of (GUM 5.1.2).

use crate::{
    Accuracy, AccuracyError, Quantity, Ratiometric, TemperatureCoefficient, combine,
    resolution_uncertainty,
};

/// 0 °C in kelvins: data sheets count a thermometer's percent from there.
const ICE: f64 = 273.15;

/// What an instrument's data sheet and settings say of one of its functions.
/// Borrowed, for it is made for every sample.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Specification<'a> {
    /// The accuracy, where one is given.
    pub accuracy: Option<&'a Accuracy>,
    /// One step of the display, as a difference in SI, where the instrument does
    /// not say it itself.
    pub resolution: Option<f64>,
    /// How the accuracy depends on temperature.
    pub temperature: Option<&'a TemperatureCoefficient>,
    /// How the reading depends on the sensor's supply.
    pub supply: Option<Ratiometric>,
}

/// The parts of a standard uncertainty, each a standard uncertainty in SI and
/// taken to be independent of the others.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Budget {
    /// Accuracy, type B: rectangular.
    pub accuracy: f64,
    /// Resolution: rectangular over half a step each way.
    pub resolution: f64,
    /// Temperature, type B: rectangular.
    pub temperature: f64,
    /// The supply of a ratiometric sensor.
    pub supply: f64,
    /// The residual and fit of the calibration, and its reference.
    pub calibration: f64,
    /// The barometric pressure taken off an absolute pressure.
    pub barometer: f64,
}

impl Specification<'_> {
    /// The parts that the specification gives for a reading of a quantity, as
    /// shown and in SI. `digit` is one count of the display and `span` the end
    /// of the range, where the instrument says them.
    ///
    /// # Errors
    /// When the accuracy needs a digit or span that is not known.
    pub fn budget(
        &self,
        quantity: Quantity,
        reading: f64,
        digit: Option<f64>,
        span: Option<f64>,
    ) -> Result<Budget, AccuracyError> {
        let digit = digit.or(self.resolution);
        let from_ice = |x: f64| match quantity {
            Quantity::Temperature => x - ICE,
            _ => x,
        };
        let (on_scale, span) = (from_ice(reading), span.map(from_ice));
        let half = match self.accuracy {
            Some(accuracy) => accuracy.half_width(on_scale, digit, span)?,
            None => 0.0,
        };
        let warm = match self.temperature {
            Some(coefficient) => coefficient.half_width(on_scale, digit, span, half)?,
            None => 0.0,
        };
        let supply = self.supply.map(|s| s.standard_uncertainty(reading));
        Ok(Budget {
            accuracy: half / 3f64.sqrt(),
            resolution: digit.map_or(0.0, resolution_uncertainty),
            temperature: warm / 3f64.sqrt(),
            supply: supply.unwrap_or(0.0),
            ..Budget::default()
        })
    }
}

impl Budget {
    /// The combined standard uncertainty.
    pub fn combined(&self) -> f64 {
        combine(&[
            self.accuracy,
            self.resolution,
            self.temperature,
            self.supply,
            self.calibration,
            self.barometer,
        ])
    }

    /// What becomes of it once the calibration is overdue: what rests on the
    /// instrument's having stayed as it was grows by a factor. Resolution,
    /// supply and barometer do not age with the instrument.
    pub fn widened(self, factor: f64) -> Budget {
        Budget {
            accuracy: self.accuracy * factor,
            temperature: self.temperature * factor,
            calibration: self.calibration * factor,
            ..self
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn budget(
        (accuracy, temperature): (&str, Option<&str>),
        quantity: Quantity,
        reading: f64,
        digit: Option<f64>,
        span: Option<f64>,
    ) -> Budget {
        let accuracy = Accuracy::parse(accuracy).unwrap();
        let temperature = temperature.map(|t| TemperatureCoefficient::parse(t).unwrap());
        let specification = Specification {
            accuracy: Some(&accuracy),
            temperature: temperature.as_ref(),
            ..Specification::default()
        };
        specification
            .budget(quantity, reading, digit, span)
            .unwrap()
    }

    /// Computed with `GTC`, `uncertainties` and by hand: 12.34 V, 0.8 % of
    /// reading + 1 digit of 0.01 V, half-digit resolution, 0.1 %/K over 2 K.
    #[test]
    fn the_worked_meter() {
        let meter = ("0.8 % rdg + 1 dgt", Some("0.1 %/K over 2 K"));
        let budget = budget(meter, Quantity::Voltage, 12.34, Some(0.01), Some(40.0));
        let near = |found: f64, expected: f64| {
            assert!((found - expected).abs() < 5e-10, "{found} for {expected}");
        };
        near(budget.accuracy, 0.062_769_521);
        near(budget.resolution, 0.002_886_751);
        near(budget.temperature, 0.014_249_005);
        near(budget.combined(), 0.064_431_206);
        // With the repeats of 12.338 V (type A 0.008602325): 0.065002925.
        near(combine(&[budget.combined(), 0.008_602_325]), 0.065_002_925);
    }

    /// Computed with `GTC`, `uncertainties` and by hand: 12.000 mA of 4 to 20 mA
    /// on a span of 250 bar is 125 bar; ± 0.5 % of full scale of the sensor and
    /// ± (0.05 % + 3 µA) of the meter on 250/16 bar for each milliampere give
    /// 0.726240408 bar.
    #[test]
    fn the_worked_current_loop() {
        let (sensor, meter) = (("0.5 % FS", None), ("0.05 % rdg + 3 uA", None));
        let bar = budget(sensor, Quantity::Pressure, 125e5, None, Some(250e5));
        let amperes = budget(meter, Quantity::Current, 0.012, None, None);
        let combined = combine(&[bar.combined(), amperes.combined() * 250e5 / 0.016]);
        assert!((combined / 1e5 - 0.726_240_408).abs() < 5e-10, "{combined}");
    }

    #[test]
    fn a_thermometers_percent_counts_from_zero_celsius() {
        let budget = budget(("1 % rdg", None), Quantity::Temperature, 373.15, None, None);
        assert!(
            (budget.accuracy * 3f64.sqrt() - 1.0).abs() < 1e-9,
            "{budget:?}"
        );
    }

    #[test]
    fn an_overdue_calibration_widens_what_ages() {
        let budget = budget(("1 V", None), Quantity::Voltage, 5.0, Some(0.2), None);
        let wide = Budget {
            calibration: 0.5,
            ..budget
        }
        .widened(2.0);
        assert_eq!(
            (wide.accuracy, wide.calibration),
            (2.0 * budget.accuracy, 1.0)
        );
        assert_eq!(wide.resolution, budget.resolution);
    }
}

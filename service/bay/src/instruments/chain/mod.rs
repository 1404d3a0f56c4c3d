//! The measurement chain: from what an instrument shows to a value with its
//! standard uncertainty, corrected, and traced to a calibration.
//!
//! An instrument's accuracy, temperature, supply and calibration are taken to be
//! independent of each other (GUM 5.1.2). The accuracy counts beside a
//! calibration, for it is what the instrument may have drifted since; leave it
//! out of the settings where a calibration covers that.

mod accuracy;
mod calibration;
mod choice;
mod record;
mod reference;
mod settings;
#[cfg(test)]
mod tests;
use std::sync::Arc;

use trisect_measure::{
    AccuracyError, Amount, Budget, Date, Flags, Function, Quantity, Ratiometric, Reference, Sample,
    Specification, TemperatureCoefficient,
};

use accuracy::{NoSuchRange, Ranges};
use calibration::Calibrated;
pub use calibration::is_of as is_calibration_of;
use choice::Choice;

pub use record::CalibrationRecord;
pub use reference::PressureReference;
pub(crate) use settings::Chain;
pub(super) use settings::schemas;

/// What is known of one channel.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Link {
    accuracies: Choice<Ranges>,
    /// Steps of the display, where the instrument does not say them.
    resolutions: Choice<(Quantity, f64)>,
    temperature: Choice<TemperatureCoefficient>,
    supply: Option<(Quantity, Ratiometric)>,
    calibrations: Choice<Calibrated>,
    /// What its pressures count from.
    pub(crate) reference: PressureReference,
    /// How much older than their time its values are, in nanoseconds.
    pub(crate) latency: Option<i64>,
    /// By how much an overdue calibration widens.
    overdue_factor: f64,
    /// The end of its only range, where samples do not say it.
    span: Option<f64>,
}

/// An overdue calibration doubles what rests on it, unless the settings say
/// otherwise (engineering judgement, no source).
const OVERDUE_FACTOR: f64 = 2.0;

impl Default for Link {
    fn default() -> Link {
        Link {
            accuracies: Choice::default(),
            resolutions: Choice::default(),
            temperature: Choice::default(),
            supply: None,
            calibrations: Choice::default(),
            reference: PressureReference::Gauge,
            latency: None,
            overdue_factor: OVERDUE_FACTOR,
            span: None,
        }
    }
}

/// The pressure of the air, in SI.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Air {
    pub(crate) pressure: f64,
    pub(crate) u: f64,
}

/// What was shown, and under what circumstances.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shown<'a> {
    pub(crate) sample: &'a Sample,
    /// A standard uncertainty that somebody gave: it stands for everything but
    /// calibration and barometer.
    pub(crate) given: Option<f64>,
    /// What a pressure counts from, if it was written with it.
    pub(crate) reference: Option<Reference>,
    pub(crate) today: Date,
    pub(crate) air: Option<Air>,
}

/// What it comes to.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Measured {
    pub(crate) amount: Amount,
    pub(crate) uncertainty: f64,
    pub(crate) flags: Flags,
    pub(crate) calibration: Option<Arc<str>>,
    pub(crate) latency: Option<i64>,
    pub(crate) barometer: Option<f64>,
}

/// Why a sample cannot become a measurement.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub(crate) enum ChainError {
    #[error(transparent)]
    Accuracy(#[from] AccuracyError),
    #[error(transparent)]
    Range(#[from] NoSuchRange),
    /// An absolute pressure, and nothing to take off.
    #[error(
        "it is an absolute pressure, and its test point counts gauge pressure: say the barometric pressure with barometer.say or in the configuration, or attach a barometer"
    )]
    NoBarometer,
}

impl Link {
    /// Makes a measurement of what is shown. An overload stays where it is: what
    /// lies beyond a range has no correction and no uncertainty of its own.
    pub(crate) fn measure(&self, shown: &Shown<'_>) -> Result<Measured, ChainError> {
        let sample = shown.sample;
        let quantity = sample.function.quantity();
        let mut measured = Measured {
            amount: sample.amount,
            uncertainty: 0.0,
            flags: sample.flags,
            calibration: None,
            latency: self.latency,
            barometer: None,
        };
        let mut budget = Budget::default();
        if let Amount::Exactly(value) = sample.amount {
            budget = self.budget(shown, value)?;
        }
        // Before the air is taken off: a calibration compares with what the instrument itself shows.
        if let Some(calibrated) = self.calibration(sample) {
            measured.calibration = Some(Arc::clone(&calibrated.id));
            if let Amount::Exactly(value) = sample.amount {
                let correction = calibrated.calibration.correction(value);
                measured.amount = Amount::Exactly(value + correction.value);
                budget.calibration = correction.u;
            }
            if calibrated.overdue(shown.today) {
                measured.flags |= Flags::OUT_OF_CALIBRATION;
                budget = budget.widened(self.overdue_factor);
            }
        }
        if quantity == Quantity::Pressure && self.is_absolute(shown.reference) {
            let air = shown.air.ok_or(ChainError::NoBarometer)?;
            measured.amount = less(measured.amount, air.pressure);
            measured.barometer = Some(air.pressure);
            budget.barometer = air.u;
        }
        if !measured.amount.is_overload() {
            measured.uncertainty = budget.combined();
        }
        Ok(measured)
    }

    fn is_absolute(&self, written: Option<Reference>) -> bool {
        match written {
            Some(reference) => reference == Reference::Absolute,
            None => self.reference == PressureReference::Absolute,
        }
    }

    /// The calibration for a sample, if there is one of its quantity.
    fn calibration(&self, sample: &Sample) -> Option<&Calibrated> {
        let calibrated = self.calibrations.of(sample.function, sample.coupling)?;
        (calibrated.quantity == sample.function.quantity()).then_some(calibrated)
    }

    fn budget(&self, shown: &Shown<'_>, value: f64) -> Result<Budget, ChainError> {
        if let Some(given) = shown.given {
            return Ok(Budget {
                accuracy: given,
                ..Budget::default()
            });
        }
        let Sample {
            function,
            coupling,
            digit,
            ..
        } = *shown.sample;
        let quantity = function.quantity();
        let span = shown.sample.span.or(self.span);
        let same = |of: &Quantity| *of == quantity;
        let accuracy = match self.accuracies.of(function, coupling) {
            Some(ranges) => Some(ranges.of(quantity, value, span)?),
            None => None,
        };
        let resolution = self.resolutions.of(function, coupling);
        let specification = Specification {
            accuracy,
            resolution: resolution.filter(|(of, _)| same(of)).map(|(_, step)| *step),
            temperature: self.temperature.of(function, coupling),
            supply: self.supply.filter(|(of, _)| same(of)).map(|(_, s)| s),
        };
        Ok(specification.budget(quantity, value, digit, span)?)
    }

    /// The calibrations with the functions they are for.
    pub(crate) fn calibrations(&self) -> impl Iterator<Item = (Option<String>, &Calibrated)> {
        let each = self.calibrations.each();
        each.map(|(selector, one)| (selector.map(|s| s.to_string()), one))
    }
}

fn less(amount: Amount, air: f64) -> Amount {
    match amount {
        Amount::Exactly(x) => Amount::Exactly(x - air),
        Amount::Above(x) => Amount::Above(x - air),
        Amount::Below(x) => Amount::Below(x - air),
    }
}

/// The function in which a person reads a quantity.
pub(crate) fn function_of(quantity: Quantity) -> Option<Function> {
    Function::ALL.into_iter().find(|f| f.quantity() == quantity)
}

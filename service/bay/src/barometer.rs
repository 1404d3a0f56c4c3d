//! The pressure of the air in a bay, which is taken off absolute pressures.

use trisect_wire::types::{self as wire, BarometerSayParams};
use trisect_wire::{ErrorKind, WireError};
use trisect_measure::{
    NANOS_PER_SECOND, Quantity, Unit, parse_entry, parse_span, resolution_uncertainty,
};

use super::entry::mistake;
use super::state::Bay;
use crate::clock::BayClock;
use crate::instruments::Air;

/// How long what was said or measured holds: the weather moves a few hectopascals
/// in so long (common practice, no source).
const HOLDS: i64 = 6 * 3600 * NANOS_PER_SECOND;
/// No air on land is thinner or thicker, in pascals (common practice, no source).
const LIKELY: std::ops::RangeInclusive<f64> = 50_000.0..=110_000.0;

/// A barometric pressure, and where it is from.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Barometer {
    pub(crate) air: Air,
    pub(crate) from: String,
    /// When it was said or measured, on the bay's clock; the configuration's
    /// holds always.
    pub(crate) at: Option<i64>,
}

impl Barometer {
    /// What the configuration says.
    ///
    /// # Errors
    /// Texts that are no pressures, or no air.
    pub(crate) fn configured(value: &str, uncertainty: &str) -> Result<Barometer, String> {
        let (air, _) = read(value).map_err(|error| error.to_string())?;
        let u = parse_span(uncertainty, Quantity::Pressure).map_err(|error| error.to_string())?;
        Ok(Barometer {
            air: Air { u, ..air },
            from: "the configuration".to_owned(),
            at: None,
        })
    }

    fn stale(&self, now: i64) -> bool {
        self.at.is_some_and(|at| now - at > HOLDS)
    }

    pub(super) fn shown(&self, clock: &BayClock) -> wire::Barometer {
        let unit = Unit::HECTOPASCAL;
        wire::Barometer {
            value: unit.from_si(self.air.pressure),
            unit: unit.symbol().to_owned(),
            uncertainty: unit.span_from_si(self.air.u),
            from: self.from.clone(),
            time: self.at.map(|at| wire::Time(clock.wall(at).to_string())),
            stale: self.stale(clock.now()),
        }
    }
}

impl Bay {
    /// The air that is taken off, if it is known and not too long ago.
    pub(super) fn air(&self) -> Option<Air> {
        let now = self.clock.now();
        let known = self.barometer.as_ref();
        known.filter(|b| !b.stale(now)).map(|b| b.air)
    }

    /// `barometer.say`.
    pub(crate) fn say_barometer(
        &mut self,
        params: BarometerSayParams,
    ) -> Result<wire::Bay, WireError> {
        let (air, step) = read(&params.value)?;
        let u = match &params.uncertainty {
            Some(text) => {
                let u = parse_span(text, Quantity::Pressure);
                u.map_err(|error| mistake(&error, "uncertainty"))?
            }
            None => step.map_or(0.0, resolution_uncertainty),
        };
        self.barometer = Some(Barometer {
            air: Air { u, ..air },
            from: params.by,
            at: Some(self.clock.now()),
        });
        Ok(self.shown())
    }

    /// Takes what a barometer of the bay says.
    ///
    /// # Errors
    /// A pressure that is none of the air's.
    pub(super) fn measure_barometer(
        &mut self,
        air: Air,
        instrument: &str,
        at: i64,
    ) -> Result<(), String> {
        if !LIKELY.contains(&air.pressure) {
            return Err(unlikely(&format!("{} Pa", air.pressure)));
        }
        self.barometer = Some(Barometer {
            air,
            from: instrument.to_owned(),
            at: Some(at),
        });
        Ok(())
    }
}

fn unlikely(value: &str) -> String {
    format!("{value} is no pressure of the air: the station pressure is 500 to 1100 hPa")
}

/// A pressure of the air, without its uncertainty, and one step of its digits.
fn read(value: &str) -> Result<(Air, Option<f64>), WireError> {
    let entry = parse_entry(value).map_err(|error| mistake(&error, "value"))?;
    let (amount, step) = entry
        .absolute()
        .to_si(value, Quantity::Pressure, None)
        .map_err(|error| mistake(&error, "value"))?;
    let pressure = amount.exact().filter(|p| LIKELY.contains(p));
    let pressure = pressure.ok_or_else(|| {
        ErrorKind::ImplausibleValue
            .because(unlikely(value))
            .at("value")
            .hint("read the barometer, not the weather report: that is reduced to sea level")
    })?;
    Ok((Air { pressure, u: 0.0 }, step))
}

//! The pressure of the air in a bay, which is taken off absolute pressures.

use crate::error::{BayError, ErrorKind};
use trisect_measure::{
    NANOS_PER_SECOND, Quantity, parse_entry, parse_span, resolution_uncertainty,
};

use super::entry::mistake;
use super::state::Bay;
use crate::clock::BayClock;
use crate::instruments::Air;
use crate::request::BarometerRequest;
use crate::status::{BarometerStatus, BayStatus};

/// How long what was said or measured holds: the weather moves a few hectopascals
/// in so long (common practice, no source).
const HOLDS: i64 = 6 * 3600 * NANOS_PER_SECOND;
/// No air on land is thinner or thicker, in pascals (common practice, no source).
const LIKELY: std::ops::RangeInclusive<f64> = 50_000.0..=110_000.0;

/// A barometric pressure, and where it is from.
#[derive(Clone, Debug, PartialEq)]
pub struct Barometer {
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
    pub fn configured(value: &str, uncertainty: &str) -> Result<Barometer, String> {
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

    pub(super) fn status(&self, clock: &BayClock) -> BarometerStatus {
        BarometerStatus {
            pressure: self.air.pressure,
            u: self.air.u,
            from: self.from.clone(),
            time: self.at.map(|at| clock.wall(at)),
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

    /// Says the barometric pressure.
    ///
    /// # Errors
    /// What is no pressure of the air.
    pub fn say_barometer(&mut self, params: BarometerRequest) -> Result<BayStatus, BayError> {
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
        Ok(self.status())
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
fn read(value: &str) -> Result<(Air, Option<f64>), BayError> {
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

//! From samples to measurements: which point, what uncertainty, what quality.

use std::sync::Arc;

use crate::instruments::PressureReference;
use trisect_journal::{EventRow, Happened, Reading};
use trisect_kit::Emission;
use trisect_measure::{Flags, Quantity};
use trisect_rules::RuleSet;

use super::state::Bay;
use crate::instruments::{Air, Arrival, Instrument, Measured, Shown};
use crate::observer::ReadingsFate;

impl Bay {
    /// Takes what the instruments said since the last time.
    pub(crate) async fn arrive(&mut self, taken: &mut Vec<Arrival>) {
        let mut rows = Vec::with_capacity(taken.len());
        let mut outside = Vec::new();
        for arrival in taken.drain(..) {
            match arrival {
                Arrival::Changed { instrument } => self.tell_instrument(instrument),
                Arrival::Sample {
                    instrument,
                    emission,
                } => match self.measurement(instrument, &emission) {
                    Some(row) => rows.push(row),
                    None => outside.extend(self.outside(instrument, &emission)),
                },
            }
        }
        self.keep_outside(outside).await;
        if rows.is_empty() || self.job.is_none() {
            return;
        }
        let count = rows.len();
        if let Err(error) = self.stream(rows).await {
            // Never acknowledged to anyone; the log and the instruments say it.
            self.observer
                .readings_counted(&self.name, ReadingsFate::Lost, count);
            tracing::error!(bay = self.name, count, %error, "readings of instruments were not stored");
            let now = self.clock.now();
            for instrument in self.instruments.values_mut() {
                instrument.refuse(format!("readings are not stored: {error}"), now);
            }
        }
    }

    /// The row of a sample, if its probe is on a point and it fits there.
    fn measurement(&mut self, instrument: u64, emission: &Emission) -> Option<EventRow> {
        let air = self.air();
        let today = self.clock.date(emission.at);
        let from = self.instruments.values().find(|one| one.id == instrument)?;
        let shown = Shown {
            sample: &emission.sample,
            given: None,
            reference: None,
            today,
            air,
        };
        let link = from.chain.channel(emission.sample.channel);
        if link.reference == PressureReference::Barometric {
            let name = Arc::clone(&from.name);
            let measured = link.measure(&shown).map_err(|error| error.to_string());
            self.weather(instrument, &name, measured, emission);
            return None;
        }
        let point = Arc::clone(from.probes.get(&emission.sample.channel)?);
        let open = self.job.as_ref()?;
        let at = emission.at - open.opened;
        let reading = measured(open.rules.model.rules(), from, &point, &shown);
        match reading {
            Ok(reading) => {
                self.accept(instrument);
                Some(EventRow {
                    at,
                    wall: self.wall_of(at),
                    by: None,
                    what: Happened::Reading(reading),
                })
            }
            Err(why) => {
                self.refuse(instrument, why, emission.at);
                None
            }
        }
    }

    /// A barometer's sample: it is no reading of a job, but the air of the bay.
    fn weather(
        &mut self,
        instrument: u64,
        name: &str,
        measured: Result<Measured, String>,
        emission: &Emission,
    ) {
        let quantity = emission.sample.function.quantity();
        let taken = measured.and_then(|measured| {
            let pressure = measured.amount.exact();
            let pressure = pressure.filter(|_| quantity == Quantity::Pressure);
            let pressure = pressure.ok_or_else(|| {
                format!("it is set up as a barometer, but shows no pressure (a {quantity})")
            })?;
            if measured.flags.spoiled() {
                return Err(format!(
                    "its flags say {}",
                    measured.flags.words().join(", ")
                ));
            }
            let air = Air {
                pressure,
                u: measured.uncertainty,
            };
            self.measure_barometer(air, name, emission.at)
        });
        match taken {
            Ok(()) => self.accept(instrument),
            Err(why) => self.refuse(instrument, why, emission.at),
        }
    }

    fn accept(&mut self, instrument: u64) {
        let from = self
            .instruments
            .values_mut()
            .find(|one| one.id == instrument);
        if let Some(from) = from {
            from.refused = None;
        }
    }

    fn refuse(&mut self, instrument: u64, why: String, at: i64) {
        let from = self
            .instruments
            .values_mut()
            .find(|one| one.id == instrument);
        if from.is_some_and(|from| from.refuse(why, at)) {
            self.tell_instrument(instrument);
        }
    }
}

fn measured(
    rules: &RuleSet,
    instrument: &Instrument,
    point: &Arc<str>,
    shown: &Shown<'_>,
) -> Result<Reading, String> {
    let sample = shown.sample;
    let place = rules.test_points.iter().find(|p| *p.id == **point);
    let place = place.ok_or_else(|| format!("the rule set has no point `{point}`"))?;
    let quantity = sample.function.quantity();
    if quantity != place.quantity {
        return Err(format!(
            "it measures {quantity}, but its probe is on `{point}`, which is a {}: turn the dial, \
             or move the probe",
            place.quantity
        ));
    }
    let link = instrument.chain.channel(sample.channel);
    let measured = link.measure(shown).map_err(|error| error.to_string())?;
    let mut reading = measured.at(point);
    reading.instrument = Some(Arc::clone(&instrument.name));
    reading.channel = Some(sample.channel);
    // Marked, where an entry would be refused: nobody is there to write it again, and the journal
    // shows that the instrument said it.
    if place.implausible(reading.amount, reading.uncertainty) {
        reading.flags |= Flags::IMPLAUSIBLE;
    }
    Ok(reading)
}

impl Measured {
    /// The reading that it is at a point, streamed and from nowhere as yet.
    pub(super) fn at(self, point: &Arc<str>) -> Reading {
        Reading {
            point: Arc::clone(point),
            amount: self.amount,
            uncertainty: self.uncertainty,
            flags: self.flags,
            entered: false,
            instrument: None,
            channel: None,
            calibration: self.calibration,
            latency: self.latency,
            barometer: self.barometer,
        }
    }
}

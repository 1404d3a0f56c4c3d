//! From samples to measurements: which point, what uncertainty, what quality.

use std::sync::Arc;

use trisect_journal::{EventRow, Happened, Reading};
use trisect_kit::Emission;
use trisect_measure::Flags;
use trisect_rules::RuleSet;

use super::state::Bay;
use crate::instruments::{Arrival, Instrument};

impl Bay {
    /// Takes what the instruments said since the last time.
    pub(crate) async fn arrive(&mut self, taken: &mut Vec<Arrival>) {
        let mut rows = Vec::with_capacity(taken.len());
        for arrival in taken.drain(..) {
            match arrival {
                Arrival::Changed { instrument } => self.tell_instrument(instrument),
                Arrival::Sample {
                    instrument,
                    emission,
                } => {
                    rows.extend(self.measurement(instrument, &emission));
                }
            }
        }
        if rows.is_empty() || self.job.is_none() {
            return;
        }
        let count = rows.len();
        if let Err(error) = self.record(rows, None).await {
            // Never acknowledged to anyone; the log and the instruments say it.
            tracing::error!(bay = self.name, count, %error, "readings of instruments were not stored");
            for instrument in self.instruments.values_mut() {
                instrument.refused = Some(format!("readings are not stored: {error}"));
            }
        }
    }

    /// The row of a sample, if its probe is on a point and it fits there.
    fn measurement(&mut self, instrument: u64, emission: &Emission) -> Option<EventRow> {
        let open = self.job.as_ref()?;
        let rules = Arc::clone(open.rules.model.rules());
        let at = emission.at - open.opened;
        let wall = self.wall_of(at);
        let from = self
            .instruments
            .values_mut()
            .find(|one| one.id == instrument)?;
        let point = Arc::clone(from.probes.get(&emission.sample.channel)?);
        match measured(&rules, from, &point, emission) {
            Ok(reading) => {
                from.refused = None;
                Some(EventRow {
                    at,
                    wall,
                    by: None,
                    what: Happened::Reading(reading),
                })
            }
            Err(why) => {
                let news = from.refused.as_deref() != Some(&why);
                from.refused = Some(why);
                if news {
                    self.tell_instrument(instrument);
                }
                None
            }
        }
    }
}

fn measured(
    rules: &RuleSet,
    instrument: &Instrument,
    point: &Arc<str>,
    emission: &Emission,
) -> Result<Reading, String> {
    let sample = &emission.sample;
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
    let uncertainty = instrument
        .accuracies
        .uncertainty(sample)
        .map_err(|error| error.to_string())?;
    let mut flags = sample.flags;
    if place.implausible(sample.amount, uncertainty) {
        flags |= Flags::IMPLAUSIBLE;
    }
    Ok(Reading {
        point: Arc::clone(point),
        amount: sample.amount,
        uncertainty,
        flags,
        entered: false,
        instrument: Some(Arc::clone(&instrument.name)),
        channel: Some(sample.channel),
    })
}

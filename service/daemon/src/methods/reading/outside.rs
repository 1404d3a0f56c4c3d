//! `reading.history` of what is outside any job: readings of instruments, not of test points.

use trisect_journal::{Happened, Outside, ReadingFilter, StoredEvent};
use trisect_measure::{Quantity, senml};
use trisect_wire::types::{HistoryFormat, OutsideReading, ReadingHistoryParams, Readings, Time};
use trisect_wire::{ErrorKind, WireError};

use super::{Page, time_asked};
use crate::context::Context;
use crate::convert;

impl Context {
    /// A page of what a bay's instruments said outside any job.
    pub(super) async fn outside(
        &self,
        params: ReadingHistoryParams,
        limit: usize,
    ) -> Result<Readings, WireError> {
        let wrong = |field: &str, because: &str, hint: &str| {
            Err(ErrorKind::InvalidParams
                .because(because)
                .at(field)
                .hint(hint))
        };
        if params.job.is_some() {
            return wrong(
                "job",
                "what is outside any job is of none",
                "give `bay`, and leave `job` out",
            );
        }
        if params.point.is_some() {
            return wrong(
                "point",
                "outside any job no rule set says what a point is",
                "choose by `instrument`, `channel` and `quantity`",
            );
        }
        let Some(bay) = params.bay else {
            return wrong("bay", "no bay is given", "bay.list tells the bays");
        };
        self.bay(&bay)?;
        let subject = Outside {
            instrument: params.instrument,
            channel: params.channel.as_deref().map(channel).transpose()?,
            quantity: params.quantity.as_deref().map(quantity).transpose()?,
        };
        let filter = ReadingFilter {
            bay: Some(bay),
            from: time_asked(params.from.as_ref(), "from")?,
            until: time_asked(params.until.as_ref(), "until")?,
            outside: Some(subject),
            ..ReadingFilter::default()
        };
        let page = self.page(filter, params.after_seq, limit, shown).await?;
        let as_senml = params.format == Some(HistoryFormat::Senml);
        let Page { events, more } = page;
        let readings = events.iter().filter(|_| !as_senml);
        Ok(Readings {
            readings: Vec::new(),
            outside: Some(readings.filter_map(shown).collect()),
            senml: as_senml
                .then(|| super::senml::pack(&events, quantity_of))
                .transpose()?,
            last_seq: events.last().map(|event| event.seq.unsigned_abs()),
            more,
        })
    }
}

/// The parts of the subject that a reading outside any job is kept under.
fn subject(subject: &str) -> Option<(&str, &str, Quantity)> {
    let (rest, quantity) = subject.rsplit_once('/')?;
    let (instrument, channel) = rest.rsplit_once('/')?;
    Some((instrument, channel, quantity.parse().ok()?))
}

/// The quantity that a reading outside any job is of.
fn quantity_of(kept_under: &str) -> Option<Quantity> {
    subject(kept_under).map(|(_, _, quantity)| quantity)
}

fn shown(event: &StoredEvent) -> Option<OutsideReading> {
    let Happened::Reading(reading) = &event.row.what else {
        return None;
    };
    let (instrument, channel, quantity) = subject(&reading.point)?;
    // The same units as in SenML: nothing says what the shop would rather read.
    let (_, unit) = senml::unit_of(quantity);
    let wall = jiff::Timestamp::from_microsecond(event.row.wall).ok()?;
    let words = reading.flags.words();
    Some(OutsideReading {
        seq: event.seq.unsigned_abs(),
        bay: event.bay.to_string(),
        instrument: instrument.to_owned(),
        channel: channel.to_owned(),
        quantity: quantity.word().to_owned(),
        time: Time(wall.to_string()),
        value: unit.from_si(reading.amount.edge()),
        unit: unit.symbol().to_owned(),
        uncertainty: unit.span_from_si(reading.uncertainty),
        beyond: convert::beyond(reading.amount),
        calibration: reading.calibration.as_ref().map(ToString::to_string),
        latency: reading.latency.map(|nanos| nanos as f64 / 1e9),
        barometer: reading.barometer.map(|pressure| unit.from_si(pressure)),
        flags: words.into_iter().map(str::to_owned).collect(),
    })
}

fn channel(name: &str) -> Result<u16, WireError> {
    name.parse().map_err(|_| {
        ErrorKind::InvalidParams
            .because(format!("`{name}` is no channel"))
            .at("channel")
            .hint("instrument.list tells the channels of an instrument")
    })
}

fn quantity(word: &str) -> Result<Quantity, WireError> {
    word.parse().map_err(|_| {
        ErrorKind::InvalidParams
            .because(format!("there is no quantity `{word}`"))
            .at("quantity")
            .hint_nearest(word, Quantity::ALL.into_iter().map(Quantity::word))
    })
}

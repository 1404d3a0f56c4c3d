//! What bays tell, published to whoever subscribed.

use std::sync::Arc;

use trisect_bay::instruments::InstrumentStatus;
use trisect_bay::{BayObserver, JobVerdict, ReadingsFate, StoredReading};
use trisect_wire::method::Subscription;
use trisect_wire::serve::Publisher;
use trisect_wire::table::{InstrumentWatch, ReadingWatch, VerdictWatch};
use trisect_wire::types::{InstrumentItem, ReadingItem, Time, VerdictItem};

use crate::convert;
use crate::observe::metrics::Metrics;

/// Where the subscribers of one bay are told.
#[derive(Clone)]
pub(crate) struct BayPublisher {
    pub(crate) readings: Publisher<ReadingWatch>,
    pub(crate) verdicts: Publisher<VerdictWatch>,
    /// Of this bay alone.
    pub(crate) instruments: Publisher<InstrumentWatch>,
    /// Of all bays together.
    all_instruments: Publisher<InstrumentWatch>,
    metrics: Arc<Metrics>,
}

impl BayPublisher {
    pub(crate) fn new(
        all_instruments: Publisher<InstrumentWatch>,
        metrics: Arc<Metrics>,
    ) -> BayPublisher {
        BayPublisher {
            // Readings come fast and small, verdicts slowly and large.
            readings: Publisher::new(4096),
            verdicts: Publisher::new(64),
            instruments: Publisher::new(256),
            all_instruments,
            metrics,
        }
    }

    fn instrument_item(&self, item: &InstrumentItem) {
        publish(&self.instruments, item);
        publish(&self.all_instruments, item);
    }
}

/// Items are plain texts and numbers: one that cannot be written is a defect, and no reason to stop a bay.
fn publish<S: Subscription>(publisher: &Publisher<S>, item: &S::Item) {
    if let Err(error) = publisher.publish(item) {
        tracing::error!(%error, "an item could not be written for its subscribers");
    }
}

impl BayObserver for BayPublisher {
    fn wants_readings(&self) -> bool {
        self.readings.is_watched()
    }

    fn reading_stored(&self, reading: &StoredReading<'_>) {
        if let Some(reading) = convert::reading(reading) {
            publish(&self.readings, &ReadingItem::Reading(reading));
        }
    }

    fn wants_verdicts(&self) -> bool {
        self.verdicts.is_watched()
    }

    fn verdict_changed(&self, verdict: JobVerdict) {
        let verdict = convert::job_verdict(&verdict);
        publish(&self.verdicts, &VerdictItem::Verdict(Box::new(verdict)));
    }

    fn job_closed(&self, job: &str, closed_at: &str) {
        let closed = VerdictItem::Closed {
            job: job.to_owned(),
            time: Time(closed_at.to_owned()),
        };
        publish(&self.verdicts, &closed);
    }

    fn instrument_changed(&self, instrument: InstrumentStatus) {
        let instrument = convert::instrument(instrument);
        self.instrument_item(&InstrumentItem::Instrument(instrument));
    }

    fn instrument_detached(&self, bay: &str, instrument: &str) {
        self.instrument_item(&InstrumentItem::Detached {
            bay: bay.to_owned(),
            instrument: instrument.to_owned(),
        });
    }

    fn readings_counted(&self, bay: &str, fate: ReadingsFate, count: usize) {
        self.metrics.readings(bay, fate, count);
    }
}

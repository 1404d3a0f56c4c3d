//! Readings outside any job: what instruments say between jobs, or with their probes nowhere.
//!
//! They are kept for as long as is configured, under the instrument's and channel's name and the
//! quantity instead of a test point, and are evidence of nothing: no diagnosis sees them.

use std::sync::Arc;

use crate::instruments::PressureReference;
use trisect_journal::{Batch, EventRow, Happened};
use trisect_kit::Emission;

use super::state::Bay;
use crate::instruments::Shown;
use crate::observer::ReadingsFate;

impl Bay {
    /// The row of a sample whose probe is at no point of a job.
    pub(super) fn outside(&self, instrument: u64, emission: &Emission) -> Option<EventRow> {
        if !self.keeps_outside {
            return None;
        }
        let from = self.instruments.values().find(|one| one.id == instrument)?;
        let channel = emission.sample.channel;
        let placed = self.job.is_some() && from.probes.contains_key(&channel);
        let link = from.chain.channel(channel);
        if placed || link.reference == PressureReference::Barometric {
            return None;
        }
        let shown = Shown {
            sample: &emission.sample,
            given: None,
            reference: None,
            today: self.clock.date(emission.at),
            air: self.air(),
        };
        let measured = link.measure(&shown).ok()?;
        let quantity = emission.sample.function.quantity();
        let subject: Arc<str> = Arc::from(format!("{}/{channel}/{quantity}", from.name));
        let mut reading = measured.at(&subject);
        reading.instrument = Some(Arc::clone(&from.name));
        reading.channel = Some(channel);
        Some(EventRow {
            at: emission.at,
            wall: self.clock.wall(emission.at).as_microsecond(),
            by: None,
            what: Happened::Reading(reading),
        })
    }

    /// Keeps rows outside any job.
    pub(super) async fn keep_outside(&mut self, events: Vec<EventRow>) {
        if events.is_empty() {
            return;
        }
        let count = events.len();
        let batch = Batch {
            job: None,
            bay: Arc::from(self.name.as_str()),
            key: None,
            events,
        };
        match self.journal.append(batch).await {
            Ok(_) => self
                .observer
                .readings_counted(&self.name, ReadingsFate::OutsideJobs, count),
            Err(error) => {
                self.observer
                    .readings_counted(&self.name, ReadingsFate::Lost, count);
                tracing::error!(bay = self.name, count, %error, "readings outside jobs were not stored");
            }
        }
    }
}

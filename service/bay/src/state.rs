//! What a bay owns.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::mpsc;
use tokio::time::Instant;
use tokio_util::task::TaskTracker;
use trisect_wire::serve::Publisher;
use trisect_wire::table::{InstrumentWatch, ReadingWatch, VerdictWatch};
use trisect_wire::types as wire;
use trisect_wire::{ErrorKind, WireError};
use trisect_diagnosis::Diagnosis;
use trisect_journal::{Ids, Journal};
use trisect_rules::RuleSet;

use super::barometer::Barometer;
use super::pace::Pace;
use crate::catalog::{Catalog, Entry};
use crate::clock::BayClock;
use crate::convert;
use crate::instruments::{Arrival, Instrument};
use crate::metrics::Metrics;

/// Where a bay's subscribers are told.
#[derive(Clone)]
pub(crate) struct News {
    pub(crate) readings: Publisher<ReadingWatch>,
    pub(crate) verdicts: Publisher<VerdictWatch>,
    /// Of this bay alone.
    pub(crate) instruments: Publisher<InstrumentWatch>,
    /// Of all bays together.
    pub(crate) all_instruments: Publisher<InstrumentWatch>,
}

impl News {
    pub(crate) fn new(all_instruments: Publisher<InstrumentWatch>) -> News {
        News {
            // Readings come fast and small, verdicts slowly and large.
            readings: Publisher::new(4096),
            verdicts: Publisher::new(64),
            instruments: Publisher::new(256),
            all_instruments,
        }
    }
}

/// What a bay is made from.
pub(crate) struct BayParts {
    pub(crate) name: String,
    pub(crate) title: String,
    pub(crate) ruleset: String,
    /// What the configuration says of the air.
    pub(crate) barometer: Option<Barometer>,
    pub(crate) clock: BayClock,
    pub(crate) catalog: Arc<Catalog>,
    pub(crate) journal: Arc<dyn Journal>,
    pub(crate) news: News,
    /// Whether readings outside any job are kept.
    pub(crate) keeps_outside: bool,
    pub(crate) metrics: Arc<Metrics>,
    /// Shared by all bays.
    pub(crate) pace: Arc<Pace>,
}

/// The state machine of one bay.
pub(crate) struct Bay {
    pub(crate) name: String,
    pub(crate) title: String,
    pub(crate) ruleset: String,
    pub(crate) clock: BayClock,
    pub(crate) catalog: Arc<Catalog>,
    pub(crate) journal: Arc<dyn Journal>,
    pub(crate) news: News,
    pub(crate) keeps_outside: bool,
    pub(crate) metrics: Arc<Metrics>,
    pub(crate) pace: Arc<Pace>,
    pub(crate) instruments: BTreeMap<String, Instrument>,
    pub(crate) job: Option<OpenJob>,
    pub(crate) barometer: Option<Barometer>,
    pub(crate) arrivals: mpsc::Sender<Arrival>,
    pub(crate) tracker: TaskTracker,
}

/// The job a bay is working on.
pub(crate) struct OpenJob {
    pub(crate) job: wire::Job,
    pub(crate) id: Arc<str>,
    pub(crate) rules: Entry,
    pub(crate) ids: Ids,
    pub(crate) diagnosis: Diagnosis,
    /// When it was opened, on the bay's clock; below zero for a job taken up
    /// again after a restart.
    pub(crate) opened: i64,
    /// The newest event, and when it was in nanoseconds since the job opened.
    pub(crate) seq: u64,
    pub(crate) newest: i64,
    /// The verdict last told, byte for byte.
    pub(crate) told: Vec<u8>,
    /// When the verdict on what was streamed since is due, if anything was.
    pub(crate) due: Option<Instant>,
    /// What the last verdict took.
    pub(crate) cost: Duration,
    /// What of the verdict was last kept in the journal.
    pub(crate) kept: Option<super::record::Gist>,
}

impl Bay {
    pub(crate) fn new(
        parts: BayParts,
        arrivals: mpsc::Sender<Arrival>,
        tracker: TaskTracker,
    ) -> Bay {
        Bay {
            name: parts.name,
            title: parts.title,
            ruleset: parts.ruleset,
            clock: parts.clock,
            catalog: parts.catalog,
            journal: parts.journal,
            news: parts.news,
            keeps_outside: parts.keeps_outside,
            metrics: parts.metrics,
            pace: parts.pace,
            instruments: BTreeMap::new(),
            job: None,
            barometer: parts.barometer,
            arrivals,
            tracker,
        }
    }

    pub(crate) fn shown(&self) -> wire::Bay {
        let job = self.job.as_ref();
        wire::Bay {
            bay: self.name.clone(),
            title: self.title.clone(),
            phase: job.map(|open| convert::phase(open.diagnosis.phase())),
            drive: job.map(|open| convert::drive(open.diagnosis.drive())),
            job: job.map(|open| open.job.job.clone()),
            instruments: self.instruments.keys().cloned().collect(),
            barometer: self.barometer.as_ref().map(|b| b.shown(&self.clock)),
        }
    }

    /// The open job.
    pub(crate) fn open_job(&mut self) -> Result<&mut OpenJob, WireError> {
        let bay = &self.name;
        self.job.as_mut().ok_or_else(|| {
            ErrorKind::NoOpenJob
                .because(format!("there is no open job in {bay}"))
                .at("bay")
                .hint("open one with job.open")
        })
    }

    /// The rule set of the open job, and now in nanoseconds since it was opened.
    pub(crate) fn moment(&mut self) -> Result<(Arc<RuleSet>, i64), WireError> {
        let now = self.clock.now();
        let open = self.open_job()?;
        Ok((Arc::clone(open.rules.model.rules()), now - open.opened))
    }

    /// The wall time of a moment of the open job, in microseconds since 1970.
    pub(crate) fn wall_of(&self, at: i64) -> i64 {
        let opened = self.job.as_ref().map_or(0, |open| open.opened);
        self.clock.wall(opened.saturating_add(at)).as_microsecond()
    }

    /// Tells the instruments to stop.
    pub(crate) fn stop(&mut self) {
        for instrument in self.instruments.values() {
            instrument.stop();
        }
    }
}

//! What a bay owns.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use crate::error::{BayError, ErrorKind};
use tokio::sync::mpsc;
use tokio::time::Instant;
use tokio_util::task::TaskTracker;
use trisect_diagnosis::Diagnosis;
use trisect_journal::{Ids, Journal};
use trisect_rules::RuleSet;

use super::barometer::Barometer;
use super::job::BayJob;
use super::pace::Pace;
use crate::catalog::{Catalog, Entry};
use crate::clock::BayClock;
use crate::instruments::{Arrival, Instrument};
use crate::observer::BayObserver;
use crate::status::BayStatus;

/// What a bay is made from.
pub struct BayParts {
    /// Its name.
    pub name: String,
    /// What it is called.
    pub title: String,
    /// The rule set of new jobs that name none.
    pub ruleset: String,
    /// What the configuration says of the air.
    pub barometer: Option<Barometer>,
    /// What readings are dated by.
    pub clock: BayClock,
    /// The rule sets there are.
    pub catalog: Arc<Catalog>,
    /// Where everything is kept.
    pub journal: Arc<dyn Journal>,
    /// Whom it tells what happens.
    pub observer: Arc<dyn BayObserver>,
    /// Whether readings outside any job are kept.
    pub keeps_outside: bool,
    /// When streamed readings are taken; shared by all bays.
    pub pace: Arc<Pace>,
}

/// The state machine of one bay.
pub struct Bay {
    pub(crate) name: String,
    pub(crate) title: String,
    pub(crate) ruleset: String,
    pub(crate) clock: BayClock,
    pub(crate) catalog: Arc<Catalog>,
    pub(crate) journal: Arc<dyn Journal>,
    pub(crate) observer: Arc<dyn BayObserver>,
    pub(crate) keeps_outside: bool,
    pub(crate) pace: Arc<Pace>,
    pub(crate) instruments: BTreeMap<String, Instrument>,
    pub(crate) job: Option<OpenJob>,
    pub(crate) barometer: Option<Barometer>,
    pub(crate) arrivals: mpsc::Sender<Arrival>,
    pub(crate) tracker: TaskTracker,
}

/// The job a bay is working on.
pub(crate) struct OpenJob {
    pub(crate) job: BayJob,
    pub(crate) id: Arc<str>,
    pub(crate) rules: Entry,
    pub(crate) ids: Ids,
    pub(crate) diagnosis: Diagnosis,
    /// When it was opened, on the bay's clock; below zero for a job taken up
    /// again after a restart.
    pub(crate) opened: i64,
    /// The newest event, and the latest time of any in nanoseconds since the job opened.
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
            observer: parts.observer,
            keeps_outside: parts.keeps_outside,
            pace: parts.pace,
            instruments: BTreeMap::new(),
            job: None,
            barometer: parts.barometer,
            arrivals,
            tracker,
        }
    }

    /// How it stands.
    pub fn status(&self) -> BayStatus {
        let job = self.job.as_ref();
        BayStatus {
            bay: self.name.clone(),
            title: self.title.clone(),
            phase: job.map(|open| open.diagnosis.phase()),
            drive: job.map(|open| open.diagnosis.drive()),
            job: job.map(|open| open.id.to_string()),
            instruments: self.instruments.keys().cloned().collect(),
            barometer: self.barometer.as_ref().map(|b| b.status(&self.clock)),
        }
    }

    /// Changes what it is called, the rule set of its new jobs, and whether readings outside jobs are kept.
    pub fn reconfigure(&mut self, title: String, ruleset: String, keeps_outside: bool) {
        self.title = title;
        self.ruleset = ruleset;
        self.keeps_outside = keeps_outside;
    }

    /// Puts the configuration's barometric pressure, or none, in place of what is known.
    pub fn set_barometer(&mut self, barometer: Option<Barometer>) {
        self.barometer = barometer;
    }

    /// The id of the open job.
    ///
    /// # Errors
    /// That there is none.
    pub fn open_job_id(&mut self) -> Result<String, BayError> {
        Ok(self.open_job()?.id.to_string())
    }

    /// The open job.
    pub(crate) fn open_job(&mut self) -> Result<&mut OpenJob, BayError> {
        let bay = &self.name;
        self.job.as_mut().ok_or_else(|| {
            ErrorKind::NoOpenJob
                .because(format!("there is no open job in {bay}"))
                .at("bay")
                .hint("open one with job.open")
        })
    }

    /// The rule set of the open job, and now in nanoseconds since it was opened.
    pub(crate) fn moment(&mut self) -> Result<(Arc<RuleSet>, i64), BayError> {
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

//! What goes on beside the bays: files that are followed, what is old enough to go, the clock.

use std::sync::{Arc, PoisonError, RwLock};
use std::time::Duration;

use tokio::time::{MissedTickBehavior, interval};
use tokio_util::sync::CancellationToken;
use trisect_journal::Journal;

use crate::config::KeepSettings;
use crate::observe::metrics::Metrics;
use trisect_bay::clock::BayClock;
use trisect_front::TlsFront;
use trisect_front::access::Access;

/// How often files are looked at.
const FOLLOW: Duration = Duration::from_secs(1);
/// How often the journal is looked through for what is too old.
const TIDY: Duration = Duration::from_secs(600);
/// How often the wall clock is held against the bay's.
const COMPARE: Duration = Duration::from_secs(5);

/// What is looked after; a reload puts other things in their place.
pub(crate) struct Housekeeping {
    pub(crate) journal: Arc<dyn Journal>,
    pub(crate) clock: BayClock,
    pub(crate) metrics: Arc<Metrics>,
    pub(crate) files: RwLock<Files>,
    pub(crate) keep: RwLock<KeepSettings>,
}

/// The files that are followed.
#[derive(Clone)]
pub(crate) struct Files {
    pub(crate) access: Arc<Access>,
    pub(crate) tls: Option<Arc<TlsFront>>,
}

impl Housekeeping {
    /// Looks after things until told to stop.
    pub(crate) async fn run(self: Arc<Self>, stop: CancellationToken) {
        let mut follow = every(FOLLOW);
        let mut tidy = every(TIDY);
        let mut compare = every(COMPARE);
        loop {
            tokio::select! {
                biased;
                () = stop.cancelled() => return,
                _ = follow.tick() => self.follow(),
                _ = compare.tick() => self.compare(),
                _ = tidy.tick() => self.tidy().await,
            }
        }
    }

    /// Takes up tokens and certificates that have changed.
    fn follow(&self) {
        let files = self
            .files
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .clone();
        match files.access.grants().follow() {
            Ok(false) => {}
            Ok(true) => tracing::info!(
                tokens = files.access.grants().count(),
                "took up the token file"
            ),
            // Said each second until it is mended: nothing else shows that it is not in use.
            Err(error) => {
                tracing::error!(%error, "the token file has changed and cannot be used; the tokens before it stay valid")
            }
        }
        match files.tls.as_ref().map(|front| front.follow()) {
            None | Some(Ok(false)) => {}
            Some(Ok(true)) => tracing::info!("took up the certificate"),
            Some(Err(error)) => tracing::error!(
                error = &error as &dyn std::error::Error,
                "the certificate has changed and cannot be used; the one before it stays in use"
            ),
        }
    }

    /// Follows a wall clock that was set: times of readings already taken stay.
    fn compare(&self) {
        if let Some(step) = self.clock.follow_wall() {
            self.metrics.clock_stepped(step);
            tracing::warn!(
                seconds = step.as_secs_f64(),
                "the wall clock was set; new readings are dated by it"
            );
        }
    }

    /// Removes what is older than it is kept.
    async fn tidy(&self) {
        let keep = self
            .keep
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .clone();
        let now = self.clock.wall(self.clock.now()).as_microsecond();
        let before = |span: crate::config::Span| {
            now.saturating_sub(i64::try_from(span.0.as_micros()).unwrap_or(i64::MAX))
        };
        let (outside, audit) = (before(keep.outside_jobs), before(keep.audit));
        match self.journal.prune(outside, audit).await {
            Ok(0) => {}
            Ok(removed) => tracing::info!(removed, "removed what was kept long enough"),
            Err(error) => tracing::error!(%error, "could not remove what was kept long enough"),
        }
    }
}

fn every(period: Duration) -> tokio::time::Interval {
    let mut interval = interval(period);
    interval.set_missed_tick_behavior(MissedTickBehavior::Delay);
    interval
}

//! The audit trail: who did what. What changes something is written down before it is answered;
//! what comes by the thousand (readings submitted, requests refused) is counted and written down
//! each second.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use trisect_journal::{AuditRow, Journal};

use trisect_bay::clock::BayClock;

/// How often what was counted is written down.
const EACH: Duration = Duration::from_secs(1);
/// Different things counted at once; others are counted as one.
const MOST: usize = 1000;

/// Something that was done.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Done {
    pub(crate) who: Arc<str>,
    pub(crate) peer: Option<String>,
    pub(crate) what: String,
    pub(crate) subject: Option<String>,
    pub(crate) outcome: &'static str,
}

/// How many of a thing there were, and when.
struct Occurrences {
    count: u64,
    first: i64,
    last: i64,
}

/// Writes the trail.
pub(crate) struct Audit {
    journal: Arc<dyn Journal>,
    clock: BayClock,
    counted: Mutex<BTreeMap<Done, Occurrences>>,
}

impl Audit {
    /// Starts writing what is counted, until told to stop: then the rest.
    pub(crate) fn start(
        journal: Arc<dyn Journal>,
        clock: BayClock,
        tracker: &TaskTracker,
        stop: CancellationToken,
    ) -> Arc<Audit> {
        let audit = Arc::new(Audit {
            journal,
            clock,
            counted: Mutex::default(),
        });
        let writing = Arc::clone(&audit);
        tracker.spawn(async move {
            let mut each = tokio::time::interval(EACH);
            while stop.run_until_cancelled(each.tick()).await.is_some() {
                writing.write_counted().await;
            }
            writing.write_counted().await;
        });
        audit
    }

    fn now(&self) -> i64 {
        self.clock.wall(self.clock.now()).as_microsecond()
    }

    /// Writes down at once; a trail that cannot be written is said in the log.
    pub(crate) fn write(&self, done: Done) -> impl Future<Output = ()> + Send + 'static {
        let now = self.now();
        let run = Occurrences {
            count: 1,
            first: now,
            last: now,
        };
        let writing = self.journal.audit(vec![row(done, &run)]);
        async move {
            if let Err(error) = writing.await {
                tracing::error!(%error, "the audit trail was not written");
            }
        }
    }

    /// Counts, and writes down within a second.
    pub(crate) fn count(&self, done: Done) {
        let now = self.now();
        // Nothing in here panics half way.
        let mut counted = self.counted.lock().unwrap_or_else(PoisonError::into_inner);
        let done = if counted.len() < MOST || counted.contains_key(&done) {
            done
        } else {
            Done {
                who: Arc::from("others"),
                peer: None,
                subject: None,
                ..done
            }
        };
        let run = counted.entry(done).or_insert(Occurrences {
            count: 0,
            first: now,
            last: now,
        });
        run.count += 1;
        run.last = now;
    }

    /// Something the service did by itself.
    pub(crate) fn note(&self, what: &str, subject: &str) {
        self.count(Done {
            who: Arc::from("service"),
            peer: None,
            what: what.to_owned(),
            subject: (!subject.is_empty()).then(|| subject.to_owned()),
            outcome: "ok",
        });
    }

    async fn write_counted(&self) {
        let counted = {
            let mut counted = self.counted.lock().unwrap_or_else(PoisonError::into_inner);
            std::mem::take(&mut *counted)
        };
        if counted.is_empty() {
            return;
        }
        let rows = counted.into_iter().map(|(done, run)| row(done, &run));
        if let Err(error) = self.journal.audit(rows.collect()).await {
            tracing::error!(%error, "the audit trail was not written");
        }
    }
}

fn row(done: Done, run: &Occurrences) -> AuditRow {
    AuditRow {
        wall: run.first,
        until: run.last,
        count: run.count,
        who: done.who.to_string(),
        peer: done.peer,
        what: done.what,
        subject: done.subject,
        outcome: done.outcome.to_owned(),
    }
}

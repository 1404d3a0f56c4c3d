//! News going out: verdicts, jobs and instruments, as CloudEvents, signed by Standard Webhooks, at least once,
//! in order per job, from the journal's outbox.
//!
//! | file | subject |
//! |---|---|
//! | `event` | a letter as a CloudEvent |
//! | `sign` | its signature |
//! | `target` | whom it may be sent to |
//! | `courier` | sent, and sent again |
//! | `clerk` | what instruments do, posted |

mod clerk;
mod courier;
mod event;
mod sign;
mod target;
#[cfg(test)]
mod tests;

pub(crate) use event::{id as event_id, kind as event_kind};

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use tokio::sync::watch;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use trisect_api::serve::Publisher;
use trisect_api::table::InstrumentWatch;
use trisect_journal::{JournalError, Outbox};
use trisect_network::{Tls, Url};

use crate::config::{WebhookSettings, Within};
use courier::Courier;
use sign::Secrets;

/// The waits between attempts, in seconds: the schedule of Standard Webhooks 1.0.0, whose first attempt is at once.
const SCHEDULE: [u64; 9] = [5, 300, 1800, 7200, 18_000, 36_000, 50_400, 72_000, 86_400];

/// Somebody who is written to.
pub(crate) struct Webhook {
    pub(crate) name: String,
    pub(crate) url: Url,
    pub(crate) about: Vec<String>,
    secrets: Secrets,
    source: String,
    allow: Vec<Within>,
    tls: Tls,
    timeout: Duration,
    retries: Vec<Duration>,
    /// It said that it wants no more.
    gone: AtomicBool,
    /// The last failure.
    failure: Mutex<Option<String>>,
}

impl Webhook {
    /// Makes one from its settings.
    ///
    /// # Errors
    /// The first thing that cannot be used, in words.
    pub(crate) fn new(settings: &WebhookSettings) -> Result<Webhook, String> {
        let path = &settings.secret_file;
        let secret = std::fs::read_to_string(path)
            .map_err(|error| format!("cannot read the secret in {}: {error}", path.display()))?;
        let secrets =
            Secrets::parse(&secret).map_err(|why| format!("{}: {why}", path.display()))?;
        let usual = SCHEDULE.map(Duration::from_secs);
        let retries = settings.retries.as_ref().map_or(usual.to_vec(), |given| {
            given
                .iter()
                .map(|seconds| Duration::from_secs_f64(*seconds))
                .collect()
        });
        Ok(Webhook {
            name: settings.webhook.clone(),
            url: Url::parse(&settings.url).map_err(|error| error.to_string())?,
            about: settings
                .about
                .iter()
                .map(|about| about.word().to_owned())
                .collect(),
            secrets,
            source: settings.source.clone(),
            allow: settings.allow.clone(),
            tls: Tls::new(settings.ca_file.as_deref()).map_err(|error| error.to_string())?,
            timeout: Duration::from_secs_f64(settings.timeout),
            retries,
            gone: AtomicBool::new(false),
            failure: Mutex::new(None),
        })
    }

    /// Whether it said that it wants no more.
    pub(crate) fn is_gone(&self) -> bool {
        self.gone.load(Ordering::Relaxed)
    }

    /// The last failure, in words.
    pub(crate) fn failure(&self) -> Option<String> {
        self.failure
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    fn note(&self, why: &str, gone: bool) {
        *self.failure.lock().unwrap_or_else(PoisonError::into_inner) = Some(why.to_owned());
        if gone {
            self.gone.store(true, Ordering::Relaxed);
        }
    }
}

/// Everybody who is written to, and the outbox.
#[derive(Clone)]
pub(crate) struct Office {
    pub(crate) webhooks: Arc<[Arc<Webhook>]>,
    pub(crate) outbox: Arc<dyn Outbox>,
}

impl Office {
    /// Says who is written to; nothing is sent yet.
    pub(crate) async fn open(
        webhooks: Vec<Webhook>,
        outbox: Arc<dyn Outbox>,
    ) -> Result<Office, JournalError> {
        let names = webhooks
            .iter()
            .map(|one| (one.name.clone(), one.about.clone()));
        outbox.address_to(names.collect()).await?;
        Ok(Office {
            webhooks: webhooks.into_iter().map(Arc::new).collect(),
            outbox,
        })
    }

    /// Follows the instruments and sends what is posted, until told to stop.
    pub(crate) fn start(
        &self,
        instruments: &Publisher<InstrumentWatch>,
        tracker: &TaskTracker,
        stop: &CancellationToken,
    ) {
        if self.webhooks.is_empty() {
            return;
        }
        if self
            .webhooks
            .iter()
            .any(|one| one.about.iter().any(|about| about == "instrument"))
        {
            let news = clerk::listen(instruments);
            tracker.spawn(clerk::follow(news, Arc::clone(&self.outbox), stop.clone()));
        }
        let (bell, posted) = watch::channel(0);
        let (heard, ended) = (self.outbox.posted(), stop.clone());
        tracker.spawn(async move {
            loop {
                tokio::select! {
                    () = heard.notified() => bell.send_modify(|count: &mut u64| *count = count.wrapping_add(1)),
                    () = ended.cancelled() => return,
                }
            }
        });
        for webhook in self.webhooks.iter() {
            let courier = Courier {
                webhook: Arc::clone(webhook),
                outbox: Arc::clone(&self.outbox),
                stop: stop.clone(),
                posted: posted.clone(),
            };
            tracker.spawn(courier.run());
        }
    }

    /// Lets one that wanted no more be tried again.
    pub(crate) fn forgive(&self, webhook: &Webhook) {
        webhook.gone.store(false, Ordering::Relaxed);
    }
}

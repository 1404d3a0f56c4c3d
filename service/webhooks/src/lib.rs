//! Webhook deliveries: jobs, verdicts and instruments, as CloudEvents, signed by Standard Webhooks, at least
//! once, in order per job, from the journal's outbox.
//!
//! | file | subject |
//! |---|---|
//! | `settings` | one webhook in a configuration |
//! | `event` | a delivery as a CloudEvent |
//! | `sign` | its signature |
//! | `deliverer` | sent, and retried on a schedule |
//! | `deliveries` | all webhooks and who delivers to each; what a reload changes of it |
//!
//! Invariants, each an absence:
//! - nothing of a bay, of the API or of HTTP serving is known here: [`EventData`] puts together what an event says;
//! - no delivery is forgotten by a crash, none of one job overtakes another;
//! - no address of the own network is connected to without an allowance.

mod deliverer;
mod deliveries;
mod event;
mod settings;
mod sign;
#[cfg(test)]
mod tests;

pub use deliveries::{Deliveries, Runtime};
pub use event::{EventData, id as event_id, kind as event_kind};
pub use settings::{Subject, WebhookSettings};

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use sign::Secrets;
use trisect_http::{Tls, Url};
use trisect_kit::{Networks, read_text};

/// The waits between attempts, in seconds: the schedule of Standard Webhooks 1.0.0, whose first attempt is at once.
const SCHEDULE: [u64; 9] = [5, 300, 1800, 7200, 18_000, 36_000, 50_400, 72_000, 86_400];

/// One webhook: an address that is told what happens.
pub struct Webhook {
    /// What it was made from.
    settings: WebhookSettings,
    /// Its name.
    pub name: String,
    /// Where it is told.
    pub url: Url,
    /// The words of the subjects it is told about.
    pub about: Vec<String>,
    secrets: Secrets,
    source: String,
    networks: Networks,
    tls: Tls,
    timeout: Duration,
    retries: Vec<Duration>,
    /// It said that it wants no more.
    gone: AtomicBool,
    /// The last failure.
    failure: Mutex<Option<String>>,
}

/// The longest file of secrets that is taken.
const LONGEST_SECRET: u64 = 64 << 10;

impl Webhook {
    /// Makes one from its settings.
    ///
    /// # Errors
    /// The first thing that cannot be used, in words.
    pub fn new(settings: &WebhookSettings) -> Result<Webhook, String> {
        let path = &settings.secret_file;
        let secret = read_text(path, LONGEST_SECRET)
            .map_err(|error| format!("cannot read the secret in {}: {error}", path.display()))?;
        // Read here, not at each delivery: what cannot be used is found when the configuration is checked.
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
            settings: settings.clone(),
            name: settings.webhook.clone(),
            url: Url::parse(&settings.url).map_err(|error| error.to_string())?,
            about: settings
                .about
                .iter()
                .map(|about| about.word().to_owned())
                .collect(),
            secrets,
            source: settings.source.clone(),
            networks: Networks::besides(settings.allow.clone()),
            tls: Tls::new(settings.ca_file.as_deref()).map_err(|error| error.to_string())?,
            timeout: Duration::from_secs_f64(settings.timeout),
            retries,
            gone: AtomicBool::new(false),
            failure: Mutex::new(None),
        })
    }

    /// Whether it said that it wants no more.
    pub fn is_gone(&self) -> bool {
        self.gone.load(Ordering::Relaxed)
    }

    /// The last failure, in words.
    pub fn failure(&self) -> Option<String> {
        self.failure
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    /// Lets it be tried again though it wanted no more.
    pub fn allow_retries(&self) {
        self.gone.store(false, Ordering::Relaxed);
    }

    /// Whether another one would do the same: a file of secrets may say something else by now.
    fn is_same_as(&self, other: &Webhook) -> bool {
        // Settings name the file alone.
        self.settings == other.settings && self.secrets == other.secrets
    }

    fn note_failure(&self, why: &str, gone: bool) {
        *self.failure.lock().unwrap_or_else(PoisonError::into_inner) = Some(why.to_owned());
        if gone {
            self.gone.store(true, Ordering::Relaxed);
        }
    }
}

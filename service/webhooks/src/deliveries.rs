//! All webhooks, and one deliverer for each; a reload exchanges those that changed.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError, RwLock};

use tokio::sync::watch;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use trisect_journal::{JournalError, Outbox};

use super::deliverer::Deliverer;
use super::{EventData, Subject, Webhook};

/// What deliverers run with.
#[derive(Clone)]
pub struct Runtime {
    /// Puts together what events say.
    pub data: Arc<dyn EventData>,
    /// Keeps count of the tasks.
    pub tracker: TaskTracker,
    /// Ends them.
    pub stop: CancellationToken,
}

/// All webhooks, and the outbox.
pub struct Deliveries {
    webhooks: RwLock<Arc<[Arc<Webhook>]>>,
    /// What is on its way, and what was given up.
    pub outbox: Arc<dyn Outbox>,
    running: Mutex<Deliverers>,
}

/// The deliverers that run.
#[derive(Default)]
struct Deliverers {
    /// By webhook, also for those that are no more: their last delivery may still run.
    by_webhook: BTreeMap<String, Running>,
    posted: Option<watch::Receiver<u64>>,
}

/// A deliverer.
struct Running {
    webhook: Arc<Webhook>,
    leave: CancellationToken,
    ended: JoinHandle<()>,
}

impl Deliveries {
    /// Notes in the outbox which webhooks there are; nothing is sent yet.
    pub async fn open(
        webhooks: Vec<Webhook>,
        outbox: Arc<dyn Outbox>,
    ) -> Result<Deliveries, JournalError> {
        let deliveries = Deliveries {
            webhooks: RwLock::new(webhooks.into_iter().map(Arc::new).collect()),
            outbox,
            running: Mutex::default(),
        };
        deliveries.note_subscribers(&deliveries.webhooks()).await?;
        Ok(deliveries)
    }

    /// Whether any webhook is told about a subject.
    pub fn wants(&self, subject: Subject) -> bool {
        let about = |one: &Arc<Webhook>| one.about.iter().any(|word| word == subject.word());
        self.webhooks().iter().any(about)
    }

    /// All webhooks there are now.
    pub fn webhooks(&self) -> Arc<[Arc<Webhook>]> {
        let webhooks = self.webhooks.read().unwrap_or_else(PoisonError::into_inner);
        Arc::clone(&webhooks)
    }

    /// Delivers to these from now on; the names of those that changed, came or went. Those that did not
    /// change are left alone, with what is known of them. The others' deliverers finish what is on its way.
    /// Deliveries of one that went stay in the outbox as they are, and wait until one of its name comes back.
    ///
    /// # Errors
    /// That the journal does not say so; everything is as it was then.
    pub async fn take_up(
        &self,
        wished: Vec<Webhook>,
        runtime: &Runtime,
    ) -> Result<Vec<String>, JournalError> {
        let before = self.webhooks();
        let of = |name: &str| before.iter().find(|one| one.name == name);
        let (mut after, mut changed) = (Vec::new(), Vec::new());
        for one in wished {
            match of(&one.name) {
                Some(old) if old.is_same_as(&one) => after.push(Arc::clone(old)),
                _ => {
                    changed.push(one.name.clone());
                    after.push(Arc::new(one));
                }
            }
        }
        let gone = before
            .iter()
            .filter(|old| !after.iter().any(|one| one.name == old.name));
        changed.extend(gone.map(|one| one.name.clone()));
        let after: Arc<[Arc<Webhook>]> = after.into();
        if changed.is_empty() {
            return Ok(changed);
        }
        // First in the journal: what happens from here on is posted for the new ones, though nobody delivers it yet. The
        // other way round, what happened in between would be missing.
        self.note_subscribers(&after).await?;
        *self
            .webhooks
            .write()
            .unwrap_or_else(PoisonError::into_inner) = after;
        self.start(runtime);
        Ok(changed)
    }

    async fn note_subscribers(&self, webhooks: &[Arc<Webhook>]) -> Result<(), JournalError> {
        let names = webhooks
            .iter()
            .map(|one| (one.name.clone(), one.about.clone()));
        self.outbox.address_to(names.collect()).await
    }

    /// Starts a deliverer for each webhook that has none, until told to stop; one whose webhook is no more
    /// finishes what is on its way, and ends.
    pub fn start(&self, runtime: &Runtime) {
        let webhooks = self.webhooks();
        let mut deliverers = self.running.lock().unwrap_or_else(PoisonError::into_inner);
        for running in deliverers.by_webhook.values() {
            // By identity, not by name: one that was changed is another one.
            if !webhooks
                .iter()
                .any(|one| Arc::ptr_eq(one, &running.webhook))
            {
                running.leave.cancel();
            }
        }
        // Where nobody is told, nothing is woken for it.
        if webhooks.is_empty() {
            return;
        }
        let posted = deliverers
            .posted
            .get_or_insert_with(|| self.wake_all(runtime))
            .clone();
        for webhook in webhooks.iter() {
            let running = deliverers.by_webhook.get(&webhook.name);
            if running.is_some_and(|running| Arc::ptr_eq(webhook, &running.webhook)) {
                continue;
            }
            // Told to leave above; it may still wait for an answer.
            let before = deliverers.by_webhook.remove(&webhook.name);
            let leave = CancellationToken::new();
            let deliverer = Deliverer {
                webhook: Arc::clone(webhook),
                outbox: Arc::clone(&self.outbox),
                data: Arc::clone(&runtime.data),
                stop: runtime.stop.clone(),
                leave: leave.clone(),
                posted: posted.clone(),
            };
            let ended = runtime.tracker.spawn(async move {
                // Two at once would send the same deliveries, and out of order.
                if let Some(before) = before {
                    let _ = before.ended.await;
                }
                deliverer.run().await;
            });
            let webhook = Arc::clone(webhook);
            let running = Running {
                webhook,
                leave,
                ended,
            };
            deliverers
                .by_webhook
                .insert(running.webhook.name.clone(), running);
        }
    }

    /// Wakes every deliverer when there may be new deliveries.
    fn wake_all(&self, runtime: &Runtime) -> watch::Receiver<u64> {
        // A number that changes, rather than a notification: a deliverer that is busy when it comes still sees it.
        let (wake, posted) = watch::channel(0);
        let (heard, ended) = (self.outbox.posted(), runtime.stop.clone());
        runtime.tracker.spawn(async move {
            loop {
                tokio::select! {
                    () = heard.notified() => wake.send_modify(|count: &mut u64| *count = count.wrapping_add(1)),
                    () = ended.cancelled() => return,
                }
            }
        });
        posted
    }
}

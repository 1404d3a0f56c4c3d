//! Who is written to, and who carries the letters; a reload exchanges those that changed.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError, RwLock};

use tokio::sync::watch;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use trisect_api::serve::Publisher;
use trisect_api::table::InstrumentWatch;
use trisect_journal::{JournalError, Outbox};

use super::courier::Courier;
use super::{Webhook, clerk};

/// What whoever works for the office is started with.
pub(crate) struct Works {
    /// Where instruments tell what they do.
    pub(crate) instruments: Publisher<InstrumentWatch>,
    pub(crate) tracker: TaskTracker,
    pub(crate) stop: CancellationToken,
}

/// Everybody who is written to, and the outbox.
pub(crate) struct Office {
    webhooks: RwLock<Arc<[Arc<Webhook>]>>,
    pub(crate) outbox: Arc<dyn Outbox>,
    staff: Mutex<Staff>,
}

/// Who works.
#[derive(Default)]
struct Staff {
    /// By webhook, also for those that are no more: their last delivery may still run.
    couriers: BTreeMap<String, Running>,
    clerk: Option<CancellationToken>,
    posted: Option<watch::Receiver<u64>>,
}

/// A courier.
struct Running {
    webhook: Arc<Webhook>,
    leave: CancellationToken,
    ended: JoinHandle<()>,
}

impl Office {
    /// Says who is written to; nothing is sent yet.
    pub(crate) async fn open(
        webhooks: Vec<Webhook>,
        outbox: Arc<dyn Outbox>,
    ) -> Result<Office, JournalError> {
        let office = Office {
            webhooks: RwLock::new(webhooks.into_iter().map(Arc::new).collect()),
            outbox,
            staff: Mutex::default(),
        };
        office.address(&office.webhooks()).await?;
        Ok(office)
    }

    /// Everybody who is written to now.
    pub(crate) fn webhooks(&self) -> Arc<[Arc<Webhook>]> {
        let webhooks = self.webhooks.read().unwrap_or_else(PoisonError::into_inner);
        Arc::clone(&webhooks)
    }

    /// Writes to these from now on; the names of those that changed, came or went. Those that did not
    /// change are left alone, with what is known of them. The others' couriers finish what is on its way.
    /// Letters of one that went stay in the outbox as they are, and wait until one of its name comes back.
    ///
    /// # Errors
    /// That the journal does not say so; everything is as it was then.
    pub(crate) async fn take_up(
        &self,
        wished: Vec<Webhook>,
        works: &Works,
    ) -> Result<Vec<String>, JournalError> {
        let before = self.webhooks();
        let of = |name: &str| before.iter().find(|one| one.name == name);
        let (mut after, mut changed) = (Vec::new(), Vec::new());
        for one in wished {
            match of(&one.name) {
                Some(old) if old.is_as(&one) => after.push(Arc::clone(old)),
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
        self.address(&after).await?;
        *self
            .webhooks
            .write()
            .unwrap_or_else(PoisonError::into_inner) = after;
        self.start(works);
        Ok(changed)
    }

    async fn address(&self, webhooks: &[Arc<Webhook>]) -> Result<(), JournalError> {
        let names = webhooks
            .iter()
            .map(|one| (one.name.clone(), one.about.clone()));
        self.outbox.address_to(names.collect()).await
    }

    /// Has what is posted sent, and the instruments followed, by whoever is not at it already, until told to
    /// stop; whoever works for a webhook that is no more leaves.
    pub(crate) fn start(&self, works: &Works) {
        let webhooks = self.webhooks();
        let mut staff = self.staff.lock().unwrap_or_else(PoisonError::into_inner);
        for running in staff.couriers.values() {
            if !webhooks
                .iter()
                .any(|one| Arc::ptr_eq(one, &running.webhook))
            {
                running.leave.cancel();
            }
        }
        let about_instruments = |one: &Arc<Webhook>| one.about.iter().any(|a| a == "instrument");
        match (webhooks.iter().any(about_instruments), &staff.clerk) {
            (true, None) => {
                let stop = works.stop.child_token();
                staff.clerk = Some(stop.clone());
                let news = clerk::listen(&works.instruments);
                let following = clerk::follow(news, Arc::clone(&self.outbox), stop);
                works.tracker.spawn(following);
            }
            (false, Some(clerk)) => {
                clerk.cancel();
                staff.clerk = None;
            }
            _ => {}
        }
        if webhooks.is_empty() {
            return;
        }
        let posted = staff.posted.get_or_insert_with(|| self.bell(works)).clone();
        for webhook in webhooks.iter() {
            let at_it = staff.couriers.get(&webhook.name);
            if at_it.is_some_and(|running| Arc::ptr_eq(webhook, &running.webhook)) {
                continue;
            }
            let before = staff.couriers.remove(&webhook.name);
            let leave = CancellationToken::new();
            let courier = Courier {
                webhook: Arc::clone(webhook),
                outbox: Arc::clone(&self.outbox),
                stop: works.stop.clone(),
                leave: leave.clone(),
                posted: posted.clone(),
            };
            let ended = works.tracker.spawn(async move {
                // Two at once would send the same letters, and out of order.
                if let Some(before) = before {
                    let _ = before.ended.await;
                }
                courier.run().await;
            });
            let webhook = Arc::clone(webhook);
            let running = Running {
                webhook,
                leave,
                ended,
            };
            staff.couriers.insert(running.webhook.name.clone(), running);
        }
    }

    /// Rings for every courier when there may be new letters.
    fn bell(&self, works: &Works) -> watch::Receiver<u64> {
        let (bell, posted) = watch::channel(0);
        let (heard, ended) = (self.outbox.posted(), works.stop.clone());
        works.tracker.spawn(async move {
            loop {
                tokio::select! {
                    () = heard.notified() => bell.send_modify(|count: &mut u64| *count = count.wrapping_add(1)),
                    () = ended.cancelled() => return,
                }
            }
        });
        posted
    }
}

//! Carries one webhook's deliveries: of each lane one at a time, a few lanes at once, retried on the schedule until
//! they arrive or are given up.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;

use http::HeaderValue;
use jiff::Timestamp;
use tokio::sync::watch;
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;
use trisect_http::{HttpClient, HttpRequest, HttpResponse, retry_after};
use trisect_journal::{Delivery, Fate, JournalError, Outbox, Tried};

use super::{EventData, Webhook, event};

/// Deliveries to one webhook at once.
const AT_ONCE: usize = 4;
/// Deliveries looked at in one go.
const PAGE: usize = 64;
/// Until what came of attempts is tried to be kept again.
const KEPT_AGAIN: Duration = Duration::from_secs(1);
/// The longest that is looked ahead: a clock that was set is noticed by then.
const AHEAD: Duration = Duration::from_secs(60);
/// A `Retry-After` beyond this is cut.
const LONGEST_RETRY_AFTER: Duration = Duration::from_secs(86_400);
/// How much of an answer is read: its status is what counts.
const LONGEST_ANSWER: usize = 64 * 1024;

/// What came of one attempt.
struct Attempted {
    client: HttpClient,
    delivery: Delivery,
    /// `None`: it arrived.
    failed: Option<Failed>,
}

/// Why an attempt failed.
struct Failed {
    why: String,
    /// How long the receiver asks to be left alone.
    wait: Option<Duration>,
    /// It does not want any more.
    gone: bool,
}

/// What came of attempts, until it is kept.
#[derive(Default)]
struct Unsettled {
    tried: Vec<Tried>,
    lanes: Vec<String>,
}

/// Carries deliveries until told to stop or to leave.
pub(super) struct Deliverer {
    pub webhook: Arc<Webhook>,
    pub outbox: Arc<dyn Outbox>,
    pub data: Arc<dyn EventData>,
    /// Give up what is on its way, and end.
    pub stop: CancellationToken,
    /// End once what is on its way has come to something: somebody else goes on, or nobody.
    pub leave: CancellationToken,
    pub posted: watch::Receiver<u64>,
}

impl Deliverer {
    pub(super) async fn run(mut self) {
        let (mut on_the_way, mut busy) = (JoinSet::new(), BTreeSet::new());
        let mut idle: Vec<HttpClient> = Vec::new();
        // Not before: the receiver asked to be left alone.
        let mut paused_until = i64::MIN;
        // What came of attempts and could not be kept yet, with the lanes that wait for it.
        let mut unsettled = Unsettled::default();
        loop {
            self.settle(&mut unsettled, &mut busy).await;
            let leaving = self.leave.is_cancelled();
            if leaving && on_the_way.is_empty() {
                return;
            }
            let wait = if unsettled.tried.is_empty() {
                let next = match self
                    .send_due(&mut on_the_way, &mut busy, &mut idle, paused_until)
                    .await
                {
                    Ok(next) => next,
                    Err(error) => {
                        tracing::error!(webhook = self.webhook.name, %error, "the outbox cannot be read");
                        Some(now().saturating_add(1000))
                    }
                };
                next.map_or(AHEAD, |due| {
                    let millis = due.saturating_sub(now()).max(0).unsigned_abs();
                    Duration::from_millis(millis).min(AHEAD)
                })
            } else {
                // Nothing more is sent that may have to be sent again.
                KEPT_AGAIN
            };
            tokio::select! {
                // What is on its way is given up: it is sent again after the start.
                () = self.stop.cancelled() => return,
                () = self.leave.cancelled(), if !leaving => {}
                Some(done) = on_the_way.join_next() => {
                    // One write to the journal for all that ended meanwhile.
                    let mut all = vec![done];
                    while let Some(more) = on_the_way.try_join_next() {
                        all.push(more);
                    }
                    // A panic is a defect; its lane stays busy until the next start.
                    let all: Vec<Attempted> = all.into_iter().flatten().collect();
                    let asked = self.came_to(all, &mut unsettled, &mut idle);
                    paused_until = paused_until.max(asked);
                }
                // Nobody posts any more once the service stops.
                changed = self.posted.changed() => if changed.is_err() { return },
                () = tokio::time::sleep(wait) => {}
            }
        }
    }

    /// Sends what is due; when the next is, if any.
    async fn send_due(
        &self,
        on_the_way: &mut JoinSet<Attempted>,
        busy: &mut BTreeSet<String>,
        idle: &mut Vec<HttpClient>,
        paused_until: i64,
    ) -> Result<Option<i64>, JournalError> {
        if on_the_way.len() >= AT_ONCE || self.webhook.is_gone() || self.leave.is_cancelled() {
            return Ok(None);
        }
        let heads = self.outbox.heads(&self.webhook.name, PAGE).await?;
        for delivery in heads
            .into_iter()
            .filter(|delivery| !busy.contains(&delivery.lane))
            .collect::<Vec<_>>()
        {
            let due = delivery.due.max(paused_until);
            // Heads come by when they are due: none after this one is due either.
            if due > now() {
                return Ok(Some(due));
            }
            if on_the_way.len() >= AT_ONCE {
                return Ok(None);
            }
            // The next of its lane waits until this one has come to something: that keeps their order.
            busy.insert(delivery.lane.clone());
            // One that was used before has its connection still.
            let client = idle.pop().unwrap_or_else(|| self.webhook.client());
            let sending = Sending {
                webhook: Arc::clone(&self.webhook),
                outbox: Arc::clone(&self.outbox),
                data: Arc::clone(&self.data),
            };
            on_the_way.spawn(sending.deliver(client, delivery));
        }
        Ok(None)
    }

    /// What came of attempts, which is to be kept; until when the receiver asked to be left alone.
    fn came_to(
        &self,
        all: Vec<Attempted>,
        unsettled: &mut Unsettled,
        idle: &mut Vec<HttpClient>,
    ) -> i64 {
        let mut until = i64::MIN;
        for Attempted {
            client,
            delivery,
            failed,
        } in all
        {
            idle.push(client);
            if let Some(failed) = &failed {
                // It asks for the whole address, not for this lane alone.
                let asked = failed.wait.unwrap_or_default().min(LONGEST_RETRY_AFTER);
                until = until.max(now().saturating_add(millis(asked)));
                self.webhook.note_failure(&failed.why, failed.gone);
                tracing::warn!(
                    webhook = self.webhook.name,
                    delivery = delivery.seq,
                    why = failed.why,
                    "a webhook was not delivered"
                );
            }
            unsettled.tried.push(Tried {
                webhook: delivery.webhook.clone(),
                seq: delivery.seq,
                fate: self.fate(&delivery, failed),
            });
            unsettled.lanes.push(delivery.lane);
        }
        until
    }

    /// Keeps what came of attempts. What cannot be kept is tried again later: forgotten, it would be sent over and over,
    /// as long as the disk is full.
    async fn settle(&self, unsettled: &mut Unsettled, busy: &mut BTreeSet<String>) {
        if unsettled.tried.is_empty() {
            return;
        }
        if let Err(error) = self.outbox.settle(unsettled.tried.clone()).await {
            tracing::error!(webhook = self.webhook.name, %error, "what came of deliveries was not kept; it is tried again");
            return;
        }
        // After it was kept: else the same delivery could be read as waiting, and be sent again at once.
        for lane in std::mem::take(unsettled).lanes {
            busy.remove(&lane);
        }
    }

    /// Delivered, to be retried, or given up.
    fn fate(&self, delivery: &Delivery, failed: Option<Failed>) -> Fate {
        let Some(Failed { why, wait, gone }) = failed else {
            return Fate::Delivered;
        };
        // After the n-th attempt the n-th wait; past the last one it is given up, and the lane goes on with the next.
        let attempt = usize::try_from(delivery.attempts).unwrap_or(usize::MAX);
        match self.webhook.retries.get(attempt) {
            Some(after) if !gone => {
                // The longer of both: neither the schedule nor what the receiver asks for is cut short.
                let after = jittered(*after, delivery)
                    .max(wait.unwrap_or_default().min(LONGEST_RETRY_AFTER));
                Fate::Later {
                    due: now().saturating_add(millis(after)),
                    why,
                }
            }
            _ => Fate::Dead { why },
        }
    }
}

/// A wait, longer by up to a tenth: deliveries that failed together do not come again together.
fn jittered(wait: Duration, delivery: &Delivery) -> Duration {
    let bytes = delivery.id.bytes().chain(delivery.attempts.to_le_bytes());
    let mixed = bytes.fold(0u32, |mixed, byte| {
        mixed.rotate_left(5) ^ u32::from(byte).wrapping_mul(0x9E37_79B9)
    });
    wait + wait.mul_f64(f64::from(mixed % 1000) / 10_000.0)
}

fn now() -> i64 {
    Timestamp::now().as_millisecond()
}

fn millis(time: Duration) -> i64 {
    i64::try_from(time.as_millis()).unwrap_or(i64::MAX)
}

/// What one attempt needs.
struct Sending {
    webhook: Arc<Webhook>,
    outbox: Arc<dyn Outbox>,
    data: Arc<dyn EventData>,
}

impl Sending {
    async fn deliver(self, mut client: HttpClient, delivery: Delivery) -> Attempted {
        let failed = self.attempt(&mut client, &delivery).await.err();
        Attempted {
            client,
            delivery,
            failed,
        }
    }

    async fn attempt(&self, client: &mut HttpClient, delivery: &Delivery) -> Result<(), Failed> {
        let plain = |why: String| Failed {
            why,
            wait: None,
            gone: false,
        };
        let webhook = &self.webhook;
        let content = self
            .outbox
            .content(delivery.seq)
            .await
            .map_err(|error| plain(error.to_string()))?;
        // Forgotten meanwhile: nobody waits for it.
        let Some(content) = content else {
            return Ok(());
        };
        let body = event::body(delivery, &content, &*self.data, &webhook.source)
            .map_err(|error| plain(error.to_string()))?;
        let request = request(webhook, delivery, body)
            .ok_or_else(|| plain("its headers cannot be written".to_owned()))?;
        let answer = client
            .call(&request)
            .await
            .map_err(|error| plain(error.to_string()))?;
        if (200..300).contains(&answer.status) {
            return Ok(());
        }
        Err(refused(webhook, &answer))
    }
}

/// The event as it is sent. The id is the same in every attempt, so that a receiver can leave out what it had; the
/// time is that of the attempt, so that a receiver that refuses old messages takes a late one.
fn request(webhook: &Webhook, delivery: &Delivery, body: Vec<u8>) -> Option<HttpRequest> {
    let (id, timestamp) = (event::id(delivery), Timestamp::now().as_second());
    let signature = webhook.secrets.sign(&id, timestamp, &body);
    let mut request = HttpRequest::post(event::CONTENT_TYPE, body);
    let headers = &mut request.headers;
    headers.insert("webhook-id", HeaderValue::from_str(&id).ok()?);
    headers.insert("webhook-timestamp", HeaderValue::from(timestamp));
    headers.insert("webhook-signature", HeaderValue::from_str(&signature).ok()?);
    Some(request)
}

fn refused(webhook: &Webhook, answer: &HttpResponse) -> Failed {
    let (url, status) = (&webhook.url, answer.status);
    let why = match status {
        300..=399 => format!(
            "{url} redirects ({status}), which is not followed: write the new address as `url`"
        ),
        410 => format!(
            "{url} wants no more (410): nothing is sent until deliveries are sent again by hand"
        ),
        _ => format!("{url} answered {status}"),
    };
    Failed {
        why,
        wait: retry_after(&answer.headers, Timestamp::now()),
        gone: status == 410,
    }
}

impl Webhook {
    /// A way to it that connects only where it may.
    fn client(&self) -> HttpClient {
        HttpClient::new(
            self.url.clone(),
            self.tls.clone(),
            self.networks.clone(),
            self.timeout,
            LONGEST_ANSWER,
        )
    }
}

//! News on its way out: what a journal does for webhooks.

use std::sync::Arc;

use tokio::sync::Notify;

use crate::{Job, Pending};

/// Something that happened, and what is known of telling it to one webhook.
#[derive(Debug, Clone, PartialEq)]
pub struct Delivery {
    /// The webhook.
    pub webhook: String,
    /// Its place in the outbox: news of one lane goes out in this order.
    pub seq: i64,
    /// The news' own id, the same however often and to whomever it is sent.
    pub id: String,
    /// What it is about: `job`, `verdict` or `instrument`.
    pub noun: String,
    /// What happened: `opened`, `closed`, `changed`, `detached`.
    pub verb: String,
    /// What has to arrive in order: the job's id, or the instrument.
    pub lane: String,
    /// When it was posted: RFC 3339, UTC.
    pub posted: String,
    /// How often it was tried.
    pub attempts: u32,
    /// When it is to be tried next, in milliseconds since 1970.
    pub due: i64,
    /// The last failure.
    pub why: Option<String>,
    /// Given up.
    pub dead: bool,
}

/// What a delivery says.
#[derive(Debug, Clone, PartialEq)]
pub enum Content {
    /// A job as it stands now, and the identity of its rule set.
    Job {
        /// The job.
        job: Box<Job>,
        /// Its rule set's id and version.
        rule_set: (String, String),
    },
    /// A verdict as it was kept.
    Verdict {
        /// The job's id.
        job: String,
        /// Its bay.
        bay: String,
        /// The newest event it rests on.
        seq: i64,
        /// When that was, in microseconds since 1970; `None` before the first event.
        wall: Option<i64>,
        /// The verdict.
        bytes: Vec<u8>,
    },
    /// An instrument, as JSON.
    Instrument(String),
}

/// What came of trying to deliver deliveries.
#[derive(Debug, Clone, PartialEq)]
pub struct Tried {
    /// The webhook.
    pub webhook: String,
    /// The delivery's place.
    pub seq: i64,
    /// What came of it.
    pub fate: Fate,
}

/// What becomes of a delivery.
#[derive(Debug, Clone, PartialEq)]
pub enum Fate {
    /// It arrived, and is forgotten.
    Delivered,
    /// It is tried again.
    Later {
        /// When, in milliseconds since 1970.
        due: i64,
        /// What went wrong.
        why: String,
    },
    /// It is given up, and kept until it is sent again by hand.
    Dead {
        /// What went wrong.
        why: String,
    },
}

/// How many deliveries of a webhook wait, and how many were given up.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counts {
    /// On their way.
    pub waiting: u64,
    /// Given up.
    pub dead: u64,
}

/// The durable outbox. Job and verdict news post themselves, in the commit of their cause.
pub trait Outbox: Send + Sync {
    /// Says who is written to, each with the nouns it wants to hear of. Deliveries of others stay as they are.
    fn address_to(&self, webhooks: Vec<(String, Vec<String>)>) -> Pending<()>;

    /// Posts news of an instrument; `lane` names it.
    fn post(&self, verb: &'static str, lane: String, body: String) -> Pending<()>;

    /// Up to `limit` deliveries of a webhook that may be tried now or later: of each lane the first, the one that is
    /// due first first.
    fn heads(&self, webhook: &str, limit: usize) -> Pending<Vec<Delivery>>;

    /// What a delivery says; `None` if it is gone.
    fn content(&self, seq: i64) -> Pending<Option<Content>>;

    /// Keeps what came of trying.
    fn settle(&self, tried: Vec<Tried>) -> Pending<()>;

    /// Up to `limit` deliveries of one webhook or of all after a place, oldest first: those given up, or those on their
    /// way.
    fn deliveries(
        &self,
        webhook: Option<&str>,
        dead: bool,
        after: i64,
        limit: usize,
    ) -> Pending<Vec<Delivery>>;

    /// Puts deliveries that were given up on their way again: those of a webhook, all or at these places. How many.
    fn revive(&self, webhook: &str, seqs: Option<Vec<i64>>) -> Pending<u64>;

    /// How many deliveries a webhook has.
    fn counts(&self, webhook: &str) -> Pending<Counts>;

    /// Told when there may be new deliveries.
    fn posted(&self) -> Arc<Notify>;
}

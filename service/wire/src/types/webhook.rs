//! `webhook.*` and `delivery.*`.

use super::{Time, wire};

wire! {
    /// Webhooks.
    pub struct Webhooks {
        /// In the order of the configuration.
        pub webhooks: Vec<Webhook>,
    }

    /// Somebody who is told what happens.
    pub struct Webhook {
        /// Its name.
        pub webhook: String,
        /// Where it is told, without the query.
        pub url: String,
        /// What it is told about: `job`, `verdict`, `instrument`.
        pub about: Vec<String>,
        /// Deliveries on their way.
        pub waiting: u64,
        /// Deliveries given up.
        pub dead: u64,
        /// It said that it wants no more (410); delivery.resend tries again.
        pub gone: bool,
        /// What last went wrong, in words, since the service started.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub note: Option<String>,
    }

    /// Parameters of `delivery.list`.
    #[derive(Default)]
    #[serde(deny_unknown_fields)]
    pub struct DeliveryListParams {
        /// Of one webhook only.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub webhook: Option<String>,
        /// Those on their way rather than those given up.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        pub waiting: bool,
        /// At most so many; 100 if left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub limit: Option<u32>,
    }

    /// Deliveries.
    pub struct Deliveries {
        /// Oldest first.
        pub deliveries: Vec<Delivery>,
    }

    /// An event on its way to a webhook.
    pub struct Delivery {
        /// Its place in the outbox.
        pub delivery: u64,
        /// The webhook.
        pub webhook: String,
        /// The event's id, which is the message's too.
        pub id: String,
        /// The event's type, such as `trisect.job.opened`.
        pub event: String,
        /// What it is about: the job, or bay and instrument.
        pub subject: String,
        /// When it happened.
        pub posted: Time,
        /// How often it was tried.
        pub attempts: u64,
        /// When it is tried next; left out for one that was given up.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub due: Option<Time>,
        /// Why the last attempt failed.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub note: Option<String>,
    }

    /// Parameters of `delivery.resend`.
    #[serde(deny_unknown_fields)]
    pub struct DeliveryResendParams {
        /// The webhook.
        pub webhook: String,
        /// These deliveries only, by their places; all that were given up if left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub deliveries: Option<Vec<u64>>,
    }

    /// Deliveries put on their way again.
    #[derive(Eq)]
    pub struct DeliveriesResent {
        /// How many.
        pub deliveries: u64,
    }
}

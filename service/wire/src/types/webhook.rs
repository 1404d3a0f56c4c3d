//! `webhook.*` and `delivery.*`.

use super::text::{Name, OptionalName};
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
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub webhook: Option<String>,
        /// Those on their way rather than those given up.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        pub waiting: bool,
        /// Only those after this place in the outbox: the last one of the page before.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub after: Option<u64>,
        /// At most so many; 100 if left out, up to 10 000.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub limit: Option<u32>,
    }

    /// A page of deliveries.
    pub struct Deliveries {
        /// Oldest first.
        pub deliveries: Vec<Delivery>,
        /// Whether there are more: ask again with `after` of the last one.
        #[serde(default)]
        pub more: bool,
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
        #[serde(with = "Name")]
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

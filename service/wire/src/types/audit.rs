//! `audit.list` and `job.verify`.

use super::text::OptionalName;
use super::{Time, wire};

wire! {
    /// Which part of the audit trail.
    #[serde(deny_unknown_fields)]
    pub struct AuditListParams {
        /// Of this caller, such as `token:display`.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub who: Option<String>,
        /// About this bay, job, rule set or instrument.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub subject: Option<String>,
        /// Before this entry: the last one of the page before.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub before: Option<u64>,
        /// At most so many; 100 if left out, up to 1000.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub limit: Option<u32>,
    }

    /// A page of the audit trail, newest first.
    pub struct AuditTrail {
        /// The entries.
        pub entries: Vec<AuditEntry>,
        /// Whether there are older ones.
        pub more: bool,
    }

    /// Something that was done, or a run of things alike within a second.
    pub struct AuditEntry {
        /// Its number: greater than that of everything before it.
        pub seq: u64,
        /// When; the first of a run.
        pub time: Time,
        /// The last of a run.
        pub until: Time,
        /// How many.
        pub count: u64,
        /// Who: `token:NAME`, `loopback`, `unix:uid=N`, `service`, `unknown`.
        pub who: String,
        /// The address it came from.
        pub peer: Option<String>,
        /// The method, or what the service did.
        pub what: String,
        /// The bay, job, rule set or instrument it was about.
        pub subject: Option<String>,
        /// `ok`, or the kind of the refusal.
        pub outcome: String,
    }

    /// A job held against its chain of hashes.
    pub struct JobVerified {
        /// The job.
        pub job: String,
        /// Whether everything is as it was stored.
        pub sound: bool,
        /// How many events it has.
        pub events: u64,
        /// The hash over all of it; of a closed job it never changes: worth noting elsewhere.
        pub digest: String,
        /// Events up to this number were there before chains were: alterations before then do not show.
        pub chained_after: Option<u64>,
        /// What does not fit.
        pub findings: Vec<String>,
    }
}

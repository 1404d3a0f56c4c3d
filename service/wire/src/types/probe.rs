//! `probe.list`: which channel was at which test point, and when.

use super::text::OptionalName;
use super::{Time, wire};

wire! {
    /// Parameters of `probe.list`: a job, or a bay for its open job.
    #[derive(Default)]
    #[serde(deny_unknown_fields)]
    pub struct ProbeListParams {
        /// The job.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub job: Option<String>,
        /// The bay whose open job is meant.
        #[serde(default, skip_serializing_if = "Option::is_none", with = "OptionalName")]
        pub bay: Option<String>,
        /// Only placements after this place in the journal.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub after_seq: Option<u64>,
        /// At most so many; 1000 if left out, up to 10 000.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub limit: Option<u32>,
    }

    /// A page of the placements of a job.
    pub struct Placements {
        /// In the order they were made.
        pub placements: Vec<Placement>,
        /// Whether there are more: ask again with `after_seq` of the last one.
        #[serde(default)]
        pub more: bool,
    }

    /// A channel at a test point, for a time.
    pub struct Placement {
        /// Its place in the journal.
        pub seq: u64,
        /// The instrument.
        pub instrument: String,
        /// Its channel.
        pub channel: String,
        /// The test point.
        pub point: String,
        /// From when.
        pub from: Time,
        /// Until when; left out while it is there.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub until: Option<Time>,
    }
}

//! The items of the subscriptions. Each is an object whose `kind` says what it is; `gap` tells a
//! subscriber that was too slow how many items it missed.

use super::{Instrument, JobVerdict, Reading, Time, wire};
use crate::method::Gap;

wire! {
    /// What `reading.watch` tells.
    #[allow(
        clippy::large_enum_variant,
        reason = "almost every item is a reading: boxing each would cost more than a gap wastes"
    )]
    #[serde(tag = "kind", rename_all = "kebab-case")]
    pub enum ReadingItem {
        /// A reading was stored.
        Reading(Reading),
        /// Items were missed.
        Gap {
            /// How many.
            missed: u64,
        },
    }

    /// What `verdict.watch` tells.
    #[serde(tag = "kind", rename_all = "kebab-case")]
    pub enum VerdictItem {
        /// The verdict changed, or this is how it stands.
        Verdict(Box<JobVerdict>),
        /// The bay's job was closed.
        Closed {
            /// The job.
            job: String,
            /// When.
            time: Time,
        },
        /// Items were missed.
        Gap {
            /// How many.
            missed: u64,
        },
    }

    /// What `instrument.watch` tells.
    #[allow(
        clippy::large_enum_variant,
        reason = "almost every item is an instrument, and there are few of them"
    )]
    #[serde(tag = "kind", rename_all = "kebab-case")]
    pub enum InstrumentItem {
        /// An instrument was attached or changed, or this is how it stands.
        Instrument(Instrument),
        /// An instrument was detached.
        Detached {
            /// The bay.
            bay: String,
            /// The instrument.
            instrument: String,
        },
        /// Items were missed.
        Gap {
            /// How many.
            missed: u64,
        },
    }
}

impl Gap for ReadingItem {
    fn gap(missed: u64) -> Self {
        Self::Gap { missed }
    }
}

impl Gap for VerdictItem {
    fn gap(missed: u64) -> Self {
        Self::Gap { missed }
    }
}

impl Gap for InstrumentItem {
    fn gap(missed: u64) -> Self {
        Self::Gap { missed }
    }
}

//! `bay.list` and `phase.say`.

use super::{Drive, Phase, wire};

wire! {
    /// All bays.
    pub struct Bays {
        /// In the order of the configuration.
        pub bays: Vec<Bay>,
    }

    /// A bay as it stands.
    pub struct Bay {
        /// Its name.
        pub bay: String,
        /// What it is called on the wall.
        pub title: String,
        /// The phase said or detected; null without an open job.
        pub phase: Option<Phase>,
        /// The drive connected; null without an open job.
        pub drive: Option<Drive>,
        /// The open job, or null.
        pub job: Option<String>,
        /// Its instruments, by name.
        pub instruments: Vec<String>,
    }

    /// Parameters of `phase.say`: at least one of phase and drive.
    #[serde(deny_unknown_fields)]
    pub struct PhaseSayParams {
        /// The bay.
        pub bay: String,
        /// The phase the engine is in.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub phase: Option<Phase>,
        /// The drive that is connected.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub drive: Option<Drive>,
    }
}

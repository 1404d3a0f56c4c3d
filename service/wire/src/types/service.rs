//! `service.about` and `rpc.discover`.

use super::{RulesetName, Time, wire};
use serde_json::{Map, Value};

wire! {
    /// What this service is.
    pub struct About {
        /// `trisectd`.
        pub name: String,
        /// Its version.
        pub version: String,
        /// When it started.
        pub started: Time,
        /// What instruments can be attached through.
        pub adapters: Vec<AboutAdapter>,
        /// The rule sets jobs can be opened with.
        pub rulesets: Vec<RulesetName>,
    }

    /// An adapter and what it asks for.
    pub struct AboutAdapter {
        /// The name `instrument.attach` takes.
        pub adapter: String,
        /// One sentence.
        pub title: String,
        /// The JSON Schema of its settings.
        pub settings: Map<String, Value>,
    }

    /// An OpenRPC document.
    #[serde(transparent)]
    pub struct OpenRpc(
        /// The document.
        pub Map<String, Value>,
    );
}

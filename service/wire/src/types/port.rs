//! `port.list` and `instrument.probe`: what there is to attach.

use super::text::Path;
use super::wire;
use serde_json::{Map, Value};

wire! {
    /// Serial ports of the machine that the service runs on.
    pub struct Ports {
        /// By node.
        pub ports: Vec<Port>,
    }

    /// A serial port.
    pub struct Port {
        /// The path to use in settings: the one that stays, where there is one.
        pub port: String,
        /// The node, whose number may change.
        pub node: String,
        /// The instrument that has it, as bay and name.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub attached: Option<AttachedTo>,
    }

    /// Names the instrument that has a port.
    #[derive(Eq)]
    pub struct AttachedTo {
        /// The bay.
        pub bay: String,
        /// The instrument.
        pub instrument: String,
    }

    /// Parameters of `instrument.probe`.
    #[serde(deny_unknown_fields)]
    pub struct InstrumentProbeParams {
        /// The port's path.
        #[serde(with = "Path")]
        pub port: String,
        /// Whether requests may be written to it: polled meters, `*IDN?`, Modbus reads. Listening alone
        /// changes nothing at the other end; a request might.
        #[serde(default)]
        pub allow_writing: bool,
    }

    /// What speaks on a port.
    pub struct InstrumentProbed {
        /// The path to use in settings: the one that stays, where there is one.
        pub port: String,
        /// The likeliest first; empty if nothing was understood.
        pub findings: Vec<ProbeFinding>,
        /// How many bytes came in all.
        pub bytes: u64,
        /// What was tried, and what may be tried next, in words.
        pub note: String,
    }

    /// Something that was understood on a port.
    pub struct ProbeFinding {
        /// The adapter to attach it through.
        pub adapter: String,
        /// The protocol, such as `fs9922`, `scpi` or `modbus-rtu`.
        pub protocol: String,
        /// What it is, in words, or what it said of itself.
        pub title: String,
        /// How the line was set.
        pub line: String,
        /// The part of the bytes heard that made sense, 0 to 1.
        pub share: f64,
        /// Messages understood.
        pub good: u64,
        /// Messages found and refused.
        pub bad: u64,
        /// Whether something was written to the port to hear this.
        pub asked: bool,
        /// The last thing it said, as people would write it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub said: Option<String>,
        /// Settings to attach it with; those that cannot be known are left out.
        pub settings: Map<String, Value>,
    }
}

//! The Trisect service put together: configuration, methods, observation, reload.
//!
//! [`Service::start`] makes a running service from [`config::Settings`]; the binary adds the command line and
//! signals.
//!
//! | module | subject |
//! |---|---|
//! | `service`, `runtime`, `reload` | started, served, and what a new configuration changes |
//! | [`config`] | settings: file, environment, flags; every mistake; the reference |
//! | `context`, `methods` | the context of a call; the methods of the API, one file a noun |
//! | `convert` | types of the bay, the journal and the pure crates as types of the wire |
//! | `publish`, `instrument_events`, `webhook_data` | what subscribers and webhooks are told |
//! | [`observe`] | audit trail, metrics, traces, log, health |
//! | `housekeeping` | files that are followed, what is old enough to go, the clock |
//!
//! Invariants, each an absence:
//! - nobody without a token gets further than loopback or the Unix socket, and no further there than the
//!   configuration says;
//! - no type of the wire is made of another type by way of JSON;
//! - no simulator is linked: whoever wants one starts a service and is its client.

mod computations;
pub mod config;
mod context;
mod convert;
mod housekeeping;
mod instrument_events;
mod methods;
pub mod observe;
mod publish;
pub mod reload;
mod runtime;
mod schema;
mod service;
mod webhook_data;

pub use service::{Service, StartError};

//! The Trisect service: bays, instruments, streaming, the journal, JSON-RPC.
//!
//! [`Service::start`] makes a running service from [`config::Settings`]; the
//! binary adds the command line, logging and signals. A bay is one task that
//! owns one state machine; the methods of `trisect-api` are answered by asking
//! the bays or reading the journal.
//!
//! Invariants, each an absence:
//! - no reading is acknowledged that is not on disk;
//! - nothing about a bay is shared and locked: whoever wants something asks its task;
//! - the service listens on nothing but loopback as long as it cannot check tokens.

mod bay;
pub mod catalog;
pub mod clock;
pub mod config;
mod convert;
pub mod demo;
mod health;
mod instruments;
pub mod log;
mod replay;
mod report;
mod rpc;
mod schema;
mod senml;
mod service;
pub mod transport;
mod webhooks;

pub use service::{Service, StartError};

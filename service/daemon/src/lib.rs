//! The Trisect service: bays, instruments, streaming, the journal, JSON-RPC.
//!
//! [`Service::start`] makes a running service from [`config::Settings`]; the
//! binary adds the command line, logging and signals. A bay is one task that
//! owns one state machine; the methods of `trisect-wire` are answered by asking
//! the bays or reading the journal.
//!
//! Invariants, each an absence:
//! - no reading is acknowledged that is not on disk;
//! - nothing about a bay is shared and locked: whoever wants something asks its task;
//! - nobody without a token gets further than loopback or the Unix socket, and no further there than
//!   the configuration says.

pub mod access;
mod audit;
mod bay;
pub mod catalog;
pub mod clock;
pub mod config;
mod convert;
pub mod demo;
mod health;
mod instruments;
mod keeper;
pub mod log;
mod metrics;
mod onlookers;
pub mod practice;
pub mod reload;
mod replay;
mod report;
mod rooms;
mod rpc;
mod schema;
mod senml;
mod service;
mod sockets;
mod traces;
pub mod transport;
mod webhooks;

pub use service::{Service, StartError};

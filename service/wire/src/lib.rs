//! What is said on the wire: one table of methods, wire types, error kinds.
//!
//! * [`table`] — every method and subscription, one row each; [`table::methods`] as data.
//! * [`types`] — the parameters, results and items.
//! * [`ErrorKind`], [`WireError`] — why a request was refused.
//! * [`escape`] — text of others, as people are shown it.
//! * [`serve`] — a server registers handlers by row; parameters, roles and errors are seen to here.
//! * [`client`] — a client calls by row.
//! * [`openrpc`] — the table as an OpenRPC document, kept in `openrpc.json`.
//!
//! This crate knows neither rule sets nor journals nor bays: the service converts what it shows.

pub mod client;
mod error;
mod escape;
#[cfg(test)]
mod examples;
pub mod method;
mod nearest;
mod openrpc;
pub mod serve;
pub mod table;
pub mod types;

pub use error::{ErrorKind, WireError};
pub use escape::{cut, escape};
pub use method::{Method, Role, Subscription};
pub use openrpc::openrpc;
pub use table::methods;

/// The path JSON-RPC is served at.
pub const RPC_PATH: &str = "/rpc";

/// The port a service listens on unless told otherwise.
pub const DEFAULT_PORT: u16 = 7474;

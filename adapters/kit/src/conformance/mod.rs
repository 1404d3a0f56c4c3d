//! What tests an adapter: a pseudo-terminal in place of the port, a simulated
//! instrument at its other end, and the conformance suite of the contract.
//!
//! A crate's tests implement [`Instrument`] and call [`conform`]; an empty list
//! of breaches means that the adapter keeps the contract of
//! [`Adapter`](crate::Adapter).

mod checks;
mod contract;
mod front;
mod instrument;
mod pty;
mod rig;
#[cfg(test)]
mod tests;

pub use contract::{Breach, conform};
pub use front::TcpFront;
pub use instrument::{Instrument, Mood};
pub use pty::Pty;

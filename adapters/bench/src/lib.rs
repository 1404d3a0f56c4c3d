//! A simulated bay: a machine model behind real wire protocols on
//! pseudo-terminals.
//!
//! [`machine`] is the pure core; [`instruments`] speaks the protocols;
//! [`bay`] runs both together in real time, or a multiple of it.

pub mod machine;

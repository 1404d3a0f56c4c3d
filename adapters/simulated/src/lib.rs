//! A simulated bay: a machine model behind real wire protocols on
//! pseudo-terminals.
//!
//! [`machine`] is the pure core; [`instruments`] speaks the protocols; [`bay`]
//! runs both together in real time, or a multiple of it, and is worked by a
//! simulated technician.
//!
//! Invariant, an absence: no rule set is read here. The model is physics and
//! chance; where it and a rule set disagree, that is something to find out.

pub mod bay;
pub mod instruments;

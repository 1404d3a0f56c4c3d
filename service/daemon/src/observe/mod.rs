//! What is seen of the service while it works: calls, audit trail, metrics, traces, log, health.

pub(crate) mod audit;
pub(crate) mod calls;
pub(crate) mod health;
pub mod log;
pub(crate) mod metrics;
pub(crate) mod traces;

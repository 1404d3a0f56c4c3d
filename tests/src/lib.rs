//! Shared fixtures of the cross-crate tests and benches: the repository as it lies on disk, the programs
//! as they are started, a service in this process or as one of its own, and clients that send exactly what
//! they are told.
//!
//! They panic with a message when something is not as a test needs it.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "fixtures of tests fail by panicking"
)]

pub mod daemon;
pub mod instrument;
pub mod programs;
pub mod raw;
pub mod repository;
pub mod service;
pub mod timing;
pub mod wait;

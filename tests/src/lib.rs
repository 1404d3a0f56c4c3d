//! Shared fixtures of the cross-crate tests and benches: the repository as it lies on disk, the programs
//! as they are started, and conditions that are waited for.
//!
//! They panic with a message when something is not as a test needs it.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "fixtures of tests fail by panicking")]

pub mod programs;
pub mod repository;
pub mod wait;

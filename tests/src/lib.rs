//! Shared fixtures of the cross-crate tests and benches.

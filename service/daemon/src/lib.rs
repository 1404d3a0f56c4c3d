//! The Trisect service: bays, instruments, streaming.
pub mod transport;

//! The Trisect service: bays, instruments, streaming.

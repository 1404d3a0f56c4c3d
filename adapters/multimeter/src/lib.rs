//! Serial multimeters: one codec per chip protocol.

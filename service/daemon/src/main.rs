//! The Trisect service.
fn main() {}

//! The trisect command.
fn main() {}

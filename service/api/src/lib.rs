//! What is said on the wire: one table of methods, wire types, error kinds.

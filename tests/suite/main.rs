//! The one integration binary.

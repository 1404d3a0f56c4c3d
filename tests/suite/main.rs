//! The one integration binary: everything that crosses crates.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "tests fail by panicking"
)]

mod cases;
mod house;
mod outside;
mod published;
mod service;
mod shop;
mod survey;

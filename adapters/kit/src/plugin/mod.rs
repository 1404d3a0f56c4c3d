//! Adapters as programs of their own: the contract of `adapters/kit/PLUGINS.md`, which follows, and both its sides.
//!
#![doc = include_str!("../../PLUGINS.md")]
//!
//! | file | subject |
//! |---|---|
//! | `lines` | where a line starts and ends, bounded; no I/O |
//! | `message`, `sample` | what a line says; no I/O |
//! | `process`, `limits`, `log` | a process in a group of its own, held to its limits; its standard error |
//! | `peer` | lines and questions, one process at a time |
//! | `adapter`, `session` | [`PluginAdapter`]: started, watched, started again |
//! | `settings` | settings held against the plugin's own JSON Schema |
//! | `guest` | [`serve`]: any Rust adapter as a plugin |
//! | `check` | [`check`](check()): the contract suite for any program, in words |

mod adapter;
mod check;
mod guest;
mod limits;
mod lines;
mod log;
mod message;
mod peer;
mod process;
mod sample;
mod session;
mod settings;
#[cfg(test)]
mod tests;

pub use adapter::{PluginAdapter, PluginError};
pub use check::{Checked, Finding, Trial, check};
pub use guest::{Offer, serve, serve_on};
pub use process::{Limits, Program};

/// The version of this contract; a plugin names the one it speaks.
pub const CONTRACT: u32 = 1;

/// The longest line either side may write, with its line feed, in bytes.
pub const LONGEST_LINE: usize = 1 << 20;

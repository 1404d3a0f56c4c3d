//! The service, end to end: its own port, its journal on disk, its instruments on pseudo-terminals.

mod bytes;
mod chain;
mod command;
mod demo;
mod discover;
mod flood;
mod gate;
mod hostile_text;
mod http;
mod keys;
mod limits;
mod meters;
mod named_files;
mod plugins;
mod practice;
mod probes;
mod refusals;
mod replay;
mod rulesets;
mod section7;
mod stop;
mod unplug;
pub(crate) mod webhooks;

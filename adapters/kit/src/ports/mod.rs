//! Serial ports: opened with clear errors, kept open, re-opened when lost.

mod backoff;
mod keep;
mod open;

pub use backoff::back_off;
pub use keep::{Ending, Session, keep_open};
pub use open::{Port, PortError, open};

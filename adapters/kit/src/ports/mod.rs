//! Serial ports: opened with clear errors, kept open, re-opened when lost.

mod backoff;
mod holder;
mod keep;
mod list;
mod open;

pub use backoff::back_off;
pub use keep::{Ending, Session, keep_open};
pub use list::{PortFound, Ports, same_port};
pub use open::{Port, PortError, open};

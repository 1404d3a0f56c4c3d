//! Ways to an instrument: opened with clear errors, kept open, re-opened when
//! lost.

mod backoff;
mod keep;
mod open;
mod tcp;

pub use backoff::back_off;
pub use keep::{Ending, Endpoint, Session, keep_open};
pub use open::{Port, PortError, open};
pub use tcp::{TcpError, TcpPort};

//! Ways to an instrument: opened with clear errors, kept open, re-opened when
//! lost.

mod allowed;
mod backoff;
mod holder;
mod keep;
mod list;
mod listen;
mod open;
mod tcp;

pub use allowed::may_be_port;
pub use backoff::{back_off, back_off_between};
pub use keep::{Ending, Endpoint, Session, keep_open};
pub use list::{PortFound, Ports, same_port};
pub use listen::{Understood, ask, listen, port_of, understood};
pub use open::{Port, PortError, open};
pub use tcp::{TcpError, TcpPort};

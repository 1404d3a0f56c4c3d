//! A TCP address in place of a serial port.

use std::fmt;
use std::io;
use std::path::Path;
use std::time::Duration;

use tokio::net::TcpStream;
use tokio::time::timeout;

use super::Opens;

/// What the path of a port begins with when it is a TCP address.
const SCHEME: &str = "tcp://";
/// How long a connection may take; an instrument is on the same network.
const PATIENCE: Duration = Duration::from_secs(3);

/// Host and port, written as `tcp://192.0.2.7:502` where a serial port's path
/// would stand.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TcpAddress(String);

/// Why a text is no TCP address.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{text}` is no TCP address: {why}; write host and port, such as `tcp://192.0.2.7:502`")]
pub struct TcpAddressError {
    text: String,
    why: &'static str,
}

impl TcpAddress {
    /// The address that a port's path names, or `None` where it names a serial port.
    ///
    /// # Errors
    /// It begins with `tcp://` and names no host or no port.
    pub fn of(path: &Path) -> Option<Result<TcpAddress, TcpAddressError>> {
        let text = path.to_str()?;
        Some(TcpAddress::parse(text, text.strip_prefix(SCHEME)?))
    }

    fn parse(text: &str, address: &str) -> Result<TcpAddress, TcpAddressError> {
        let wrong = |why| TcpAddressError {
            text: text.to_owned(),
            why,
        };
        let (host, port) = address
            .rsplit_once(':')
            .ok_or_else(|| wrong("there is no port"))?;
        if host.is_empty() || host.contains(['/', ' ']) {
            return Err(wrong("there is no host"));
        }
        match port.parse::<u16>() {
            Ok(1..) => Ok(TcpAddress(address.to_owned())),
            _ => Err(wrong("the port must be 1 to 65535")),
        }
    }
}

impl fmt::Display for TcpAddress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{SCHEME}{}", self.0)
    }
}

impl Opens for TcpAddress {
    type Stream = TcpStream;

    fn name(&self) -> String {
        self.to_string()
    }

    async fn open(&self) -> Result<TcpStream, String> {
        let refused = |why: &str| format!("cannot connect to {self}: {why}");
        match timeout(PATIENCE, TcpStream::connect(&self.0)).await {
            Ok(Ok(stream)) => {
                // Best effort: a request of a few bytes is not to wait for more.
                let _ = stream.set_nodelay(true);
                Ok(stream)
            }
            Ok(Err(error)) if error.kind() == io::ErrorKind::ConnectionRefused => Err(refused(
                "nothing listens there; check the port, and that no other program has the instrument's only connection",
            )),
            Ok(Err(error)) => Err(refused(&error.to_string())),
            Err(_) => Err(refused(
                "no answer; check that the instrument is on, and its address",
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use tokio::net::TcpListener;

    #[test]
    fn a_port_is_a_tcp_address_if_it_says_so() {
        let check = |text: &str, expected: &str| {
            let said = match TcpAddress::of(Path::new(text)) {
                None => "serial".to_owned(),
                Some(Ok(address)) => address.to_string(),
                Some(Err(error)) => error.to_string(),
            };
            assert!(said.contains(expected), "{text}: {said}");
        };
        check("/dev/ttyUSB0", "serial");
        check("tcp://gauge.local:502", "tcp://gauge.local:502");
        check("tcp://[2001:db8::7]:502", "tcp://[2001:db8::7]:502");
        check("tcp://192.0.2.7", "there is no port");
        check("tcp://:502", "there is no host");
        check("tcp://192.0.2.7:0", "must be 1 to 65535");
        check("tcp://192.0.2.7:modbus", "must be 1 to 65535");
    }

    #[tokio::test]
    async fn says_that_nothing_listens() {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let path = format!("tcp://{}", listener.local_addr().unwrap());
        let address = TcpAddress::of(Path::new(&path)).unwrap().unwrap();
        assert!(address.open().await.is_ok());
        drop(listener);
        let error = address.open().await.unwrap_err();
        assert!(error.contains("nothing listens there"), "{error}");
    }
}

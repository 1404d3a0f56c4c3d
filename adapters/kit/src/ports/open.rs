//! Opening a serial port, and saying why it cannot be opened.

use std::fs;
use std::io;
use std::os::unix::fs::{FileTypeExt as _, MetadataExt as _};
use std::path::{Path, PathBuf};

use rustix::fs::OFlags;
use tokio_serial::{
    DataBits, ErrorKind, SerialPort as _, SerialPortBuilderExt as _, SerialStream, StopBits,
};

use super::Endpoint;
use super::allowed::may_be_port;
use super::holder::holders;
use crate::{LineError, LineSettings, Networks, Parity};

/// Which port, and how it is to be set.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Port {
    /// Its path. A link such as those in `/dev/serial/by-id` is followed anew at
    /// each opening, so the node behind it may change.
    pub path: PathBuf,
    /// Speed and character format.
    pub line: LineSettings,
    /// Whether an optical cable is fed from the modem lines: DTR on, RTS off.
    pub optical: bool,
}

/// Why a serial port cannot be opened, with the way out.
#[derive(Debug, thiserror::Error)]
pub enum PortError {
    /// The line settings are impossible.
    #[error("cannot open {}: {source}", path.display())]
    Settings {
        /// The port.
        path: PathBuf,
        /// What is wrong with them.
        source: LineError,
    },
    /// There is no such node.
    #[error("cannot open {}: there is no such port; plug the instrument in, or see /dev/serial/by-id for what is there", path.display())]
    Missing {
        /// The port.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The node is no serial port.
    #[error("cannot open {}: it is no serial port; give the path of a tty, best one of /dev/serial/by-id", path.display())]
    NotSerial {
        /// The port.
        path: PathBuf,
    },
    /// Another program holds the port.
    #[error("cannot open {}: another program has it open and locked; {remedy}", path.display())]
    Busy {
        /// The port.
        path: PathBuf,
        /// Which program to close, or how to find it.
        remedy: String,
        /// What the system said.
        source: tokio_serial::Error,
    },
    /// The service may not use the port.
    #[error("cannot open {}: permission denied; {remedy}", path.display())]
    Denied {
        /// The port.
        path: PathBuf,
        /// Which group to join, and how.
        remedy: String,
        /// What the system said.
        source: tokio_serial::Error,
    },
    /// Anything else.
    #[error("cannot open {}: {source}", path.display())]
    Other {
        /// The port.
        path: PathBuf,
        /// What the system said.
        source: tokio_serial::Error,
    },
}

impl Endpoint for Port {
    type Stream = SerialStream;

    async fn open(&self, _: &Networks) -> Result<SerialStream, String> {
        open(self).map_err(|error| error.to_string())
    }

    fn name(&self) -> String {
        self.path.display().to_string()
    }
}

/// Opens a port for this program alone.
///
/// It does not block for longer than the kernel needs to set the line. Must be
/// called within a tokio run time.
///
/// # Errors
/// See [`PortError`]; the settings are checked before the port is touched.
pub fn open(port: &Port) -> Result<SerialStream, PortError> {
    let path = &port.path;
    port.line.check().map_err(|source| PortError::Settings {
        path: path.clone(),
        source,
    })?;
    match fs::metadata(path) {
        Ok(node) if !node.file_type().is_char_device() || !may_be_port(path) => {
            return Err(PortError::NotSerial { path: path.clone() });
        }
        Err(source) if source.kind() == io::ErrorKind::NotFound => {
            return Err(PortError::Missing {
                path: path.clone(),
                source,
            });
        }
        // Other refusals come again, with a kind, from opening itself.
        _ => {}
    }
    let builder = tokio_serial::new(path.to_string_lossy(), port.line.baud)
        .data_bits(data_bits(&port.line))
        .parity(parity(&port.line))
        .stop_bits(stop_bits(&port.line));
    let mut stream = builder.open_native_async().map_err(|e| refused(path, e))?;
    if port.optical {
        // Best effort: a pseudo-terminal has no modem lines.
        if let Err(error) = stream
            .write_data_terminal_ready(true)
            .and_then(|()| stream.write_request_to_send(false))
        {
            tracing::debug!(path = %path.display(), %error, "modem lines not set");
        }
    }
    Ok(stream)
}

fn refused(path: &Path, source: tokio_serial::Error) -> PortError {
    let path = path.to_owned();
    match source.kind() {
        ErrorKind::NoDevice => PortError::Busy {
            remedy: closing(&path),
            path,
            source,
        },
        ErrorKind::Io(io::ErrorKind::PermissionDenied) => PortError::Denied {
            remedy: remedy(&path),
            path,
            source,
        },
        // ENOTTY has no kind of its own in the library below.
        ErrorKind::Unknown if !is_terminal(&path) => PortError::NotSerial { path },
        _ => PortError::Other { path, source },
    }
}

/// Whether a node is a terminal, or cannot be asked.
fn is_terminal(path: &Path) -> bool {
    let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
    rustix::fs::open(path, flags, rustix::fs::Mode::empty())
        .map_or(true, |node| rustix::termios::isatty(&node))
}

/// Which program to close.
fn closing(path: &Path) -> String {
    match holders(path).as_slice() {
        [] => format!("close that program (`fuser {}` names it)", path.display()),
        known => format!("it is {}: close it there", known.join(" and ")),
    }
}

/// Which group owns the node, and how to join it.
fn remedy(path: &Path) -> String {
    let groups = fs::read_to_string("/etc/group").unwrap_or_default();
    match fs::metadata(path) {
        Ok(node) => match group_name(&groups, node.gid()) {
            Some(group) => format!(
                "the port belongs to group `{group}`: add the service's user to it (`usermod -aG {group} USER`) and start the service anew"
            ),
            None => format!(
                "the port belongs to group {}, which has no name: set its owner by a udev rule",
                node.gid()
            ),
        },
        Err(_) => "a folder on the way to the port is closed to the service's user".to_owned(),
    }
}

/// The name of a group in the text of `/etc/group` (`name:password:id:members`).
fn group_name(groups: &str, id: u32) -> Option<&str> {
    groups.lines().find_map(|line| {
        let mut fields = line.split(':');
        let name = fields.next()?;
        let number = fields.nth(1)?.parse::<u32>().ok()?;
        (number == id).then_some(name)
    })
}

fn data_bits(line: &LineSettings) -> DataBits {
    match line.data_bits {
        5 => DataBits::Five,
        6 => DataBits::Six,
        7 => DataBits::Seven,
        _ => DataBits::Eight,
    }
}

fn parity(line: &LineSettings) -> tokio_serial::Parity {
    match line.parity {
        Parity::None => tokio_serial::Parity::None,
        Parity::Odd => tokio_serial::Parity::Odd,
        Parity::Even => tokio_serial::Parity::Even,
    }
}

fn stop_bits(line: &LineSettings) -> StopBits {
    if line.stop_bits == 2 {
        StopBits::Two
    } else {
        StopBits::One
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::conformance::Pty;

    fn port(path: impl Into<PathBuf>, line: &str) -> Port {
        Port {
            path: path.into(),
            line: line.parse().unwrap(),
            optical: true,
        }
    }

    #[tokio::test]
    async fn opens_a_terminal_with_any_character_format() {
        let pty = Pty::open().unwrap();
        for line in ["2400 8N1", "19200 7O1", "600 7N2", "115200 8E1"] {
            open(&port(pty.path(), line)).unwrap();
        }
    }

    #[tokio::test]
    async fn says_why_a_port_cannot_be_opened() {
        let check = |port: &Port, expected: &str| {
            let error = open(port).unwrap_err().to_string();
            assert!(error.contains(expected), "{error}");
        };
        check(
            &port("/dev/no-such-port", "2400 8N1"),
            "there is no such port",
        );
        check(&port("/etc/group", "2400 8N1"), "no serial port");
        check(&port("/dev/null", "2400 8N1"), "no serial port");
        let pty = Pty::open().unwrap();
        let held = open(&port(pty.path(), "2400 8N1")).unwrap();
        check(&port(pty.path(), "2400 8N1"), "another program");
        check(&port(pty.path(), "2400 8N1"), "it is this service");
        drop(held);
        // Another program's lock, as serial programs take it.
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
        let other = rustix::fs::open(pty.path(), flags, rustix::fs::Mode::empty()).unwrap();
        rustix::fs::flock(&other, rustix::fs::FlockOperation::LockExclusive).unwrap();
        check(&port(pty.path(), "2400 8N1"), "open and locked");
        drop(other);
        let mut wrong = port(pty.path(), "2400 8N1");
        wrong.line.stop_bits = 3;
        check(&wrong, "1 or 2 stop bits");
    }

    #[test]
    fn names_the_group_to_join() {
        let groups = "root:x:0:\ndialout:x:20:ann,bo\nbroken\n";
        assert_eq!(group_name(groups, 20), Some("dialout"));
        assert_eq!(group_name(groups, 21), None);
        let denied = tokio_serial::Error::new(
            ErrorKind::Io(io::ErrorKind::PermissionDenied),
            "permission denied",
        );
        let error = refused(Path::new("/dev/null"), denied).to_string();
        assert!(error.contains("usermod -aG root"), "{error}");
    }
}

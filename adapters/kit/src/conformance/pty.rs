//! A pseudo-terminal: our end in the program, the other opened like any port.

use std::ffi::OsString;
use std::io;
use std::os::fd::OwnedFd;
use std::os::unix::ffi::OsStringExt as _;
use std::path::{Path, PathBuf};

use rustix::fs::OFlags;
use rustix::pty::OpenptFlags;
use rustix::termios::OptionalActions;
use tokio::net::unix::pipe;

/// A pseudo-terminal in raw mode. Dropping it is pulling the plug: whoever has
/// the port open reads 0 bytes or an error.
#[derive(Debug)]
pub struct Pty {
    /// Our end, twice: the run time watches any descriptor through its pipe
    /// halves, and asks for no `unsafe` there.
    reader: pipe::Receiver,
    writer: pipe::Sender,
    /// Held open so that our end never reads a hang-up before the port is first
    /// opened, or between two openings.
    _device: OwnedFd,
    path: PathBuf,
}

impl Pty {
    /// Opens a new one. Must be called within a tokio run time.
    ///
    /// # Errors
    /// What the kernel says, such as when there are no more pseudo-terminals.
    pub fn open() -> io::Result<Pty> {
        let ours =
            rustix::pty::openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
        rustix::pty::grantpt(&ours)?;
        rustix::pty::unlockpt(&ours)?;
        let name = rustix::pty::ptsname(&ours, Vec::new())?;
        let path = PathBuf::from(OsString::from_vec(name.into_bytes()));
        let device = rustix::fs::open(
            &path,
            OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC,
            rustix::fs::Mode::empty(),
        )?;
        let mut settings = rustix::termios::tcgetattr(&device)?;
        settings.make_raw();
        rustix::termios::tcsetattr(&device, OptionalActions::Now, &settings)?;
        let flags = rustix::fs::fcntl_getfl(&ours)?;
        rustix::fs::fcntl_setfl(&ours, flags | OFlags::NONBLOCK)?;
        Ok(Pty {
            writer: pipe::Sender::from_owned_fd_unchecked(ours.try_clone()?)?,
            reader: pipe::Receiver::from_owned_fd_unchecked(ours)?,
            _device: device,
            path,
        })
    }

    /// The path that an adapter opens.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Reads what was written to the port, at least one byte.
    ///
    /// # Errors
    /// What the kernel says.
    pub async fn read(&self, buffer: &mut [u8]) -> io::Result<usize> {
        loop {
            self.reader.readable().await?;
            match self.reader.try_read(buffer) {
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => {}
                read => return read,
            }
        }
    }

    /// Writes all bytes, waiting while nobody takes them.
    ///
    /// # Errors
    /// What the kernel says.
    pub async fn write_all(&self, mut bytes: &[u8]) -> io::Result<()> {
        while !bytes.is_empty() {
            self.writer.writable().await?;
            match self.writer.try_write(bytes) {
                Ok(count) => bytes = bytes.get(count..).unwrap_or_default(),
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => {}
                Err(error) => return Err(error),
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::ports::{Port, open};
    use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};

    #[tokio::test]
    async fn carries_every_byte_both_ways_and_can_be_unplugged() {
        let pty = Pty::open().unwrap();
        let mut port = open(&Port {
            path: pty.path().to_owned(),
            line: "19200 7O1".parse().unwrap(),
            optical: false,
        })
        .unwrap();
        let all: Vec<u8> = (0..=255).collect();
        let mut got = vec![0; 256];
        pty.write_all(&all).await.unwrap();
        port.read_exact(&mut got).await.unwrap();
        assert_eq!(got, all);
        port.write_all(&all).await.unwrap();
        let mut got = Vec::new();
        while got.len() < 256 {
            let mut chunk = [0; 300];
            let count = pty.read(&mut chunk).await.unwrap();
            got.extend_from_slice(&chunk[..count]);
        }
        assert_eq!(got, all);
        drop(pty);
        assert!(matches!(port.read(&mut [0; 8]).await, Ok(0) | Err(_)));
    }
}

//! A pseudo-terminal behind a path that stays the same while the instrument
//! is unplugged and plugged in again.

use std::fs::File;
use std::io::{self, ErrorKind, Read, Write};
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use rustix::fs::{Mode, OFlags};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use tokio::io::unix::AsyncFd;
use tokio::sync::watch;

/// The instrument's end of a plugged-in line.
pub(crate) type Line = Arc<AsyncFd<File>>;

/// A port that can be unplugged.
#[derive(Debug)]
pub(crate) struct Port {
    link: PathBuf,
    line: Mutex<Option<Line>>,
    changes: watch::Sender<u64>,
}

impl Port {
    /// A port reached by `link`, plugged in. Needs a tokio runtime.
    pub(crate) fn new(link: PathBuf) -> io::Result<Self> {
        let port = Port { link, line: Mutex::new(None), changes: watch::Sender::new(0) };
        port.plug()?;
        Ok(port)
    }

    /// The path to open.
    pub(crate) fn path(&self) -> &Path {
        &self.link
    }

    fn line_slot(&self) -> MutexGuard<'_, Option<Line>> {
        self.line.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The instrument's end, while it is plugged in.
    pub(crate) fn line(&self) -> Option<Line> {
        self.line_slot().clone()
    }

    /// Tells when the port is plugged or unplugged.
    pub(crate) fn changes(&self) -> watch::Receiver<u64> {
        self.changes.subscribe()
    }

    /// Plugs in: a new pseudo-terminal behind the same path.
    pub(crate) fn plug(&self) -> io::Result<()> {
        let (master, name) = open_pair()?;
        // The link appears at once or not at all.
        let fresh = self.link.with_extension("new");
        let _ = std::fs::remove_file(&fresh);
        std::os::unix::fs::symlink(&name, &fresh)?;
        std::fs::rename(&fresh, &self.link)?;
        *self.line_slot() = Some(Arc::new(AsyncFd::new(master)?));
        self.changes.send_modify(|count| *count += 1);
        Ok(())
    }

    /// Unplugs: whoever reads sees the end of the line, and the path is gone.
    pub(crate) fn unplug(&self) {
        let _ = std::fs::remove_file(&self.link);
        *self.line_slot() = None;
        self.changes.send_modify(|count| *count += 1);
    }

    /// Sends bytes if someone listens; like a serial line, it keeps nothing
    /// for later. What the listener sent is dropped: for instruments that only talk.
    pub(crate) fn say(&self, bytes: &[u8]) {
        let Some(line) = self.line() else { return };
        let mut file = line.get_ref();
        if listened_to(file) {
            // A listener that does not keep up loses bytes, as on a real line.
            let _ = file.write(bytes);
        }
    }
}

impl Drop for Port {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(&self.link);
    }
}

/// Reading the instrument's end fails outright while nobody holds the other.
fn listened_to(mut file: &File) -> bool {
    let mut ignored = [0; 64];
    loop {
        match file.read(&mut ignored) {
            Ok(0) => return false,
            Ok(_) => {}
            Err(error) => return error.kind() == ErrorKind::WouldBlock,
        }
    }
}

/// A new pseudo-terminal: the instrument's end, not blocking, and the name of
/// the other end, set to pass bytes as they are.
fn open_pair() -> io::Result<(File, PathBuf)> {
    let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
    grantpt(&master)?;
    unlockpt(&master)?;
    let name = ptsname(&master, Vec::new())?;
    let path = PathBuf::from(std::ffi::OsStr::from_bytes(name.as_bytes()));
    // Opened and closed once: from then on the kernel tells whether anyone holds it.
    let other = rustix::fs::open(&path, OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC, Mode::empty())?;
    let mut settings = tcgetattr(&other)?;
    settings.make_raw();
    tcsetattr(&other, OptionalActions::Now, &settings)?;
    rustix::fs::fcntl_setfl(&master, OFlags::RDWR | OFlags::NONBLOCK)?;
    Ok((File::from(master), path))
}

//! A pseudo-terminal behind a path that stays the same while the instrument
//! is unplugged and plugged in again.

use std::fs::File;
use std::io::{self, ErrorKind, Read, Write};
use std::os::unix::ffi::OsStrExt;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use rustix::fs::{Mode, OFlags};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use tokio::sync::watch;

/// The instrument's end of a plugged-in line; reading and writing do not block.
pub(crate) type PtyMaster = Arc<File>;

/// What a look at a line found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Available {
    /// So many bytes.
    Bytes(usize),
    /// Someone holds the other end and has said nothing.
    Nothing,
    /// Nobody holds the other end.
    Nobody,
}

/// Reads what is there. Reading the instrument's end fails outright while
/// nobody holds the other.
pub(crate) fn read_available(mut line: &File, chunk: &mut [u8]) -> Available {
    match line.read(chunk) {
        Ok(0) => Available::Nobody,
        Ok(count) => Available::Bytes(count),
        Err(error) => match error.kind() {
            ErrorKind::WouldBlock | ErrorKind::Interrupted => Available::Nothing,
            _ => Available::Nobody,
        },
    }
}

/// A port that can be unplugged.
#[derive(Debug)]
pub(crate) struct Port {
    link: PathBuf,
    line: Mutex<Option<PtyMaster>>,
    changes: watch::Sender<u64>,
}

impl Port {
    /// A port reached by `link`, plugged in.
    pub(crate) fn new(link: PathBuf) -> io::Result<Self> {
        let port = Port {
            link,
            line: Mutex::new(None),
            changes: watch::Sender::new(0),
        };
        port.plug()?;
        Ok(port)
    }

    fn line_slot(&self) -> MutexGuard<'_, Option<PtyMaster>> {
        self.line.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The instrument's end, while it is plugged in.
    pub(crate) fn line(&self) -> Option<PtyMaster> {
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
        *self.line_slot() = Some(Arc::new(master));
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
    pub(crate) fn write(&self, bytes: &[u8]) {
        let Some(line) = self.line() else { return };
        let mut file = &*line;
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

fn listened_to(line: &File) -> bool {
    let mut ignored = [0; 256];
    loop {
        match read_available(line, &mut ignored) {
            Available::Bytes(_) => {}
            Available::Nothing => return true,
            Available::Nobody => return false,
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
    let other = rustix::fs::open(
        &path,
        OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC,
        Mode::empty(),
    )?;
    let mut settings = tcgetattr(&other)?;
    settings.make_raw();
    tcsetattr(&other, OptionalActions::Now, &settings)?;
    rustix::fs::fcntl_setfl(&master, OFlags::RDWR | OFlags::NONBLOCK)?;
    Ok((File::from(master), path))
}

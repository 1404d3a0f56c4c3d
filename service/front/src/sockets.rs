//! The sockets the service listens on: its own, or handed over by whoever started it.
//!
//! They outlive what is served on them: a front that starts anew after a reload takes the same
//! sockets, and one that systemd holds outlives the process, so that no connection is refused
//! while the service is upgraded.

use std::io;
use std::net::SocketAddr;
use std::os::unix::fs::{FileTypeExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use listenfd::ListenFd;

use crate::{Listener, TlsFront};

/// Why a socket cannot be listened on.
#[derive(Debug, thiserror::Error)]
pub enum SocketError {
    /// A TCP address.
    #[error(
        "cannot listen on {listen}: is another service there? Choose another port with --listen"
    )]
    Tcp {
        /// The address.
        listen: SocketAddr,
        /// What the system said.
        source: io::Error,
    },
    /// A Unix socket.
    #[error("cannot listen on the Unix socket {path}: its directory must exist and be writable, and no other service use it", path = path.display())]
    Unix {
        /// Where.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// A socket that was handed over.
    #[error("cannot use socket {number} of those that were handed over (LISTEN_FDS)")]
    Handed {
        /// Which of them, from 0.
        number: usize,
        /// What the system said.
        source: io::Error,
    },
}

/// What is to be listened on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SocketSettings {
    /// The address without TLS.
    pub plain: SocketAddr,
    /// The address with TLS.
    pub tls: Option<SocketAddr>,
    /// The Unix socket.
    pub unix: Option<UnixSocket>,
}

/// A Unix socket to be listened on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnixSocket {
    /// Where its file is.
    pub path: PathBuf,
    /// The permissions of the file: whoever may open it may call.
    pub mode: u32,
}

/// One TCP socket, and what it was asked for.
struct Tcp {
    asked: SocketAddr,
    socket: std::net::TcpListener,
}

/// The Unix socket, and whether its file is ours to remove.
struct Unix {
    asked: UnixSocket,
    socket: std::os::unix::net::UnixListener,
    ours: bool,
}

impl Drop for Unix {
    fn drop(&mut self) {
        if self.ours {
            // Left behind it would only be taken for a service that died.
            let _ = std::fs::remove_file(&self.asked.path);
        }
    }
}

/// All sockets.
pub struct Sockets {
    plain: Tcp,
    tls: Option<Tcp>,
    unix: Option<Unix>,
}

/// Sockets that whoever started the process opened for it.
#[derive(Default)]
pub struct HandedOver {
    tcp: Vec<std::net::TcpListener>,
    unix: Option<std::os::unix::net::UnixListener>,
}

impl HandedOver {
    /// Takes what was handed over, as systemd does (`LISTEN_FDS`): Unix sockets are the Unix
    /// socket; of TCP sockets the one on the TLS port is for TLS, another one for the rest.
    ///
    /// # Errors
    /// A socket of another kind.
    pub fn take() -> Result<HandedOver, SocketError> {
        let mut given = ListenFd::from_env();
        let mut handed = HandedOver::default();
        for number in 0..given.len() {
            let refused = |source| SocketError::Handed { number, source };
            match given.take_tcp_listener(number) {
                Ok(socket) => handed.tcp.extend(socket),
                Err(_) => handed.unix = given.take_unix_listener(number).map_err(refused)?,
            }
        }
        Ok(handed)
    }

    /// The TCP socket on a port.
    fn on_port(&mut self, port: u16) -> Option<std::net::TcpListener> {
        let at = self
            .tcp
            .iter()
            .position(|socket| socket.local_addr().is_ok_and(|at| at.port() == port))?;
        Some(self.tcp.swap_remove(at))
    }
}

impl Sockets {
    /// Opens what the settings ask for, where it was not handed over or is not open `before`.
    ///
    /// # Errors
    /// What cannot be listened on.
    pub fn open(
        settings: &SocketSettings,
        mut handed: HandedOver,
        before: Option<&Sockets>,
    ) -> Result<Sockets, SocketError> {
        // First, as it is told from the plain one by its port: what is left over is that.
        let tls = match &settings.tls {
            None => None,
            Some(tls) => {
                let kept = before.and_then(|before| before.tls.as_ref());
                let given = handed.on_port(tls.port());
                Some(open_tcp(*tls, given, kept)?)
            }
        };
        let kept = before.map(|before| &before.plain);
        let plain = open_tcp(settings.plain, handed.tcp.pop(), kept)?;
        let unix = match &settings.unix {
            None => None,
            Some(unix) => Some(open_unix(unix, handed.unix.take(), before)?),
        };
        Ok(Sockets { plain, tls, unix })
    }

    /// Where the plain socket listens.
    pub fn address(&self) -> io::Result<SocketAddr> {
        self.plain.socket.local_addr()
    }

    /// Where TLS is spoken.
    pub fn tls_address(&self) -> Option<SocketAddr> {
        self.tls.as_ref()?.socket.local_addr().ok()
    }

    /// Listeners for a front.
    ///
    /// # Errors
    /// When the system has no more file descriptors.
    pub fn listeners(&self, front: Option<&Arc<TlsFront>>) -> io::Result<Vec<Listener>> {
        let tcp = |socket: &std::net::TcpListener| {
            let socket = socket.try_clone()?;
            socket.set_nonblocking(true)?;
            tokio::net::TcpListener::from_std(socket)
        };
        let mut listeners = vec![Listener::Plain(tcp(&self.plain.socket)?)];
        if let (Some(tls), Some(front)) = (&self.tls, front) {
            listeners.push(Listener::Tls(tcp(&tls.socket)?, Arc::clone(front)));
        }
        if let Some(unix) = &self.unix {
            let socket = unix.socket.try_clone()?;
            socket.set_nonblocking(true)?;
            let socket = tokio::net::UnixListener::from_std(socket)?;
            listeners.push(Listener::Unix(socket));
        }
        Ok(listeners)
    }
}

fn open_tcp(
    asked: SocketAddr,
    given: Option<std::net::TcpListener>,
    kept: Option<&Tcp>,
) -> Result<Tcp, SocketError> {
    let refused = |source| SocketError::Tcp {
        listen: asked,
        source,
    };
    let socket = match (given, kept) {
        (Some(given), _) => given,
        (None, Some(kept)) if kept.asked == asked => kept.socket.try_clone().map_err(refused)?,
        // The standard library sets SO_REUSEADDR: a restart does not wait for old connections.
        (None, _) => std::net::TcpListener::bind(asked).map_err(refused)?,
    };
    Ok(Tcp { asked, socket })
}

fn open_unix(
    asked: &UnixSocket,
    given: Option<std::os::unix::net::UnixListener>,
    before: Option<&Sockets>,
) -> Result<Unix, SocketError> {
    let refused = |source| SocketError::Unix {
        path: asked.path.clone(),
        source,
    };
    let kept = before.and_then(|before| before.unix.as_ref());
    let kept = kept.filter(|kept| kept.asked.path == asked.path);
    let (socket, ours) = match (given, kept) {
        (Some(given), _) => (given, false),
        // The file stays; what it lets in may have changed.
        (None, Some(kept)) => {
            set_mode(&asked.path, asked).map_err(refused)?;
            (kept.socket.try_clone().map_err(refused)?, kept.ours)
        }
        (None, None) => (bind(asked).map_err(refused)?, true),
    };
    Ok(Unix {
        asked: asked.clone(),
        socket,
        ours,
    })
}

/// Binds under another name and puts it in its place once its permissions are set, so that
/// nobody gets in before.
fn bind(asked: &UnixSocket) -> io::Result<std::os::unix::net::UnixListener> {
    let path = &asked.path;
    if let Ok(meta) = std::fs::symlink_metadata(path) {
        // A file of a service that died answers nobody and may be replaced; anything else is somebody's.
        let in_use = || std::os::unix::net::UnixStream::connect(path).is_ok();
        if !meta.file_type().is_socket() || in_use() {
            return Err(io::ErrorKind::AddrInUse.into());
        }
    }
    let mut name = path.as_os_str().to_owned();
    name.push(".new");
    let new = PathBuf::from(name);
    let _ = std::fs::remove_file(&new);
    let socket = std::os::unix::net::UnixListener::bind(&new)?;
    set_mode(&new, asked)?;
    std::fs::rename(&new, path)?;
    Ok(socket)
}

fn set_mode(path: &Path, asked: &UnixSocket) -> io::Result<()> {
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(asked.mode))
}

impl Sockets {
    /// Gives the file of the Unix socket over to a successor that listens on the same one.
    pub fn hand_on(&mut self, successor: &Sockets) {
        if let (Some(old), Some(new)) = (&mut self.unix, &successor.unix)
            && old.asked.path == new.asked.path
        {
            old.ours = false;
        }
    }
}

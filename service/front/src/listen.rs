//! What connections are accepted on: TCP, TCP with TLS, a Unix socket.

use std::io;
use std::sync::Arc;

use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream, UnixListener, UnixStream};

use super::tls::TlsFront;
use crate::access::Peer;

/// One listening socket.
#[derive(Debug)]
pub enum Listener {
    /// TCP.
    Plain(TcpListener),
    /// TCP, with TLS.
    Tls(TcpListener, Arc<TlsFront>),
    /// A Unix socket.
    Unix(UnixListener),
}

/// A connection that was accepted, and has said nothing yet.
pub(super) enum Accepted {
    Plain(TcpStream),
    Tls(TcpStream, Arc<TlsFront>),
    Unix(UnixStream),
}

/// A stream that requests come by.
pub(super) trait Stream: AsyncRead + AsyncWrite + Send + Unpin + 'static {}
impl<S: AsyncRead + AsyncWrite + Send + Unpin + 'static> Stream for S {}

impl Listener {
    /// What it is called in metrics and the log.
    pub(super) fn name(&self) -> &'static str {
        match self {
            Listener::Plain(_) => "tcp",
            Listener::Tls(..) => "tls",
            Listener::Unix(_) => "unix",
        }
    }

    /// The next connection.
    pub(super) async fn accept(&self) -> io::Result<(Accepted, Peer)> {
        match self {
            Listener::Plain(listener) => {
                let (stream, from) = listener.accept().await?;
                send_at_once(&stream);
                Ok((Accepted::Plain(stream), Peer::Tcp(from)))
            }
            Listener::Tls(listener, front) => {
                let (stream, from) = listener.accept().await?;
                send_at_once(&stream);
                Ok((Accepted::Tls(stream, Arc::clone(front)), Peer::Tcp(from)))
            }
            Listener::Unix(listener) => {
                let (stream, _) = listener.accept().await?;
                let uid = stream.peer_cred().ok().map(|peer| peer.uid());
                Ok((Accepted::Unix(stream), Peer::Unix { uid }))
            }
        }
    }
}

/// Replies are small and waited for: without this, one may wait for the client to acknowledge the one before.
fn send_at_once(stream: &TcpStream) {
    // A socket that refuses is a socket that is gone, as the first read will tell.
    let _ = stream.set_nodelay(true);
}

//! A TCP port in front of a pseudo-terminal, so that an adapter over TCP runs
//! the same suite: unplugging the terminal closes the connection.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _, copy};
use tokio::net::{TcpListener, TcpStream};

use crate::ports::{Port, open};
use crate::{LineSettings, Parity};

/// TCP addresses by the path of the port behind them.
#[derive(Debug, Default)]
pub struct TcpFront(Mutex<BTreeMap<PathBuf, String>>);

impl TcpFront {
    /// The address, host and port, behind which the port at `path`
    /// is opened for each connection. Must be called within a tokio run time.
    ///
    /// # Errors
    /// What the system says, such as when there are no more ports.
    pub fn address(&self, path: &Path) -> std::io::Result<String> {
        let mut fronts = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(address) = fronts.get(path) {
            return Ok(address.clone());
        }
        let listener = std::net::TcpListener::bind(("127.0.0.1", 0))?;
        listener.set_nonblocking(true)?;
        let address = listener.local_addr()?.to_string();
        let listener = TcpListener::from_std(listener)?;
        tokio::spawn(serve(listener, path.to_owned()));
        fronts.insert(path.to_owned(), address.clone());
        Ok(address)
    }
}

async fn serve(listener: TcpListener, path: PathBuf) {
    while let Ok((connection, _)) = listener.accept().await {
        tokio::spawn(bridge(connection, path.clone()));
    }
}

/// Carries bytes both ways until either end is gone.
async fn bridge(connection: TcpStream, path: PathBuf) {
    let port = Port {
        path,
        line: LineSettings::new(115_200, 8, Parity::None, 1),
        optical: false,
    };
    // No port, no connection: it is closed at once.
    let Ok(mut serial) = open(&port) else { return };
    let (mut from_tcp, mut to_tcp) = connection.into_split();
    let (mut chunk, mut request) = ([0; 1024], [0; 1024]);
    loop {
        tokio::select! {
            read = serial.read(&mut chunk) => match read {
                Ok(count @ 1..) => {
                    let bytes = chunk.get(..count).unwrap_or_default();
                    if to_tcp.write_all(bytes).await.is_err() {
                        return;
                    }
                }
                _ => return,
            },
            read = from_tcp.read(&mut request) => match read {
                Ok(count @ 1..) => {
                    let mut bytes = request.get(..count).unwrap_or_default();
                    if copy(&mut bytes, &mut serial).await.is_err() {
                        return;
                    }
                }
                _ => return,
            },
        }
    }
}

//! Keeping a port open: a lost one is opened again until told to stop.

use std::future::Future;
use std::hash::{DefaultHasher, Hash as _, Hasher as _};

use tokio::io::{AsyncRead, AsyncWrite};
use tokio_serial::SerialStream;

use super::{Port, back_off, open};
use crate::{Context, State};

/// Why a session over an open port ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ending {
    /// The adapter was told to stop.
    Stopped,
    /// The port is lost (0 bytes read, or an error), and why.
    Lost(String),
}

/// What an adapter does while its port is open.
pub trait Session: Send {
    /// Serves an open port until it is lost or the adapter is told to stop.
    fn serve<S>(
        &mut self,
        stream: &mut S,
        context: &Context,
    ) -> impl Future<Output = Ending> + Send
    where
        S: AsyncRead + AsyncWrite + Unpin + Send;
}

/// What can be opened, and opened again: a serial port, a TCP address.
pub trait Opens: Sync {
    /// What it is once open.
    type Stream: AsyncRead + AsyncWrite + Unpin + Send;

    /// Its name in messages.
    fn name(&self) -> String;

    /// Opens it. The error names it and says the way out.
    fn open(&self) -> impl Future<Output = Result<Self::Stream, String>> + Send;
}

impl Opens for Port {
    type Stream = SerialStream;

    fn name(&self) -> String {
        self.path.display().to_string()
    }

    async fn open(&self) -> Result<SerialStream, String> {
        open(self).map_err(|error| error.to_string())
    }
}

/// Opens the port, serves it, and does so again whenever it is lost, until told
/// to stop. Keeps the health's state: `starting` first, `silent` while there is
/// no port, `stopped` at the end.
pub async fn keep_open<O: Opens, S: Session>(port: &O, session: &mut S, context: &Context) {
    context.health.enter(State::Starting, context.now());
    let name = port.name();
    let mut hasher = DefaultHasher::new();
    name.hash(&mut hasher);
    let seed = hasher.finish();
    let mut attempt = 0;
    while !context.stop.is_cancelled() {
        let opened = tokio::select! {
            biased;
            () = context.stop.cancelled() => break,
            opened = port.open() => opened,
        };
        match opened {
            Ok(mut stream) => {
                let before = context.health.vitals().frames_good;
                match session.serve(&mut stream, context).await {
                    Ending::Stopped => break,
                    Ending::Lost(why) => context.silent(&format!("lost {name}: {why}")),
                }
                if context.health.vitals().frames_good > before {
                    attempt = 0;
                }
            }
            Err(error) => context.silent(&error),
        }
        if context.pause(back_off(attempt, seed)).await.is_err() {
            break;
        }
        attempt = attempt.saturating_add(1);
    }
    context.health.enter(State::Stopped, context.now());
}

//! Keeping a port open: an instrument that is lost reconnects (its port is opened again) until told to stop.

use std::future::Future;
use std::hash::{DefaultHasher, Hash as _, Hasher as _};

use tokio::io::{AsyncRead, AsyncWrite};

use super::back_off;
use crate::{Context, Networks, State};

/// Where an instrument is reached, and how the way to it is opened.
pub trait Endpoint: Sync {
    /// An open way, both directions.
    type Stream: AsyncRead + AsyncWrite + Unpin + Send;

    /// Opens the way, within a few seconds, over the networks that are allowed.
    ///
    /// # Errors
    /// Why it cannot be opened, in words, with the way out.
    fn open(
        &self,
        networks: &Networks,
    ) -> impl Future<Output = Result<Self::Stream, String>> + Send;

    /// Its name in messages, such as a path or an address.
    fn name(&self) -> String;
}

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

/// Opens the port, serves it, and does so again whenever it is lost, until told
/// to stop. Keeps the health's state: `starting` first, `silent` while there is
/// no port, `stopped` at the end.
pub async fn keep_open<E: Endpoint, S: Session>(port: &E, session: &mut S, context: &Context) {
    context.health.enter(State::Starting, context.now());
    let name = port.name();
    let mut hasher = DefaultHasher::new();
    name.hash(&mut hasher);
    let seed = hasher.finish();
    let mut attempt = 0;
    loop {
        let opened = tokio::select! {
            biased;
            () = context.stop.cancelled() => break,
            opened = port.open(&context.networks) => opened,
        };
        match opened {
            Ok(mut stream) => {
                let before = context.health.vitals().frames_good;
                match session.serve(&mut stream, context).await {
                    Ending::Stopped => break,
                    Ending::Lost(why) => {
                        context.silent(&format!("lost {name}: {why}"));
                    }
                }
                if context.health.vitals().frames_good > before {
                    attempt = 0;
                }
            }
            Err(why) => context.silent(&why),
        }
        if context.pause(back_off(attempt, seed)).await.is_err() {
            break;
        }
        attempt = attempt.saturating_add(1);
    }
    context.health.enter(State::Stopped, context.now());
}

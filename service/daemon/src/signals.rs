//! The signals the service hears.

use tokio::signal::unix::{Signal, SignalKind, signal};

/// The signals the service hears.
pub struct Signals {
    pub interrupt: Signal,
    pub terminate: Signal,
    pub hang_up: Signal,
    /// A limit on the size of files: heard, so that it is answered like a full disk and does not
    /// end the process.
    _too_large: Signal,
}

impl Signals {
    /// Hears them from now on.
    pub fn new() -> std::io::Result<Signals> {
        let too_large = rustix::process::Signal::XFSZ.as_raw();
        Ok(Signals {
            interrupt: signal(SignalKind::interrupt())?,
            terminate: signal(SignalKind::terminate())?,
            hang_up: signal(SignalKind::hangup())?,
            _too_large: signal(SignalKind::from_raw(too_large))?,
        })
    }

    /// Waits until somebody wants the process to end.
    #[cfg(feature = "simulation")]
    pub async fn ended(&mut self) {
        tokio::select! {
            _ = self.interrupt.recv() => {}
            _ = self.terminate.recv() => {}
        }
    }
}

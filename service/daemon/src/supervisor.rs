//! What is said to whoever supervises the process (systemd's notify socket), if anybody does.

use std::time::Duration;

use sd_notify::NotifyState;
use trisectd::Service;

/// Tells how the service stands.
pub struct Supervisor {
    /// How often it wants to hear that all is well.
    watchdog: Option<Duration>,
}

impl Supervisor {
    /// Whoever started this process.
    pub fn of_this_process() -> Supervisor {
        Supervisor {
            // Twice as often as asked for: one late ping is no reason to be killed.
            watchdog: sd_notify::watchdog_enabled().map(|period| period / 2),
        }
    }

    /// The service serves.
    pub fn ready(&self) {
        self.say(&[NotifyState::Ready]);
    }

    /// It takes up a configuration; [`Self::ready`] says that it has.
    pub fn reloading(&self) {
        match NotifyState::monotonic_usec_now() {
            Ok(now) => self.say(&[NotifyState::Reloading, now]),
            Err(error) => tracing::warn!(%error, "the monotonic clock cannot be read"),
        }
    }

    /// It stops.
    pub fn stopping(&self) {
        self.say(&[NotifyState::Stopping]);
    }

    /// Waits until the supervisor is to be told again that all is well; for good where none asks.
    pub async fn due(&self) {
        match self.watchdog {
            Some(period) => tokio::time::sleep(period).await,
            None => std::future::pending().await,
        }
    }

    /// Tells that all is well, if it is: a service whose journal or bay hangs is not told of, and
    /// is restarted.
    pub async fn well(&self, service: &Service) {
        match service.well().await {
            Ok(()) => self.say(&[NotifyState::Watchdog]),
            Err(why) => tracing::error!(why, "not well"),
        }
    }

    fn say(&self, states: &[NotifyState<'_>]) {
        if let Err(error) = sd_notify::notify(states) {
            tracing::warn!(%error, "whoever supervises this process cannot be told how it stands");
        }
    }
}

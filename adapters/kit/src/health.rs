//! How an adapter is doing: cheap to write for every frame, cheap to read.

use std::sync::Arc;

use tokio::sync::watch;

/// What an adapter is doing.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize,
)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// Opening the port, or waiting for the first frame.
    #[default]
    Starting,
    /// Valid frames are coming in.
    Live,
    /// The port is lost or cannot be opened, or no valid frame came for a while.
    Silent,
    /// Told to stop, and stopped.
    Stopped,
}

/// A snapshot of an adapter's health. Times are nanoseconds on the bay's clock.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Vitals {
    /// What it is doing.
    pub state: State,
    /// Since when.
    pub since: i64,
    /// When the bytes of the last sample were read.
    pub last_sample: Option<i64>,
    /// Frames understood.
    pub frames_good: u64,
    /// Frames found and refused, and requests left without a usable answer.
    pub frames_bad: u64,
    /// Bytes that belonged to no frame.
    pub bytes_skipped: u64,
    /// The last thing that went wrong, in words, with the way out where one is
    /// known. It stays after things are well again.
    pub last_error: Option<String>,
    /// When that was.
    pub last_error_at: Option<i64>,
}

/// The shared health of one adapter: the adapter writes, anyone reads.
#[derive(Clone, Debug, Default)]
pub struct Health(Arc<watch::Sender<Vitals>>);

impl Health {
    /// The health of an adapter that has not done anything yet.
    pub fn new() -> Health {
        Health::default()
    }

    /// How it is now.
    pub fn vitals(&self) -> Vitals {
        self.0.borrow().clone()
    }

    /// A receiver that is woken when the state or the last error changes, not
    /// by every frame.
    pub fn watch(&self) -> watch::Receiver<Vitals> {
        self.0.subscribe()
    }

    /// Enters a state.
    pub fn enter(&self, state: State, at: i64) {
        self.0
            .send_if_modified(|vitals| set_state(vitals, state, at));
    }

    /// Counts a good frame, whose sample was read at `at`: the adapter is live.
    pub fn good(&self, at: i64) {
        self.0.send_if_modified(|vitals| {
            vitals.frames_good += 1;
            vitals.last_sample = Some(at);
            set_state(vitals, State::Live, at)
        });
    }

    /// Counts a bad frame.
    pub fn bad(&self, why: &str, at: i64) {
        self.0.send_if_modified(|vitals| {
            vitals.frames_bad += 1;
            set_error(vitals, why, at)
        });
    }

    /// Counts skipped bytes.
    pub fn skipped(&self, bytes: usize, why: &str, at: i64) {
        self.0.send_if_modified(|vitals| {
            vitals.bytes_skipped += u64::try_from(bytes).unwrap_or(u64::MAX);
            set_error(vitals, why, at)
        });
    }

    /// Counts frames and bytes that somebody else found bad and skipped.
    pub fn lost(&self, frames: u64, bytes: u64, why: &str, at: i64) {
        self.0.send_if_modified(|vitals| {
            vitals.frames_bad = vitals.frames_bad.saturating_add(frames);
            vitals.bytes_skipped = vitals.bytes_skipped.saturating_add(bytes);
            set_error(vitals, why, at)
        });
    }

    /// Notes an error that is no frame's and changes no state.
    pub fn error(&self, why: &str, at: i64) {
        self.0.send_if_modified(|vitals| set_error(vitals, why, at));
    }

    /// Notes an error and falls silent.
    pub fn silent(&self, why: &str, at: i64) {
        self.0.send_if_modified(|vitals| {
            let error = set_error(vitals, why, at);
            set_state(vitals, State::Silent, at) || error
        });
    }
}

fn set_state(vitals: &mut Vitals, state: State, at: i64) -> bool {
    if vitals.state == state {
        return false;
    }
    vitals.state = state;
    vitals.since = at;
    true
}

/// Under a flood the same words come for every frame: they are written once.
fn set_error(vitals: &mut Vitals, why: &str, at: i64) -> bool {
    vitals.last_error_at = Some(at);
    if vitals.last_error.as_deref() == Some(why) {
        return false;
    }
    vitals.last_error = Some(why.to_owned());
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_every_frame_and_wakes_only_for_news() {
        let health = Health::new();
        let mut watch = health.watch();
        health.good(5);
        assert!(watch.has_changed().is_ok_and(|changed| changed));
        watch.mark_unchanged();
        health.good(6);
        assert!(watch.has_changed().is_ok_and(|changed| !changed));
        health.bad("volts and ohms at once", 7);
        health.skipped(3, "noise", 8);
        health.silent("unplugged", 9);
        let vitals = health.vitals();
        assert_eq!(
            (vitals.frames_good, vitals.frames_bad, vitals.bytes_skipped),
            (2, 1, 3)
        );
        assert_eq!(
            (vitals.state, vitals.since, vitals.last_sample),
            (State::Silent, 9, Some(6))
        );
        assert_eq!(vitals.last_error.as_deref(), Some("unplugged"));
    }
}

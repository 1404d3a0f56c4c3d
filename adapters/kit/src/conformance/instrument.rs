//! A simulated instrument at the far end of a pseudo-terminal.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::watch;

use super::Pty;
use crate::Adapter;

/// What an adapter's tests simulate. `Send + Sync`: it runs beside the adapter.
pub trait Instrument: Send + Sync {
    /// A new adapter for this instrument on the port at `path`.
    fn adapter(&self, path: &Path) -> Box<dyn Adapter>;

    /// The name under which the adapter's errors speak of that port.
    fn port_name(&self, path: &Path) -> String {
        path.display().to_string()
    }

    /// What the instrument says by itself at turn `turn`, of which there are a
    /// hundred a second. Nothing, if it only answers.
    fn says(&self, _turn: u64) -> Vec<u8> {
        Vec::new()
    }

    /// What it answers to the bytes of a request.
    fn answers(&self, _request: &[u8]) -> Vec<u8> {
        Vec::new()
    }
}

/// How the instrument behaves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mood {
    /// As it should.
    Well,
    /// It says nothing.
    Mute,
    /// It says noise.
    Garbled,
    /// It says what it should and much more, as fast as the line takes it.
    Flooding,
}

const TURN: Duration = Duration::from_millis(10);

/// Plays the instrument until dropped or the line fails.
pub(super) async fn play(
    instrument: Arc<dyn Instrument>,
    pty: Arc<Pty>,
    mut mood: watch::Receiver<Mood>,
) {
    let mut turns = tokio::time::interval(TURN);
    let mut turn = 0;
    let mut noise = Noise(1);
    let mut request = [0; 512];
    loop {
        let now = *mood.borrow_and_update();
        let spoken = tokio::select! {
            changed = mood.changed() => match changed {
                Ok(()) => Vec::new(),
                Err(_) => return,
            },
            read = pty.read(&mut request) => match read {
                Ok(count) => match now {
                    Mood::Mute => Vec::new(),
                    Mood::Garbled => noise.bytes(64),
                    Mood::Well | Mood::Flooding => {
                        instrument.answers(request.get(..count).unwrap_or_default())
                    }
                },
                Err(_) => return,
            },
            _ = turns.tick(), if now != Mood::Flooding => {
                turn += 1;
                match now {
                    Mood::Garbled => noise.bytes(64),
                    Mood::Well => instrument.says(turn),
                    Mood::Mute | Mood::Flooding => Vec::new(),
                }
            }
            () = std::future::ready(()), if now == Mood::Flooding => {
                tokio::task::yield_now().await;
                turn += 1;
                let mut flood = instrument.says(turn).repeat(50);
                flood.extend(noise.bytes(512));
                flood
            }
        };
        // Given up when the mood changes: nobody may be taking the bytes.
        tokio::select! {
            written = pty.write_all(&spoken) => if written.is_err() { return },
            changed = mood.changed() => if changed.is_err() { return },
        }
    }
}

/// Noise that is the same in every run (xorshift, from memory).
struct Noise(u64);

impl Noise {
    fn bytes(&mut self, count: usize) -> Vec<u8> {
        (0..count)
            .map(|_| {
                self.0 ^= self.0 << 13;
                self.0 ^= self.0 >> 7;
                self.0 ^= self.0 << 17;
                self.0.to_le_bytes()[3]
            })
            .collect()
    }
}

//! The tasks behind a simulated bay: one keeps time, one each serves a
//! Modbus line.

use std::io::Write;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::sync::watch;
use tokio::time::{Instant, MissedTickBehavior, interval, sleep};

use super::state::{Kind, State};
use crate::instruments::{Available, Port, PtyMaster, read_available, request};

/// What the tasks and the bay's controls share.
pub(crate) struct Shared {
    state: Mutex<State>,
    /// Simulated seconds since the start.
    pub time: watch::Sender<f64>,
    /// Simulated seconds a second.
    pub speed: f64,
}

/// How often the machine is moved on, in real time.
const TICK: Duration = Duration::from_millis(2);
/// After a longer pause of the whole process, time is lost and not caught up with.
const LONGEST_GAP: Duration = Duration::from_secs(1);
/// A silence that ends a Modbus frame. On a real line it is 1.75 ms or more;
/// here a busy computer may part a frame further.
const FRAME_GAP: Duration = Duration::from_millis(20);
/// How often to look for a request. Looking is plain and cheap; the runtime's
/// own waiting takes a listener's hang-up as final, which a port must not.
const LISTENING: Duration = Duration::from_millis(1);
/// How often to look whether anyone has opened a line that nobody holds.
const NOBODY: Duration = Duration::from_millis(5);

impl Shared {
    pub(crate) fn new(state: State, speed: f64) -> Self {
        Shared {
            state: Mutex::new(state),
            time: watch::Sender::new(0.0),
            speed,
        }
    }

    /// The state, for a moment: never held across an await.
    pub(crate) fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Moves the machine on in step with the clock, for ever.
pub(crate) async fn keep_time(shared: Arc<Shared>) {
    let mut ticks = interval(TICK);
    ticks.set_missed_tick_behavior(MissedTickBehavior::Skip);
    let mut last = Instant::now();
    loop {
        let now = ticks.tick().await;
        let passed = now.saturating_duration_since(last).min(LONGEST_GAP);
        last = now.max(last);
        let time = {
            let mut state = shared.state();
            state.advance(passed.as_secs_f64() * shared.speed);
            state.machine.time()
        };
        shared.time.send_replace(time);
    }
}

/// Answers the requests on one line, for ever; `index` is the device's place.
pub(crate) async fn serve(shared: Arc<Shared>, port: Arc<Port>, index: usize) {
    let mut changes = port.changes();
    loop {
        changes.borrow_and_update();
        let Some(line) = port.line() else {
            if changes.changed().await.is_err() {
                return;
            }
            continue;
        };
        tokio::select! {
            _ = changes.changed() => {}
            () = converse(&shared, &line, index) => {}
        }
    }
}

/// Requests and replies on a plugged-in line, for as long as it is plugged in.
async fn converse(shared: &Shared, line: &PtyMaster, index: usize) {
    let mut received = Received::default();
    let mut chunk = [0; 256];
    loop {
        match read_available(line, &mut chunk) {
            Available::Nobody => sleep(NOBODY).await,
            Available::Nothing => sleep(LISTENING).await,
            Available::Bytes(count) => {
                for asked in received.take(&chunk[..count], Instant::now()) {
                    answer(shared, line, index, &asked).await;
                }
            }
        }
    }
}

/// Bytes of a request that is still coming.
#[derive(Default)]
struct Received {
    bytes: Vec<u8>,
    last: Option<Instant>,
}

impl Received {
    /// Takes in bytes that came at `now`, and gives the whole requests that are there now.
    fn take(&mut self, more: &[u8], now: Instant) -> Vec<Vec<u8>> {
        let gap = self
            .last
            .replace(now)
            .is_some_and(|last| now - last > FRAME_GAP);
        // Longer than any request is noise as well.
        if gap || self.bytes.len() > 256 {
            self.bytes.clear();
        }
        self.bytes.extend_from_slice(more);
        let mut requests = Vec::new();
        while let Some(length) = request(&self.bytes) {
            requests.push(self.bytes.drain(..length).collect());
        }
        requests
    }
}

async fn answer(shared: &Shared, line: &PtyMaster, index: usize, asked: &[u8]) {
    let (reply, delay) = {
        let mut state = shared.state();
        let State {
            machine, devices, ..
        } = &mut *state;
        let Some(device) = devices.get_mut(index) else {
            return;
        };
        let Kind::Transducer(transducer) = &mut device.kind else {
            return;
        };
        let reply = transducer
            .reply(machine, asked)
            .and_then(|frame| device.line_faults.transmitted(frame));
        (reply, device.line_faults.delay)
    };
    let Some(reply) = reply else { return };
    if delay > 0.0 {
        // Slow motion makes the machine slower, not the line.
        sleep(Duration::from_secs_f64(delay / shared.speed.max(1.0))).await;
    }
    if let Err(error) = (&**line).write(&reply) {
        tracing::debug!(%error, "a simulated transducer's reply was lost");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ASKED: [u8; 8] = [1, 4, 0, 0, 0, 2, 0x71, 0xCB];

    #[test]
    fn a_request_may_come_in_pieces_and_a_broken_one_is_forgotten() {
        let start = Instant::now();
        let at = |milliseconds| start + Duration::from_millis(milliseconds);
        let mut received = Received::default();
        assert!(received.take(&ASKED[..3], at(0)).is_empty());
        assert_eq!(received.take(&ASKED[3..], at(5)), [ASKED]);
        assert!(received.take(&ASKED[..4], at(10)).is_empty());
        assert_eq!(received.take(&ASKED, at(60)), [ASKED]);
        let both = [ASKED, ASKED].concat();
        assert_eq!(received.take(&both, at(61)), [ASKED, ASKED]);
    }
}

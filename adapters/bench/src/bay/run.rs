//! The tasks behind a simulated bay: one keeps time, one each serves a
//! Modbus line.

use std::io::{ErrorKind, Read, Write};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::sync::watch;
use tokio::time::{Instant, MissedTickBehavior, interval, sleep};

use super::state::{Kind, State};
use crate::instruments::{Line, Port, request};

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
/// How often to look whether anyone has opened a line that nobody holds.
const NOBODY: Duration = Duration::from_millis(5);

impl Shared {
    pub(crate) fn new(state: State, speed: f64) -> Self {
        Shared { state: Mutex::new(state), time: watch::Sender::new(0.0), speed }
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

/// Requests and replies on a plugged-in line, until it fails.
async fn converse(shared: &Shared, line: &Line, index: usize) {
    let mut buffer = Vec::new();
    let mut last = Instant::now();
    loop {
        let mut chunk = [0; 256];
        let Some(count) = read(line, &mut chunk).await else { return };
        if last.elapsed() > FRAME_GAP {
            buffer.clear();
        }
        last = Instant::now();
        buffer.extend_from_slice(&chunk[..count]);
        while let Some(length) = request(&buffer) {
            let asked: Vec<u8> = buffer.drain(..length).collect();
            answer(shared, line, index, &asked).await;
        }
        // Longer than any request: noise.
        if buffer.len() > 256 {
            buffer.clear();
        }
    }
}

/// Some bytes; none while nobody holds the other end; `None` when the line fails.
async fn read(line: &Line, chunk: &mut [u8]) -> Option<usize> {
    let mut guard = line.readable().await.ok()?;
    match guard.try_io(|line| line.get_ref().read(chunk)) {
        Err(_would_block) => Some(0),
        Ok(Ok(count)) if count > 0 => Some(count),
        Ok(Err(error)) if error.kind() == ErrorKind::Interrupted => Some(0),
        Ok(_) => {
            guard.clear_ready();
            sleep(NOBODY).await;
            Some(0)
        }
    }
}

async fn answer(shared: &Shared, line: &Line, index: usize, asked: &[u8]) {
    let (reply, delay) = {
        let mut state = shared.state();
        let State { machine, devices } = &mut *state;
        let Some(device) = devices.get_mut(index) else { return };
        let Kind::Transducer(transducer) = &mut device.kind else { return };
        let reply = transducer.reply(machine, asked).and_then(|frame| device.trouble.pass(frame));
        (reply, device.trouble.delay)
    };
    let Some(reply) = reply else { return };
    if delay > 0.0 {
        sleep(Duration::from_secs_f64(delay / shared.speed)).await;
    }
    if let Err(error) = line.get_ref().write(&reply) {
        tracing::debug!(%error, "a simulated transducer's reply was lost");
    }
}

//! Attempts to start and run a machine, as an operator would make them.

use super::{BypassCommand, Controls, Drive, Key, Machine};

/// Seconds with the key on before cranking.
const PRIME: f64 = 3.0;
/// Longest that anyone waits for the lamp, seconds.
const LAMP: f64 = 20.0;
/// Longest crank, seconds. Cranking at most 30 s at a time is the published
/// practice (TM 10-3930-671-24); an operator gives up sooner.
const LONGEST_CRANK: f64 = 12.0;
/// Above this the engine runs by itself, rpm.
const RUNS: f64 = 500.0;

/// What came of an attempt to start.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Start {
    /// Did it run by itself?
    pub started: bool,
    /// Seconds of cranking.
    pub cranked: f64,
    /// Did it die within the time watched?
    pub died: bool,
    /// Highest speed in the time watched, rpm.
    pub peak: f64,
}

impl Machine {
    /// Changes the controls in place.
    pub fn with(&mut self, change: impl FnOnce(&mut Controls)) {
        let mut controls = self.controls();
        change(&mut controls);
        self.set_controls(controls);
    }

    /// Lets time pass until `done`, at most `limit` seconds; says whether it came.
    pub fn wait_until(&mut self, limit: f64, mut done: impl FnMut(&Machine) -> bool) -> bool {
        let end = self.time() + limit;
        while self.time() < end {
            if done(self) {
                return true;
            }
            self.advance(Self::STEP * 2.0);
        }
        done(self)
    }

    /// Key off; cuts the air if that does not stop the engine; then gives the
    /// starter a rest.
    pub fn bring_to_rest(&mut self) {
        self.with(|c| {
            *c = Controls {
                drive: c.drive,
                ..Controls::default()
            };
        });
        if !self.wait_until(4.0, |m| m.rpm() < 1.0) {
            self.with(|c| c.air_open = false);
            self.wait_until(30.0, |m| m.rpm() < 1.0);
            self.with(|c| c.air_open = true);
        }
        self.advance(1.0);
    }

    /// From rest: key on, crank until it runs, and watch it for `watch` seconds at idle.
    pub(crate) fn try_start(&mut self, drive: Drive, watch: f64) -> Start {
        self.bring_to_rest();
        self.with(|c| {
            c.drive = drive;
            c.key = Key::On;
            c.bypass = BypassCommand::LowIdle;
        });
        self.advance(PRIME);
        // In the cold the lamp tells to wait.
        self.wait_until(LAMP, |m| !m.parts.heater.lamp());
        self.with(|c| c.key = Key::Crank);
        let began = self.time();
        let started = self.wait_until(LONGEST_CRANK, |m| m.rpm() > RUNS);
        let cranked = self.time() - began;
        self.with(|c| c.key = Key::On);
        let mut peak: f64 = 0.0;
        let died = started
            && self.wait_until(watch, |m| {
                peak = peak.max(m.rpm());
                m.rpm() < 100.0
            });
        Start {
            started,
            cranked,
            died,
            peak,
        }
    }

    /// Two attempts, as anyone makes: the first that runs and keeps running, else the last.
    pub(crate) fn try_start_twice(&mut self, drive: Drive, watch: f64) -> Start {
        let first = self.try_start(drive, watch);
        if first.started && !first.died {
            return first;
        }
        self.try_start(drive, watch)
    }
}

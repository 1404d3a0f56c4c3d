//! What people do in a simulated bay: controls, leads, plugs, and what they see.

use std::io;

use super::SimulatedBay;
use crate::instruments::{Corruption, PlaceError};
use trisect_machine::{ActError, Controls, Machine};

impl SimulatedBay {
    /// Simulated seconds since the bay was started.
    pub fn time(&self) -> f64 {
        *self.shared.time.borrow()
    }

    /// Lets simulated seconds pass.
    pub async fn wait(&self, seconds: f64) {
        let until = self.time() + seconds;
        // The sender lives as long as the bay, so this ends only by time passing.
        let _ = self
            .shared
            .time
            .subscribe()
            .wait_for(|&now| now >= until)
            .await;
    }

    /// Waits until `done`, at most `limit` simulated seconds; says whether it came.
    pub async fn wait_until(&self, limit: f64, mut done: impl FnMut(&Machine) -> bool) -> bool {
        let until = self.time() + limit;
        let mut time = self.shared.time.subscribe();
        loop {
            if done(&self.shared.state().machine) {
                return true;
            }
            let now = *time.borrow_and_update();
            if now >= until || time.changed().await.is_err() {
                return false;
            }
        }
    }

    /// Changes the machine's controls in place: key, drive, pedal, air.
    pub fn control(&self, change: impl FnOnce(&mut Controls)) {
        self.shared.state().machine.with(change);
    }

    /// Brings the battery back to what it was at first, as a charger does.
    pub fn charge_battery(&self) {
        self.shared.state().machine.charge_battery();
    }

    /// Puts an instrument's input on a test point; a multimeter is switched to
    /// the point's function with it.
    ///
    /// # Errors
    /// When there is no such instrument, input or point, or it does not measure what is there.
    pub fn place(&self, instrument: &str, input: u16, point: &str) -> Result<(), PlaceError> {
        self.shared.state().place(instrument, input, Some(point))
    }

    /// Takes an instrument's input off.
    ///
    /// # Errors
    /// When there is no such instrument or input.
    pub fn take_off(&self, instrument: &str, input: u16) -> Result<(), PlaceError> {
        self.shared.state().place(instrument, input, None)
    }

    /// The true value at a test point, SI; `None` for an unknown point.
    pub fn true_value(&self, point: &str) -> Option<f64> {
        self.shared.state().machine.measure(point)
    }

    /// The machine as it is now, to look at or to try things on.
    pub fn machine(&self) -> Machine {
        self.shared.state().machine.clone()
    }

    /// The answer a technician would give to an asked check, found on a copy
    /// of the machine while the bay runs on; see [`Machine::observe`].
    ///
    /// # Errors
    /// When there is no such check, or it cannot be carried out on this machine.
    pub async fn observe(&self, check: &str) -> Result<&'static str, ActError> {
        let (machine, asked) = (self.machine(), check.to_owned());
        let act = tokio::task::spawn_blocking(move || machine.observe(&asked));
        // Only a runtime that is shutting down drops the act.
        let why = "the bay is being closed";
        act.await
            .unwrap_or(Err(ActError::NotPossible { check: "any", why }))
    }

    /// What the operator would complain of; see [`Machine::complaint`].
    pub async fn complaint(&self) -> Option<&'static str> {
        let machine = self.machine();
        tokio::task::spawn_blocking(move || machine.complaint())
            .await
            .ok()
            .flatten()
    }

    /// Pulls an instrument's plug: its reader sees the end of the line.
    ///
    /// # Errors
    /// When there is no such instrument.
    pub fn unplug(&self, instrument: &str) -> Result<(), PlaceError> {
        self.shared.state().device(instrument)?.port.unplug();
        Ok(())
    }

    /// Plugs an instrument in again, behind the same path.
    ///
    /// # Errors
    /// When there is no such instrument, or no new line can be opened.
    pub fn replug(&self, instrument: &str) -> io::Result<()> {
        let mut state = self.shared.state();
        let device = state
            .device(instrument)
            .map_err(|error| io::Error::new(io::ErrorKind::NotFound, error))?;
        device.port.plug()
    }

    /// Spoils the next `frames` frames of an instrument.
    ///
    /// # Errors
    /// When there is no such instrument.
    pub fn corrupt(
        &self,
        instrument: &str,
        how: Corruption,
        frames: u32,
    ) -> Result<(), PlaceError> {
        self.shared
            .state()
            .device(instrument)?
            .line_faults
            .corrupt(how, frames);
        Ok(())
    }

    /// Makes an instrument say nothing, or speak again.
    ///
    /// # Errors
    /// When there is no such instrument.
    pub fn silence(&self, instrument: &str, silent: bool) -> Result<(), PlaceError> {
        self.shared.state().device(instrument)?.line_faults.silent = silent;
        Ok(())
    }

    /// Makes everything an instrument says come late by so many simulated seconds.
    ///
    /// # Errors
    /// When there is no such instrument.
    pub fn delay(&self, instrument: &str, seconds: f64) -> Result<(), PlaceError> {
        let seconds = if seconds.is_finite() {
            seconds.clamp(0.0, 3600.0)
        } else {
            0.0
        };
        self.shared.state().device(instrument)?.line_faults.delay = seconds;
        Ok(())
    }
}

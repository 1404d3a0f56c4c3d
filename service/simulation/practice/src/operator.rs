//! Who works the simulated machine: turns the key, presses the pedal, and says the phase to the service.

use trisect_simulated::bay::SimulatedBay;
use trisect_technician::{Control, Phase, Step, runs, stands};
use trisect_wire::ErrorKind;
use trisect_wire::table::PhaseSay;
use trisect_wire::types::{Drive, PhaseSayParams};

use crate::connection::{CallError, Service};
use crate::steps::said_phase;

/// Somebody at a machine.
#[derive(Clone, Copy)]
pub(crate) struct Operator<'a> {
    pub(crate) service: &'a Service,
    pub(crate) simulated: &'a SimulatedBay,
    /// The bay, as the service calls it.
    pub(crate) bay: &'a str,
}

impl Operator<'_> {
    /// Does these steps in order; false if they ended early, as the engine does not start.
    pub(crate) async fn carry_out(&self, steps: &[Step]) -> Result<bool, CallError> {
        for step in steps {
            if !self.step(step).await? {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// Does one step; false if the list ends here. What belongs to a test of a job alone is not done.
    pub(crate) async fn step(&self, step: &Step) -> Result<bool, CallError> {
        match step {
            Step::Operate(control) => self.simulated.control(|c| control.apply(c)),
            Step::ChargeBattery => self.simulated.charge_battery(),
            Step::Start { within } => return Ok(self.start(*within).await),
            Step::Wait(seconds) => self.simulated.wait(*seconds).await,
            Step::WaitUntilStill { within } => {
                self.simulated.wait_until(*within, stands).await;
            }
            Step::CutAirIfTurning => {
                if !self.simulated.wait_until(0.0, stands).await {
                    self.simulated.control(|c| Control::Air(false).apply(c));
                }
            }
            Step::SayPhase(phase) => self.say(Some(*phase), None).await?,
            Step::SayOffUnlessRunning => {
                if !self.simulated.wait_until(0.0, runs).await {
                    self.say(Some(Phase::Off), None).await?;
                }
            }
            Step::Connect(_)
            | Step::MoveLeads { .. }
            | Step::SayLeads
            | Step::LiftLeads
            | Step::EnterAmbientTemperature
            | Step::BeginReading
            | Step::WriteDown
            | Step::AwaitFinding { .. }
            | Step::Ask => {}
        }
        Ok(true)
    }

    /// Cranks until the engine runs, and lets the key back; whether it runs.
    async fn start(&self, within: f64) -> bool {
        let key = |key| self.simulated.control(|c| Control::Key(key).apply(c));
        key(trisect_machine::Key::Crank);
        let started = self.simulated.wait_until(within, runs).await;
        key(trisect_machine::Key::On);
        started
    }

    /// Says what no instrument shows. Without an open job there is nobody to be told.
    pub(crate) async fn say(
        &self,
        phase: Option<Phase>,
        drive: Option<Drive>,
    ) -> Result<(), CallError> {
        let params = PhaseSayParams {
            bay: self.bay.to_owned(),
            phase: phase.map(said_phase),
            drive,
        };
        let said = self
            .service
            .call::<PhaseSay>("cannot say the phase", &params);
        match said.await {
            Err(error) if error.refusal() == Some(ErrorKind::NoOpenJob) => Ok(()),
            said => said.map(drop),
        }
    }
}

//! A simulated bay for as long as something is done with it.

use tempfile::TempDir;
use trisect_machine::Fault;
use trisect_simulated::bay::{Options, SimulatedBay};

use crate::PracticeError;

/// Which machine it is, and how it runs.
pub(crate) struct Simulation<'a> {
    /// Its healthy spread and all chance follow from this.
    pub(crate) seed: u64,
    /// How many times as fast as the world it runs.
    pub(crate) speed: f64,
    /// What is wrong with the machine.
    pub(crate) faults: &'a [Fault],
    /// How its instruments speak.
    pub(crate) options: Options,
}

impl Simulation<'_> {
    /// Starts the bay, does something with it, and stops it.
    ///
    /// # Errors
    /// When it cannot be started; what is done with it.
    pub(crate) async fn run<T>(
        self,
        work: impl AsyncFnOnce(&SimulatedBay) -> Result<T, PracticeError>,
    ) -> Result<T, PracticeError> {
        let directory = TempDir::with_prefix("trisect-simulated-")?;
        let lines = directory.path();
        let (seed, speed) = (self.seed, self.speed);
        let simulated = SimulatedBay::start(lines, seed, self.faults, speed, self.options).await?;
        let worked = work(&simulated).await;
        simulated.stop().await;
        if let Err(error) = directory.close() {
            tracing::warn!(%error, "the directory of the simulated instruments could not be removed");
        }
        worked
    }
}

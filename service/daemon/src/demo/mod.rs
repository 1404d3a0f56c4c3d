//! The demo: a simulated bay, and a technician who follows the service's advice.

/// What the demo is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct Wishes {
    /// The fault to put into the machine; two joined by `+`.
    #[arg(long, value_name = "SUSPECT", default_value = "lift-pump-weak")]
    pub fault: String,
    /// How many times as fast as the world the bay runs.
    #[arg(long, value_name = "N", default_value_t = 10.0)]
    pub speed: f64,
}

/// Why the demo ended before its verdict.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {}

/// Runs the demo.
///
/// # Errors
/// When it cannot come to its verdict.
pub async fn run(_wishes: Wishes) -> Result<(), DemoError> {
    Ok(())
}

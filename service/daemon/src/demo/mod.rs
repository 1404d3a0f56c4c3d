//! The demo: a simulated bay whose instruments speak real protocols on
//! pseudo-terminals, the service reading them, and a simulated technician who
//! follows the service's own advice over JSON-RPC. Nothing is scripted to a
//! result: what is said at the end comes from bytes through the whole way.

mod hands;
mod job;
mod say;
pub(crate) mod stage;

use std::path::PathBuf;

use trisect_wire::client::ClientError;
use trisect_simulated::bay::BayError;
use trisect_simulated::instruments::PlaceError;
use trisect_machine::{Fault, FaultError};

use crate::StartError;
use stage::Stage;

/// What the demo is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct Wishes {
    /// The fault in the machine, by its suspect's id; several joined by `+`,
    /// `none` for a healthy one.
    #[arg(long, value_name = "SUSPECT", default_value = "lift-pump-weak")]
    pub fault: String,
    /// How many times as fast as the world the bay runs.
    #[arg(
        long,
        value_name = "N",
        default_value_t = 5.0,
        allow_negative_numbers = true
    )]
    pub speed: f64,
    /// Which machine: its healthy spread and all chance follow from this.
    #[arg(
        long,
        value_name = "N",
        default_value_t = 15,
        allow_negative_numbers = true
    )]
    pub seed: u64,
    /// Keep the journal in this file instead of throwing it away.
    #[arg(long, value_name = "FILE")]
    pub journal: Option<PathBuf>,
}

/// Why the demo ended before its verdict.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// The fault is none.
    #[error(transparent)]
    Fault(#[from] FaultError),
    /// The simulated bay could not be opened.
    #[error(transparent)]
    Bay(#[from] BayError),
    /// No directory for the demo's files.
    #[error("cannot make a directory for the demo's files")]
    Directory(#[from] std::io::Error),
    /// The service could not start.
    #[error(transparent)]
    Start(#[from] StartError),
    /// The service refused a call, or was lost.
    #[error("{doing}")]
    Call {
        /// What the technician wanted.
        doing: &'static str,
        /// What came of it.
        source: ClientError,
    },
    /// A lead could not be put where the advice says.
    #[error("cannot put a lead in the simulated bay")]
    Lead(#[from] PlaceError),
    /// The bay has no instrument for what the advice wants measured.
    #[error("the simulated bay has no instrument for {0}")]
    NoInstrument(String),
}

impl DemoError {
    /// Whether what was asked for is at fault.
    pub fn is_wish(&self) -> bool {
        matches!(
            self,
            DemoError::Fault(_) | DemoError::Bay(BayError::Speed { .. })
        )
    }
}

/// Runs the demo and prints every step of it.
///
/// # Errors
/// When it cannot come to a verdict.
pub async fn run(wishes: Wishes) -> Result<(), DemoError> {
    let faults = Fault::parse_lists(std::slice::from_ref(&wishes.fault))?;
    let stage = Stage::set(&wishes, &faults).await?;
    let done = job::work(&stage, &faults).await;
    stage.strike().await;
    let last = done?;
    println!("{last}");
    Ok(())
}

//! The demo: a simulated bay whose instruments speak real protocols on
//! pseudo-terminals, the service reading them, and a simulated technician who
//! follows the service's own advice over JSON-RPC. Nothing is scripted to a
//! result: what is said at the end comes from bytes through the whole way.

mod job;
mod output;
mod technician;

use std::net::SocketAddr;
use std::path::PathBuf;

use trisect_machine::{Fault, FaultError};
use trisect_simulated::bay::{Options, SimulatedBay};

use crate::PracticeError;
use crate::connection::Service;
use crate::instruments::attach;
use crate::operator::Operator;
use crate::simulation::Simulation;

/// The bay of the invented depot that the service has to have, with nothing attached.
pub const BAY: &str = "bay-2";
/// What it is called on the wall.
pub const BAY_TITLE: &str = "Northmoor Roads Depot, bay 2";
/// The rule set that the job is judged by.
pub const RULESET: &str = "distributor-pump-12v";

/// What the demo is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct DemoOptions {
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

/// Finds what is wrong with the options before a service is started for them.
///
/// # Errors
/// A fault that there is none of, or a speed that makes no sense.
pub fn check(options: &DemoOptions) -> Result<(), PracticeError> {
    faults(options)?;
    Ok(SimulatedBay::check_speed(options.speed)?)
}

fn faults(options: &DemoOptions) -> Result<Vec<Fault>, FaultError> {
    Fault::parse_lists(std::slice::from_ref(&options.fault))
}

/// Works a job at the service of this address, whose clock runs at the options' speed and which
/// has the bay [`BAY`]; prints every step of it. The last line, which is the caller's to print
/// once the service has stopped.
///
/// # Errors
/// When it cannot come to a verdict.
pub async fn run(options: &DemoOptions, address: SocketAddr) -> Result<String, PracticeError> {
    let faults = faults(options)?;
    let simulation = Simulation {
        seed: options.seed,
        speed: options.speed,
        faults: &faults,
        options: Options::default(),
    };
    simulation
        .run(async |simulated| work(simulated, &faults, options.speed, address).await)
        .await
}

async fn work(
    simulated: &SimulatedBay,
    faults: &[Fault],
    speed: f64,
    address: SocketAddr,
) -> Result<String, PracticeError> {
    let service = Service::connect(address).await?;
    attach(&service, BAY, simulated, speed).await?;
    let operator = Operator {
        service: &service,
        simulated,
        bay: BAY,
    };
    job::work(operator, faults, address).await
}

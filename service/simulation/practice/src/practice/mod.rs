//! A practice bay for whoever builds a front end: a simulated machine and its instruments on pseudo-terminals,
//! attached to a bay of the service, and nothing real.
//!
//! What is done at a real machine is done here to the simulated one: [`engine`] turns the key, in a round or as is
//! typed at the [`console`], and [`follow`] does what the front end says (a probe placed, a drive connected). The
//! service itself is the one that serves a real bay: it knows of none of this.

mod banner;
mod console;
mod engine;
mod follow;
mod job;

use std::future::Future;
use std::io::Write as _;
use std::net::SocketAddr;
use std::path::PathBuf;

use tokio::sync::watch;
use trisect_machine::Fault;
use trisect_simulated::bay::{Options, SimulatedBay};

use crate::PracticeError;
use crate::connection::Service;
use crate::instruments::attach;
use crate::operator::Operator;
use crate::simulation::Simulation;

/// Where the leads are at first.
const LEADS: [(&str, &str); 6] = [
    ("meter-1", "battery"),
    ("meter-2", "accelerator-signal"),
    ("gauge-1", "pump-inlet-pressure"),
    ("gauge-2", "filter-inlet-pressure"),
    ("tachometer", "engine-speed"),
    ("thermometer", "fuel-temperature"),
];

/// What the practice bay is asked for. Where the service listens, what it is configured by, where it keeps its
/// journal, what it logs and which origins it trusts is the caller's to see to: he starts the service.
#[derive(Clone, Debug, clap::Args)]
pub struct PracticeOptions {
    /// A fault in the machine, by its suspect's id, with a degree from 0 to 1 where another than the usual one is
    /// wanted; may be repeated. A healthy machine if left out, or with `none`.
    #[arg(long, value_name = "SUSPECT[:DEGREE]")]
    pub fault: Vec<String>,
    /// Address and port to listen on.
    #[arg(long, value_name = "ADDRESS")]
    pub listen: Option<String>,
    /// Which machine: its healthy spread and all chance follow from this.
    #[arg(
        long,
        value_name = "N",
        default_value_t = 15,
        allow_negative_numbers = true
    )]
    pub seed: u64,
    /// How many times as fast as the world the bay runs.
    #[arg(
        long,
        value_name = "N",
        default_value_t = 1.0,
        allow_negative_numbers = true
    )]
    pub speed: f64,
    /// Configuration file (TOML), as of `serve`: its first bay gets the simulated instruments besides its own.
    #[arg(long, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// Keep the journal in this file; thrown away unless this or the configuration names one.
    #[arg(long, value_name = "FILE")]
    pub journal: Option<PathBuf>,
    /// A web origin that may call, such as a front end's own server at http://localhost:5173; may be repeated.
    #[arg(long, value_name = "ORIGIN")]
    pub origin: Vec<String>,
    /// Leave it to the front end to open a job and to place the probes.
    #[arg(long)]
    pub no_job: bool,
    /// What to log, such as `info` or `trisectd=debug`.
    #[arg(long, value_name = "FILTER")]
    pub log: Option<String>,
}

/// Finds what is wrong with the options before a service is started for them.
///
/// # Errors
/// A fault that there is none of, or a speed that makes no sense.
pub fn check(options: &PracticeOptions) -> Result<(), PracticeError> {
    Fault::parse_lists(&options.fault)?;
    Ok(SimulatedBay::check_speed(options.speed)?)
}

/// Runs the practice bay in the first bay of the service of this address, whose clock runs at the options' speed,
/// until `ending` comes, or `quit` is typed. `tls` is said where the service listens there as well.
///
/// # Errors
/// When it cannot be set up, or the service is lost.
pub async fn run(
    options: &PracticeOptions,
    address: SocketAddr,
    tls: Option<SocketAddr>,
    ending: impl Future<Output = ()>,
) -> Result<(), PracticeError> {
    let faults = Fault::parse_lists(&options.fault)?;
    let simulation = Simulation {
        seed: options.seed,
        speed: options.speed,
        faults: &faults,
        options: Options {
            // Waiting for a lost reply takes its time by the clock.
            lossy: options.speed <= 1.0,
            ..Options::default()
        },
    };
    simulation
        .run(async |simulated| serve(options, simulated, &faults, (address, tls), ending).await)
        .await
}

async fn serve(
    options: &PracticeOptions,
    simulated: &SimulatedBay,
    faults: &[Fault],
    (address, tls): (SocketAddr, Option<SocketAddr>),
    ending: impl Future<Output = ()>,
) -> Result<(), PracticeError> {
    let service = Service::connect(address).await?;
    let (bay, open) = job::first_bay(&service).await?;
    for (instrument, point) in LEADS {
        simulated.place(instrument, 0, point)?;
    }
    attach(&service, &bay, simulated, options.speed).await?;
    let operator = Operator {
        service: &service,
        simulated,
        bay: &bay,
    };
    let job = match open {
        Some(job) => Some(job::go_on(operator, job).await?),
        None if options.no_job => None,
        None => Some(job::open(operator).await?),
    };
    banner::tell(operator, address, tls, job.as_ref(), faults);
    let (tasks, wanted) = watch::channel(engine::Task::Round);
    tokio::select! {
        () = ending => Ok(()),
        () = engine::work(operator, wanted) => Ok(()),
        followed = follow::follow(operator) => Ok(followed?),
        () = console::listen(simulated, &tasks) => Ok(()),
    }
}

/// Prints a line on standard output. If nobody reads it any more, the bay goes on.
fn print(text: &str) {
    let _ = writeln!(std::io::stdout(), "{text}");
}

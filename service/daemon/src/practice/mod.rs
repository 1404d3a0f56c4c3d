//! A practice bay for whoever builds a front end: the service, with a simulated machine and its instruments on
//! pseudo-terminals in one of its bays, and nothing real attached.
//!
//! What a technician does at a real machine is done here by [`hands`]: the key is turned in a round or as is typed,
//! and whatever the front end says (a probe placed, a drive connected) is done to the simulated machine. The
//! service itself is the one that serves a real bay: it knows of none of this.

mod console;
mod hands;
mod offer;

use std::future::Future;
use std::io::Write as _;
use std::path::PathBuf;

use tempfile::TempDir;
use tokio::sync::watch;
use trisect_wire::WireError;
use trisect_wire::types::{JobOpenParams, ProbePlaceParams};
use trisect_simulated::bay::{BayError, Options, SimulatedBay};
use trisect_simulated::instruments::PlaceError;
use trisect_machine::{Fault, FaultError};

use crate::bay::BayHandle;
use crate::config::{self, ConfigError, Flags, Settings};
use crate::demo::stage::attached;
use crate::{Service, StartError, log};

/// Where the leads are at first.
const LEADS: [(&str, &str); 6] = [
    ("meter-1", "battery"),
    ("meter-2", "accelerator-signal"),
    ("gauge-1", "pump-inlet-pressure"),
    ("gauge-2", "filter-inlet-pressure"),
    ("tachometer", "engine-speed"),
    ("thermometer", "fuel-temperature"),
];

/// What the practice bay is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct Wishes {
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

/// Why there is no practice bay, or no more.
#[derive(Debug, thiserror::Error)]
pub enum PracticeError {
    /// A fault is none.
    #[error(transparent)]
    Fault(#[from] FaultError),
    /// An origin that no page has.
    #[error("reading the origin `{origin}`: {what}")]
    Origin {
        /// What was asked for.
        origin: String,
        /// What is wrong, and how to mend it.
        what: String,
    },
    /// The configuration cannot be used.
    #[error(transparent)]
    Config(#[from] ConfigError),
    /// The simulated bay could not be opened.
    #[error(transparent)]
    Bay(#[from] BayError),
    /// No directory for its files.
    #[error("cannot make a directory for the simulated instruments' lines")]
    Directory(#[from] std::io::Error),
    /// The service could not start.
    #[error(transparent)]
    Start(#[from] StartError),
    /// The connections could not go on.
    #[error(transparent)]
    Ended(#[from] crate::transport::TransportError),
    /// The bay refused what it is set up by.
    #[error("cannot {doing}: {source}")]
    SetUp {
        /// What was wanted.
        doing: &'static str,
        /// Why not.
        source: Box<WireError>,
    },
    /// A lead could not be put where it is at first.
    #[error("cannot put a lead in the simulated bay")]
    Lead(#[from] PlaceError),
}

impl PracticeError {
    /// Whether what was asked for is at fault.
    pub fn is_wish(&self) -> bool {
        matches!(
            self,
            PracticeError::Fault(_)
                | PracticeError::Origin { .. }
                | PracticeError::Config(_)
                | PracticeError::Bay(BayError::Speed { .. })
        )
    }
}

/// Runs the practice bay until `ending` comes, or `quit` is typed.
///
/// # Errors
/// When it cannot be set up, or the service fails.
pub async fn run(wishes: Wishes, ending: impl Future<Output = ()>) -> Result<(), PracticeError> {
    let faults = Fault::parse_lists(&wishes.fault)?;
    for origin in &wishes.origin {
        config::origin(origin).map_err(|what| PracticeError::Origin {
            origin: origin.clone(),
            what,
        })?;
    }
    let directory = TempDir::with_prefix("trisect-simulated-")?;
    let mut settings = config::load(&flags(&wishes, &directory))?;
    log::start(&settings.log)?;
    let (lines, speed) = (directory.path(), wishes.speed);
    let options = Options {
        // Waiting for a lost reply takes its time by the clock.
        lossy: speed <= 1.0,
        ..Options::default()
    };
    let machine = SimulatedBay::start(lines, wishes.seed, &faults, speed, options).await?;
    furnish(&mut settings, &machine, &wishes)?;
    let name = settings.bays[0].bay.clone();
    let mut service = Service::start_at_speed(settings, speed).await?;
    // It was just started with a bay of that name.
    let refused = |doing| {
        move |source| PracticeError::SetUp {
            doing,
            source: Box::new(source),
        }
    };
    let bay = service.floor.hall.bay(&name);
    let bay = bay.map_err(refused("find the bay"))?;
    for (instrument, point) in LEADS {
        machine.place(instrument, 0, point)?;
    }
    if !wishes.no_job {
        open_job(&bay, &machine)
            .await
            .map_err(refused("open a job"))?;
    }
    offer::tell(&service, &bay, &machine, &faults).await;
    let (wanted, wants) = watch::channel(hands::Wanted::Round);
    let ended = tokio::select! {
        () = ending => Ok(()),
        () = hands::turn_the_key(&machine, &bay, wants) => Ok(()),
        () = hands::follow(&machine, &bay) => Ok(()),
        () = console::listen(&machine, &wanted) => Ok(()),
        ended = service.ended() => ended,
    };
    service.stop().await;
    machine.stop().await;
    if let Err(error) = directory.close() {
        tracing::warn!(%error, "the directory of the simulated instruments could not be removed");
    }
    Ok(ended?)
}

/// Says a line on standard output. If nobody reads it any more, the bay goes on.
fn say(text: &str) {
    let _ = writeln!(std::io::stdout(), "{text}");
}

/// The command line as flags of `serve`.
fn flags(wishes: &Wishes, directory: &TempDir) -> Flags {
    let alone = wishes.config.is_none();
    let thrown_away = || alone.then(|| directory.path().join("practice.db"));
    Flags {
        file: wishes.config.clone(),
        listen: wishes.listen.clone(),
        journal: wishes.journal.clone().or_else(thrown_away),
        log: wishes
            .log
            .clone()
            .or_else(|| alone.then(|| "warn".to_owned())),
        loopback: alone.then(|| "manage".to_owned()),
    }
}

/// Puts the simulated instruments into the first bay.
fn furnish(
    settings: &mut Settings,
    machine: &SimulatedBay,
    wishes: &Wishes,
) -> Result<(), ConfigError> {
    let simulated = machine
        .instruments()
        .iter()
        .map(|one| attached(one, wishes.speed));
    // Settings that were checked have a bay.
    if let Some(bay) = settings.bays.first_mut() {
        bay.instruments.extend(simulated);
    }
    settings.origins.extend(wishes.origin.iter().cloned());
    settings.check()
}

/// Opens a job of what an operator would complain of, with the probes where the leads are; a job that is open
/// already goes on as it is.
async fn open_job(bay: &BayHandle, machine: &SimulatedBay) -> Result<(), WireError> {
    let complaint = machine.complaint().await.map(str::to_owned);
    let opening = JobOpenParams {
        bay: bay.name().to_owned(),
        machine: "practice machine".to_owned(),
        complaint,
        ruleset: None,
        by: Some("trisectd bench".to_owned()),
    };
    bay.ask(move |bay| {
        Box::pin(async move {
            if bay.job.is_some() {
                return Ok(());
            }
            bay.open(opening).await?;
            for (instrument, point) in LEADS {
                let probe = ProbePlaceParams {
                    bay: bay.name.clone(),
                    instrument: instrument.to_owned(),
                    channel: "0".to_owned(),
                    point: point.to_owned(),
                };
                bay.place(probe).await?;
            }
            Ok(())
        })
    })
    .await
}

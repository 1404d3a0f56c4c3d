//! The whole service, put together from its settings.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use tokio::net::TcpListener;
use tokio::sync::{Mutex, Semaphore};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use trisect_api::serve::Publisher;
use trisect_api::wire::InstrumentAttachParams;
use trisect_api::{ErrorKind, WireError};
use trisect_journal::{JobFilter, JobState, Journal, JournalError, Outbox, SqliteJournal};
use trisect_kit::ports::back_off_between;

use crate::bay::{Attaching, Barometer, BayHandle, BayParts, News};
use crate::catalog::{Catalog, CatalogError, Origin, compile};
use crate::clock::BayClock;
use crate::config::{BaySettings, Settings, WebhookSettings};
use crate::instruments::Plugins;
use crate::rpc::{self, Hall};
use crate::transport::{self, TransportError, TransportSettings};
use crate::webhooks::{Office, Webhook};

/// Examinations, proofs and trials at once.
const DESKS: usize = 2;

/// Why the service could not start.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// The address cannot be listened on.
    #[error(
        "cannot listen on {listen}: is another service there? Choose another port with --listen"
    )]
    Listen {
        /// The address.
        listen: SocketAddr,
        /// What the system said.
        source: std::io::Error,
    },
    /// The journal cannot be opened.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// A rule set cannot be used.
    #[error(transparent)]
    Catalog(#[from] CatalogError),
    /// A bay's default rule set is not there.
    #[error(
        "bay {bay} uses the rule set `{ruleset}`, which is not there: name its file in `rulesets`"
    )]
    NoRuleSet {
        /// The bay.
        bay: String,
        /// The rule set.
        ruleset: String,
    },
    /// The configured barometric pressure is none.
    #[error("bay {bay}, `barometer`: {why}")]
    Barometer {
        /// The bay.
        bay: String,
        /// What is wrong with it.
        why: String,
    },
    /// A webhook cannot be set up.
    #[error("webhook {webhook}: {why}")]
    Webhook {
        /// The webhook.
        webhook: String,
        /// What is wrong with it.
        why: String,
    },
    /// An instrument or the open job of a bay cannot be set up.
    #[error("bay {bay}: {source}")]
    Bay {
        /// The bay.
        bay: String,
        /// Why.
        source: Box<WireError>,
    },
}

/// A running service.
pub struct Service {
    address: SocketAddr,
    stop: CancellationToken,
    bays_stop: CancellationToken,
    serving: JoinHandle<Result<(), TransportError>>,
    tracker: TaskTracker,
}

impl Service {
    /// Opens the journal, starts the bays with their instruments, and serves.
    ///
    /// # Errors
    /// Whatever of it cannot be done, with the way out.
    pub async fn start(settings: Settings) -> Result<Service, StartError> {
        Service::start_at_speed(settings, 1.0).await
    }

    /// The same, with the bays' clocks running `speed` times as fast as the
    /// world: for a simulated bay.
    ///
    /// # Errors
    /// As [`Service::start`].
    pub async fn start_at_speed(settings: Settings, speed: f64) -> Result<Service, StartError> {
        let listen = settings.listen;
        let listener = TcpListener::bind(listen)
            .await
            .map_err(|source| StartError::Listen { listen, source })?;
        let address = listener
            .local_addr()
            .map_err(|source| StartError::Listen { listen, source })?;
        let catalog = Arc::new(Catalog::load(&settings.rulesets)?);
        let sqlite = Arc::new(SqliteJournal::open(&settings.journal)?);
        let outbox: Arc<dyn Outbox> = Arc::clone(&sqlite) as _;
        let journal: Arc<dyn Journal> = sqlite;
        let office = Office::open(webhooks(&settings.webhooks)?, outbox).await?;
        install_kept(&catalog, &*journal).await?;
        let clock = BayClock::start(speed);
        let all_instruments = Publisher::new(256);
        let (tracker, bays_stop) = (TaskTracker::new(), CancellationToken::new());
        let rooms = Rooms {
            plugins: Plugins::new(&settings.plugins),
            tracker: tracker.clone(),
            stop: bays_stop.clone(),
        };
        office.start(&all_instruments, &tracker, &bays_stop);
        let mut bays = Vec::new();
        for bay in &settings.bays {
            let parts = BayParts {
                name: bay.bay.clone(),
                title: bay.title.clone().unwrap_or_else(|| bay.bay.clone()),
                ruleset: bay.ruleset.clone(),
                barometer: barometer(bay)?,
                clock,
                catalog: Arc::clone(&catalog),
                journal: Arc::clone(&journal),
                news: News::new(all_instruments.clone()),
            };
            if catalog.get(&bay.ruleset).is_none() {
                let (bay, ruleset) = (bay.bay.clone(), bay.ruleset.clone());
                return Err(StartError::NoRuleSet { bay, ruleset });
            }
            let handle = BayHandle::start(parts, &tracker, bays_stop.clone());
            set_up(&handle, bay, &*journal, &rooms).await?;
            bays.push(handle);
        }
        let hall = Hall {
            bays,
            catalog,
            journal: Arc::clone(&journal),
            all_instruments,
            started: clock.wall(0).to_string(),
            clock,
            plugins: rooms.plugins,
            office,
            installing: Mutex::new(()),
            desks: Arc::new(Semaphore::new(DESKS)),
        };
        let stop = CancellationToken::new();
        let transport = TransportSettings {
            host_names: settings.host_names,
            origins: settings.origins,
            ..TransportSettings::default()
        };
        let routes = crate::health::route(journal).merge(crate::schema::routes());
        let serving = tokio::spawn(transport::serve(
            listener,
            rpc::module(hall),
            routes,
            transport,
            stop.clone(),
        ));
        tracing::info!(%address, "serving");
        Ok(Service {
            address,
            stop,
            bays_stop,
            serving,
            tracker,
        })
    }

    /// Where it listens.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Runs until the transport ends, which is when it fails or is stopped.
    ///
    /// # Errors
    /// When connections can no longer be accepted.
    pub async fn ended(&mut self) -> Result<(), TransportError> {
        // A panic of the task is a defect; it ends the service like a failure.
        (&mut self.serving).await.unwrap_or_else(|join| {
            tracing::error!(%join, "the transport panicked");
            Ok(())
        })
    }

    /// Stops gracefully: running calls are answered, what the bays have in hand
    /// is kept, instruments are closed.
    pub async fn stop(mut self) {
        self.stop.cancel();
        if !self.serving.is_finished() {
            // How it ended was logged, and does not matter any more.
            let _ = self.ended().await;
        }
        self.bays_stop.cancel();
        self.tracker.close();
        self.tracker.wait().await;
        tracing::info!("stopped");
    }
}

/// The configured webhooks.
fn webhooks(settings: &[WebhookSettings]) -> Result<Vec<Webhook>, StartError> {
    let made = settings.iter().map(|one| {
        Webhook::new(one).map_err(|why| StartError::Webhook {
            webhook: one.webhook.clone(),
            why,
        })
    });
    made.collect()
}

/// What every bay is set up with.
struct Rooms {
    plugins: Plugins,
    tracker: TaskTracker,
    stop: CancellationToken,
}

impl Rooms {
    /// Attaches an instrument as soon as its plugin describes itself.
    fn attach_later(&self, handle: &BayHandle, params: InstrumentAttachParams, why: WireError) {
        let (handle, plugins, stop) = (handle.clone(), self.plugins.clone(), self.stop.clone());
        tracing::error!(bay = params.bay, instrument = params.instrument, %why, "a plugin failed; it is tried again");
        self.tracker.spawn(async move {
            let trying = try_to_attach(&handle, params, &plugins);
            tokio::select! {
                () = stop.cancelled() => {}
                () = trying => {}
            }
        });
    }
}

/// The waits between attempts: the first, and the longest.
const FIRST: Duration = Duration::from_secs(1);
const LONGEST: Duration = Duration::from_secs(60);

async fn try_to_attach(handle: &BayHandle, params: InstrumentAttachParams, plugins: &Plugins) {
    for attempt in 0.. {
        tokio::time::sleep(back_off_between(
            attempt,
            u64::from(std::process::id()),
            FIRST,
            LONGEST,
        ))
        .await;
        match Attaching::prepare(params.clone(), plugins).await {
            Ok(attaching) => {
                // Refused only if somebody attached one of this name meanwhile.
                let attached = handle.ask(move |bay| Box::pin(bay.attach(attaching))).await;
                match attached {
                    Ok(shown) => {
                        tracing::info!(bay = shown.bay, instrument = shown.instrument, "attached")
                    }
                    Err(why) => tracing::warn!(%why, "not attached"),
                }
                return;
            }
            Err(why) => tracing::debug!(%why, "a plugin failed again"),
        }
    }
}

/// What the configuration says of a bay's air.
fn barometer(settings: &BaySettings) -> Result<Option<Barometer>, StartError> {
    let Some(air) = &settings.barometer else {
        return Ok(None);
    };
    Barometer::configured(&air.value, &air.uncertainty)
        .map(Some)
        .map_err(|why| StartError::Barometer {
            bay: settings.bay.clone(),
            why,
        })
}

/// Adds what was installed before to the rule sets. One that this version of the
/// program can no longer use is left out, and said so: it can be mended and
/// installed again.
async fn install_kept(catalog: &Catalog, journal: &dyn Journal) -> Result<(), StartError> {
    for installed in journal.installed_rule_sets().await? {
        let kept = installed.rule_set;
        let origin = Origin::Installed { at: installed.at };
        match compile(&kept.digest, &kept.text, origin) {
            Ok(entry) => {
                catalog.install(entry);
            }
            Err(error) => {
                tracing::error!(%error, id = kept.id, "an installed rule set cannot be used any more");
            }
        }
    }
    Ok(())
}

/// Attaches the configured instruments and takes up the open job, if any.
async fn set_up(
    handle: &BayHandle,
    settings: &BaySettings,
    journal: &dyn Journal,
    rooms: &Rooms,
) -> Result<(), StartError> {
    let refused = |source| StartError::Bay {
        bay: settings.bay.clone(),
        source: Box::new(source),
    };
    for instrument in settings.instruments.clone() {
        let params = InstrumentAttachParams {
            bay: settings.bay.clone(),
            instrument: instrument.instrument,
            adapter: instrument.adapter,
            settings: instrument.settings,
        };
        let attaching = match Attaching::prepare(params.clone(), &rooms.plugins).await {
            // A plugin that fails today does not keep the bay closed: it is tried again.
            Err(error) if error.kind == ErrorKind::PluginFailed => {
                rooms.attach_later(handle, params, error);
                continue;
            }
            attaching => attaching.map_err(&refused)?,
        };
        let attached = handle.ask(move |bay| Box::pin(bay.attach(attaching))).await;
        attached.map_err(&refused)?;
    }
    let filter = JobFilter {
        bay: Some(settings.bay.clone()),
        state: Some(JobState::Open),
        ..JobFilter::default()
    };
    if let Some(job) = journal.jobs(filter, 1).await?.pop() {
        handle
            .ask(move |bay| Box::pin(bay.resume(job)))
            .await
            .map_err(refused)?;
    }
    Ok(())
}

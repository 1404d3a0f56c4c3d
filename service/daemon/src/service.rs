//! The whole service, put together from its settings.

use std::net::SocketAddr;
use std::sync::{Arc, PoisonError, RwLock};

use jsonrpsee::server::Methods;
use tokio::sync::{Mutex, Semaphore};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use trisect_wire::WireError;
use trisect_wire::serve::Publisher;
use trisect_journal::{Journal, JournalError, Outbox, SqliteJournal};

use crate::access::{Access, Places, TokenFileError};
use crate::audit::Audit;
use crate::bay::{Barometer, BayHandle, BayParts, News, Pace};
use crate::catalog::{Catalog, CatalogError, Origin, compile};
use crate::clock::BayClock;
use crate::config::{BaySettings, Settings, WebhookSettings};
use crate::instruments::Plugins;
use crate::keeper::{Files, Keeper};
use crate::metrics::Metrics;
use crate::onlookers::Onlookers;
use crate::rooms::{Rooms, set_up};
use crate::rpc::{self, Hall};
use crate::sockets::{Handed, SocketError, Sockets};
use crate::traces::Traces;
use crate::transport::{Front, TlsError, TlsFiles, TlsFront, TransportError, TransportSettings};
use crate::webhooks::{Office, Webhook, Works};

/// Examinations, proofs and trials at once.
const DESKS: usize = 2;

/// Why the service could not start.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// A socket cannot be listened on.
    #[error(transparent)]
    Socket(#[from] SocketError),
    /// The token file cannot be used.
    #[error(transparent)]
    Tokens(#[from] TokenFileError),
    /// The certificate cannot be used.
    #[error(transparent)]
    Tls(#[from] TlsError),
    /// What a reload may not change.
    #[error(
        "`{key}` is taken up when the service starts, not when it reloads: restart it, or put the old value back"
    )]
    Fixed {
        /// The key.
        key: &'static str,
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
    pub(crate) settings: Settings,
    pub(crate) floor: Floor,
    pub(crate) sockets: Sockets,
    pub(crate) front: Running,
    pub(crate) keeper: Arc<Keeper>,
    address: SocketAddr,
    tracker: TaskTracker,
    stop: CancellationToken,
}

/// What is served, by whatever front.
pub(crate) struct Floor {
    pub(crate) hall: Arc<Hall>,
    pub(crate) metrics: Arc<Metrics>,
    pub(crate) pace: Arc<Pace>,
    pub(crate) audit: Arc<Audit>,
    pub(crate) traces: Option<Traces>,
    methods: Methods,
    tracker: TaskTracker,
    bays_stop: CancellationToken,
    pub(crate) rooms: Rooms,
    pub(crate) works: Works,
}

/// A front that runs.
pub(crate) struct Running {
    stop: CancellationToken,
    serving: JoinHandle<Result<(), TransportError>>,
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
        Service::start_by(settings, BayClock::start(speed)).await
    }

    /// The same, by a clock.
    ///
    /// # Errors
    /// As [`Service::start`].
    pub async fn start_by(settings: Settings, clock: BayClock) -> Result<Service, StartError> {
        let sockets = Sockets::open(&settings, Handed::take()?, None)?;
        let listen = settings.listen;
        let socket = |source| SocketError::Tcp { listen, source };
        let address = sockets.address().map_err(socket)?;
        let files = files(&settings)?;
        let catalog = Arc::new(Catalog::load(&settings.rulesets)?);
        let sqlite = Arc::new(SqliteJournal::open(&settings.journal)?);
        let outbox: Arc<dyn Outbox> = Arc::clone(&sqlite) as _;
        let journal: Arc<dyn Journal> = sqlite;
        let office = Office::open(webhooks(&settings.webhooks)?, outbox).await?;
        install_kept(&catalog, &*journal).await?;
        let (tracker, stop) = (TaskTracker::new(), CancellationToken::new());
        let (all_instruments, bays_stop) = (Publisher::new(256), CancellationToken::new());
        let rooms = Rooms {
            plugins: Plugins::new(&settings.plugins),
            tracker: tracker.clone(),
            stop: bays_stop.clone(),
        };
        let works = Works {
            instruments: all_instruments.clone(),
            tracker: tracker.clone(),
            stop: bays_stop.clone(),
        };
        office.start(&works);
        let metrics = Arc::new(Metrics::new(settings.journal.clone()));
        let keeper = Arc::new(Keeper {
            journal: Arc::clone(&journal),
            clock,
            metrics: Arc::clone(&metrics),
            files: RwLock::new(files.clone()),
            keep: RwLock::new(settings.keep.clone()),
        });
        let hall = Arc::new(Hall {
            bays: RwLock::default(),
            catalog,
            journal: Arc::clone(&journal),
            all_instruments,
            started: clock.wall(0).to_string(),
            clock,
            plugins: rooms.plugins.clone(),
            office,
            installing: Mutex::new(()),
            desks: Arc::new(Semaphore::new(DESKS)),
        });
        let traces = settings.traces.endpoint.as_deref();
        let floor = Floor {
            methods: rpc::module(Arc::clone(&hall)).into(),
            hall,
            audit: Audit::start(journal, clock, &tracker, stop.clone()),
            traces: traces.map(|endpoint| Traces::start(endpoint, &tracker, stop.clone())),
            metrics,
            pace: Arc::new(Pace::new()),
            tracker: tracker.clone(),
            bays_stop,
            rooms,
            works,
        };
        for bay in &settings.bays {
            floor.add(bay, &settings).await?;
        }
        tracker.spawn(Arc::clone(&keeper).run(stop.clone()));
        let front = floor.serve(&settings, &sockets, &files).map_err(socket)?;
        floor.audit.note("service.start", env!("CARGO_PKG_VERSION"));
        tracing::info!(%address, tls = sockets.tls_address().map(tracing::field::display), "serving");
        Ok(Service {
            settings,
            floor,
            sockets,
            front,
            keeper,
            address,
            tracker,
            stop,
        })
    }

    /// Where it listens without TLS.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Where it listens with TLS.
    pub fn tls_address(&self) -> Option<SocketAddr> {
        self.sockets.tls_address()
    }

    /// Whether it is well: the journal answers, and every bay does.
    ///
    /// # Errors
    /// What does not.
    pub async fn well(&self) -> Result<(), String> {
        crate::health::ready(&self.floor.hall).await
    }

    /// Runs until the transport ends, which is when it fails or is stopped.
    ///
    /// # Errors
    /// When connections can no longer be accepted.
    pub async fn ended(&mut self) -> Result<(), TransportError> {
        self.front.ended().await
    }

    /// Stops gracefully: running calls are answered, what the bays have in hand
    /// is kept, instruments are closed.
    pub async fn stop(self) {
        self.floor.audit.note("service.stop", "");
        self.front.stop().await;
        self.floor.bays_stop.cancel();
        self.stop.cancel();
        self.tracker.close();
        self.tracker.wait().await;
        tracing::info!("stopped");
    }
}

impl Running {
    async fn ended(&mut self) -> Result<(), TransportError> {
        // A panic of the task is a defect; it ends the service like a failure.
        (&mut self.serving).await.unwrap_or_else(|join| {
            tracing::error!(%join, "the transport panicked");
            Ok(())
        })
    }

    /// Lets what runs finish.
    pub(crate) async fn stop(mut self) {
        self.stop.cancel();
        if !self.serving.is_finished() {
            // How it ended was logged, and does not matter any more.
            let _ = self.ended().await;
        }
    }
}

/// The configured webhooks.
pub(crate) fn webhooks(settings: &[WebhookSettings]) -> Result<Vec<Webhook>, StartError> {
    let made = settings.iter().map(|one| {
        Webhook::new(one).map_err(|why| StartError::Webhook {
            webhook: one.webhook.clone(),
            why,
        })
    });
    made.collect()
}

impl Floor {
    /// Starts a bay with its instruments, and takes up its open job.
    pub(crate) async fn add(
        &self,
        bay: &BaySettings,
        settings: &Settings,
    ) -> Result<(), StartError> {
        let hall = &self.hall;
        let parts = BayParts {
            name: bay.bay.clone(),
            title: bay.title.clone().unwrap_or_else(|| bay.bay.clone()),
            ruleset: bay.ruleset.clone(),
            barometer: barometer(bay)?,
            clock: hall.clock,
            catalog: Arc::clone(&hall.catalog),
            journal: Arc::clone(&hall.journal),
            news: News::new(hall.all_instruments.clone()),
            keeps_outside: !settings.keep.outside_jobs.is_none(),
            metrics: Arc::clone(&self.metrics),
            pace: Arc::clone(&self.pace),
        };
        if hall.catalog.get(&bay.ruleset).is_none() {
            let (bay, ruleset) = (bay.bay.clone(), bay.ruleset.clone());
            return Err(StartError::NoRuleSet { bay, ruleset });
        }
        let handle = BayHandle::start(parts, &self.tracker, self.bays_stop.child_token());
        set_up(&handle, bay, &*hall.journal, &self.rooms).await?;
        let mut bays = hall.bays.write().unwrap_or_else(PoisonError::into_inner);
        bays.push(handle);
        Ok(())
    }

    /// Serves on the sockets.
    ///
    /// # Errors
    /// When the system has no more file descriptors.
    pub(crate) fn serve(
        &self,
        settings: &Settings,
        sockets: &Sockets,
        files: &Files,
    ) -> std::io::Result<Running> {
        let hall = &self.hall;
        let witness = Onlookers {
            audit: Arc::clone(&self.audit),
            metrics: Arc::clone(&self.metrics),
            traces: self.traces.clone(),
        };
        let front = Front {
            listeners: sockets.listeners(files.tls.as_ref())?,
            methods: self.methods.clone(),
            routes: crate::health::routes(Arc::clone(hall))
                .merge(crate::schema::routes())
                .merge(crate::metrics::route(
                    Arc::clone(&self.metrics),
                    Arc::clone(hall),
                )),
            settings: TransportSettings {
                host_names: settings.host_names.clone(),
                origins: settings.origins.clone(),
                ..settings.limits.transport()
            },
            access: Arc::clone(&files.access),
            witness: Some(Arc::new(witness)),
        };
        let stop = CancellationToken::new();
        let serving = tokio::spawn(front.serve(stop.clone()));
        Ok(Running { stop, serving })
    }
}

/// The files the settings name, read.
pub(crate) fn files(settings: &Settings) -> Result<Files, StartError> {
    let places = Places {
        loopback: settings.access.loopback,
        unix: settings.unix.as_ref().and_then(|unix| unix.role),
    };
    let file = settings.token_file.clone();
    let access = Access::new(file, places, settings.access.calls_per_second)?;
    let tls = settings.tls.as_ref().map(|tls| {
        TlsFront::new(TlsFiles {
            certificate: tls.certificate.clone(),
            key: tls.key.clone(),
        })
    });
    Ok(Files {
        access: Arc::new(access),
        tls: tls.transpose()?.map(Arc::new),
    })
}

/// What the configuration says of a bay's air.
pub(crate) fn barometer(settings: &BaySettings) -> Result<Option<Barometer>, StartError> {
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

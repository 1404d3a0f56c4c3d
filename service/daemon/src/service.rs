//! The whole service, put together from its settings.

use std::net::SocketAddr;
use std::sync::atomic::AtomicUsize;
use std::sync::{Arc, RwLock};

use tokio::sync::{Mutex, Semaphore};
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use trisect_bay::catalog::{Catalog, CatalogError};
use trisect_bay::clock::BayClock;
use trisect_bay::instruments::Plugins;
use trisect_bay::setup::InstrumentSetup;
use trisect_front::access::TokenFileError;
use trisect_front::{HandedOver, SocketError, Sockets, TlsError, TransportError};
use trisect_journal::{Journal, JournalError, Outbox, SqliteJournal};
use trisect_webhooks::Deliveries;
use trisect_wire::WireError;
use trisect_wire::serve::Publisher;

use crate::config::Settings;
use crate::context::Context;
use crate::housekeeping::Housekeeping;
use crate::instrument_events;
use crate::methods;
use crate::observe::audit::Audit;
use crate::observe::metrics::Metrics;
use crate::observe::traces::Traces;
use crate::runtime::{RunningFront, Runtime, files, install_kept, webhooks};
use crate::webhook_data::WireEventData;

/// Examinations, proofs and trials at once.
const COMPUTATIONS: usize = 2;

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
    pub(crate) runtime: Runtime,
    pub(crate) sockets: Sockets,
    pub(crate) front: RunningFront,
    pub(crate) housekeeping: Arc<Housekeeping>,
    address: SocketAddr,
    tracker: TaskTracker,
    stop: CancellationToken,
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
        let sockets = Sockets::open(&settings.sockets(), HandedOver::take()?, None)?;
        let listen = settings.listen;
        let socket = |source| SocketError::Tcp { listen, source };
        let address = sockets.address().map_err(socket)?;
        let files = files(&settings)?;
        let catalog = Arc::new(Catalog::load(&settings.rulesets)?);
        let sqlite = Arc::new(SqliteJournal::open(&settings.journal)?);
        let outbox: Arc<dyn Outbox> = Arc::clone(&sqlite) as _;
        let journal: Arc<dyn Journal> = sqlite;
        let deliveries = Deliveries::open(webhooks(&settings.webhooks)?, outbox).await?;
        install_kept(&catalog, &*journal).await?;
        let (tracker, stop) = (TaskTracker::new(), CancellationToken::new());
        let (all_instruments, bays_stop) = (Publisher::new(256), CancellationToken::new());
        let setup = InstrumentSetup {
            plugins: Plugins::new(&settings.plugins),
            tracker: tracker.clone(),
            stop: bays_stop.clone(),
        };
        let delivering = trisect_webhooks::Runtime {
            data: Arc::new(WireEventData),
            tracker: tracker.clone(),
            stop: bays_stop.clone(),
        };
        deliveries.start(&delivering);
        let metrics = Arc::new(Metrics::new(settings.journal.clone()));
        let housekeeping = Arc::new(Housekeeping {
            journal: Arc::clone(&journal),
            clock,
            metrics: Arc::clone(&metrics),
            files: RwLock::new(files.clone()),
            keep: RwLock::new(settings.keep.clone()),
        });
        let context = Arc::new(Context {
            bays: RwLock::default(),
            catalog,
            journal: Arc::clone(&journal),
            all_instruments,
            started: clock.wall(0).to_string(),
            clock,
            plugins: setup.plugins.clone(),
            attach: settings.attach.clone(),
            deliveries,
            installing: Mutex::new(()),
            computations: Arc::new(Semaphore::new(COMPUTATIONS)),
            reply_bytes: AtomicUsize::new(settings.limits.reply_bytes),
        });
        let traces = settings.traces.endpoint.as_deref();
        let runtime = Runtime {
            methods: methods::module(Arc::clone(&context)).into(),
            context,
            audit: Audit::start(journal, clock, &tracker, stop.clone()),
            traces: traces.map(|endpoint| Traces::start(endpoint, &tracker, stop.clone())),
            metrics,
            pace: Arc::new(trisect_bay::Pace::start()),
            tracker: tracker.clone(),
            bays_stop,
            setup,
            delivering,
        };
        let posting = instrument_events::follow(
            runtime.context.all_instruments.receiver(),
            Arc::clone(&runtime.context),
            runtime.bays_stop.clone(),
        );
        tracker.spawn(posting);
        for bay in &settings.bays {
            runtime.add(bay, &settings).await?;
        }
        tracker.spawn(Arc::clone(&housekeeping).run(stop.clone()));
        let front = runtime.serve(&settings, &sockets, &files).map_err(socket)?;
        runtime
            .audit
            .note("service.start", env!("CARGO_PKG_VERSION"));
        tracing::info!(%address, tls = sockets.tls_address().map(tracing::field::display), "serving");
        Ok(Service {
            settings,
            runtime,
            sockets,
            front,
            housekeeping,
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
        crate::observe::health::ready(&self.runtime.context).await
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
        self.runtime.audit.note("service.stop", "");
        self.front.stop().await;
        self.runtime.bays_stop.cancel();
        self.stop.cancel();
        self.tracker.close();
        self.tracker.wait().await;
        tracing::info!("stopped");
    }
}

//! What is served, whatever front it is served on: bays, methods, observers.

use std::sync::atomic::Ordering;
use std::sync::{Arc, PoisonError};

use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use trisect_bay::catalog::{Catalog, Origin, compile};
use trisect_bay::setup::{InstrumentSetup, SetupError, set_up};
use trisect_bay::{AttachRequest, Barometer, BayHandle, BayParts, Pace};
use trisect_front::access::{Access, TokenlessRoles};
use trisect_front::{Front, Sockets, TlsFiles, TlsFront, TransportError, TransportSettings};
use trisect_journal::Journal;
use trisect_kit::Networks;
use trisect_webhooks::Webhook;

use crate::config::{BaySettings, InstrumentSettings, Settings, WebhookSettings};
use crate::context::{Context, ServedBay};
use crate::convert;
use crate::housekeeping::Files;
use crate::observe::audit::Audit;
use crate::observe::calls::CallObservers;
use crate::observe::metrics::Metrics;
use crate::observe::traces::Traces;
use crate::publish::BayPublisher;
use crate::service::StartError;

/// What is served, by whatever front.
pub(crate) struct Runtime {
    pub(crate) context: Arc<Context>,
    pub(crate) metrics: Arc<Metrics>,
    pub(crate) pace: Arc<Pace>,
    pub(crate) audit: Arc<Audit>,
    pub(crate) traces: Option<Traces>,
    pub(crate) methods: jsonrpsee::Methods,
    pub(crate) tracker: TaskTracker,
    pub(crate) bays_stop: CancellationToken,
    pub(crate) setup: InstrumentSetup,
    pub(crate) delivering: trisect_webhooks::Runtime,
}

/// A front that runs.
pub(crate) struct RunningFront {
    stop: CancellationToken,
    serving: JoinHandle<Result<(), TransportError>>,
}

impl RunningFront {
    pub(crate) async fn ended(&mut self) -> Result<(), TransportError> {
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

impl Runtime {
    /// Starts a bay with its instruments, and takes up its open job.
    pub(crate) async fn add(
        &self,
        bay: &BaySettings,
        settings: &Settings,
    ) -> Result<(), StartError> {
        let context = &self.context;
        let publisher =
            BayPublisher::new(context.all_instruments.clone(), Arc::clone(&self.metrics));
        let parts = BayParts {
            name: bay.bay.clone(),
            title: bay.title.clone().unwrap_or_else(|| bay.bay.clone()),
            ruleset: bay.ruleset.clone(),
            barometer: barometer(bay)?,
            clock: context.clock,
            catalog: Arc::clone(&context.catalog),
            journal: Arc::clone(&context.journal),
            observer: Arc::new(publisher.clone()),
            keeps_outside: !settings.keep.outside_jobs.is_none(),
            pace: Arc::clone(&self.pace),
        };
        if context.catalog.get(&bay.ruleset).is_none() {
            let (bay, ruleset) = (bay.bay.clone(), bay.ruleset.clone());
            return Err(StartError::NoRuleSet { bay, ruleset });
        }
        let handle = BayHandle::start(parts, &self.tracker, self.bays_stop.child_token());
        let instruments = bay.instruments.iter();
        let instruments = instruments
            .map(|one| attach_request(&bay.bay, one))
            .collect();
        set_up(&handle, instruments, &*context.journal, &self.setup)
            .await
            .map_err(|error| match error {
                SetupError::Journal(error) => StartError::Journal(error),
                SetupError::Bay(error) => StartError::Bay {
                    bay: bay.bay.clone(),
                    source: Box::new(convert::refused(error)),
                },
            })?;
        let mut bays = context.bays.write().unwrap_or_else(PoisonError::into_inner);
        bays.push(ServedBay { handle, publisher });
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
    ) -> std::io::Result<RunningFront> {
        let context = &self.context;
        let observer = CallObservers {
            audit: Arc::clone(&self.audit),
            metrics: Arc::clone(&self.metrics),
            traces: self.traces.clone(),
        };
        let limit = settings.limits.reply_bytes;
        context.reply_bytes.store(limit, Ordering::Relaxed);
        let front = Front {
            listeners: sockets.listeners(files.tls.as_ref())?,
            methods: self.methods.clone(),
            routes: crate::observe::health::routes(Arc::clone(context))
                .merge(crate::schema::routes())
                .merge(crate::observe::metrics::route(
                    Arc::clone(&self.metrics),
                    Arc::clone(context),
                )),
            settings: TransportSettings {
                host_names: settings.host_names.clone(),
                origins: settings.origins.clone(),
                ..settings.limits.transport()
            },
            access: Arc::clone(&files.access),
            observer: Some(Arc::new(observer)),
        };
        let stop = CancellationToken::new();
        let serving = tokio::spawn(front.serve(stop.clone()));
        Ok(RunningFront { stop, serving })
    }
}

/// The files the settings name, read.
pub(crate) fn files(settings: &Settings) -> Result<Files, StartError> {
    let places = TokenlessRoles {
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

/// An instrument of the configuration, as it is attached.
pub(crate) fn attach_request(bay: &str, instrument: &InstrumentSettings) -> AttachRequest {
    AttachRequest {
        bay: bay.to_owned(),
        instrument: instrument.instrument.clone(),
        adapter: instrument.adapter.clone(),
        settings: instrument.settings.clone(),
        networks: Networks::all(),
    }
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
pub(crate) async fn install_kept(
    catalog: &Catalog,
    journal: &dyn Journal,
) -> Result<(), StartError> {
    for installed in journal.installed_rule_sets().await? {
        let kept = installed.rule_set;
        let origin = Origin::Installed { at: installed.at };
        match compile(&kept.digest, &kept.text, origin) {
            Ok(entry) if entry.model.rules().digest != kept.digest => {
                tracing::error!(
                    id = kept.id,
                    digest = kept.digest,
                    "the text of an installed rule set was altered in the journal: it is left out"
                );
            }
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

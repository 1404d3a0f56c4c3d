//! How a bay is set up: its instruments, and the job that was open; and what a reload exchanges of plugins.

use std::collections::BTreeSet;
use std::time::Duration;

use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use trisect_journal::{JobFilter, JobState, Journal, JournalError};
use trisect_kit::ports::back_off_between;

use crate::error::{BayError, ErrorKind};
use crate::handle::BayHandle;
use crate::instruments::Plugins;
use crate::probes::Attaching;
use crate::request::AttachRequest;

/// Why a bay cannot be set up.
#[derive(Debug, thiserror::Error)]
pub enum SetupError {
    /// An instrument is refused, or the job that was open.
    #[error(transparent)]
    Bay(#[from] BayError),
    /// The journal cannot say which job was open.
    #[error(transparent)]
    Journal(#[from] JournalError),
}

/// What instruments are attached with.
pub struct InstrumentSetup {
    /// The plugins there are.
    pub plugins: Plugins,
    /// Keeps count of the tasks.
    pub tracker: TaskTracker,
    /// Ends them.
    pub stop: CancellationToken,
}

impl InstrumentSetup {
    /// Attaches an instrument as soon as its plugin describes itself: one that fails today does not keep the
    /// bay closed.
    pub fn attach_later(&self, handle: &BayHandle, params: AttachRequest, why: &BayError) {
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

    /// Attaches an instrument now, or later where its plugin fails; whether it is attached.
    ///
    /// # Errors
    /// What the adapter or the bay refuses.
    pub async fn attach(
        &self,
        handle: &BayHandle,
        params: AttachRequest,
    ) -> Result<bool, BayError> {
        match Attaching::prepare(params.clone(), &self.plugins).await {
            Err(error) if error.kind == ErrorKind::PluginFailed => {
                self.attach_later(handle, params, &error);
                Ok(false)
            }
            attaching => {
                let attaching = attaching?;
                handle
                    .ask(move |bay| Box::pin(bay.attach(attaching)))
                    .await?;
                Ok(true)
            }
        }
    }
}

/// An instrument that is read through a plugin which a reload changes.
pub struct PluginExchange {
    handle: BayHandle,
    params: AttachRequest,
    /// What it becomes; nothing if its plugin is no more.
    next: Option<Result<Attaching, BayError>>,
}

/// Prepares the instruments of some plugins to be attached anew, before any of them is touched.
///
/// # Errors
/// A bay with an instrument that the plugin, as it will be, does not take.
pub async fn exchanges(
    bays: Vec<BayHandle>,
    changed: &BTreeSet<String>,
    plugins: &Plugins,
    concerns: impl Fn(&AttachRequest) -> bool,
) -> Result<Vec<PluginExchange>, (String, BayError)> {
    let mut found = Vec::new();
    for handle in bays {
        let names = changed.clone();
        let through = handle.ask(move |bay| Box::pin(async move { Ok(bay.through(&names)) }));
        let through = through.await.map_err(|e| (handle.name().to_owned(), e))?;
        let through = through.into_iter().filter(|params| concerns(params));
        found.extend(through.map(|params| (handle.clone(), params)));
    }
    let preparing = found.into_iter().map(async |(handle, params)| {
        let known = plugins.has(&params.settings);
        let next = match known {
            true => Some(Attaching::prepare(params.clone(), plugins).await),
            false => None,
        };
        match next {
            Some(Err(error)) if error.kind != ErrorKind::PluginFailed => {
                let place = format!("{}, instrument {}", params.bay, params.instrument);
                Err((place, error))
            }
            next => Ok(PluginExchange {
                handle,
                params,
                next,
            }),
        }
    });
    let prepared = futures_util::future::join_all(preparing).await;
    prepared.into_iter().collect()
}

impl PluginExchange {
    /// Detaches it and attaches what it becomes; what was done, in words.
    pub async fn carry_out(self, setup: &InstrumentSetup) -> String {
        let PluginExchange {
            handle,
            params,
            next,
        } = self;
        let what = format!("instrument {} of {}", params.instrument, params.bay);
        let name = params.instrument.clone();
        // Somebody may have detached it meanwhile, and does not want it back.
        let detached = handle.ask(move |bay| Box::pin(async move { bay.detach(&name).await }));
        if detached.await.is_err() {
            return format!("{what} is gone");
        }
        let attached = match next {
            None => return format!("{what} stopped"),
            Some(Ok(next)) => handle.ask(move |bay| Box::pin(bay.attach(next))).await,
            Some(Err(why)) => Err(why),
        };
        match attached {
            Ok(_) => format!("{what} started anew"),
            Err(why) => {
                setup.attach_later(&handle, params, &why);
                format!("{what} stopped, to be started anew")
            }
        }
    }
}

/// The waits between attempts: the first, and the longest.
const FIRST: Duration = Duration::from_secs(1);
const LONGEST: Duration = Duration::from_secs(60);

async fn try_to_attach(handle: &BayHandle, params: AttachRequest, plugins: &Plugins) {
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
            Err(why) if why.kind == ErrorKind::PluginFailed => {
                tracing::debug!(%why, "a plugin failed again");
            }
            // A reload took the plugin away, or made another one of it.
            Err(why) => {
                tracing::warn!(%why, instrument = params.instrument, "not attached");
                return;
            }
        }
    }
}

/// Attaches the configured instruments and takes up the open job, if any.
///
/// # Errors
/// An instrument that is refused, or a job that cannot be taken up again.
pub async fn set_up(
    handle: &BayHandle,
    instruments: Vec<AttachRequest>,
    journal: &dyn Journal,
    setup: &InstrumentSetup,
) -> Result<(), SetupError> {
    for params in instruments {
        setup.attach(handle, params).await?;
    }
    let filter = JobFilter {
        bay: Some(handle.name().to_owned()),
        state: Some(JobState::Open),
        ..JobFilter::default()
    };
    if let Some(job) = journal.jobs(filter, 1).await?.pop() {
        let id = job.opened.id.clone();
        // What was stored of one job holds up neither its bay nor the others.
        if let Err(error) = handle.ask(move |bay| Box::pin(bay.resume(job))).await {
            tracing::error!(bay = handle.name(), job = id, %error, "an open job cannot be taken up again: job.verify says what is wrong with it");
        }
    }
    Ok(())
}

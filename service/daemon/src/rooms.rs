//! What bays are set up with: their instruments, and the job that was open.

use std::collections::BTreeSet;
use std::time::Duration;

use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use trisect_wire::types::{InstrumentAttachParams, InstrumentName};
use trisect_wire::{ErrorKind, WireError};
use trisect_journal::{JobFilter, JobState, Journal};
use trisect_kit::ports::back_off_between;

use crate::bay::{Attaching, BayHandle};
use crate::config::BaySettings;
use crate::instruments::Plugins;
use crate::service::StartError;

/// What every bay is set up with.
pub(crate) struct Rooms {
    pub(crate) plugins: Plugins,
    pub(crate) tracker: TaskTracker,
    pub(crate) stop: CancellationToken,
}

impl Rooms {
    /// Attaches an instrument as soon as its plugin describes itself.
    pub(crate) fn attach_later(
        &self,
        handle: &BayHandle,
        params: InstrumentAttachParams,
        why: WireError,
    ) {
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

/// An instrument that is read through a plugin which a reload changes.
pub(crate) struct Exchange {
    handle: BayHandle,
    params: InstrumentAttachParams,
    /// What it becomes; nothing if its plugin is no more.
    next: Option<Result<Attaching, WireError>>,
}

/// Prepares the instruments of some plugins to be attached anew, before any of them is touched.
///
/// # Errors
/// A bay with an instrument that the plugin, as it will be, does not take.
pub(crate) async fn exchanges(
    bays: Vec<BayHandle>,
    changed: &BTreeSet<String>,
    plugins: &Plugins,
    concerns: impl Fn(&InstrumentAttachParams) -> bool,
) -> Result<Vec<Exchange>, (String, WireError)> {
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
            next => Ok(Exchange {
                handle,
                params,
                next,
            }),
        }
    });
    let prepared = futures_util::future::join_all(preparing).await;
    prepared.into_iter().collect()
}

impl Exchange {
    /// Detaches it and attaches what it becomes; what was done, in words.
    pub(crate) async fn carry_out(self, rooms: &Rooms) -> String {
        let Exchange {
            handle,
            params,
            next,
        } = self;
        let what = format!("instrument {} of {}", params.instrument, params.bay);
        let name = InstrumentName {
            bay: params.bay.clone(),
            instrument: params.instrument.clone(),
        };
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
                rooms.attach_later(&handle, params, why);
                format!("{what} stopped, to be started anew")
            }
        }
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
pub(crate) async fn set_up(
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

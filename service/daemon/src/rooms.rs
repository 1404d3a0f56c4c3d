//! What bays are set up with: their instruments, and the job that was open.

use std::time::Duration;

use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use trisect_api::wire::InstrumentAttachParams;
use trisect_api::{ErrorKind, WireError};
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

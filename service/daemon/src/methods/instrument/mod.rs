//! `instrument.*`.

mod probe;

use jsonrpsee::RpcModule;
use trisect_bay::{AttachRequest, Attaching};
use trisect_wire::serve::{register, register_watch};
use trisect_wire::table::{
    InstrumentAttach, InstrumentDetach, InstrumentList, InstrumentProbe, InstrumentWatch,
};
use trisect_wire::types::{Instrument, InstrumentAttachParams, InstrumentItem, Instruments};
use trisect_wire::{ErrorKind, WireError};

use crate::context::Context;
use crate::convert::{instrument, refused};

pub(super) fn register_all(module: &mut RpcModule<Context>) {
    register::<InstrumentList, _, _, _>(module, |context, params| async move {
        let instruments = context.instruments(params.bay.as_deref()).await?;
        Ok(Instruments { instruments })
    });
    register::<InstrumentAttach, _, _, _>(module, |context, params| async move {
        context.bay(&params.bay)?;
        let params = context.found(params).await?;
        let bay = context.bay(&params.bay)?;
        keep_secrets(&params)?;
        let request = AttachRequest {
            bay: params.bay,
            instrument: params.instrument,
            adapter: params.adapter,
            settings: params.settings,
        };
        let attaching = Attaching::prepare(request, &context.plugins).await;
        let attaching = attaching.map_err(refused)?;
        let attached = bay.ask(move |bay| Box::pin(bay.attach(attaching)));
        attached.await.map(instrument).map_err(refused)
    });
    register::<InstrumentProbe, _, _, _>(module, |context, params| async move {
        context.probe(params).await
    });
    register::<InstrumentDetach, _, _, _>(module, |context, params| async move {
        let bay = context.bay(&params.bay)?;
        let name = params.instrument;
        let detached = bay.ask(move |bay| Box::pin(async move { bay.detach(&name).await }));
        detached.await.map(instrument).map_err(refused)
    });
    register_watch::<InstrumentWatch, _, _, _>(module, |context, params| async move {
        let feed = match &params.bay {
            Some(bay) => context.publisher(bay)?.instruments.feed(),
            None => context.all_instruments.feed(),
        };
        let stand = context.instruments(params.bay.as_deref()).await?;
        Ok(feed.starting_with(stand.into_iter().map(InstrumentItem::Instrument).collect()))
    });
}

/// Credentials are read from files of the service's machine and sent to an address: whoever may attach an
/// instrument shall not choose both, or any secret of that machine could be had.
fn keep_secrets(params: &InstrumentAttachParams) -> Result<(), WireError> {
    if !params.settings.contains_key("credentials") {
        return Ok(());
    }
    Err(ErrorKind::InvalidSettings
        .because("credentials are named in the configuration alone")
        .at("settings.credentials")
        .hint("put the instrument into the configuration, and reload it"))
}

impl Context {
    /// The instruments of one bay or of all.
    async fn instruments(&self, bay: Option<&str>) -> Result<Vec<Instrument>, WireError> {
        let bays = match bay {
            Some(name) => vec![self.bay(name)?],
            None => self.bays(),
        };
        let mut instruments = Vec::new();
        for bay in bays {
            let status = bay.ask(|bay| Box::pin(async move { Ok(bay.instruments_status()) }));
            let status = status.await.map_err(refused)?;
            instruments.extend(status.into_iter().map(instrument));
        }
        Ok(instruments)
    }
}

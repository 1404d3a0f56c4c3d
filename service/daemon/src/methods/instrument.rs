//! `instrument.*` and `probe.*`.

use jsonrpsee::RpcModule;
use trisect_wire::serve::{register, register_watch};
use trisect_wire::table::{
    InstrumentAttach, InstrumentDetach, InstrumentList, InstrumentWatch, ProbeLift, ProbePlace,
};
use trisect_wire::types::{Instrument, InstrumentAttachParams, InstrumentItem, Instruments};
use trisect_wire::{ErrorKind, WireError};

use super::Hall;
use crate::bay::Attaching;

pub(super) fn register_all(module: &mut RpcModule<Hall>) {
    register::<InstrumentList, _, _, _>(module, |hall, params| async move {
        let instruments = hall.instruments(params.bay.as_deref()).await?;
        Ok(Instruments { instruments })
    });
    register::<InstrumentAttach, _, _, _>(module, |hall, params| async move {
        hall.bay(&params.bay)?;
        let params = hall.found(params).await?;
        let bay = hall.bay(&params.bay)?;
        keep_secrets(&params)?;
        let attaching = Attaching::prepare(params, &hall.plugins).await?;
        bay.ask(move |bay| Box::pin(bay.attach(attaching))).await
    });
    register::<InstrumentDetach, _, _, _>(module, |hall, params| async move {
        let bay = hall.bay(&params.bay)?;
        bay.ask(move |bay| Box::pin(async move { bay.detach(&params).await }))
            .await
    });
    register::<ProbePlace, _, _, _>(module, |hall, params| async move {
        let bay = hall.bay(&params.bay)?;
        bay.ask(move |bay| Box::pin(bay.place(params))).await
    });
    register::<ProbeLift, _, _, _>(module, |hall, params| async move {
        let bay = hall.bay(&params.bay)?;
        bay.ask(move |bay| Box::pin(async move { bay.lift(&params).await }))
            .await
    });
    register_watch::<InstrumentWatch, _, _, _>(module, |hall, params| async move {
        let feed = match &params.bay {
            Some(bay) => hall.bay(bay)?.news().instruments.feed(),
            None => hall.all_instruments.feed(),
        };
        let stand = hall.instruments(params.bay.as_deref()).await?;
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

impl Hall {
    /// The instruments of one bay or of all.
    async fn instruments(&self, bay: Option<&str>) -> Result<Vec<Instrument>, WireError> {
        let bays = match bay {
            Some(name) => vec![self.bay(name)?],
            None => self.bays(),
        };
        let mut instruments = Vec::new();
        for bay in bays {
            let shown = bay.ask(|bay| Box::pin(async move { Ok(bay.instruments_shown()) }));
            instruments.extend(shown.await?);
        }
        Ok(instruments)
    }
}

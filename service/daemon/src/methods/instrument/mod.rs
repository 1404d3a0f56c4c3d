//! `instrument.*`.

mod probe;

use std::path::Path;

use jsonrpsee::RpcModule;
use serde_json::Value;
use trisect_bay::{AttachRequest, Attaching};
use trisect_kit::Networks;
use trisect_kit::ports;
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
        keep_files(&params)?;
        context.has_room(&params.bay).await?;
        let port = params
            .settings
            .get("port")
            .and_then(Value::as_str)
            .map(str::to_owned);
        let request = AttachRequest {
            bay: params.bay,
            instrument: params.instrument,
            adapter: params.adapter,
            settings: params.settings,
            networks: Networks::besides(context.attach.networks.clone()),
        };
        let attaching = Attaching::prepare(request, &context.plugins).await;
        let attaching = attaching.map_err(refused)?;
        // Nothing has been opened yet.
        if let Some(port) = port {
            port_allowed(&port).map_err(|error| error.at("settings.port"))?;
        }
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
/// instrument shall not choose both, or any secret of that machine could be had. Nor shall errors tell what other
/// files there are.
fn keep_files(params: &InstrumentAttachParams) -> Result<(), WireError> {
    for (field, what) in [("credentials", "credentials"), ("ca_file", "certificates")] {
        if params.settings.contains_key(field) {
            return Err(ErrorKind::InvalidSettings
                .because(format!("{what} are named in the configuration alone"))
                .at(format!("settings.{field}"))
                .hint("put the instrument into the configuration, and reload it"));
        }
    }
    Ok(())
}

/// A port has to be one: opening another device may do harm, and errors shall not tell what files there are.
fn port_allowed(port: &str) -> Result<(), WireError> {
    if ports::may_be_port(Path::new(port)) {
        return Ok(());
    }
    Err(ErrorKind::PortRefused
        .because("it is no serial port under /dev")
        .hint("port.list has the ports there are"))
}

impl Context {
    /// Whether one more instrument can be attached.
    async fn has_room(&self, bay: &str) -> Result<(), WireError> {
        let instruments = self.instruments(None).await?;
        let here = instruments.iter().filter(|one| one.bay == bay).count();
        let full = if here >= self.attach.per_bay {
            format!("{bay} has {here} instruments, and may have no more")
        } else if instruments.len() >= self.attach.in_all {
            format!(
                "there are {} instruments, and may be no more",
                instruments.len()
            )
        } else {
            return Ok(());
        };
        Err(ErrorKind::TooBusy
            .because(full)
            .at("instrument")
            .hint("detach one first, or raise `[attach] per_bay` or `in_all` of the configuration"))
    }

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

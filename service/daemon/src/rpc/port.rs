//! `port.list` and `instrument.probe`.

use std::path::{Path, PathBuf};

use jsonrpsee::RpcModule;
use trisect_api::serve::register;
use trisect_api::table::{InstrumentProbe, PortList};
use trisect_api::wire::{AttachedTo, InstrumentProbeParams, InstrumentProbed, Port, Ports};
use trisect_api::{ErrorKind, WireError};
use trisect_kit::ports::{self, same_port};

use super::Hall;
use crate::instruments::{Patience, probe};

pub(super) fn register_all(module: &mut RpcModule<Hall>) {
    register::<PortList, _, _, _>(module, |hall, _| async move {
        let attached = hall.attached().await?;
        let ports = ports::Ports::system().list().into_iter().map(|found| {
            let of = attached
                .iter()
                .find(|(path, _)| same_port(path, &found.node));
            Port {
                attached: of.map(|(_, to)| to.clone()),
                node: found.node.display().to_string(),
                port: found.stable.unwrap_or(found.node).display().to_string(),
            }
        });
        Ok(Ports {
            ports: ports.collect(),
        })
    });
    register::<InstrumentProbe, _, _, _>(
        module,
        |hall, params| async move { hall.probe(params).await },
    );
}

impl Hall {
    async fn probe(&self, params: InstrumentProbeParams) -> Result<InstrumentProbed, WireError> {
        let given = Path::new(&params.port);
        let refused = |why: String| ErrorKind::PortRefused.because(why).at("port");
        let attached = self.attached().await?;
        if let Some((_, to)) = attached.iter().find(|(path, _)| same_port(path, given)) {
            return Err(
                refused(format!("`{}` of {} has this port", to.instrument, to.bay))
                    .hint("detach it first with instrument.detach"),
            );
        }
        let path = ports::Ports::system().stable(given);
        let path = path.unwrap_or_else(|| given.to_owned());
        probe(&path, params.allow_writing, Patience::default())
            .await
            .map_err(|error| refused(error.to_string()).hint("port.list has the ports there are"))
    }

    /// The ports of the instruments of all bays.
    async fn attached(&self) -> Result<Vec<(PathBuf, AttachedTo)>, WireError> {
        let mut attached = Vec::new();
        for bay in self.bays() {
            let ports = bay.ask(|bay| Box::pin(async move { Ok(bay.ports()) }));
            attached.extend(ports.await?);
        }
        Ok(attached)
    }
}

//! `port.*`.

use std::path::PathBuf;

use jsonrpsee::RpcModule;
use trisect_bay::PortUser;
use trisect_kit::ports::{self, same_port};
use trisect_wire::WireError;
use trisect_wire::serve::register;
use trisect_wire::table::PortList;
use trisect_wire::types::{Port, Ports};

use crate::context::Context;
use crate::convert::{port_user, refused};

pub(super) fn register_all(module: &mut RpcModule<Context>) {
    register::<PortList, _, _, _>(module, |context, _| async move {
        let attached = context.attached().await?;
        let ports = ports::Ports::system().list().into_iter().map(|found| {
            let of = attached
                .iter()
                .find(|(path, _)| same_port(path, &found.node));
            Port {
                attached: of.map(|(_, to)| port_user(to.clone())),
                node: found.node.display().to_string(),
                port: found.stable.unwrap_or(found.node).display().to_string(),
            }
        });
        Ok(Ports {
            ports: ports.collect(),
        })
    });
}

impl Context {
    /// The ports of the instruments of all bays.
    pub(super) async fn attached(&self) -> Result<Vec<(PathBuf, PortUser)>, WireError> {
        let mut attached = Vec::new();
        for bay in self.bays() {
            let ports = bay.ask(|bay| Box::pin(async move { Ok(bay.ports()) }));
            attached.extend(ports.await.map_err(refused)?);
        }
        Ok(attached)
    }
}

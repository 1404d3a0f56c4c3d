//! `bay.*`.

use jsonrpsee::RpcModule;
use trisect_wire::serve::register;
use trisect_wire::table::BayList;
use trisect_wire::types::Bays;

use crate::context::Context;
use crate::convert::{bay_status, refused};

pub(super) fn register_all(module: &mut RpcModule<Context>) {
    register::<BayList, _, _, _>(module, |context, _| async move {
        let mut bays = Vec::new();
        for bay in context.bays() {
            let status = bay.ask(|bay| Box::pin(async move { Ok(bay.status()) }));
            bays.push(bay_status(status.await.map_err(refused)?));
        }
        Ok(Bays { bays })
    });
}

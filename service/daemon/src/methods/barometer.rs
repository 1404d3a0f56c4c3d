//! `barometer.*`.

use jsonrpsee::RpcModule;
use trisect_bay::BarometerRequest;
use trisect_wire::serve::register;
use trisect_wire::table::BarometerSay;

use crate::context::Context;
use crate::convert::{bay_status, refused};

pub(super) fn register_all(module: &mut RpcModule<Context>) {
    register::<BarometerSay, _, _, _>(module, |context, params| async move {
        let bay = context.bay(&params.bay)?;
        let request = BarometerRequest {
            value: params.value,
            uncertainty: params.uncertainty,
            by: params.by,
        };
        let status = bay.ask(move |bay| Box::pin(async move { bay.say_barometer(request) }));
        status.await.map(bay_status).map_err(refused)
    });
}

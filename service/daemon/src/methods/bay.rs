//! `bay.list`, `phase.say` and `barometer.say`.

use jsonrpsee::RpcModule;
use trisect_bay::BarometerRequest;
use trisect_wire::serve::register;
use trisect_wire::table::{BarometerSay, BayList, PhaseSay};
use trisect_wire::types::Bays;

use crate::context::Context;
use crate::convert::{self, bay_status, refused};

pub(super) fn register_all(module: &mut RpcModule<Context>) {
    register::<BayList, _, _, _>(module, |context, _| async move {
        let mut bays = Vec::new();
        for bay in context.bays() {
            let status = bay.ask(|bay| Box::pin(async move { Ok(bay.status()) }));
            bays.push(bay_status(status.await.map_err(refused)?));
        }
        Ok(Bays { bays })
    });
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
    register::<PhaseSay, _, _, _>(module, |context, params| async move {
        let bay = context.bay(&params.bay)?;
        let phase = params.phase.map(convert::phase_said);
        let drive = params.drive.map(convert::drive_said);
        let status = bay.ask(move |bay| Box::pin(bay.say(phase, drive)));
        status.await.map(bay_status).map_err(refused)
    });
}

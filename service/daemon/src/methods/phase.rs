//! `phase.*`.

use jsonrpsee::RpcModule;
use trisect_wire::serve::register;
use trisect_wire::table::PhaseSay;

use crate::context::Context;
use crate::convert::{self, bay_status, refused};

pub(super) fn register_all(module: &mut RpcModule<Context>) {
    register::<PhaseSay, _, _, _>(module, |context, params| async move {
        let bay = context.bay(&params.bay)?;
        let phase = params.phase.map(convert::phase_said);
        let drive = params.drive.map(convert::drive_said);
        let status = bay.ask(move |bay| Box::pin(bay.say(phase, drive)));
        status.await.map(bay_status).map_err(refused)
    });
}

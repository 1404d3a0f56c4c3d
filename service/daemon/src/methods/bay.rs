//! `bay.list`, `phase.say` and `barometer.say`.

use jsonrpsee::RpcModule;
use trisect_wire::serve::register;
use trisect_wire::table::{BarometerSay, BayList, PhaseSay};
use trisect_wire::types::Bays;

use super::Hall;

pub(super) fn register_all(module: &mut RpcModule<Hall>) {
    register::<BayList, _, _, _>(module, |hall, _| async move {
        let mut bays = Vec::new();
        for bay in hall.bays() {
            bays.push(
                bay.ask(|bay| Box::pin(async move { Ok(bay.shown()) }))
                    .await?,
            );
        }
        Ok(Bays { bays })
    });
    register::<BarometerSay, _, _, _>(module, |hall, params| async move {
        let bay = hall.bay(&params.bay)?;
        bay.ask(move |bay| Box::pin(async move { bay.say_barometer(params) }))
            .await
    });
    register::<PhaseSay, _, _, _>(module, |hall, params| async move {
        let bay = hall.bay(&params.bay)?;
        bay.ask(move |bay| Box::pin(async move { bay.say(&params).await }))
            .await
    });
}

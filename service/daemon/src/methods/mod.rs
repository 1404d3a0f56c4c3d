//! The methods of `trisect-wire`, answered: one file a noun.

mod audit;
mod bay;
mod delivery;
mod instrument;
mod job;
mod outside;
mod port;
mod probe;
mod reading;
mod replay;
mod ruleset;

use std::sync::Arc;

use jsonrpsee::RpcModule;
use trisect_wire::serve::{register, register_discover};
use trisect_wire::table::ServiceAbout;

use crate::context::Context;

/// All methods and subscriptions, registered.
pub(crate) fn module(context: Arc<Context>) -> RpcModule<Context> {
    let mut module = RpcModule::from_arc(context);
    register::<ServiceAbout, _, _, _>(&mut module, |context, _| async move { Ok(context.about()) });
    register_discover(&mut module);
    audit::register_all(&mut module);
    bay::register_all(&mut module);
    instrument::register_all(&mut module);
    port::register_all(&mut module);
    probe::register_all(&mut module);
    reading::register_all(&mut module);
    job::register_all(&mut module);
    ruleset::register_all(&mut module);
    delivery::register_all(&mut module);
    module
}

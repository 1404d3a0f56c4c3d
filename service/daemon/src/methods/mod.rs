//! The methods of `trisect-wire`, answered: one file a noun. `job.open` is registered in `job` by its name in
//! `trisect_wire::table`, `JobOpen`, and so is every other.

mod audit;
mod barometer;
mod bay;
mod calibration;
mod delivery;
mod instrument;
mod job;
mod page;
mod phase;
mod port;
mod probe;
mod reading;
mod ruleset;
mod service;
mod verdict;
mod webhook;

use std::sync::Arc;

use jsonrpsee::RpcModule;
use trisect_wire::WireError;
use trisect_wire::types::Time;

use crate::context::Context;
use crate::convert::internal;

/// Events read from the journal in one go.
const PAGE: usize = 10_000;

/// All methods and subscriptions, registered.
pub(crate) fn module(context: Arc<Context>) -> RpcModule<Context> {
    let mut module = RpcModule::from_arc(context);
    for register_all in [
        audit::register_all,
        barometer::register_all,
        bay::register_all,
        calibration::register_all,
        delivery::register_all,
        instrument::register_all,
        job::register_all,
        phase::register_all,
        port::register_all,
        probe::register_all,
        reading::register_all,
        ruleset::register_all,
        service::register_all,
        verdict::register_all,
        webhook::register_all,
    ] {
        register_all(&mut module);
    }
    module
}

/// A wall time of the journal, in microseconds since 1970.
fn time_of(wall: i64) -> Result<Time, WireError> {
    let wall = jiff::Timestamp::from_microsecond(wall).map_err(|error| internal(&error))?;
    Ok(Time(wall.to_string()))
}

//! `service.*` and `rpc.*`: what is asked of the service itself.

use jsonrpsee::RpcModule;
use trisect_wire::serve::{register, register_discover};
use trisect_wire::table::ServiceAbout;

use crate::context::Context;

pub(super) fn register_all(module: &mut RpcModule<Context>) {
    register::<ServiceAbout, _, _, _>(module, |context, _| async move { Ok(context.about()) });
    register_discover(module);
}

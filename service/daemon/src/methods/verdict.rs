//! `verdict.*`.

use jsonrpsee::RpcModule;
use trisect_wire::serve::register_watch;
use trisect_wire::table::VerdictWatch;
use trisect_wire::types::VerdictItem;

use crate::context::Context;
use crate::convert::{self, refused};

pub(super) fn register_all(module: &mut RpcModule<Context>) {
    register_watch::<VerdictWatch, _, _, _>(module, |context, params| async move {
        let bay = context.bay(&params.bay)?;
        let feed = context.publisher(&params.bay)?.verdicts.feed();
        // Without an open job there is nothing to be told first.
        let stands = bay.ask(|bay| Box::pin(async move { Ok(bay.verdict_now().ok()) }));
        let stands = stands.await.map_err(refused)?;
        let item = |said| VerdictItem::Verdict(Box::new(convert::job_verdict(&said)));
        Ok(feed.starting_with(stands.map(item).into_iter().collect()))
    });
}

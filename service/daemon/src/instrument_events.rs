//! Instruments as webhook events: attached, lost, back, detached.

use std::collections::BTreeMap;
use std::sync::Arc;

use tokio_util::sync::CancellationToken;
use trisect_wire::serve::FeedReceiver;
use trisect_wire::table::InstrumentWatch;
use trisect_wire::types::{InstrumentItem, InstrumentState};

use trisect_webhooks::Subject;

use crate::context::Context;

/// Follows the instruments until told to stop.
pub(crate) async fn follow(
    mut news: FeedReceiver<InstrumentWatch>,
    context: Arc<Context>,
    stop: CancellationToken,
) {
    let mut states = BTreeMap::new();
    loop {
        let item = tokio::select! {
            biased;
            item = news.next() => item,
            () = stop.cancelled() => return,
        };
        match item {
            Some(Ok(item)) => note(item, &mut states, &context).await,
            Some(Err(missed)) => {
                tracing::error!(missed, "changes of instruments came too fast to be posted")
            }
            None => return,
        }
    }
}

/// Posts an item if an instrument was attached, detached, lost or found: counters and notes are no event.
async fn note(
    item: InstrumentItem,
    states: &mut BTreeMap<String, InstrumentState>,
    context: &Context,
) {
    let (verb, lane, body) = match item {
        InstrumentItem::Instrument(one) => {
            let lane = format!("{}/{}", one.bay, one.instrument);
            if states.insert(lane.clone(), one.state) == Some(one.state) {
                return;
            }
            ("changed", lane, serde_json::to_string(&one))
        }
        InstrumentItem::Detached { bay, instrument } => {
            let lane = format!("{bay}/{instrument}");
            states.remove(&lane);
            let body = serde_json::json!({"bay": bay, "instrument": instrument});
            ("detached", lane, Ok(body.to_string()))
        }
        InstrumentItem::Gap { .. } => return,
    };
    if !context.deliveries.wants(Subject::Instrument) {
        return;
    }
    let outbox = &context.deliveries.outbox;
    let posted = match body {
        Ok(body) => outbox
            .post(verb, lane, body)
            .await
            .map_err(|error| error.to_string()),
        Err(error) => Err(error.to_string()),
    };
    if let Err(error) = posted {
        tracing::error!(error, "a change of an instrument was not posted");
    }
}

//! Posts what instruments do: attached, lost, back, detached.

use std::collections::BTreeMap;
use std::sync::Arc;

use tokio_util::sync::CancellationToken;
use trisect_wire::serve::{Listener, Publisher};
use trisect_wire::table::InstrumentWatch;
use trisect_wire::types::{InstrumentItem, InstrumentState};
use trisect_journal::Outbox;

/// Follows the instruments until told to stop.
pub(super) async fn follow(
    mut news: Listener<InstrumentWatch>,
    outbox: Arc<dyn Outbox>,
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
            Some(Ok(item)) => note(item, &mut states, &*outbox).await,
            Some(Err(missed)) => {
                tracing::error!(missed, "changes of instruments came too fast to be posted")
            }
            None => return,
        }
    }
}

/// Posts an item if it is news: counters and notes are none.
async fn note(
    item: InstrumentItem,
    states: &mut BTreeMap<String, InstrumentState>,
    outbox: &dyn Outbox,
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

/// Takes the place of a subscriber from now on.
pub(super) fn listen(publisher: &Publisher<InstrumentWatch>) -> Listener<InstrumentWatch> {
    publisher.listen()
}

//! `trisect watch`: readings and verdict changes as they happen, until interrupted.

use crate::args;
use crate::exit::{CliError, Ending};
use crate::io::{Io, plain};
use crate::server::{Server, with_client};
use crate::show;
use serde::Serialize;
use tokio::sync::mpsc::{Receiver, Sender, channel};
use trisect_wire::Subscription;
use trisect_wire::client::{Client, ClientError};
use trisect_wire::table::{BayList, ReadingWatch, VerdictWatch};
use trisect_wire::types::{BayName, NoParams, ReadingItem, VerdictItem};

/// Items waiting for the screen; the service says so itself if more had to be left out.
const QUEUE_LENGTH: usize = 1024;

/// Something to show: an item, or that a subscription came to an end.
#[allow(
    clippy::large_enum_variant,
    reason = "almost every item is a reading: boxing each would cost more than the others waste"
)]
enum WatchEvent {
    Reading(ReadingItem),
    Verdict(VerdictItem),
    Ending(Option<ClientError>),
}

/// One line of `--json`: an item under the name of its subscription.
#[derive(Serialize)]
struct JsonItem<'a, T> {
    watch: &'a str,
    #[serde(flatten)]
    item: &'a T,
}

/// Follows one bay or all of them.
///
/// # Errors
/// That the service refused, could not be reached or went away; that the answer could not be written.
pub fn watch(
    server: &Server,
    json: bool,
    what: args::Watch,
    io: &mut Io<'_>,
) -> Result<Ending, CliError> {
    with_client(server, |client| async move {
        let mut events = follow(&client, what.bay).await?;
        let mut said = String::new();
        loop {
            let next = tokio::select! {
                next = events.recv() => next,
                _ = tokio::signal::ctrl_c() => return Ok(Ending::AsWished),
            };
            match next {
                Some(WatchEvent::Reading(item)) if json => io.json(&JsonItem {
                    watch: ReadingWatch::NAME,
                    item: &item,
                })?,
                Some(WatchEvent::Verdict(item)) if json => io.json(&JsonItem {
                    watch: VerdictWatch::NAME,
                    item: &item,
                })?,
                Some(WatchEvent::Reading(item)) => io.say(&reading(&plain(&item)?))?,
                Some(WatchEvent::Verdict(item)) => {
                    // Every reading moves a belief a little; a person wants what is new.
                    let item = plain(&item)?;
                    let gist = gist(&item);
                    if gist != said {
                        io.say(&verdict(&item))?;
                        said = gist;
                    }
                }
                Some(WatchEvent::Ending(Some(error))) => return Err(error.into()),
                Some(WatchEvent::Ending(None)) | None => {
                    return Err(CliError::Wrong(
                        "the service has ended the connection; start it and watch again".to_owned(),
                    ));
                }
            }
        }
    })
}

/// Subscribes to the readings and verdicts of the bays.
async fn follow(client: &Client, bay: Option<String>) -> Result<Receiver<WatchEvent>, CliError> {
    let bays = match bay {
        Some(bay) => vec![bay],
        None => client
            .call::<BayList>(&NoParams {})
            .await?
            .bays
            .into_iter()
            .map(|bay| bay.bay)
            .collect(),
    };
    if bays.is_empty() {
        return Err(CliError::Wrong(
            "the service has no bays to watch; name some in its configuration".to_owned(),
        ));
    }
    let (sender, events) = channel(QUEUE_LENGTH);
    for bay in bays {
        let bay = BayName { bay };
        forward::<ReadingWatch>(client, &bay, WatchEvent::Reading, sender.clone()).await?;
        forward::<VerdictWatch>(client, &bay, WatchEvent::Verdict, sender.clone()).await?;
    }
    Ok(events)
}

/// Passes the items of one subscription on, and its end.
async fn forward<S: Subscription>(
    client: &Client,
    params: &S::Params,
    events: fn(S::Item) -> WatchEvent,
    sender: Sender<WatchEvent>,
) -> Result<(), ClientError> {
    let mut watch = client.watch::<S>(params).await?;
    tokio::spawn(async move {
        let ended = loop {
            match watch.next().await {
                // An error means nobody listens any more.
                Some(Ok(item)) => drop(sender.send(events(item)).await),
                Some(Err(error)) => break Some(error),
                None => break None,
            }
        };
        drop(sender.send(WatchEvent::Ending(ended)).await);
    });
    Ok(())
}

fn reading(item: &ReadingItem) -> String {
    match item {
        ReadingItem::Reading(reading) => show::reading(reading),
        ReadingItem::Gap { missed } => format!("… {missed} readings were too many to show\n"),
    }
}

/// A verdict's line without its time: what a person would call a change.
fn gist(item: &VerdictItem) -> String {
    match item {
        VerdictItem::Verdict(verdict) => {
            let next = verdict.verdict.next.first();
            let next = next.map_or(String::new(), |test| format!("; next: {}", test.check));
            let standing = show::standing(&verdict.verdict);
            format!("{}  {}  {standing}{next}", verdict.bay, verdict.job)
        }
        VerdictItem::Closed { job, .. } => format!("{job}  closed"),
        VerdictItem::Gap { missed } => format!("… {missed} verdicts were too many to show"),
    }
}

fn verdict(item: &VerdictItem) -> String {
    let gist = gist(item);
    match item {
        VerdictItem::Verdict(verdict) => format!("{}  {gist}\n", verdict.time),
        VerdictItem::Closed { time, .. } => format!("{time}  {gist}\n"),
        VerdictItem::Gap { .. } => format!("{gist}\n"),
    }
}

//! What a subscriber is told: published once, serialised once, and sent without ever waiting for one
//! subscriber on behalf of another. Who is too slow gets a notice with the count of what it missed.

use crate::error::ErrorKind;
use crate::method::{Gap, Subscription};
use jsonrpsee::SubscriptionSink;
use jsonrpsee::core::SubscriptionError;
use jsonrpsee::core::server::TrySendError;
use serde_json::value::{RawValue, to_raw_value};
use std::marker::PhantomData;
use std::sync::Arc;
use tokio::sync::broadcast::{Receiver, Sender, channel, error::RecvError};

/// Where the items of a subscription are published.
#[derive(Debug)]
pub struct Publisher<S: Subscription> {
    sender: Sender<Arc<RawValue>>,
    of: PhantomData<fn(S)>,
}

impl<S: Subscription> Clone for Publisher<S> {
    fn clone(&self) -> Self {
        Self {
            sender: self.sender.clone(),
            of: PhantomData,
        }
    }
}

impl<S: Subscription> Publisher<S> {
    /// Keeps the last `capacity` items for subscribers that are behind; at least one.
    pub fn new(capacity: usize) -> Self {
        Self {
            sender: channel(capacity.max(1)).0,
            of: PhantomData,
        }
    }

    /// Tells every feed an item; costs next to nothing if there is none. Never waits.
    ///
    /// # Errors
    /// If the item cannot be written as JSON.
    pub fn publish(&self, item: &S::Item) -> Result<(), serde_json::Error> {
        // Serialised once for all subscribers: the tenth screen on a bay costs a copy of the text.
        if self.is_watched() {
            // An error means the last feed has just gone.
            let _ = self.sender.send(Arc::from(to_raw_value(item)?));
        }
        Ok(())
    }

    /// Whether anyone listens: what nobody hears need not be put together.
    pub fn is_watched(&self) -> bool {
        self.sender.receiver_count() > 0
    }

    /// Everything published from now on, for a part of the service itself.
    pub fn receiver(&self) -> FeedReceiver<S> {
        FeedReceiver {
            receiver: self.sender.subscribe(),
            of: PhantomData,
        }
    }

    /// A feed of everything published from now on.
    pub fn feed(&self) -> Feed<S> {
        Feed {
            first: Vec::new(),
            receiver: self.sender.subscribe(),
            of: PhantomData,
        }
    }
}

/// What a part of the service itself is told.
#[derive(Debug)]
pub struct FeedReceiver<S: Subscription> {
    receiver: Receiver<Arc<RawValue>>,
    of: PhantomData<fn(S)>,
}

impl<S: Subscription> FeedReceiver<S> {
    /// The next item, or how many were missed; `None` once the publisher is gone. An item that
    /// cannot be read back counts as missed.
    pub async fn next(&mut self) -> Option<Result<S::Item, u64>> {
        match self.receiver.recv().await {
            Ok(item) => Some(serde_json::from_str(item.get()).map_err(|_| 1)),
            Err(RecvError::Lagged(missed)) => Some(Err(missed)),
            Err(RecvError::Closed) => None,
        }
    }
}

/// What one subscriber is told.
#[derive(Debug)]
pub struct Feed<S: Subscription> {
    first: Vec<S::Item>,
    receiver: Receiver<Arc<RawValue>>,
    of: PhantomData<fn(S)>,
}

impl<S: Subscription> Feed<S> {
    /// Tells these items first: how things stand. Take the feed before looking, so that nothing
    /// that happens in between is lost.
    #[must_use]
    pub fn starting_with(mut self, items: Vec<S::Item>) -> Self {
        self.first = items;
        self
    }

    /// Tells the subscriber until it leaves; or until the publisher is gone, which it is told too.
    pub(super) async fn tell(mut self, sink: SubscriptionSink) -> Result<(), SubscriptionError> {
        let mut subscriber = Subscriber {
            sink,
            missed: 0,
            gap: S::Item::gap,
        };
        for item in std::mem::take(&mut self.first) {
            let Ok(message) = to_raw_value(&item) else {
                continue;
            };
            // The state of things is worth waiting for; it is short.
            if subscriber.sink.send(message).await.is_err() {
                return Ok(());
            }
        }
        while self.step(&mut subscriber).await.is_some() {}
        if subscriber.sink.is_closed() {
            return Ok(());
        }
        let ended = ErrorKind::Ended
            .because("there is nothing more to watch")
            .hint("subscribe again");
        Err(to_raw_value(&ended).map_or_else(SubscriptionError::from, SubscriptionError::from_json))
    }

    /// One item, one notice of a gap, or `None` at the end.
    async fn step<G: serde::Serialize>(&mut self, subscriber: &mut Subscriber<G>) -> Option<()> {
        if subscriber.missed > 0 {
            // The notice goes before anything newer, so that the gap stands where the items are missing; until there is
            // room for it, what comes meanwhile is missed as well. `biased`: where there is room, the count is told
            // rather than grown.
            let notice = to_raw_value(&(subscriber.gap)(subscriber.missed)).ok()?;
            let item = tokio::select! {
                biased;
                sent = subscriber.sink.send(notice.clone()) => {
                    subscriber.missed = 0;
                    return sent.ok();
                }
                item = self.receiver.recv() => item,
            };
            if matches!(item, Err(RecvError::Closed)) {
                // Even the last gap is told.
                let _ = subscriber.sink.send(notice).await;
            }
            return subscriber.count_missed(item);
        }
        tokio::select! {
            () = subscriber.sink.closed() => None,
            item = self.receiver.recv() => subscriber.send_or_count(item),
        }
    }
}

/// The way to one subscriber, and how many items it has missed since the last one it got.
struct Subscriber<G> {
    sink: SubscriptionSink,
    missed: u64,
    gap: fn(u64) -> G,
}

type Received = Result<Arc<RawValue>, RecvError>;

impl<G> Subscriber<G> {
    /// Sends an item if there is room, else counts it.
    fn send_or_count(&mut self, item: Received) -> Option<()> {
        match item {
            Ok(item) => match self.sink.try_send(item.as_ref().to_owned()) {
                Ok(()) => Some(()),
                Err(TrySendError::Full(_)) => {
                    self.missed = self.missed.saturating_add(1);
                    Some(())
                }
                Err(TrySendError::Closed(_)) => None,
            },
            lagged_or_ended => self.count_missed(lagged_or_ended),
        }
    }

    /// Counts an item that comes while a notice is due.
    fn count_missed(&mut self, item: Received) -> Option<()> {
        let more = match item {
            Ok(_) => 1,
            Err(RecvError::Lagged(missed)) => missed,
            Err(RecvError::Closed) => return None,
        };
        self.missed = self.missed.saturating_add(more);
        Some(())
    }
}

//! Runs the requests of a message against the registered methods and puts the
//! replies together: the same for HTTP and WebSocket.

use std::borrow::Cow;
use std::panic::AssertUnwindSafe;
use std::sync::Arc;
use std::time::Instant;

use futures_util::FutureExt;
use jsonrpsee::core::id_providers::RandomIntegerIdProvider;
use jsonrpsee::core::server::{
    BoundedSubscriptions, ConnectionId, Extensions, MethodCallback, MethodResponse, MethodSink,
    Methods, SubscriptionMethod, SubscriptionState,
};
use jsonrpsee_types::{ErrorCode, Id, Params};
use serde_json::value::RawValue;

use super::framing::{self, Entry, Message, Request};
use super::observer::{self, CallEnded, CallObserver};
use super::refusal::{self, Refusal};
use crate::access::{Identity, Peer};

/// The methods and the limits every message is held to.
pub(super) struct Dispatcher {
    pub methods: Methods,
    pub batch_entries: usize,
    pub reply_bytes: usize,
    pub observer: Option<Arc<dyn CallObserver>>,
}

impl std::fmt::Debug for Dispatcher {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Dispatcher")
            .field("batch_entries", &self.batch_entries)
            .field("reply_bytes", &self.reply_bytes)
            .finish_non_exhaustive()
    }
}

/// Who is calling.
#[derive(Debug, Clone)]
pub(super) struct Caller {
    pub connection: ConnectionId,
    /// Where the connection comes from.
    pub peer: Option<Peer>,
    /// What layers before this one have put to the HTTP request (a role, say).
    pub extensions: Extensions,
    /// Where subscriptions go; none over plain HTTP.
    pub subscribing: Option<Subscribing>,
}

/// The way of subscription messages, and how many subscriptions there may be.
#[derive(Debug, Clone)]
pub(super) struct Subscribing {
    pub sink: MethodSink,
    pub slots: BoundedSubscriptions,
}

/// A reply, and whether the whole message was refused rather than answered.
#[derive(Debug)]
pub(super) struct MessageReply {
    pub text: String,
    pub refused: Option<Refusal>,
}

impl MessageReply {
    fn refused(refusal: Refusal) -> Self {
        Self {
            text: refusal.reply(None),
            refused: Some(refusal),
        }
    }
}

/// Where a request stands: subscriptions are set up outside batches only, as
/// their reply goes its own way, ahead of their first message.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Standing {
    Alone,
    InBatch,
}

impl Dispatcher {
    /// Answers one message; `None` where nothing is to be said (notifications,
    /// and subscriptions, which answer for themselves).
    pub(super) async fn answer(&self, text: &[u8], caller: &Caller) -> Option<MessageReply> {
        match framing::read(text, self.batch_entries) {
            Message::Broken => Some(MessageReply::refused(Refusal::Broken)),
            Message::EmptyBatch => {
                let why = "a batch has at least one entry";
                Some(MessageReply::refused(Refusal::Invalid(why)))
            }
            Message::TooManyEntries => Some(MessageReply::refused(Refusal::BatchTooLarge)),
            Message::Single(entry) => {
                let text = self.entry(entry, caller, Standing::Alone).await?;
                Some(MessageReply {
                    text,
                    refused: None,
                })
            }
            Message::Batch(entries) => self.batch(entries, caller).await,
        }
    }

    /// The entries of a batch run one after the other, in their order.
    async fn batch(&self, entries: Vec<&RawValue>, caller: &Caller) -> Option<MessageReply> {
        let mut text = String::new();
        for raw in entries {
            let entry = framing::entry(raw);
            let Some(reply) = self.entry(entry, caller, Standing::InBatch).await else {
                continue;
            };
            if text.len() + reply.len() + 2 > self.reply_bytes {
                return Some(MessageReply::refused(Refusal::ReplyTooLarge));
            }
            text.push(if text.is_empty() { '[' } else { ',' });
            text.push_str(&reply);
        }
        if text.is_empty() {
            return None;
        }
        text.push(']');
        Some(MessageReply {
            text,
            refused: None,
        })
    }

    async fn entry(&self, entry: Entry<'_>, caller: &Caller, stands: Standing) -> Option<String> {
        match entry {
            Entry::Invalid { id, why } => Some(Refusal::Invalid(why).reply(id)),
            Entry::Call { id, request } => self.call(id, request, caller, stands).await,
            Entry::Notification(request) => {
                // Carried out like a call; what comes of it is nobody's to hear.
                let _ = self.run(Id::Null, &request, caller, None).await;
                None
            }
        }
    }

    async fn call(
        &self,
        written: &RawValue,
        request: Request<'_>,
        caller: &Caller,
        stands: Standing,
    ) -> Option<String> {
        let id = plain_id(written);
        // jsonrpsee sends the reply to a subscription itself, under an id it knows.
        let subscribing = match (stands, &id) {
            (Standing::Alone, Some(_)) => caller.subscribing.as_ref(),
            _ => None,
        };
        let odd = id.is_none();
        let id = id.unwrap_or(Id::Null);
        match self.run(id, &request, caller, subscribing).await {
            Ok(reply) if reply.is_subscription() => None,
            Ok(reply) if odd => Some(under_id(reply.as_json(), written)),
            Ok(reply) => Some(Box::<str>::from(reply.into_json()).into_string()),
            Err(Refusal::UnknownMethod) => {
                let wire = Refusal::UnknownMethod.wire();
                let wire = wire.hint_nearest(&request.method, self.methods.method_names());
                Some(refusal::reply(wire, Some(written)))
            }
            Err(refusal) => Some(refusal.reply(Some(written))),
        }
    }

    /// Runs a method, if its caller may call so often, and has it looked on.
    async fn run(
        &self,
        id: Id<'static>,
        request: &Request<'_>,
        caller: &Caller,
        subscribing: Option<&Subscribing>,
    ) -> Result<MethodResponse, Refusal> {
        let began = Instant::now();
        let identity = caller.extensions.get::<Identity>();
        let done = if identity.is_none_or(Identity::may_call) {
            self.carry_out(id, request, caller, subscribing).await
        } else {
            Err(Refusal::TooOften)
        };
        if let Some(observer) = &self.observer {
            let refused = match &done {
                Ok(reply) => reply.as_error_code().map(observer::kind_of),
                Err(refusal) => Some(refusal.wire().kind),
            };
            let noted = observer.ended(&CallEnded {
                method: Cow::Borrowed(&request.method),
                params: request.params,
                identity,
                peer: caller.peer,
                refused,
                took: began.elapsed(),
            });
            if let Some(noted) = noted {
                noted.await;
            }
        }
        done
    }

    /// Runs a method. A panic in it is answered as an internal error.
    async fn carry_out(
        &self,
        id: Id<'static>,
        request: &Request<'_>,
        caller: &Caller,
        subscribing: Option<&Subscribing>,
    ) -> Result<MethodResponse, Refusal> {
        let Some(method) = self.methods.method(&request.method) else {
            return Err(Refusal::UnknownMethod);
        };
        let params = Params::new(request.params.map(RawValue::get));
        let running = async {
            match method {
                MethodCallback::Subscription(start) => {
                    let subscribing = subscribing.ok_or(Refusal::NeedsWebSocket)?;
                    subscribe(start, id, params, caller, subscribing).await
                }
                _ => Ok(self.plain(method, id, params, caller).await),
            }
        };
        match AssertUnwindSafe(running).catch_unwind().await {
            Ok(done) => done,
            Err(_) => {
                tracing::error!(method = %request.method, "the method panicked");
                Err(Refusal::Internal)
            }
        }
    }

    /// Runs a method that gives one result.
    async fn plain(
        &self,
        method: &MethodCallback,
        id: Id<'static>,
        params: Params<'_>,
        caller: &Caller,
    ) -> MethodResponse {
        let (size, connection) = (self.reply_bytes, caller.connection);
        let extensions = caller.extensions.clone();
        match method {
            MethodCallback::Sync(run) => run(id, params, size, extensions),
            MethodCallback::Unsubscription(run) => run(id, params, connection, size, extensions),
            MethodCallback::Async(run) => {
                run(id, params.into_owned(), connection, size, extensions).await
            }
            // Has been told apart already; it gives a stream, not a result.
            MethodCallback::Subscription(_) => MethodResponse::error(id, ErrorCode::InternalError),
        }
    }
}

/// Starts a subscription; jsonrpsee answers for it.
async fn subscribe(
    start: &SubscriptionMethod<'static>,
    id: Id<'static>,
    params: Params<'_>,
    caller: &Caller,
    subscribing: &Subscribing,
) -> Result<MethodResponse, Refusal> {
    let slot = subscribing.slots.acquire();
    let state = SubscriptionState {
        conn_id: caller.connection,
        id_provider: &RandomIntegerIdProvider,
        subscription_permit: slot.ok_or(Refusal::TooManySubscriptions)?,
    };
    let (sink, extensions) = (subscribing.sink.clone(), caller.extensions.clone());
    Ok(start(id, params, sink, state, extensions).await)
}

/// The id in jsonrpsee's terms; `None` for a number that it cannot hold
/// (negative, with a fraction, with an exponent, or beyond 64 bits).
fn plain_id(written: &RawValue) -> Option<Id<'static>> {
    if written.get() == "null" {
        return Some(Id::Null);
    }
    if let Some(text) = framing::text_of(written) {
        return Some(Id::Str(text.into_owned().into()));
    }
    written.get().parse().ok().map(Id::Number)
}

/// How jsonrpsee begins every reply to a call whose id it was told is `null`.
const UNDER_NULL: &str = r#"{"jsonrpc":"2.0","id":null"#;

/// The same reply under the id the caller wrote. jsonrpsee's ids are whole numbers of 64 bits and texts, and it
/// writes the reply itself; so a call with another id runs under `null`, and the id is put where that stands. The
/// rest of the reply, which may be ten megabytes, is neither read nor copied twice.
fn under_id(reply: &RawValue, written: &RawValue) -> String {
    match reply.get().strip_prefix(UNDER_NULL) {
        Some(rest) => [r#"{"jsonrpc":"2.0","id":"#, written.get(), rest].concat(),
        // Another version of jsonrpsee writes replies otherwise: the tests of ids find it.
        None => Refusal::Internal.reply(Some(written)),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn replies_take_the_id_they_are_given() {
        let id = serde_json::from_str::<&RawValue>("1.50").unwrap();
        let check = |reply: &str, expected: &str| {
            let reply = serde_json::from_str::<&RawValue>(reply).unwrap();
            assert_eq!(under_id(reply, id), expected);
        };
        check(
            r#"{"jsonrpc":"2.0","id":null,"result":null}"#,
            r#"{"jsonrpc":"2.0","id":1.50,"result":null}"#,
        );
        check(
            r#"{"jsonrpc":"2.0","id":null,"error":{"code":1,"message":"m"}}"#,
            r#"{"jsonrpc":"2.0","id":1.50,"error":{"code":1,"message":"m"}}"#,
        );
    }

    #[test]
    fn only_ids_jsonrpsee_can_hold_are_plain() {
        let check = |id: &str, plain: bool| {
            let raw = serde_json::from_str::<&RawValue>(id).unwrap();
            assert_eq!(plain_id(raw).is_some(), plain, "{id}");
        };
        check("7", true);
        check("\"7\"", true);
        check("null", true);
        check("18446744073709551615", true);
        check("18446744073709551616", false);
        check("-1", false);
        check("1.5", false);
        check("1e3", false);
    }
}

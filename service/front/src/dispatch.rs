//! Runs the requests of a message against the registered methods and puts the
//! replies together: the same for HTTP and WebSocket.

use std::borrow::Cow;
use std::panic::AssertUnwindSafe;
use std::sync::Arc;
use std::time::Instant;

use futures_util::FutureExt;
use http::Extensions;
use jsonrpsee::core::id_providers::RandomIntegerIdProvider;
use jsonrpsee::core::server::{
    BoundedSubscriptions, ConnectionId, MethodCallback, MethodResponse, MethodSink, Methods,
    SubscriptionMethod, SubscriptionState,
};
use jsonrpsee_types::error::OVERSIZED_RESPONSE_CODE;
use jsonrpsee_types::{ErrorCode, Id, Params};
use serde_json::value::RawValue;

use super::error_reply::{self, ErrorReply};
use super::framing::{self, Entry, Message, Request};
use super::observer::{self, CallEnded, CallObserver};
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

/// A reply to a message.
#[derive(Debug)]
pub(super) struct MessageReply {
    pub text: String,
    /// The error it is as a whole, where the message was refused rather than answered.
    pub whole: Option<ErrorReply>,
}

impl MessageReply {
    fn error(error: ErrorReply) -> Self {
        Self {
            text: error.text(None),
            whole: Some(error),
        }
    }

    fn answer(text: String) -> Self {
        Self { text, whole: None }
    }
}

/// Where a request stands in its message.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Standing {
    Alone,
    InBatch,
}

/// What a subscription needs of its request and its connection.
struct Subscribe<'a> {
    id: Id<'static>,
    to: &'a Subscribing,
}

impl Dispatcher {
    /// Answers one message; `None` where nothing is to be said (notifications,
    /// and subscriptions, which answer for themselves).
    pub(super) async fn answer(&self, text: &[u8], caller: &Caller) -> Option<MessageReply> {
        match framing::read(text, self.batch_entries) {
            Message::Broken => Some(MessageReply::error(ErrorReply::Broken)),
            Message::EmptyBatch => {
                let why = "a batch has at least one entry";
                Some(MessageReply::error(ErrorReply::Invalid(why)))
            }
            Message::TooManyEntries => Some(MessageReply::error(ErrorReply::BatchTooLarge)),
            Message::Single(entry) => {
                let text = self.entry(entry, caller, Standing::Alone).await?;
                Some(MessageReply::answer(text))
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
            // Each entry may answer as much as a whole reply, and there may be a thousand of them.
            if text.len() + reply.len() + 2 > self.reply_bytes {
                return Some(MessageReply::error(ErrorReply::ReplyTooLarge));
            }
            text.push(if text.is_empty() { '[' } else { ',' });
            text.push_str(&reply);
        }
        // Notifications alone: the specification asks for nothing, not for an empty batch.
        if text.is_empty() {
            return None;
        }
        text.push(']');
        Some(MessageReply::answer(text))
    }

    async fn entry(&self, entry: Entry<'_>, caller: &Caller, stands: Standing) -> Option<String> {
        match entry {
            Entry::Invalid { id, why } => Some(ErrorReply::Invalid(why).text(id)),
            Entry::Call { id, request } => self.answer_call(id, &request, caller, stands).await,
            Entry::Notification(request) => {
                // Carried out like a call; what comes of it is nobody's to hear.
                let _ = self.call(&request, caller, None).await;
                None
            }
        }
    }

    async fn answer_call(
        &self,
        id: &RawValue,
        request: &Request<'_>,
        caller: &Caller,
        stands: Standing,
    ) -> Option<String> {
        // In a batch nothing can be subscribed to: jsonrpsee sends the reply to a subscription itself, ahead of its
        // first message, and a batch has one reply for all its entries.
        let subscribe = match stands {
            Standing::Alone => subscribe_with(id, caller),
            Standing::InBatch => None,
        };
        match self.call(request, caller, subscribe).await {
            Ok(reply) if reply.is_subscription() => None,
            Ok(reply) => Some(under_id(reply.as_json(), id)),
            Err(ErrorReply::UnknownMethod) => {
                let wire = ErrorReply::UnknownMethod.wire();
                let wire = wire.hint_nearest(&request.method, self.methods.method_names());
                Some(error_reply::text(wire, Some(id)))
            }
            Err(error) => Some(error.text(Some(id))),
        }
    }

    /// Calls a method, if its caller may call so often, and tells the observer.
    async fn call(
        &self,
        request: &Request<'_>,
        caller: &Caller,
        subscribe: Option<Subscribe<'_>>,
    ) -> Result<MethodResponse, ErrorReply> {
        let began = Instant::now();
        let identity = caller.extensions.get::<Identity>();
        // Here rather than before the message is read: each entry of a batch is a call.
        let done = if identity.is_none_or(Identity::may_call) {
            self.call_method(request, caller, subscribe).await
        } else {
            Err(ErrorReply::TooOften)
        };
        if let Some(observer) = &self.observer {
            let refused = match &done {
                Ok(reply) => reply.as_error_code().map(observer::kind_of),
                Err(error) => Some(error.wire().kind),
            };
            let noted = observer.ended(&CallEnded {
                method: Cow::Borrowed(&request.method),
                params: request.params,
                identity,
                peer: caller.peer,
                refused,
                took: began.elapsed(),
            });
            // Whoever has the reply can rely on it that the audit trail has the call.
            if let Some(noted) = noted {
                noted.await;
            }
        }
        done
    }

    /// Calls a method. A panic in it is answered as an internal error.
    async fn call_method(
        &self,
        request: &Request<'_>,
        caller: &Caller,
        subscribe: Option<Subscribe<'_>>,
    ) -> Result<MethodResponse, ErrorReply> {
        let Some(method) = self.methods.method(&request.method) else {
            return Err(ErrorReply::UnknownMethod);
        };
        let params = Params::new(request.params.map(RawValue::get));
        let running = async {
            match method {
                MethodCallback::Subscription(start) => {
                    let subscribe = subscribe.ok_or(ErrorReply::NeedsWebSocket)?;
                    start_subscription(start, params, caller, subscribe).await
                }
                _ => {
                    let reply = self.call_plain(method, params, caller).await;
                    // In our words, like every other refusal: jsonrpsee's has no kind and no hint.
                    if reply.as_error_code() == Some(OVERSIZED_RESPONSE_CODE) {
                        return Err(ErrorReply::ReplyTooLarge);
                    }
                    Ok(reply)
                }
            }
        };
        // A panic is a defect of one method. Without this it would end the connection, and with it the other calls
        // and the subscriptions of a client that did nothing wrong. What a method shares is behind locks that are
        // taken up again after a panic, so nothing is left broken that the next call would not see.
        match AssertUnwindSafe(running).catch_unwind().await {
            Ok(done) => done,
            Err(_) => {
                tracing::error!(method = %request.method, "the method panicked");
                Err(ErrorReply::Internal)
            }
        }
    }

    /// Calls a method that gives one result. Its reply is under `null`: see [`under_id`].
    async fn call_plain(
        &self,
        method: &MethodCallback,
        params: Params<'_>,
        caller: &Caller,
    ) -> MethodResponse {
        let id = Id::Null;
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
async fn start_subscription(
    start: &SubscriptionMethod<'static>,
    params: Params<'_>,
    caller: &Caller,
    Subscribe { id, to }: Subscribe<'_>,
) -> Result<MethodResponse, ErrorReply> {
    let slot = to.slots.acquire();
    let state = SubscriptionState {
        conn_id: caller.connection,
        id_provider: &RandomIntegerIdProvider,
        subscription_permit: slot.ok_or(ErrorReply::TooManySubscriptions)?,
    };
    let (sink, extensions) = (to.sink.clone(), caller.extensions.clone());
    Ok(start(id, params, sink, state, extensions).await)
}

/// What a request under this id subscribes with; `None` over plain HTTP, and for an id that jsonrpsee cannot hold.
fn subscribe_with<'a>(written: &RawValue, caller: &'a Caller) -> Option<Subscribe<'a>> {
    let (to, id) = (caller.subscribing.as_ref()?, jsonrpsee_id(written)?);
    Some(Subscribe { id, to })
}

/// The id in jsonrpsee's terms; `None` for a number that it cannot hold
/// (negative, with a fraction, with an exponent, or beyond 64 bits).
fn jsonrpsee_id(written: &RawValue) -> Option<Id<'static>> {
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

/// A reply under the id the caller wrote. A method of jsonrpsee gives no result to put into a reply but a
/// `MethodResponse`, which is a finished text with the id in it; and its ids are whole numbers of 64 bits and texts.
/// So every call runs under `null`, and the caller's own text is put where that stands: one way for all ids, and the
/// rest of the reply, which may be ten megabytes, is copied once and never read.
fn under_id(reply: &RawValue, written: &RawValue) -> String {
    match reply.get().strip_prefix(UNDER_NULL) {
        Some(rest) => [r#"{"jsonrpc":"2.0","id":"#, written.get(), rest].concat(),
        // A subscription that ended before it answered, whose internal error has its id already; or another version
        // of jsonrpsee that writes replies otherwise, which every test of this crate finds.
        None => ErrorReply::Internal.text(Some(written)),
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
    fn an_id_is_one_of_jsonrpsee_if_it_can_hold_it() {
        let check = |id: &str, held: bool| {
            let raw = serde_json::from_str::<&RawValue>(id).unwrap();
            assert_eq!(jsonrpsee_id(raw).is_some(), held, "{id}");
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

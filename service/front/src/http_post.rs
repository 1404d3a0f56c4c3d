//! JSON-RPC over HTTP POST.

use axum::body::Body;
use axum::response::{IntoResponse, Response};
use http::{HeaderMap, StatusCode, header};
use http_body_util::BodyExt;

use super::dispatch::{Caller, Dispatcher};
use super::error_reply::{ErrorReply, json};
use super::settings::TransportSettings;

/// How many times the limit is read past before the connection is cut instead.
const READ_PAST: usize = 8;

/// Answers one POST: 200 with the reply, 204 where there is none to give, and
/// another status where the transport refuses the request as a whole.
pub(super) async fn answer(
    dispatcher: &Dispatcher,
    settings: &TransportSettings,
    headers: &HeaderMap,
    body: Body,
    caller: &Caller,
) -> Response {
    if !is_json(headers) {
        return ErrorReply::ContentType.response();
    }
    let text = match read_body(settings, body).await {
        Ok(text) => text,
        Err(reply) => return reply.response(),
    };
    match dispatcher.answer(&text, caller).await {
        Some(answer) => {
            let status = answer.whole.map_or(StatusCode::OK, ErrorReply::status);
            json(status, answer.text)
        }
        None => StatusCode::NO_CONTENT.into_response(),
    }
}

/// Whether the body says to be JSON. A page of another site cannot say so
/// without asking first, which the service never grants.
fn is_json(headers: &HeaderMap) -> bool {
    let content_type = headers.get(header::CONTENT_TYPE);
    let Some(text) = content_type.and_then(|value| value.to_str().ok()) else {
        return false;
    };
    let media_type = text.split(';').next().unwrap_or_default().trim();
    [
        "application/json",
        "application/json-rpc",
        "application/jsonrequest",
    ]
    .iter()
    .any(|known| media_type.eq_ignore_ascii_case(known))
}

async fn read_body(settings: &TransportSettings, body: Body) -> Result<Vec<u8>, ErrorReply> {
    let reading = read_up_to(body, settings.request_bytes);
    match tokio::time::timeout(settings.body_within, reading).await {
        Ok(read) => read,
        Err(_) => Err(ErrorReply::TooSlow),
    }
}

/// Takes the body in. What is over the limit is read past and thrown away, as
/// most clients look for an answer only once they have sent everything.
async fn read_up_to(mut body: Body, limit: usize) -> Result<Vec<u8>, ErrorReply> {
    let mut text = Vec::new();
    let mut length = 0_usize;
    while let Some(frame) = body.frame().await {
        // The client went away or sent broken chunks; it is unlikely to hear this.
        let frame = frame.map_err(|_| ErrorReply::Broken)?;
        // Trailers say nothing that is asked for here.
        let Ok(data) = frame.into_data() else {
            continue;
        };
        length = length.saturating_add(data.len());
        if length > limit.saturating_mul(READ_PAST) {
            return Err(ErrorReply::RequestTooLarge);
        }
        if length > limit {
            // What is refused anyway holds no memory while the rest of it comes in.
            text = Vec::new();
        } else {
            text.extend_from_slice(&data);
        }
    }
    if length > limit {
        return Err(ErrorReply::RequestTooLarge);
    }
    Ok(text)
}

//! `GET /health/live`: the process answers. `GET /health/ready` (and `/health`): the journal and
//! every bay do.

use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::response::IntoResponse;
use axum::routing::get;
use http::{StatusCode, header};
use tokio::time::timeout;
use trisect_journal::JobFilter;

use crate::context::Context;

/// What takes longer than this does not answer.
const ANSWER: Duration = Duration::from_secs(2);

/// The routes. They answer 200 with `{"status":"live"}` or `{"status":"ready"}`, or 503 with the
/// reason.
pub(crate) fn routes(context: Arc<Context>) -> Router {
    let ready = move || answer(Arc::clone(&context));
    Router::new()
        .route("/health", get(ready.clone()))
        .route("/health/ready", get(ready))
        .route(
            "/health/live",
            get(|| async { said(StatusCode::OK, &serde_json::json!({"status": "live"})) }),
        )
}

async fn answer(context: Arc<Context>) -> impl IntoResponse {
    match ready(&context).await {
        Ok(()) => said(StatusCode::OK, &serde_json::json!({"status": "ready"})),
        Err(why) => {
            let body = serde_json::json!({"status": "not ready", "why": why});
            said(StatusCode::SERVICE_UNAVAILABLE, &body)
        }
    }
}

fn said(status: StatusCode, body: &serde_json::Value) -> impl IntoResponse + use<> {
    let json = [(header::CONTENT_TYPE, "application/json")];
    (status, json, body.to_string())
}

/// Whether the journal and every bay answer.
///
/// # Errors
/// What does not, and why.
pub(crate) async fn ready(context: &Context) -> Result<(), String> {
    let reading = context.journal.jobs(JobFilter::default(), 1);
    match timeout(ANSWER, reading).await {
        Ok(Ok(_)) => {}
        Ok(Err(error)) => return Err(error.to_string()),
        Err(_) => return Err("the journal does not answer".to_owned()),
    }
    for bay in context.bays() {
        let asked = bay.ask(|_| Box::pin(async { Ok(()) }));
        match timeout(ANSWER, asked).await {
            Ok(Ok(())) => {}
            Ok(Err(error)) => return Err(format!("{}: {error}", bay.name())),
            Err(_) => return Err(format!("{} does not answer", bay.name())),
        }
    }
    Ok(())
}

//! `GET /health`: alive, and whether the journal answers.

use std::sync::Arc;

use axum::Router;
use axum::http::{StatusCode, header};
use axum::response::IntoResponse;
use axum::routing::get;
use trisect_journal::{JobFilter, Journal};

/// The route. It answers 200 with `{"status":"ready"}`, or 503 with the reason.
pub(crate) fn route(journal: Arc<dyn Journal>) -> Router {
    Router::new().route("/health", get(move || answer(Arc::clone(&journal))))
}

async fn answer(journal: Arc<dyn Journal>) -> impl IntoResponse {
    let (status, body) = match journal.jobs(JobFilter::default(), 1).await {
        Ok(_) => (StatusCode::OK, serde_json::json!({"status": "ready"})),
        Err(error) => {
            let body = serde_json::json!({"status": "not ready", "why": error.to_string()});
            (StatusCode::SERVICE_UNAVAILABLE, body)
        }
    };
    (
        status,
        [(header::CONTENT_TYPE, "application/json")],
        body.to_string(),
    )
}

//! `GET /schema/…`: the JSON Schemas of rule sets and cases, for editors.

use axum::Router;
use axum::response::IntoResponse;
use axum::routing::get;
use http::header;
use trisect_rules::schema;

/// The routes. They need no token: what a rule set looks like is no secret.
pub(crate) fn routes() -> Router {
    Router::new()
        .route(
            "/schema/ruleset.schema.json",
            get(|| told(schema::RULE_SET)),
        )
        .route("/schema/case.schema.json", get(|| told(schema::CASE)))
}

async fn told(schema: &'static str) -> impl IntoResponse {
    ([(header::CONTENT_TYPE, "application/schema+json")], schema)
}

//! Traces of calls, sent to a collector by OTLP/HTTP in its JSON form.
//!
//! One call is one span. They are gathered and sent a second at a time; a collector that is slow
//! or away costs nothing but its spans, which are counted and said in the log. The exporter is
//! this file rather than a library: the whole protocol needed is one POST of one JSON shape
//! (opentelemetry.io, OTLP 1.3, "JSON Protobuf encoding"), and the libraries would be a third of the
//! build.

use std::time::Duration;

use jiff::Timestamp;
use serde_json::{Value, json};
use tokio::sync::mpsc;
use tokio::time::interval;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use trisect_http::{HttpClient, HttpRequest, Tls, Url};
use trisect_kit::Networks;

/// Spans that may wait; further ones are counted and left out.
const WAITING: usize = 4096;
/// How often they are sent, and how long that may take.
const EACH: Duration = Duration::from_secs(1);
const WITHIN: Duration = Duration::from_secs(5);
/// How much of an answer is read: its status is what counts.
const LONGEST_ANSWER: usize = 64 * 1024;

/// Where spans are put.
#[derive(Clone)]
pub(crate) struct Traces {
    spans: mpsc::Sender<Value>,
}

/// Reads a collector's address.
///
/// # Errors
/// What is none, or would need TLS.
pub(crate) fn address(endpoint: &str) -> Result<Url, String> {
    let url = Url::parse(endpoint).ok().filter(|url| !url.secure);
    url.ok_or_else(|| {
        format!("`{endpoint}` is no collector: write it as http://127.0.0.1:4318/v1/traces")
    })
}

/// A client of a collector. The configuration names it, so it may be anywhere, this machine above all.
fn client(endpoint: &str) -> Result<HttpClient, String> {
    let url = address(endpoint)?;
    let tls = Tls::new(None).map_err(|error| error.to_string())?;
    let anywhere = Networks::all();
    Ok(HttpClient::new(url, tls, anywhere, WITHIN, LONGEST_ANSWER))
}

impl Traces {
    /// Starts sending, until told to stop: then the rest.
    pub(crate) fn start(endpoint: &str, tracker: &TaskTracker, stop: CancellationToken) -> Traces {
        let (spans, waiting) = mpsc::channel(WAITING);
        match client(endpoint) {
            Ok(collector) => {
                tracker.spawn(send_all(collector, waiting, stop));
            }
            // The address was checked with the configuration.
            Err(error) => tracing::error!(error, "traces are not sent"),
        }
        Traces { spans }
    }

    /// A call was answered.
    pub(crate) fn called(&self, method: &str, outcome: &str, took: Duration, who: Option<&str>) {
        let span = span(method, outcome, took, who, Timestamp::now());
        // Full: the collector is away, and the log says so.
        let _ = self.spans.try_send(span);
    }
}

/// One span as OTLP has it: ids in hexadecimal, 64-bit numbers as texts.
fn span(method: &str, outcome: &str, took: Duration, who: Option<&str>, end: Timestamp) -> Value {
    let mut ids = [0; 24];
    // Without random bits the ids are zeros, which a collector leaves out.
    let _ = getrandom::fill(&mut ids);
    let hex = |bytes: &[u8]| bytes.iter().map(|b| format!("{b:02x}")).collect::<String>();
    let ended = end.as_nanosecond();
    let began = ended - i128::try_from(took.as_nanos()).unwrap_or(0);
    let text = |key: &str, value: &str| json!({"key": key, "value": {"stringValue": value}});
    let mut attributes = vec![text("rpc.system", "jsonrpc"), text("rpc.method", method)];
    attributes.extend(who.map(|who| text("enduser.id", who)));
    let mut status = json!({"code": 1});
    if outcome != "ok" {
        attributes.push(text("error.type", outcome));
        status = json!({"code": 2, "message": outcome});
    }
    json!({
        "traceId": hex(&ids[..16]),
        "spanId": hex(&ids[16..]),
        "name": method,
        "kind": 2,
        "startTimeUnixNano": began.to_string(),
        "endTimeUnixNano": ended.to_string(),
        "attributes": attributes,
        "status": status,
    })
}

/// Spans as one request.
fn request(spans: Vec<Value>) -> Value {
    let text = |key: &str, value: &str| json!({"key": key, "value": {"stringValue": value}});
    let resource = [
        text("service.name", "trisectd"),
        text("service.version", env!("CARGO_PKG_VERSION")),
    ];
    json!({"resourceSpans": [{
        "resource": {"attributes": resource},
        "scopeSpans": [{"scope": {"name": "trisectd"}, "spans": spans}],
    }]})
}

async fn send_all(
    mut collector: HttpClient,
    mut waiting: mpsc::Receiver<Value>,
    stop: CancellationToken,
) {
    let mut each = interval(EACH);
    let mut away = false;
    loop {
        let going_on = stop.run_until_cancelled(each.tick()).await.is_some();
        let mut spans = Vec::new();
        while let Ok(span) = waiting.try_recv() {
            spans.push(span);
        }
        let count = spans.len();
        if count > 0 {
            let failed = send(&mut collector, &request(spans)).await.err();
            match (&failed, away) {
                (Some(error), false) => {
                    tracing::warn!(
                        error,
                        count,
                        "traces were not taken; further ones are dropped in silence"
                    );
                }
                (None, true) => tracing::info!("traces are taken again"),
                _ => {}
            }
            away = failed.is_some();
        }
        if !going_on {
            return;
        }
    }
}

/// # Errors
/// Why the collector did not take them, in words.
async fn send(collector: &mut HttpClient, spans: &Value) -> Result<(), String> {
    let request = HttpRequest::post("application/json", spans.to_string());
    let answer = collector.call(&request).await;
    match answer.map_err(|error| error.to_string())?.status {
        200..=299 => Ok(()),
        status => Err(format!("it answers {status}")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_plain_addresses_are_collectors() {
        let check = |endpoint: &str, expected: Option<(&str, u16, &str)>| {
            let found = address(endpoint).ok();
            let found = found
                .as_ref()
                .map(|url| (url.host.as_str(), url.port, url.path.as_str()));
            assert_eq!(found, expected, "{endpoint}");
        };
        check(
            "http://127.0.0.1:4318/v1/traces",
            Some(("127.0.0.1", 4318, "/v1/traces")),
        );
        check("http://collector/x", Some(("collector", 80, "/x")));
        for none in [
            "",
            "collector:4318",
            "https://collector/v1/traces",
            "/v1/traces",
        ] {
            check(none, None);
        }
    }

    #[test]
    fn a_span_has_what_otlp_asks_for() {
        let end = Timestamp::UNIX_EPOCH;
        let ok = span(
            "job.open",
            "ok",
            Duration::from_nanos(5),
            Some("token:x"),
            end,
        );
        assert_eq!(ok["startTimeUnixNano"], "-5");
        assert_eq!(ok["status"], json!({"code": 1}));
        assert_eq!(ok["traceId"].as_str().map(str::len), Some(32));
        assert_eq!(ok["spanId"].as_str().map(str::len), Some(16));
        let refused = span("job.open", "bay-busy", Duration::ZERO, None, end);
        assert_eq!(refused["status"]["code"], 2);
    }
}

//! The adapter keeps the contract of adapters.

use std::path::Path;
use std::sync::Arc;

use serde_json::json;
use trisect_kit::Adapter;
use trisect_kit::conformance::{Instrument, TcpFront, conform};

use super::adapter;

struct Gauge(TcpFront);

impl Gauge {
    fn url(&self, path: &Path) -> String {
        format!("http://{}/values", self.0.address(path).unwrap())
    }
}

impl Instrument for Gauge {
    fn adapter(&self, path: &Path) -> Box<dyn Adapter> {
        Box::new(adapter(json!({
            "url": self.url(path), "every": 0.01, "timeout": 0.3, "silent_after": 0.4,
            "readings": [{"function": "pressure", "value": "/inlet", "unit": "kPa"}],
        })))
    }

    fn port_name(&self, path: &Path) -> String {
        self.url(path)
    }

    fn answers(&self, request: &[u8]) -> Vec<u8> {
        if !request.starts_with(b"GET /values") {
            return Vec::new();
        }
        b"HTTP/1.1 200 OK\r\ncontent-type: application/json\r\ncontent-length: 12\r\n\r\n{\"inlet\": 5}".to_vec()
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_http_instrument_keeps_the_contract() {
    let breaches = conform(Arc::new(Gauge(TcpFront::default()))).await;
    assert!(breaches.is_empty(), "{breaches:#?}");
}

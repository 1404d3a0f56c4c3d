//! The transport from outside, by clients that are not jsonrpsee's: plain bytes
//! over TCP.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod client;
mod flood;
mod ids;
mod length;
mod limits;
mod origin_check;
mod section7;
mod stop;
mod subscriptions;
mod websocket;

use std::future::Future;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::routing::get;
use jsonrpsee::RpcModule;
use jsonrpsee_types::ErrorObjectOwned;
use serde_json::{Value, json};
use tokio::net::TcpListener;
use tokio::sync::Semaphore;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use super::{TransportError, TransportSettings, serve};

/// A running transport with the methods of the specification's examples.
struct Running {
    address: SocketAddr,
    stop: CancellationToken,
    /// `hold` waits here; one permit lets one call go on.
    gate: Arc<Semaphore>,
    /// How many calls of `hold` have begun.
    begun: Arc<Semaphore>,
    serving: JoinHandle<Result<(), TransportError>>,
}

impl Running {
    async fn start(settings: TransportSettings) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let (gate, begun) = (Arc::new(Semaphore::new(0)), Arc::new(Semaphore::new(0)));
        let module = methods(gate.clone(), begun.clone());
        let routes = Router::new().route("/health", get(|| async { "well" }));
        let stop = CancellationToken::new();
        let serving = tokio::spawn(serve(listener, module, routes, settings, stop.clone()));
        Self {
            address,
            stop,
            gate,
            begun,
            serving,
        }
    }

    /// Waits until `hold` runs.
    async fn wait_begun(&self) {
        within(self.begun.acquire()).await.unwrap().forget();
    }
}

/// Fails a test that would otherwise hang.
async fn within<F: Future>(future: F) -> F::Output {
    let waiting = tokio::time::timeout(Duration::from_secs(20), future);
    waiting
        .await
        .expect("the condition did not come true in time")
}

fn methods(gate: Arc<Semaphore>, begun: Arc<Semaphore>) -> RpcModule<()> {
    let mut module = RpcModule::new(());
    module
        .register_method("subtract", |params, (), _| subtract(&params.parse()?))
        .unwrap();
    module
        .register_method("sum", |params, (), _| {
            let numbers: Vec<i64> = params.parse()?;
            Ok::<_, ErrorObjectOwned>(numbers.iter().sum::<i64>())
        })
        .unwrap();
    module
        .register_method("get_data", |_, (), _| json!(["hello", 5]))
        .unwrap();
    for name in ["update", "notify_hello", "notify_sum"] {
        module
            .register_method(name, |_, (), _| Value::Null)
            .unwrap();
    }
    module
        .register_method("echo", |params, (), _| params.parse::<Value>())
        .unwrap();
    module
        .register_method::<Value, _>("fall", |_, (), _| panic!("a method that falls over"))
        .unwrap();
    module
        .register_async_method("hold", move |_, _, _| {
            let (gate, begun) = (gate.clone(), begun.clone());
            async move {
                begun.add_permits(1);
                gate.acquire().await.unwrap().forget();
                "let go"
            }
        })
        .unwrap();
    module
        .register_subscription(
            "count.watch",
            "count",
            "count.unwatch",
            |_, pending, _, _| async {
                let Ok(sink) = pending.accept().await else {
                    return;
                };
                for number in 0..3 {
                    let number = serde_json::value::to_raw_value(&number).unwrap();
                    let _ = sink.send(number).await;
                }
                sink.closed().await;
            },
        )
        .unwrap();
    module
        .register_subscription(
            "long.watch",
            "long",
            "long.unwatch",
            |_, pending, _, _| async {
                let Ok(sink) = pending.accept().await else {
                    return;
                };
                let item = serde_json::value::to_raw_value(&"x".repeat(2_000)).unwrap();
                let _ = sink.send(item).await;
                sink.closed().await;
            },
        )
        .unwrap();
    module
}

fn subtract(params: &Value) -> Result<i64, ErrorObjectOwned> {
    let number = |index: usize, name: &str| {
        let value = params.get(index).or_else(|| params.get(name));
        let wrong = || ErrorObjectOwned::owned(-32602, "Invalid params", None::<()>);
        value.and_then(Value::as_i64).ok_or_else(wrong)
    };
    Ok(number(0, "minuend")? - number(1, "subtrahend")?)
}

/// A reply without `error.data`, which the specification leaves to the service.
fn bare(mut reply: Value) -> Value {
    if let Value::Array(replies) = reply {
        return replies.into_iter().map(bare).collect();
    }
    if let Some(error) = reply.get_mut("error").and_then(Value::as_object_mut) {
        error.remove("data");
    }
    reply
}

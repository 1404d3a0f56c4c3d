#![allow(clippy::unwrap_used)]
use super::*;
use crate::serve::{Publisher, register, register_watch};
use crate::table::{BayList, InstrumentWatch, JobList};
use crate::types::{InstrumentItem, InstrumentListParams, JobListParams, Jobs, NoParams};
use crate::{ErrorKind, Role};
use jsonrpsee::RpcModule;
use jsonrpsee::server::{Server, ServerHandle};

async fn check(url: &str, expected: &str) {
    let error = Client::connect(url).await.unwrap_err().to_string();
    assert!(error.contains(expected), "{error}");
}

#[tokio::test]
async fn an_address_that_is_none_is_refused() {
    check("nonsense", "write it as ws://127.0.0.1:7474/rpc").await;
    check("http://127.0.0.1:7474/rpc", "`http:` is not `ws:`").await;
}

#[tokio::test]
async fn a_port_nobody_listens_on_says_so() {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    drop(listener);
    check(
        &format!("ws://127.0.0.1:{port}/rpc"),
        "nothing listens there; start the service",
    )
    .await;
}

/// Serves a module on a free port to callers with the role `read`; answers its address.
async fn serve<C>(module: RpcModule<C>) -> (String, ServerHandle) {
    let caller =
        tower::ServiceBuilder::new().map_request(|mut request: jsonrpsee::server::HttpRequest| {
            request.extensions_mut().insert(Role::Read);
            request
        });
    let server = Server::builder()
        .set_http_middleware(caller)
        .build("127.0.0.1:0")
        .await
        .unwrap();
    let url = format!("ws://{}/rpc", server.local_addr().unwrap());
    (url, server.start(module))
}

/// A service that knows one bay.
async fn service(publisher: Publisher<InstrumentWatch>) -> (String, ServerHandle) {
    let mut module = RpcModule::new(publisher);
    register::<JobList, _, _, _>(&mut module, |_, params| async move {
        match params.bay.as_deref() {
            None | Some("b1") => Ok(Jobs::default()),
            Some(other) => Err(ErrorKind::UnknownBay
                .because(format!("there is no bay `{other}`"))
                .at("bay")),
        }
    });
    register_watch::<InstrumentWatch, _, _, _>(&mut module, |publisher, _| async move {
        Ok(publisher.feed().starting_with(vec![detached("m0")]))
    });
    serve(module).await
}

fn detached(instrument: &str) -> InstrumentItem {
    InstrumentItem::Detached {
        bay: "b1".to_owned(),
        instrument: instrument.to_owned(),
    }
}

async fn jobs(client: &Client, bay: &str) -> Result<Jobs, ClientError> {
    client
        .call::<JobList>(&JobListParams {
            bay: Some(bay.to_owned()),
            ..Default::default()
        })
        .await
}

#[tokio::test]
async fn calls_are_answered_and_refusals_keep_their_words() {
    let (url, _server) = service(Publisher::new(4)).await;
    let client = Client::connect(&url).await.unwrap();
    assert_eq!(jobs(&client, "b1").await.unwrap().jobs, []);
    match jobs(&client, "b9").await {
        Err(ClientError::Refused(refusal)) => {
            assert_eq!(refusal.kind, ErrorKind::UnknownBay);
            assert_eq!(refusal.field.as_deref(), Some("bay"));
        }
        other => panic!("{other:?}"),
    }
    let unknown = client
        .call::<BayList>(&NoParams {})
        .await
        .unwrap_err()
        .to_string();
    assert!(
        unknown.contains("bay.list: the service answered error -32601"),
        "{unknown}"
    );
}

#[tokio::test]
async fn a_watch_tells_how_things_stand_then_what_changes() {
    let publisher = Publisher::new(4);
    let (url, server) = service(publisher.clone()).await;
    let client = Client::connect(&url).await.unwrap();
    let mut watch = client
        .watch::<InstrumentWatch>(&InstrumentListParams::default())
        .await
        .unwrap();
    assert_eq!(watch.next().await.unwrap().unwrap(), detached("m0"));
    publisher.publish(&detached("m1")).unwrap();
    assert_eq!(watch.next().await.unwrap().unwrap(), detached("m1"));
    server.stop().unwrap();
    assert!(watch.next().await.is_none());
    let lost = jobs(&client, "b1").await.unwrap_err().to_string();
    assert!(
        lost.contains("job.list: the connection to the service was lost"),
        "{lost}"
    );
}

#[tokio::test]
async fn a_watch_ends_when_there_is_nothing_more_to_watch() {
    let mut module = RpcModule::new(());
    register_watch::<InstrumentWatch, _, _, _>(&mut module, |_, _| async {
        Ok(Publisher::new(1).feed().starting_with(vec![detached("m0")]))
    });
    let (url, _server) = serve(module).await;
    let client = Client::connect(&url).await.unwrap();
    let mut watch = client
        .watch::<InstrumentWatch>(&InstrumentListParams::default())
        .await
        .unwrap();
    assert_eq!(watch.next().await.unwrap().unwrap(), detached("m0"));
    assert!(watch.next().await.is_none());
}

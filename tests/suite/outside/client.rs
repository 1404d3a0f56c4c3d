//! The Python client against a service: it is made from the OpenRPC document and calls every method of it.

use trisect_tests::repository::root;
use trisect_tests::service::Served;
use trisect_tests::wait::within;

use super::python;

#[tokio::test(flavor = "multi_thread")]
async fn the_python_client_calls_every_method_and_does_the_documented_job() {
    let Some(mut command) = python("client.py") else {
        return;
    };
    let served = Served::start().await;
    let api = root().join("service/wire");
    command
        .env("TRISECT_SERVER", format!("ws://{}/rpc", served.address))
        .args([
            api.join("openrpc.json"),
            api.join("examples"),
            api.join("INTEGRATING.md"),
        ]);
    let ended = within("the client", command.output()).await.unwrap();
    let said = String::from_utf8_lossy(&ended.stdout).into_owned();
    assert!(
        ended.status.success(),
        "{said}\n{}",
        String::from_utf8_lossy(&ended.stderr)
    );
    assert!(said.contains("\"methods\""), "{said}");
    served.stop().await;
}

#[test]
fn the_python_client_is_what_the_document_says() {
    let Some(program) = std::env::var_os("REFERENCE_PYTHON") else {
        eprintln!("passed over: REFERENCE_PYTHON does not name a Python");
        return;
    };
    let script = root().join("clients/python/generate.py");
    let ended = std::process::Command::new(program)
        .arg(script)
        .arg("--check")
        .output()
        .unwrap();
    assert!(
        ended.status.success(),
        "{}",
        String::from_utf8_lossy(&ended.stderr)
    );
}

//! SIGHUP: whom the service writes to, what it starts and how it logs change while it runs, each by itself.

use std::fmt::Write as _;
use std::path::Path;
use std::time::Duration;

use serde_json::{Value, json};
use tokio::time::sleep;
use trisect_tests::daemon::Daemon;
use trisect_tests::programs::program;
use trisect_tests::raw::post;
use trisect_tests::repository::root;
use trisect_tests::wait::within;
use wiremock::matchers::method;
use wiremock::{Mock, MockServer, Request, ResponseTemplate};

use super::{call, configuration};
use crate::service::webhooks::SECRET;

const BEAT: Duration = Duration::from_millis(20);

async fn ask(daemon: &Daemon, method: &str, params: Value) -> Value {
    let answer = post(daemon.address, &call(method, &params)).await.json();
    assert!(answer["error"].is_null(), "{method}: {answer}");
    answer["result"].clone()
}

async fn until(what: &str, mut done: impl AsyncFnMut() -> bool) {
    within(what, async {
        while !done().await {
            sleep(BEAT).await;
        }
    })
    .await;
}

async fn receiver(answer: ResponseTemplate) -> MockServer {
    let server = MockServer::start().await;
    let mock = Mock::given(method("POST")).respond_with(answer);
    mock.mount(&server).await;
    server
}

async fn got(server: &MockServer) -> Vec<Request> {
    server.received_requests().await.unwrap()
}

async fn kinds(server: &MockServer) -> Vec<String> {
    let kind = |request: &Request| -> String {
        let body: Value = serde_json::from_slice(&request.body).unwrap();
        body["type"].as_str().unwrap().to_owned()
    };
    got(server).await.iter().map(kind).collect()
}

/// A configuration with a bay and these webhooks about jobs.
fn telling(folder: &Path, webhooks: &[(&str, &MockServer)]) -> std::path::PathBuf {
    let mut text = "[access]\nloopback = \"manage\"\n[[bays]]\nbay = \"north\"\n".to_owned();
    for (name, server) in webhooks {
        let secret = folder.join(name).display().to_string();
        write!(
            text,
            "[[webhooks]]\nwebhook = {name:?}\nurl = {:?}\nsecret_file = {secret:?}\nabout = [\"job\"]\nallow = [\"loopback\"]\n\
             retries = {:?}\n",
            server.uri(),
            [1.0; 60]
        )
        .unwrap();
    }
    configuration(folder, &text)
}

async fn names(daemon: &Daemon) -> Vec<String> {
    let all = ask(daemon, "webhook.list", json!({})).await;
    let all = all["webhooks"].as_array().unwrap().clone();
    let name = |one: &Value| one["webhook"].as_str().unwrap().to_owned();
    all.iter().map(name).collect()
}

const OPENED: &str = "trisect.job.opened";
const CLOSED: &str = "trisect.job.closed";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn webhooks_that_changed_are_exchanged_and_lose_nothing() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["kept", "moved", "left", "added"] {
        std::fs::write(folder.path().join(name), SECRET).unwrap();
    }
    let well = || ResponseTemplate::new(200);
    let (kept, added, moved_to, back) = (
        receiver(well()).await,
        receiver(well()).await,
        receiver(well()).await,
        receiver(well()).await,
    );
    // One takes its time, so that its delivery runs while the configuration changes; another is down.
    let moved_from = receiver(well().set_delay(Duration::from_secs(1))).await;
    let left = receiver(ResponseTemplate::new(500)).await;
    let before = [("kept", &kept), ("moved", &moved_from), ("left", &left)];
    let daemon = Daemon::serve(&telling(folder.path(), &before)).await;
    let job = ask(
        &daemon,
        "job.open",
        json!({"bay": "north", "machine": "Unit 9"}),
    )
    .await;
    until("three deliveries", async || {
        !got(&kept).await.is_empty()
            && !got(&moved_from).await.is_empty()
            && !got(&left).await.is_empty()
    })
    .await;
    let after = [("kept", &kept), ("moved", &moved_to), ("added", &added)];
    telling(folder.path(), &after);
    daemon.reload();
    until("the new webhooks", async || {
        names(&daemon).await == ["kept", "moved", "added"]
    })
    .await;
    ask(&daemon, "job.close", json!({"job": job["job"]})).await;
    until("the closed job", async || {
        got(&kept).await.len() == 2
            && got(&moved_to).await.len() == 1
            && !got(&added).await.is_empty()
    })
    .await;
    // The delivery that ran arrived where it was going, once, and the next one went to the new address after it.
    assert_eq!(kinds(&moved_from).await, [OPENED]);
    assert_eq!(kinds(&moved_to).await, [CLOSED]);
    assert_eq!(kinds(&kept).await, [OPENED, CLOSED]);
    assert_eq!(kinds(&added).await, [CLOSED]);
    // What the one that left was not told stays in the outbox, and nobody tries it.
    let tries = got(&left).await.len();
    sleep(Duration::from_millis(1500)).await;
    assert_eq!(got(&left).await.len(), tries);
    let waiting = ask(&daemon, "delivery.list", json!({"waiting": true})).await;
    let deliveries = waiting["deliveries"].as_array().unwrap();
    assert_eq!(deliveries.len(), 1, "{waiting}");
    assert_eq!(
        (&deliveries[0]["webhook"], &deliveries[0]["event"]),
        (&json!("left"), &json!(OPENED))
    );
    // It is sent once one of that name is back.
    telling(folder.path(), &[after[0], after[1], ("left", &back)]);
    daemon.reload();
    until("the delivery that waited", async || {
        !got(&back).await.is_empty()
    })
    .await;
    assert_eq!(kinds(&back).await, [OPENED]);
    assert!(daemon.terminate().await.success());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_secret_that_is_exchanged_is_signed_with_after_a_reload() {
    let folder = tempfile::tempdir().unwrap();
    let secret = folder.path().join("erp");
    std::fs::write(&secret, SECRET).unwrap();
    let server = receiver(ResponseTemplate::new(200)).await;
    let daemon = Daemon::serve(&telling(folder.path(), &[("erp", &server)])).await;
    let two = format!("{SECRET}\nwhsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYX\n");
    std::fs::write(&secret, two).unwrap();
    daemon.reload();
    let signatures = async || {
        let all = got(&server).await;
        let last = all
            .last()
            .map(|one| one.headers["webhook-signature"].clone());
        last.map_or(0, |text| text.to_str().unwrap().split(' ').count())
    };
    // A reload takes a moment: jobs are opened and closed until one is told of with both.
    until("both signatures", async || {
        let bay = json!({"bay": "north", "machine": "Unit 9"});
        let job = ask(&daemon, "job.open", bay).await;
        ask(&daemon, "job.close", json!({"job": job["job"]})).await;
        signatures().await == 2
    })
    .await;
    assert!(daemon.terminate().await.success());
}

/// What runs as a plugin with this word among its arguments.
fn processes(word: &str) -> Vec<i32> {
    let of = |id: &i32| {
        let line = std::fs::read(format!("/proc/{id}/cmdline")).unwrap_or_default();
        line.split(|byte| *byte == 0)
            .any(|part| part == word.as_bytes())
    };
    let all = std::fs::read_dir("/proc").unwrap().flatten();
    all.filter_map(|entry| entry.file_name().to_str()?.parse().ok())
        .filter(of)
        .collect()
}

/// Two instruments through two plugins; what each is started with.
fn reading(folder: &Path, first: &str, second: &str) -> std::path::PathBuf {
    let gauge = folder.join("gauge").display().to_string();
    let mut text = "[access]\nloopback = \"manage\"\n".to_owned();
    for (plugin, word) in [("first", first), ("second", second)] {
        write!(
            text,
            "[[plugins]]\nplugin = {plugin:?}\ncommand = [\"python3\", \"adapters/plugins/boost_gauge.py\", {word:?}]\n\
             directory = {:?}\n",
            root().display().to_string()
        )
        .unwrap();
    }
    text.push_str("[[bays]]\nbay = \"north\"\n");
    for plugin in ["first", "second"] {
        write!(
            text,
            "[[bays.instruments]]\ninstrument = {plugin:?}\nadapter = \"plugin\"\n\
             settings = {{ plugin = {plugin:?}, settings = {{ file = {gauge:?}, rate = 100 }} }}\n"
        )
        .unwrap();
    }
    configuration(folder, &text)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_plugin_that_changed_is_started_anew_and_the_other_runs_on() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("gauge"), "14.2").unwrap();
    let word = |what: &str| format!("reload-{what}-{}", std::process::id());
    let (first, second, other) = (word("first"), word("second"), word("other"));
    let daemon = Daemon::serve(&reading(folder.path(), &first, &second)).await;
    // Somebody attaches one more through the first plugin: it is exchanged as well.
    let gauge = folder.path().join("gauge");
    let hand = json!({"bay": "north", "instrument": "by-hand", "adapter": "plugin",
        "settings": {"plugin": "first", "settings": {"file": gauge, "rate": 100}}});
    ask(&daemon, "instrument.attach", hand).await;
    let running = async |word: &str, count: usize| {
        until(word, async || processes(word).len() == count).await;
    };
    running(&first, 2).await;
    running(&second, 1).await;
    let (at_it, since) = (processes(&second), since(&daemon, "second").await);
    reading(folder.path(), &other, &second);
    daemon.reload();
    running(&first, 0).await;
    running(&other, 2).await;
    until("readings of all", async || {
        states(&daemon).await == ["by-hand running", "first running", "second running"]
    })
    .await;
    assert_eq!(processes(&second), at_it);
    assert_eq!(self::since(&daemon, "second").await, since);
    // One that breaks is tried again, and mended by another reload.
    let broken = std::fs::read_to_string(reading(folder.path(), &other, &second)).unwrap();
    let broken = broken.replace(
        &format!("\"adapters/plugins/boost_gauge.py\", {other:?}"),
        "\"no-such-program.py\"",
    );
    std::fs::write(folder.path().join("trisectd.toml"), broken).unwrap();
    daemon.reload();
    running(&other, 0).await;
    reading(folder.path(), &first, &second);
    daemon.reload();
    running(&first, 2).await;
    assert_eq!(processes(&second), at_it);
    assert!(daemon.terminate().await.success());
}

async fn instruments(daemon: &Daemon) -> Vec<Value> {
    let all = ask(daemon, "instrument.list", json!({})).await;
    all["instruments"].as_array().unwrap().clone()
}

async fn states(daemon: &Daemon) -> Vec<String> {
    let text = |one: &Value, key: &str| one[key].as_str().unwrap().to_owned();
    let all = instruments(daemon).await;
    all.iter()
        .map(|one| format!("{} {}", text(one, "instrument"), text(one, "state")))
        .collect()
}

/// Since when an instrument is as it is.
async fn since(daemon: &Daemon, instrument: &str) -> Value {
    until("it runs", async || {
        states(daemon)
            .await
            .contains(&format!("{instrument} running"))
    })
    .await;
    let all = instruments(daemon).await;
    let one = all.iter().find(|one| one["instrument"] == instrument);
    one.unwrap()["since"].clone()
}

#[tokio::test]
async fn lines_of_the_log_change_their_form_and_level() {
    let folder = tempfile::tempdir().unwrap();
    let logged = folder.path().join("log");
    let configure = |log: &str| {
        let text = format!("{log}\n[access]\nloopback = \"manage\"\n[[bays]]\nbay = \"north\"");
        configuration(folder.path(), &text)
    };
    let file = configure("log = { level = \"info\" }");
    let mut command = tokio::process::Command::new(program("trisectd"));
    command.args(["serve", "--config"]).arg(&file);
    command.stderr(std::fs::File::create(&logged).unwrap());
    let daemon = Daemon::start_command(command).await;
    let lines = || -> Vec<String> {
        let text = std::fs::read_to_string(&logged).unwrap();
        text.lines().map(str::to_owned).collect()
    };
    let reloaded = async |log: &str, word: &str| {
        let before = lines().len();
        configure(log);
        daemon.reload();
        until(word, async || {
            lines()[before..].iter().any(|line| line.contains(word))
        })
        .await;
        let all = lines();
        let line = all[before..].iter().find(|line| line.contains(word));
        line.unwrap().clone()
    };
    let taken = "took up the configuration";
    let line = reloaded("log = { level = \"info\", format = \"json\" }", taken).await;
    let said: Value = serde_json::from_str(&line).unwrap();
    assert_eq!(said["fields"]["changed"], "the log");
    // What a start alone takes up is refused by name, and nothing else of it is done.
    let with_traces =
        "log = { level = \"info\" }\ntraces = { endpoint = \"http://127.0.0.1:9/v1/traces\" }";
    let line = reloaded(with_traces, "is refused").await;
    assert!(line.contains("`traces`") && line.starts_with('{'), "{line}");
    let line = reloaded("log = { level = \"info\" }", taken).await;
    assert!(line.contains("INFO") && !line.starts_with('{'), "{line}");
    // Quiet, it says nothing of a reload; the next one that is heard says so.
    let before = lines().len();
    configure("log = { level = \"error\" }");
    daemon.reload();
    sleep(Duration::from_millis(300)).await;
    assert_eq!(lines().len(), before);
    let line = reloaded("log = { level = \"info\" }", taken).await;
    assert!(line.contains("the log"), "{line}");
    assert!(daemon.terminate().await.success());
}

//! Commands against a service that says little, for what is theirs: words on the command line in, text and
//! exit codes out.
#![allow(clippy::unwrap_used)]

use crate::args::Command;
use crate::io::Io;
use crate::run::run;
use clap::Parser;
use jsonrpsee::RpcModule;
use jsonrpsee::server::{Server, ServerHandle};
use serde_json::Value;
use std::process::ExitCode;
use std::sync::mpsc;
use std::time::Duration;
use tokio::runtime::Runtime;
use trisect_wire::serve::{Publisher, register, register_watch};
use trisect_wire::table::{
    BayList, InstrumentAttach, InstrumentList, JobClose, JobList, JobReplay, JobShow, PhaseSay,
    ProbePlace, ReadingWatch, RulesetInstall, RulesetList, VerdictWatch,
};
use trisect_wire::types::{
    Bays, Job, JobCloseParams, JobDetail, Jobs, ReadingItem, RulesetInstalled, VerdictItem,
};
use trisect_wire::{ErrorKind, Role, WireError};

/// The recorded answer of a method, from the examples of the wire.
fn example<T: serde::de::DeserializeOwned>(text: &str, member: &str) -> T {
    let example: Value = serde_json::from_str(text).unwrap();
    serde_json::from_value(example.pointer(member).unwrap().clone()).unwrap()
}

fn jobs() -> Jobs {
    example(
        include_str!("../../../service/wire/examples/job.list.json"),
        "/result",
    )
}

fn detail() -> JobDetail {
    example(
        include_str!("../../../service/wire/examples/job.show.json"),
        "/result",
    )
}

fn reading() -> ReadingItem {
    example(
        include_str!("../../../service/wire/examples/reading.watch.json"),
        "/items/0",
    )
}

fn verdict() -> VerdictItem {
    example(
        include_str!("../../../service/wire/examples/verdict.watch.json"),
        "/items/0",
    )
}

async fn close(params: JobCloseParams) -> Result<Job, WireError> {
    assert_eq!(params.confirmed, Some(vec!["lift-pump-week".to_owned()]));
    Err(ErrorKind::UnknownSuspect
        .because("the rule set has no suspect `lift-pump-week`")
        .hint("did you mean `lift-pump-weak`?"))
}

/// The refusal that the examples have.
async fn install() -> Result<RulesetInstalled, WireError> {
    let errors: Value =
        serde_json::from_str(include_str!("../../../service/wire/examples/errors.json")).unwrap();
    let errors = errors["errors"].as_array().unwrap();
    let defective = errors
        .iter()
        .find(|e| e["data"]["kind"] == "defective-ruleset");
    Err(serde_json::from_value(defective.unwrap()["data"].clone()).unwrap())
}

struct Context {
    readings: Publisher<ReadingWatch>,
    verdicts: Publisher<VerdictWatch>,
}

/// A service on a free port; the runtime it lives in, its address and its handle.
fn service(readings: Publisher<ReadingWatch>) -> (Runtime, String, ServerHandle) {
    let runtime = Runtime::new().unwrap();
    let caller =
        tower::ServiceBuilder::new().map_request(|mut request: jsonrpsee::server::HttpRequest| {
            request.extensions_mut().insert(Role::Manage);
            request
        });
    let builder = Server::builder().set_http_middleware(caller);
    let server = runtime.block_on(builder.build("127.0.0.1:0")).unwrap();
    let url = format!("ws://{}/rpc", server.local_addr().unwrap());
    let mut module = RpcModule::new(Context {
        readings,
        verdicts: Publisher::new(1),
    });
    register::<BayList, _, _, _>(&mut module, |_, _| async {
        Ok(example::<Bays>(
            include_str!("../../../service/wire/examples/bay.list.json"),
            "/result",
        ))
    });
    register::<JobList, _, _, _>(&mut module, |_, _| async { Ok(jobs()) });
    register::<JobShow, _, _, _>(&mut module, |_, _| async { Ok(detail()) });
    register::<JobClose, _, _, _>(&mut module, |_, params| close(params));
    // Each answers what the example of the wire has.
    macro_rules! recorded {
        ($($method:ident $file:literal)+) => {$(
            register::<$method, _, _, _>(&mut module, |_, _| async {
                let text = include_str!(concat!("../../../service/wire/examples/", $file));
                Ok(example(text, "/result"))
            });
        )+};
    }
    recorded! {
        PhaseSay "phase.say.json"
        ProbePlace "probe.place.json"
        InstrumentList "instrument.list.json"
        InstrumentAttach "instrument.attach.json"
        JobReplay "job.replay.ruleset.json"
        RulesetList "ruleset.list.versions.json"
    }
    register::<RulesetInstall, _, _, _>(&mut module, |_, _| install());
    register_watch::<ReadingWatch, _, _, _>(&mut module, |context, _| async move {
        Ok(context.readings.feed())
    });
    register_watch::<VerdictWatch, _, _, _>(&mut module, |context, _| async move {
        Ok(context.verdicts.feed().starting_with(vec![verdict()]))
    });
    let handle = runtime.block_on(async { server.start(module) });
    (runtime, url, handle)
}

/// Exit code, standard output, standard error.
fn trisect(url: &str, words: &[&str]) -> (String, String, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let line = ["trisect", "--server", url]
        .into_iter()
        .chain(words.iter().copied());
    let command = Command::try_parse_from(line).unwrap();
    let code = run(
        command,
        &mut Io::new(&mut std::io::empty(), &mut out, &mut err),
    );
    (
        format!("{code:?}"),
        String::from_utf8(out).unwrap(),
        String::from_utf8(err).unwrap(),
    )
}

fn exit(code: u8) -> String {
    format!("{:?}", ExitCode::from(code))
}

#[test]
fn answers_are_for_people_or_for_programs() {
    let (_runtime, url, _service) = service(Publisher::new(1));
    let (code, out, _) = trisect(&url, &["job", "list"]);
    assert_eq!(code, exit(0));
    assert!(
        out.starts_with("job-1  closed  bay-1  Unit 14  cranks-no-start  opened 2026-11-24"),
        "{out}"
    );
    let (_, out, _) = trisect(&url, &["job", "list", "--json"]);
    assert_eq!(serde_json::from_str::<Jobs>(&out).unwrap(), jobs());
    let (_, out, _) = trisect(&url, &["job", "show", "job-1"]);
    assert!(
        out.contains("answered fuel-seen: seen (M. Aldous)\n") && out.contains("leaning: supply"),
        "{out}"
    );
}

#[test]
fn a_refusal_ends_with_2_and_says_what_to_do() {
    let (_runtime, url, _service) = service(Publisher::new(1));
    let words = ["job", "close", "job-1", "--confirmed", "lift-pump-week"];
    let expected = "trisect: the rule set has no suspect `lift-pump-week` (unknown-suspect); did you mean `lift-pump-weak`?\n";
    assert_eq!(
        trisect(&url, &words),
        (exit(2), String::new(), expected.to_owned())
    );
    let (code, _, err) = trisect("ws://127.0.0.1:1/rpc", &["job", "list"]);
    assert_eq!(code, exit(2));
    assert!(err.contains("nothing listens there"), "{err}");
}

#[test]
fn a_technician_says_where_things_are() {
    let (_runtime, url, _service) = service(Publisher::new(1));
    let check = |words: &[&str], expected: &str| {
        let (code, out, err) = trisect(&url, words);
        assert_eq!((code, err.as_str()), (exit(0), ""), "{words:?}");
        assert!(out.contains(expected), "{words:?}: {out}");
    };
    check(
        &["phase", "bay-1", "cranking", "--drive", "bypass"],
        "cranking",
    );
    check(
        &[
            "probe",
            "place",
            "bay-1",
            "meter",
            "1",
            "pump-inlet-pressure",
        ],
        "): at ",
    );
    check(&["instrument", "list"], "  channel ");
    let attach = [
        "instrument",
        "attach",
        "bay-1",
        "meter",
        "multimeter",
        "port=/dev/ttyUSB0",
    ];
    check(&attach, "bay-1  ");
    let replayed = "    standing  leaning   isolated\n";
    check(&["job", "replay", "job-1", "--ruleset", "x"], replayed);
    check(
        &["job", "replay", "job-1"],
        "left out: 120 events about the point `battery`",
    );
    check(
        &["ruleset", "list"],
        "* distributor-pump-12v  1.1.0  sha256:",
    );
    // Neither a phase nor a drive is a command line that cannot be read.
    let line = ["trisect", "phase", "bay-1"];
    assert!(Command::try_parse_from(line).is_err());
}

#[test]
fn a_rule_set_that_is_refused_is_told_defect_by_defect() {
    let (_runtime, url, _service) = service(Publisher::new(1));
    let directory = tempfile::tempdir().unwrap();
    let file = directory.path().join("rules.toml");
    std::fs::write(&file, "format = 1\n").unwrap();
    let (code, out, err) = trisect(&url, &["ruleset", "install", file.to_str().unwrap()]);
    assert_eq!((code, out.as_str()), (exit(2), ""));
    assert!(
        err.contains("rules.toml:812:1: error: unknown-key: "),
        "{err}"
    );
    assert!(
        err.contains("(defective-ruleset); mend every defect"),
        "{err}"
    );
}

/// Standard output that tells a line as soon as it is written.
struct OutputSender(mpsc::Sender<String>);

impl std::io::Write for OutputSender {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        // Nobody listening any more is no concern of the command.
        let _ = self.0.send(String::from_utf8_lossy(bytes).into_owned());
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

#[test]
fn a_watch_tells_both_subscriptions_until_the_service_goes() {
    let readings = Publisher::<ReadingWatch>::new(8);
    let (runtime, url, service) = service(readings.clone());
    let (told, lines) = mpsc::channel();
    let command = Command::try_parse_from([
        "trisect", "--server", &url, "watch", "--bay", "bay-1", "--json",
    ])
    .unwrap();
    let watch = std::thread::spawn(move || {
        let mut err = Vec::new();
        let code = run(
            command,
            &mut Io::new(&mut std::io::empty(), &mut OutputSender(told), &mut err),
        );
        (format!("{code:?}"), String::from_utf8(err).unwrap())
    });
    let next = || -> Value {
        serde_json::from_str(&lines.recv_timeout(Duration::from_secs(10)).unwrap()).unwrap()
    };
    let first = next();
    assert_eq!(
        (&first["watch"], &first["kind"]),
        (&"verdict.watch".into(), &"verdict".into())
    );
    assert_eq!(first["standing"], "leaning");
    // The verdict comes after both subscriptions are there.
    readings.publish(&reading()).unwrap();
    let second = next();
    assert_eq!(
        (&second["watch"], &second["point"]),
        (&"reading.watch".into(), &"pump-inlet-pressure".into())
    );
    service.stop().unwrap();
    runtime.shutdown_background();
    let (code, err) = watch.join().unwrap();
    assert_eq!(code, exit(2));
    assert!(
        err.contains("the service has ended the connection"),
        "{err}"
    );
}

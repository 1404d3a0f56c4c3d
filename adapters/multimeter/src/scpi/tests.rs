//! Conversations with the stub, line by line; then over a pseudo-terminal and
//! over TCP.

#![allow(clippy::unwrap_used)]

use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use tokio::io::{AsyncBufReadExt as _, AsyncWriteExt as _, BufReader};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;
use trisect_kit::conformance::{Instrument, conform};
use trisect_kit::{Adapter, Context, Emission, Health, State, Vitals};
use trisect_measure::{Amount, Flags, Sample};

use super::conversation::{Conversation, Heard, Wanted};
use super::function::Words;
use super::stub::Stub;
use super::{ScpiFunction, ScpiSettings};

fn wanted(function: ScpiFunction) -> Wanted {
    Wanted {
        function,
        range: None,
        identity: None,
        remote: false,
    }
}

/// What is heard until so many readings, refusals or bad answers came.
fn talk(conversation: &mut Conversation, stub: &mut Stub, count: usize) -> Vec<Heard> {
    let mut heard = Vec::new();
    for _ in 0..1000 {
        let say = conversation.say();
        let answer = stub.answer(&say.text);
        match (say.asks, answer) {
            (false, None) => {}
            (true, Some(answer)) => match conversation.heard(&answer) {
                Heard::Going | Heard::Identity(_) => {}
                other => heard.push(other),
            },
            (true, None) => heard.push(Heard::Bad(conversation.unanswered())),
            (false, Some(answer)) => panic!("`{}` was answered by `{answer}`", say.text),
        }
        if heard.len() == count {
            return heard;
        }
    }
    panic!("only {heard:?} after 1000 lines");
}

fn amounts(heard: &[Heard]) -> Vec<Amount> {
    let amount = |heard: &Heard| match heard {
        Heard::Sample(sample) => sample.amount,
        other => panic!("{other:?}"),
    };
    heard.iter().map(amount).collect()
}

fn one(heard: &[Heard]) -> Sample {
    match heard {
        [Heard::Sample(sample)] => *sample,
        other => panic!("{other:?}"),
    }
}

#[test]
fn every_function_is_configured_and_read() {
    for function in ScpiFunction::ALL {
        let mut stub = Stub::new();
        let mut conversation = Conversation::new(wanted(function));
        let sample = one(&talk(&mut conversation, &mut stub, 1));
        let Words {
            function: measured,
            coupling,
            ..
        } = function.words();
        assert_eq!((sample.function, sample.coupling), (measured, coupling));
        assert_eq!(sample.flags, Flags::AUTO);
        let value = match function {
            ScpiFunction::Temperature => sample.amount.edge() - 273.15,
            _ => sample.amount.edge(),
        };
        assert!((value - 12.345).abs() < 1e-9, "{function:?}: {value}");
        let configured = format!("CONF:{}", function.words().configure);
        assert!(stub.told.contains(&configured), "{:?}", stub.told);
    }
}

#[test]
fn range_and_resolution_are_the_meters_own() {
    let mut asked = wanted(ScpiFunction::VoltageDc);
    asked.range = Some(10.0);
    let mut stub = Stub::new();
    let sample = one(&talk(&mut Conversation::new(asked), &mut stub, 1));
    assert_eq!((sample.digit, sample.span), (Some(1e-5), Some(10.0)));
    assert_eq!(sample.flags, Flags::MANUAL_RANGE);
    assert!(stub.told.contains(&"CONF:VOLT:DC 10".to_owned()));
}

#[test]
fn an_overload_is_one_sided_and_no_number_is_bad() {
    let mut stub = Stub::new();
    stub.readings = vec!["+9.90000000E+37", "-9.90000000E+37", "+9.91000000E+37", "1"];
    let mut conversation = Conversation::new(wanted(ScpiFunction::VoltageDc));
    let heard = talk(&mut conversation, &mut stub, 4);
    assert_eq!(
        amounts(&heard[..2]),
        [Amount::Above(10.0), Amount::Below(-10.0)]
    );
    assert!(matches!(&heard[2], Heard::Bad(why) if why.contains("no number")));
    assert_eq!(amounts(&heard[3..]), [Amount::Exactly(1.0)]);
    // Without a word on the range, no more is claimed than any meter's highest.
    stub.tells_configuration = false;
    stub.readings = vec!["9.9E37"];
    let mut conversation = Conversation::new(wanted(ScpiFunction::Resistance));
    let heard = talk(&mut conversation, &mut stub, 2);
    assert_eq!(heard[0], Heard::Bad("CONF?".to_owned()));
    assert_eq!(amounts(&heard[1..]), [Amount::Above(10e6)]);
}

#[test]
fn a_function_that_the_meter_lacks_is_refused_in_its_own_words() {
    let mut stub = Stub::new();
    stub.functions = &["VOLT"];
    let mut conversation = Conversation::new(wanted(ScpiFunction::Capacitance));
    let heard = talk(&mut conversation, &mut stub, 1);
    let Heard::Refused(why) = &heard[0] else {
        panic!("{heard:?}");
    };
    assert!(why.contains("`CONF:CAP`: -113, Undefined header"), "{why}");
}

#[test]
fn another_meter_in_its_place_is_not_read() {
    let mut asked = wanted(ScpiFunction::VoltageDc);
    asked.identity = Some("0043".to_owned());
    let heard = talk(&mut Conversation::new(asked), &mut Stub::new(), 1);
    assert!(matches!(&heard[0], Heard::Refused(why) if why.contains("0042")));
}

#[test]
fn a_dial_turned_by_hand_is_noticed_before_a_reading_and_set_back() {
    let mut stub = Stub::new();
    let mut conversation = Conversation::new(wanted(ScpiFunction::VoltageDc));
    talk(&mut conversation, &mut stub, 1);
    stub.function = "RES".to_owned();
    let heard = talk(&mut conversation, &mut stub, 2);
    assert!(matches!(&heard[0], Heard::Bad(why) if why.contains("`RES`")));
    assert!(matches!(&heard[1], Heard::Sample(_)));
    assert_eq!(stub.function, "VOLT");
}

#[test]
fn the_error_queue_is_drained_and_told_between_readings() {
    let mut stub = Stub::new();
    let mut conversation = Conversation::new(wanted(ScpiFunction::VoltageDc));
    talk(&mut conversation, &mut stub, 1);
    for nonsense in ["NONSENSE", "CONF:POW"] {
        assert_eq!(stub.answer(nonsense), None);
    }
    let heard = talk(&mut conversation, &mut stub, 20);
    let bad: Vec<&Heard> = heard
        .iter()
        .filter(|heard| !matches!(heard, Heard::Sample(_)))
        .collect();
    let [Heard::Bad(why)] = bad[..] else {
        panic!("{bad:?}");
    };
    assert_eq!(why.matches("-113, Undefined header").count(), 2, "{why}");
    assert_eq!(stub.answer("SYST:ERR?").unwrap(), "+0,\"No error\"");
}

/// An answer that comes late would be taken for the answer to the next question.
#[test]
fn an_answer_out_of_step_is_never_a_reading() {
    let mut conversation = Conversation::new(wanted(ScpiFunction::VoltageDc));
    talk(&mut conversation, &mut Stub::new(), 1);
    for late in ["+5.0E+00", "0,\"No error\"", "Nobody,Bench meter,0042,1.0"] {
        while !conversation.say().asks {}
        let heard = conversation.heard(late);
        let why = match heard {
            Heard::Astray(why) => why,
            // The identity is asked for first, after anything astray.
            Heard::Identity(_) => continue,
            other => panic!("`{late}`: {other:?}"),
        };
        assert!(why.contains(late), "{why}");
        assert_eq!(conversation.say().text, "*CLS");
    }
}

struct Meter(Mutex<Stub>);

/// Times short enough for tests; a meter that answers at once keeps them.
fn hurried(settings: ScpiSettings) -> ScpiSettings {
    ScpiSettings {
        rest_ms: 1,
        answer_within_ms: 300,
        silent_after_ms: 500,
        ..settings
    }
}

impl Instrument for Meter {
    fn adapter(&self, path: &Path) -> Box<dyn Adapter> {
        let settings = ScpiSettings::on_port(path, ScpiFunction::VoltageDc);
        hurried(settings).adapter().unwrap()
    }

    fn answers(&self, request: &[u8]) -> Vec<u8> {
        self.0.lock().unwrap().answers(request)
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn scpi_over_serial_keeps_the_adapter_contract() {
    let meter = Meter(Mutex::new(Stub::new()));
    let breaches = conform(Arc::new(meter)).await;
    assert!(breaches.is_empty(), "{breaches:#?}");
}

/// A running adapter and what it is given.
struct Rig {
    health: Health,
    samples: mpsc::Receiver<Emission>,
    stop: CancellationToken,
    running: JoinHandle<()>,
}

fn start(address: &str, queue: usize) -> Rig {
    let settings = ScpiSettings::at_address(address, ScpiFunction::VoltageDc);
    let mut adapter = hurried(settings).adapter().unwrap();
    let (sender, samples) = mpsc::channel(queue);
    let (health, stop) = (Health::new(), CancellationToken::new());
    let context = Context {
        samples: sender,
        health: health.clone(),
        stop: stop.clone(),
        clock: Arc::new(|| 0),
        networks: trisect_kit::Networks::all(),
    };
    let running = tokio::spawn(async move { adapter.run(context).await.unwrap() });
    Rig {
        health,
        samples,
        stop,
        running,
    }
}

impl Rig {
    async fn sample(&mut self) -> Sample {
        let received = timeout(Duration::from_secs(10), self.samples.recv()).await;
        received.unwrap().unwrap().sample
    }

    /// Waits, taking samples, until the vitals are as wished.
    async fn until(&mut self, wished: impl Fn(&Vitals) -> bool) {
        let poll = async {
            while !wished(&self.health.vitals()) {
                let _ = timeout(Duration::from_millis(2), self.samples.recv()).await;
            }
        };
        let timely = timeout(Duration::from_secs(10), poll).await;
        assert!(timely.is_ok(), "{:?}", self.health.vitals());
    }

    async fn stop(self) {
        self.stop.cancel();
        timeout(Duration::from_secs(1), self.running)
            .await
            .unwrap()
            .unwrap();
        assert_eq!(self.health.vitals().state, State::Stopped);
    }
}

/// Answers one connection by the stub until it is closed.
async fn serve(stream: TcpStream, stub: &mut Stub) {
    let (reader, mut writer) = stream.into_split();
    let mut lines = BufReader::new(reader).lines();
    while let Ok(Some(line)) = lines.next_line().await {
        let answer = stub.answers(line.as_bytes());
        if writer.write_all(&answer).await.is_err() {
            return;
        }
    }
}

#[tokio::test]
async fn over_tcp_a_lost_meter_is_connected_to_again() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let mut rig = start(&address.to_string(), 4);
    for _ in 0..2 {
        let (stream, _) = listener.accept().await.unwrap();
        let serving = tokio::spawn(async move { serve(stream, &mut Stub::new()).await });
        assert_eq!(rig.sample().await.amount, Amount::Exactly(12.345));
        serving.abort();
        rig.until(|vitals| vitals.state == State::Silent).await;
    }
    drop(listener);
    let refused = |v: &Vitals| {
        v.last_error
            .as_deref()
            .is_some_and(|e| e.contains("nobody"))
    };
    rig.until(refused).await;
    rig.stop().await;
}

/// A connection whose other end is gone without a word says nothing for ever.
#[tokio::test]
async fn over_tcp_a_mute_meter_is_connected_to_anew() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let mut rig = start(&address.to_string(), 4);
    let (_mute, _) = listener.accept().await.unwrap();
    rig.until(|vitals| vitals.state == State::Silent).await;
    let accepted = timeout(Duration::from_secs(10), listener.accept()).await;
    let (stream, _) = accepted.unwrap().unwrap();
    assert!(rig.health.vitals().frames_bad >= 3);
    let serving = tokio::spawn(async move { serve(stream, &mut Stub::new()).await });
    assert_eq!(rig.sample().await.amount, Amount::Exactly(12.345));
    rig.stop().await;
    serving.await.unwrap();
}

#[tokio::test]
async fn over_tcp_a_full_queue_holds_it_back_and_a_stop_ends_it() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let rig = start(&address.to_string(), 1);
    let (stream, _) = listener.accept().await.unwrap();
    let serving = tokio::spawn(async move {
        let mut stub = Stub::new();
        serve(stream, &mut stub).await;
        stub
    });
    // One in the queue and one in hand.
    let full = async {
        while rig.health.vitals().frames_good < 2 {
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
    };
    timeout(Duration::from_secs(10), full).await.unwrap();
    rig.stop().await;
    let told = serving.await.unwrap().told;
    assert_eq!(told.iter().filter(|line| *line == "READ?").count(), 2);
}

const OUTSIDE: &[&str] = &["+1.23450000E+01", "-5.00000000E-03", "+9.90000000E+37"];

/// What we say of a stub that is set to a function.
fn said(function: ScpiFunction, mut stub: Stub) -> Vec<serde_json::Value> {
    let heard = talk(
        &mut Conversation::new(wanted(function)),
        &mut stub,
        OUTSIDE.len(),
    );
    let sample = |heard| match heard {
        Heard::Sample(sample) => trisect_kit::sample_json(&sample),
        other => panic!("{other:?}"),
    };
    heard.into_iter().map(sample).collect()
}

/// Where `SCPI_STUB` names a file, a stub for each function is served until that
/// file is gone, for an outside program to read. The file has a JSON object a
/// line: function, address, and what we say of the readings. The stubs answer
/// `*IDN?` as `SCPI_STUB_IDENTITY` says, since such programs know few meters.
#[tokio::test]
async fn the_stub_is_served_to_outside_programs() {
    let Some(path) = std::env::var_os("SCPI_STUB").map(std::path::PathBuf::from) else {
        return;
    };
    let mut lines = String::new();
    for function in ScpiFunction::ALL {
        let mut stub = Stub::new();
        stub.identity = std::env::var("SCPI_STUB_IDENTITY").unwrap_or(stub.identity);
        stub.function = function.words().configured[0].to_owned();
        stub.readings = OUTSIDE.to_vec();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let line = serde_json::json!({
            "function": stub.function,
            "address": listener.local_addr().unwrap().to_string(),
            "said": said(function, stub.clone()),
        });
        lines += &format!("{line}\n");
        tokio::spawn(async move {
            while let Ok((stream, _)) = listener.accept().await {
                serve(stream, &mut stub.clone()).await;
            }
        });
    }
    // Whole at once: somebody waits for it.
    let draft = path.with_extension("draft");
    std::fs::write(&draft, lines).unwrap();
    std::fs::rename(&draft, &path).unwrap();
    while path.exists() {
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

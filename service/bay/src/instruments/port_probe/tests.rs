#![allow(clippy::unwrap_used)]
use super::*;
use std::sync::Arc;
use trisect_kit::conformance::Pty;

const QUICK: Patience = Patience {
    listen: Duration::from_millis(150),
    answer: Duration::from_millis(150),
};

/// An instrument that says `speaks` over and over, or answers what `answers` says.
struct Far {
    pty: Arc<Pty>,
    asked: Arc<std::sync::Mutex<Vec<u8>>>,
    playing: tokio::task::JoinHandle<()>,
}

impl Drop for Far {
    fn drop(&mut self) {
        self.playing.abort();
    }
}

fn far(speaks: &'static [u8], answers: fn(&[u8]) -> Vec<u8>) -> Far {
    let pty = Arc::new(Pty::open().unwrap());
    let asked = Arc::new(std::sync::Mutex::new(Vec::new()));
    let (line, log) = (Arc::clone(&pty), Arc::clone(&asked));
    let playing = tokio::spawn(async move {
        let mut turns = tokio::time::interval(Duration::from_millis(10));
        let mut request = [0; 64];
        loop {
            tokio::select! {
                _ = turns.tick() => line.write_all(speaks).await.unwrap(),
                read = line.read(&mut request) => {
                    let request = &request[..read.unwrap()];
                    log.lock().unwrap().extend_from_slice(request);
                    line.write_all(&answers(request)).await.unwrap();
                }
            }
        }
    });
    Far {
        pty,
        asked,
        playing,
    }
}

fn mute(_: &[u8]) -> Vec<u8> {
    Vec::new()
}

impl Far {
    async fn probed(&self, allow_writing: bool) -> PortProbe {
        probe(self.pty.path(), allow_writing, QUICK).await.unwrap()
    }

    fn asked(&self) -> Vec<u8> {
        self.asked.lock().unwrap().clone()
    }
}

/// Generated, and read so by libsigrok.
const FS9922: &[u8] = b"+1234 21\x00\x00\x80\x0C\r\n";

#[tokio::test]
async fn a_meter_that_speaks_is_heard_and_nothing_is_written() {
    let meter = far(FS9922, mute);
    let probed = meter.probed(true).await;
    let first = &probed.findings[0];
    assert_eq!(
        (first.protocol.as_str(), first.adapter.as_str()),
        ("fs9922", "multimeter")
    );
    assert_eq!(first.said.as_deref(), Some("12.34 V DC"));
    assert_eq!(first.settings["port"], json!(meter.pty.path()));
    assert!(
        first.share > 0.9 && first.good >= 3 && !first.asked,
        "{first:?}"
    );
    assert!(meter.asked().is_empty());
    // What it says is enough to attach it.
    let plugins = Default::default();
    let built = crate::instruments::build(&first.adapter, first.settings.clone(), &plugins);
    assert!(built.await.is_ok());
}

#[tokio::test]
async fn every_protocol_that_speaks_by_itself_is_among_those_listened_for() {
    let silent = far(b"", mute);
    let note = silent.probed(false).await.note;
    for codec in codecs().iter().filter(|codec| codec.poll.is_none()) {
        assert!(
            note.contains(&codec.line.to_string()),
            "{}: {note}",
            codec.name
        );
    }
    assert!(note.contains("allow writing"), "{note}");
    assert!(silent.asked().is_empty());
}

#[tokio::test]
async fn a_polled_meter_is_asked_only_if_that_is_allowed() {
    let meter = far(b"", |request| match request {
        b"D" => b"DC -01.52   V\r".to_vec(),
        _ => Vec::new(),
    });
    assert_eq!(meter.probed(false).await.findings, []);
    assert!(meter.asked().is_empty());
    let probed = meter.probed(true).await;
    let first = &probed.findings[0];
    assert_eq!(
        (first.said.as_deref(), first.asked),
        (Some("-1.52 V DC"), true)
    );
}

#[tokio::test]
async fn a_scpi_meter_says_who_it_is() {
    let meter = far(b"", |request| match request.ends_with(b"*IDN?\n") {
        true => b"NORTHMOOR,BENCH 6,0001,1.0\r\n".to_vec(),
        false => Vec::new(),
    });
    let probed = meter.probed(true).await;
    assert_eq!(probed.findings.len(), 1, "{probed:?}");
    assert_eq!(probed.findings[0].protocol, "scpi");
    assert_eq!(probed.findings[0].title, "NORTHMOOR,BENCH 6,0001,1.0");
}

#[tokio::test]
async fn a_modbus_device_answers_even_with_an_exception() {
    let device = far(b"", |request| match request {
        [2, 0x03, ..] => {
            let mut reply = vec![2, 0x83, 2];
            let sum = checksum(&reply);
            reply.extend(sum);
            reply
        }
        _ => Vec::new(),
    });
    let probed = device.probed(true).await;
    assert_eq!(probed.findings.len(), 1, "{probed:?}");
    assert_eq!(probed.findings[0].protocol, "modbus-rtu");
    assert_eq!(probed.findings[0].settings["device"], 2);
}

#[tokio::test]
async fn lines_of_text_are_shown() {
    let logger = far(b"t=21.4 p=3.1\r\n", mute);
    let probed = logger.probed(false).await;
    assert_eq!(probed.findings[0].protocol, "text");
    assert_eq!(probed.findings[0].said.as_deref(), Some("t=21.4 p=3.1"));
}

#[tokio::test]
async fn noise_is_nothing() {
    let noise = far(b"\xFE\x83\x91\xF0", mute);
    let probed = noise.probed(false).await;
    assert_eq!(probed.findings, []);
    assert!(
        probed.bytes > 0 && probed.note.contains("no known protocol"),
        "{probed:?}"
    );
}

#[tokio::test]
async fn a_port_that_cannot_be_opened_says_why() {
    let error = probe(Path::new("/dev/no-such-port"), false, QUICK).await;
    assert!(error.unwrap_err().to_string().contains("no such port"));
}

#[test]
fn replies_and_identities_are_whole_or_none() {
    assert!(is_reply(1, &[0x01, 0x83, 0x02, 0xC0, 0xF1]));
    assert!(!is_reply(2, &[0x01, 0x83, 0x02, 0xC0, 0xF1]));
    assert!(!is_reply(1, &[0x01, 0x83, 0x02, 0xC0]));
    assert!(!is_reply(1, &[0x01, 0x83, 0x02, 0xC0, 0xF2]));
    assert!(!is_reply(1, &[]));
    assert_eq!(
        identity(b"*IDN?\r\nA,B,C,D\r\n").as_deref(),
        Some("A,B,C,D")
    );
    assert_eq!(identity(b"A,B,C\r\n"), None);
    assert_eq!(identity(b"\xFF,B,C,D\n"), None);
}

//! What speaks on a port: the known protocols tried one line setting after the
//! other. Listening comes first and changes nothing at the other end; requests
//! are written only if that was allowed.

use std::path::Path;
use std::time::Duration;

use serde_json::{Map, Value, json};
use trisect_kit::ports::{Port, PortError, Understood, ask, listen, port_of, understood};
use trisect_kit::{Codec, LineSettings, Parity};
use trisect_measure::{Amount, Quantity, Sample, Unit};
use trisect_multimeter::codecs;
use trisect_transducer::{Request, Table, checksum};

/// How long things are waited for.
#[derive(Clone, Copy, Debug)]
pub struct Patience {
    /// For bytes at one line setting: meters send 2 to 5 messages a second.
    pub listen: Duration,
    /// For the answer to a request.
    pub answer: Duration,
}

impl Default for Patience {
    fn default() -> Patience {
        Patience {
            listen: Duration::from_millis(1500),
            answer: Duration::from_millis(400),
        }
    }
}

/// What speaks on a port.
#[derive(Clone, Debug, PartialEq)]
pub struct PortProbe {
    /// The path to use in settings.
    pub port: String,
    /// The likeliest first; empty if nothing was understood.
    pub findings: Vec<PortFinding>,
    /// How many bytes came in all.
    pub bytes: u64,
    /// What was tried, and what may be tried next, in words.
    pub note: String,
}

/// Something that was understood on a port.
#[derive(Clone, Debug, PartialEq)]
pub struct PortFinding {
    /// The adapter to attach it through.
    pub adapter: String,
    /// The protocol, such as `fs9922`, `scpi` or `modbus-rtu`.
    pub protocol: String,
    /// What it is, in words, or what it said of itself.
    pub title: String,
    /// How the line was set.
    pub line: String,
    /// The part of the bytes heard that made sense, 0 to 1.
    pub share: f64,
    /// Messages understood.
    pub good: u64,
    /// Messages found and refused.
    pub bad: u64,
    /// Whether something was written to the port to hear this.
    pub asked: bool,
    /// The last thing it said, as people would write it.
    pub said: Option<String>,
    /// Settings to attach it with; those that cannot be known are left out.
    pub settings: Map<String, Value>,
}

const EIGHT_NONE: [u32; 3] = [9_600, 115_200, 19_200];
/// The line of the Modbus specification, and the one most often met.
const MODBUS: [LineSettings; 2] = [
    LineSettings::new(19_200, 8, Parity::Even, 1),
    LineSettings::new(9_600, 8, Parity::None, 1),
];
/// Addresses of Modbus devices that are tried; they come as 1 from the works.
const DEVICES: std::ops::RangeInclusive<u8> = 1..=4;
/// The part of bytes that may be no text in lines of text.
const TEXT_SHARE: f64 = 0.95;
/// The adapter that reads them.
const TEXT: &str = "text";

const fn eight_none(baud: u32) -> LineSettings {
    LineSettings::new(baud, 8, Parity::None, 1)
}

/// Listens on a port, and asks if that is allowed. `path` is what the findings'
/// settings name.
///
/// # Errors
/// The port cannot be opened.
pub async fn probe(
    path: &Path,
    allow_writing: bool,
    patience: Patience,
) -> Result<PortProbe, PortError> {
    let mut probing = Probing {
        path,
        patience,
        findings: Vec::new(),
        bytes: 0,
        tried: Vec::new(),
    };
    probing.listen().await?;
    let speaks = !probing.findings.is_empty();
    if allow_writing && !speaks {
        probing.ask_meters().await?;
        probing.ask_scpi().await?;
        probing.ask_modbus().await?;
    }
    Ok(probing.told(allow_writing))
}

struct Probing<'a> {
    path: &'a Path,
    patience: Patience,
    findings: Vec<PortFinding>,
    bytes: u64,
    tried: Vec<String>,
}

impl Probing<'_> {
    /// Listens at every line setting of the protocols that speak by themselves,
    /// and at those of text. The first sure finding ends it.
    async fn listen(&mut self) -> Result<(), PortError> {
        let speaking = codecs().iter().filter(|codec| codec.poll.is_none());
        let mut lines: Vec<(Port, Vec<Codec>)> = Vec::new();
        for codec in speaking {
            let port = port_of(self.path, codec);
            match lines.iter_mut().find(|(known, _)| *known == port) {
                Some((_, codecs)) => codecs.push(*codec),
                None => lines.push((port, vec![*codec])),
            }
        }
        for baud in EIGHT_NONE {
            let port = self.port(eight_none(baud));
            if lines.iter().all(|(known, _)| known.line != port.line) {
                lines.push((port, Vec::new()));
            }
        }
        for (port, codecs) in lines {
            let sure = |bytes: &[u8]| understood(&codecs, bytes).iter().any(Understood::is_sure);
            let heard = listen(&port, self.patience.listen, sure).await?;
            self.tried.push(format!("listened at {}", port.line));
            self.bytes += heard.len() as u64;
            let found = understood(&codecs, &heard);
            let done = found.iter().any(Understood::is_sure);
            self.meters(&found, false);
            if found.is_empty() {
                self.findings.extend(self.text(&heard, port.line));
            }
            if done {
                break;
            }
        }
        Ok(())
    }

    /// Asks the meters that speak when they are asked.
    async fn ask_meters(&mut self) -> Result<(), PortError> {
        for codec in codecs() {
            let Some(poll) = codec.poll else { continue };
            let any = |bytes: &[u8]| !understood(&[*codec], bytes).is_empty();
            let port = port_of(self.path, codec);
            let time = poll.patience.max(self.patience.answer);
            let heard = ask(&port, poll.request, time, any).await?;
            self.tried
                .push(format!("asked as {} at {}", codec.name, codec.line));
            self.bytes += heard.len() as u64;
            self.meters(&understood(&[*codec], &heard), true);
        }
        Ok(())
    }

    /// Asks who is there, as IEEE 488.2 has it.
    async fn ask_scpi(&mut self) -> Result<(), PortError> {
        for baud in EIGHT_NONE {
            let line = eight_none(baud);
            let whole = |bytes: &[u8]| bytes.contains(&b'\n');
            let heard = ask(&self.port(line), b"*IDN?\n", self.patience.answer, whole).await?;
            self.tried.push(format!("asked *IDN? at {line}"));
            self.bytes += heard.len() as u64;
            if let Some(identity) = identity(&heard) {
                let finding = self.finding("scpi", "scpi", identity.clone(), line);
                self.findings.push(PortFinding {
                    said: Some(identity),
                    asked: true,
                    good: 1,
                    ..finding
                });
                return Ok(());
            }
        }
        Ok(())
    }

    /// Reads the first holding register of the first few addresses: an exception
    /// is an answer, too.
    async fn ask_modbus(&mut self) -> Result<(), PortError> {
        for line in MODBUS {
            for device in DEVICES {
                let request = Request {
                    device,
                    table: Table::Holding,
                    register: 0,
                    count: 1,
                };
                let answered = |bytes: &[u8]| is_reply(device, bytes);
                let time = self.patience.answer;
                let heard = ask(&self.port(line), &request.bytes(), time, answered).await?;
                self.bytes += heard.len() as u64;
                if !is_reply(device, &heard) {
                    continue;
                }
                let title = format!("a Modbus device with address {device}");
                let mut finding = self.finding("transducer", "modbus-rtu", title, line);
                (finding.asked, finding.good) = (true, 1);
                finding.settings.insert("device".to_owned(), json!(device));
                self.findings.push(finding);
                return Ok(());
            }
            self.tried
                .push(format!("asked Modbus devices {DEVICES:?} at {line}"));
        }
        Ok(())
    }

    fn port(&self, line: LineSettings) -> Port {
        Port {
            path: self.path.to_owned(),
            line,
            optical: false,
        }
    }

    fn meters(&mut self, found: &[Understood], asked: bool) {
        for one in found {
            let codec = one.codec;
            let title = codec.title.to_owned();
            let mut finding = self.finding("multimeter", codec.name, title, codec.line);
            // Its protocol says how the line is set.
            finding.settings.remove("line");
            finding
                .settings
                .insert("protocol".to_owned(), json!(codec.name));
            self.findings.push(PortFinding {
                share: one.share,
                good: one.good,
                bad: one.bad,
                asked,
                said: Some(said(&one.last)),
                ..finding
            });
        }
    }

    /// Lines of printable text with numbers in them.
    fn text(&self, heard: &[u8], line: LineSettings) -> Option<PortFinding> {
        let printable = |b: &&u8| matches!(**b, b' '..=b'~' | b'\r' | b'\n' | b'\t');
        let share = heard.iter().filter(printable).count() as f64 / heard.len().max(1) as f64;
        let text = String::from_utf8_lossy(heard);
        // The first line may be cut, and so may the last.
        let whole: Vec<&str> = text.split('\n').skip(1).collect();
        let (_, whole) = whole.split_last()?;
        let numbers = |line: &&&str| line.contains(|c: char| c.is_ascii_digit());
        let good = whole.iter().filter(numbers).count();
        if share < TEXT_SHARE || good == 0 || good * 2 < whole.len() {
            return None;
        }
        let title = "lines of text with numbers".to_owned();
        let finding = self.finding(TEXT, TEXT, title, line);
        Some(PortFinding {
            share,
            good: good as u64,
            bad: (whole.len() - good) as u64,
            said: whole.last().map(|line| line.trim().to_owned()),
            ..finding
        })
    }

    fn finding(
        &self,
        adapter: &str,
        protocol: &str,
        title: String,
        line: LineSettings,
    ) -> PortFinding {
        let mut settings = Map::new();
        settings.insert("port".to_owned(), Value::from(self.path.to_string_lossy()));
        settings.insert("line".to_owned(), json!(line.to_string()));
        PortFinding {
            adapter: adapter.to_owned(),
            protocol: protocol.to_owned(),
            title,
            line: line.to_string(),
            share: 1.0,
            good: 0,
            bad: 0,
            asked: false,
            said: None,
            settings,
        }
    }

    fn told(mut self, allowed: bool) -> PortProbe {
        // A chip's messages may be lines of text, but lines of text are seldom a chip's messages: once
        // one is understood, text is no other reading of the same bytes.
        if self.findings.iter().any(|one| one.adapter != TEXT) {
            self.findings.retain(|one| one.adapter != TEXT);
        }
        // What made sense of most bytes comes first; more messages decide between equals.
        self.findings
            .sort_by(|a, b| b.share.total_cmp(&a.share).then(b.good.cmp(&a.good)));
        let mut note = self.tried.join(", ");
        if self.findings.is_empty() {
            note.push_str(match (self.bytes, allowed) {
                (0, false) => {
                    ": nothing came. Is the instrument on, and its data output? Some speak only when asked: allow writing"
                }
                (0, true) => ": nothing came. Is the instrument on, and the cable the right way?",
                (_, false) => {
                    ": bytes came, but no known protocol makes sense of them. Some speak only when asked: allow writing"
                }
                (_, true) => ": bytes came, but no known protocol makes sense of them",
            });
        }
        PortProbe {
            port: self.path.display().to_string(),
            findings: self.findings,
            bytes: self.bytes,
            note,
        }
    }
}

/// The answer to `*IDN?`: four fields with commas between (IEEE 488.2, 10.14).
fn identity(heard: &[u8]) -> Option<String> {
    let text = std::str::from_utf8(heard).ok()?;
    // An echo of the request may stand before it.
    let mut lines = text.lines().map(str::trim);
    let answer = lines.find(|line| line.split(',').count() == 4 && !line.contains('?'))?;
    let plain = answer.chars().all(|c| c.is_ascii_graphic() || c == ' ');
    plain.then(|| answer.to_owned())
}

/// Whether bytes are a whole reply of a device, or an exception of it.
fn is_reply(device: u8, bytes: &[u8]) -> bool {
    let whole = |length: usize| {
        let (Some(message), Some(sum)) = (bytes.get(..length), bytes.get(length..length + 2))
        else {
            return false;
        };
        checksum(message) == *sum
    };
    match bytes {
        [from, 0x03, 2, ..] if *from == device => whole(5),
        [from, 0x83, ..] if *from == device => whole(3),
        _ => false,
    }
}

/// A sample as people would write it.
fn said(sample: &Sample) -> String {
    let quantity = sample.function.quantity();
    let unit = match quantity {
        Quantity::Temperature => Unit::CELSIUS,
        Quantity::Ratio => Unit::PERCENT,
        other => other.si_unit(),
    };
    let beyond = match sample.amount {
        Amount::Exactly(_) => "",
        Amount::Above(_) => "above ",
        Amount::Below(_) => "below ",
    };
    let value = unit.from_si(sample.amount.edge());
    let coupling = sample.coupling.map(|c| json!(c));
    let coupling = coupling.as_ref().and_then(Value::as_str).unwrap_or("");
    format!("{beyond}{value} {unit} {coupling}")
        .trim()
        .to_owned()
}

#[cfg(test)]
mod tests;

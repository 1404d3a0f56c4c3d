//! What speaks on a port: bytes listened for, and what codecs make of them.

use std::path::Path;
use std::time::Duration;

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::time::{Instant, timeout_at};
use trisect_measure::Sample;

use super::{Port, PortError, open};
use crate::{Codec, Decoded};

/// Bytes that are enough to tell any protocol by.
const ENOUGH: usize = 4096;
/// Messages that tell a protocol by themselves, if little else was heard.
const SURE: u64 = 3;
/// The part of the bytes that then makes sense.
const SURE_SHARE: f64 = 0.9;

/// What a codec made of bytes.
#[derive(Clone, Debug)]
pub struct Understood {
    /// The codec.
    pub codec: Codec,
    /// The part of the bytes that are messages understood, 0 to 1.
    pub share: f64,
    /// Messages understood.
    pub good: u64,
    /// Messages found and refused.
    pub bad: u64,
    /// The last of them.
    pub last: Sample,
}

impl Understood {
    /// Whether there is hardly a doubt.
    pub fn is_sure(&self) -> bool {
        self.good >= SURE && self.share >= SURE_SHARE
    }
}

/// What codecs make of bytes: those that understood more than they refused, the
/// one that made sense of most first.
pub fn understood(codecs: &[Codec], bytes: &[u8]) -> Vec<Understood> {
    let mut all: Vec<Understood> = codecs
        .iter()
        .filter_map(|codec| one(*codec, bytes))
        .filter(|found| found.good > found.bad)
        .collect();
    all.sort_by(|a, b| b.share.total_cmp(&a.share).then(b.good.cmp(&a.good)));
    all
}

fn one(codec: Codec, bytes: &[u8]) -> Option<Understood> {
    let mut decoder = codec.decoder();
    decoder.push(bytes);
    let (mut good, mut bad, mut lost, mut last) = (0, 0, 0, None);
    loop {
        // What is half there at the end is a message cut by our stopping to listen.
        let Some(decoded) = decoder.next().or_else(|| decoder.gap()) else {
            break;
        };
        match decoded {
            Decoded::Sample(sample) => {
                good += 1;
                last = Some(sample);
            }
            Decoded::Bad { frame, .. } => {
                bad += 1;
                lost += frame.len();
            }
            Decoded::Skipped { bytes, .. } => lost += bytes,
        }
    }
    Some(Understood {
        codec,
        share: bytes.len().saturating_sub(lost) as f64 / bytes.len().max(1) as f64,
        good,
        bad,
        last: last?,
    })
}

/// Opens a port and listens: until `enough` says so, bytes enough for any
/// protocol have come, or the time is over. Nothing is written.
///
/// # Errors
/// The port cannot be opened. One that is lost meanwhile gives what was heard.
pub async fn listen(
    port: &Port,
    time: Duration,
    enough: impl Fn(&[u8]) -> bool,
) -> Result<Vec<u8>, PortError> {
    ask(port, &[], time, enough).await
}

/// Opens a port, writes a request and listens for what comes.
///
/// # Errors
/// As [`listen`].
pub async fn ask(
    port: &Port,
    request: &[u8],
    time: Duration,
    enough: impl Fn(&[u8]) -> bool,
) -> Result<Vec<u8>, PortError> {
    let mut stream = open(port)?;
    let until = Instant::now() + time;
    let mut heard = Vec::new();
    if !request.is_empty() {
        let written = timeout_at(until, stream.write_all(request)).await;
        if !matches!(written, Ok(Ok(()))) {
            return Ok(heard);
        }
    }
    let mut chunk = [0; 512];
    while heard.len() < ENOUGH && !enough(&heard) {
        match timeout_at(until, stream.read(&mut chunk)).await {
            Ok(Ok(count)) if count > 0 => {
                heard.extend_from_slice(chunk.get(..count).unwrap_or_default());
            }
            // The time is over, or the port is lost.
            _ => break,
        }
    }
    Ok(heard)
}

/// The port of a codec at a path.
pub fn port_of(path: &Path, codec: &Codec) -> Port {
    Port {
        path: path.to_owned(),
        line: codec.line,
        optical: codec.optical,
    }
}

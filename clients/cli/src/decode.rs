//! `trisect decode`: instrument bytes to samples, without an instrument.

use crate::args;
use crate::ended::{Ended, Fault};
use crate::hex::HexReader;
use crate::io::Io;
use std::io::Read;
use trisect_kit::{Codec, Decoded, Decoder, sample_json};

/// Bytes read from standard input at once.
const CHUNK: usize = 8192;

/// Reads standard input to its end; one JSON sample a line, what was skipped on standard error.
///
/// # Errors
/// An unknown protocol, text that is not hexadecimal, or streams that fail.
pub fn decode(what: &args::Decode, io: &mut Io<'_>) -> Result<Ended, Fault> {
    if what.list {
        io.say(&protocols())?;
        return Ok(Ended::AsWished);
    }
    let codec = codec(what.protocol.as_deref().unwrap_or_default())?;
    let mut decoder = codec.decoder();
    let mut hex = what.hex.then(HexReader::default);
    let mut at = 0;
    loop {
        let mut chunk = [0; CHUNK];
        let read = io.input.read(&mut chunk).map_err(Fault::Input)?;
        let bytes = chunk.get(..read).unwrap_or_default();
        if bytes.is_empty() {
            break;
        }
        match &mut hex {
            Some(hex) => decoder.push(&hex.read(bytes).map_err(Fault::Wrong)?),
            None => decoder.push(bytes),
        }
        while let Some(found) = decoder.next() {
            tell(&found, &mut at, io)?;
        }
    }
    if let Some(hex) = hex {
        hex.end().map_err(Fault::Wrong)?;
    }
    finish(&mut decoder, &mut at, io)?;
    Ok(Ended::AsWished)
}

/// The input has ended: what is half there is given up, and what follows it looked at again.
fn finish(decoder: &mut Decoder, at: &mut u64, io: &mut Io<'_>) -> Result<(), Fault> {
    while let Some(found) = decoder.gap() {
        tell(&found, at, io)?;
        while let Some(found) = decoder.next() {
            tell(&found, at, io)?;
        }
    }
    Ok(())
}

fn tell(found: &Decoded, samples: &mut u64, io: &mut Io<'_>) -> Result<(), Fault> {
    match found {
        Decoded::Sample(sample) => {
            *samples += 1;
            io.json(&sample_json(sample))
        }
        Decoded::Bad { frame, error } => {
            let bytes: Vec<String> = frame.iter().map(|byte| format!("{byte:02X}")).collect();
            io.warn(&format!("after sample {samples}: bad frame {}: {error}\n", bytes.join(" ")))
        }
        Decoded::Skipped { bytes, why } => {
            io.warn(&format!("after sample {samples}: skipped {bytes} bytes: {why}\n"))
        }
    }
}

fn codec(name: &str) -> Result<&'static Codec, Fault> {
    trisect_multimeter::codecs().iter().find(|codec| codec.name == name).ok_or_else(|| {
        Fault::Wrong(format!("there is no protocol `{name}`; there are:\n{}", protocols().trim_end()))
    })
}

fn protocols() -> String {
    trisect_multimeter::codecs()
        .iter()
        .map(|codec| format!("{:<12} {}, {}\n", codec.name, codec.title, codec.line))
        .collect()
}

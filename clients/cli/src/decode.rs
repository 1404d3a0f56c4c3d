//! `trisect decode`: instrument bytes to samples, without an instrument.

use crate::args;
use crate::exit::{CliError, Ending};
use crate::hex::HexReader;
use crate::io::Io;
use trisect_kit::{Codec, Decoded, Decoder, sample_json};

/// Bytes read from standard input at once.
const CHUNK: usize = 8192;

/// Reads standard input to its end; one JSON sample a line, what was skipped on standard error.
///
/// # Errors
/// An unknown protocol, text that is not hexadecimal, or streams that fail.
pub fn decode(what: &args::Decode, io: &mut Io<'_>) -> Result<Ending, CliError> {
    if what.list {
        io.say(&protocols())?;
        return Ok(Ending::AsWished);
    }
    let codec = codec(what.protocol.as_deref().unwrap_or_default())?;
    let mut decoder = codec.decoder();
    let mut hex = what.hex.then(HexReader::default);
    let mut at = 0;
    loop {
        let mut chunk = [0; CHUNK];
        let read = io.input.read(&mut chunk).map_err(CliError::Input)?;
        let bytes = chunk.get(..read).unwrap_or_default();
        if bytes.is_empty() {
            break;
        }
        match &mut hex {
            Some(hex) => decoder.push(&hex.read(bytes).map_err(CliError::Wrong)?),
            None => decoder.push(bytes),
        }
        while let Some(found) = decoder.next() {
            tell(&found, &mut at, io)?;
        }
    }
    if let Some(hex) = hex {
        hex.end().map_err(CliError::Wrong)?;
    }
    finish(&mut decoder, &mut at, io)?;
    Ok(Ending::AsWished)
}

/// The input has ended: what is half there is given up, and what follows it looked at again.
fn finish(decoder: &mut Decoder, at: &mut u64, io: &mut Io<'_>) -> Result<(), CliError> {
    while let Some(found) = decoder.gap() {
        tell(&found, at, io)?;
        while let Some(found) = decoder.next() {
            tell(&found, at, io)?;
        }
    }
    Ok(())
}

fn tell(found: &Decoded, samples: &mut u64, io: &mut Io<'_>) -> Result<(), CliError> {
    match found {
        Decoded::Sample(sample) => {
            *samples += 1;
            io.json(&sample_json(sample))
        }
        Decoded::Bad { frame, error } => {
            let bytes: Vec<String> = frame.iter().map(|byte| format!("{byte:02X}")).collect();
            io.warn(&format!(
                "after sample {samples}: bad frame {}: {error}\n",
                bytes.join(" ")
            ))
        }
        Decoded::Skipped { bytes, why } => io.warn(&format!(
            "after sample {samples}: skipped {bytes} bytes: {why}\n"
        )),
    }
}

fn codec(name: &str) -> Result<&'static Codec, CliError> {
    trisect_multimeter::codec(name).ok_or_else(|| {
        CliError::Wrong(format!(
            "there is no protocol `{name}`; there are:\n{}",
            protocols().trim_end()
        ))
    })
}

fn protocols() -> String {
    trisect_multimeter::codecs()
        .iter()
        .map(|codec| format!("{:<12} {}, {}\n", codec.name, codec.title, codec.line))
        .collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// Standard output, standard error, and how it ended.
    fn decoded(
        protocol: &str,
        hex: bool,
        input: &[u8],
    ) -> (String, String, Result<Ending, String>) {
        let (mut out, mut err, mut input) = (Vec::new(), Vec::new(), input);
        let what = args::Decode {
            protocol: Some(protocol.to_owned()),
            hex,
            list: false,
        };
        let result = decode(&what, &mut Io::new(&mut input, &mut out, &mut err));
        let text = |bytes| String::from_utf8(bytes).unwrap();
        (
            text(out),
            text(err),
            result.map_err(|fault| fault.to_string()),
        )
    }

    // FS9922-DMM4, 12.34 V DC, automatic range; generated, and agreed with an independent decoder.
    const VOLTS: &str = "2B 31 32 33 34 20 32 31 00 00 80 0C 0D 0A";

    #[test]
    fn hexadecimal_text_and_bytes_give_the_same_samples() {
        let bytes = b"+1234 21\x00\x00\x80\x0c\r\n";
        let (from_hex, err, result) = decoded("fs9922", true, VOLTS.as_bytes());
        assert_eq!((err.as_str(), result), ("", Ok(Ending::AsWished)));
        assert_eq!(decoded("fs9922", false, bytes).0, from_hex);
        let sample: serde_json::Value = serde_json::from_str(&from_hex).unwrap();
        let said = ["function", "value", "unit", "overload", "coupling"]
            .map(|name| sample[name].to_string());
        assert_eq!(said, ["\"voltage\"", "12.34", "\"V\"", "false", "\"DC\""]);
        assert_eq!(sample["flags"][0], "auto");
    }

    #[test]
    fn what_is_skipped_is_said_and_costs_no_sample() {
        let (out, err, result) = decoded(
            "fs9922",
            true,
            format!("FF {VOLTS} {VOLTS} 2B 31").as_bytes(),
        );
        assert_eq!(result, Ok(Ending::AsWished));
        assert_eq!(out.lines().count(), 2);
        let said: Vec<&str> = err.lines().collect();
        assert_eq!(said.len(), 2, "{err}");
        assert!(
            said[0].starts_with("after sample 0: skipped 1 bytes: "),
            "{err}"
        );
        assert!(
            said[1].starts_with("after sample 2: skipped 2 bytes: "),
            "{err}"
        );
    }

    #[test]
    fn a_wrong_name_and_wrong_text_say_what_to_do() {
        let unknown = decoded("fs99", false, b"").2.unwrap_err();
        assert!(
            unknown.starts_with("there is no protocol `fs99`; there are:\nfs9922 "),
            "{unknown}"
        );
        let text = decoded("fs9922", true, b"2B 3G").2.unwrap_err();
        assert!(text.contains("character 5 is `G`"), "{text}");
    }
}

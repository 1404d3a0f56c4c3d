//! Any Rust adapter as a plugin: here one for a toy meter that says `<12.5>` on a serial port.

use std::path::PathBuf;
use std::time::Duration;

use serde::Deserialize;
use trisect_kit::framing::Window;
use trisect_kit::plugin::{Offer, serve};
use trisect_kit::{
    Adapter, BadFrame, ChannelDescription, Codec, Decode, Description, LineSettings, Parity,
    SerialAdapter, SettingsError,
};
use trisect_measure::{Amount, Flags, Function, Sample};

const TOY: Codec = Codec {
    name: "toy",
    title: "toy",
    line: LineSettings::new(9600, 8, Parity::None, 1),
    gap: Duration::from_millis(100),
    optical: false,
    poll: None,
    framing: || Box::new(Window::new(6, |w| w.starts_with(b"<") && w.ends_with(b">"))),
    decoding: || Box::new(Toy),
};

struct Toy;

impl Decode for Toy {
    fn decode(&mut self, frame: &[u8]) -> Result<Sample, BadFrame> {
        let digits = frame
            .get(1..5)
            .and_then(|digits| std::str::from_utf8(digits).ok());
        let volts = digits.and_then(|digits| digits.parse().ok());
        Ok(Sample {
            channel: 0,
            function: Function::Voltage,
            amount: Amount::Exactly(volts.ok_or_else(|| BadFrame::new("no number"))?),
            digit: Some(0.1),
            span: None,
            coupling: None,
            flags: Flags::empty(),
        })
    }
}

#[derive(Deserialize)]
struct Settings {
    port: PathBuf,
    silent_after: u64,
}

fn description() -> Description {
    Description {
        name: "toy".to_owned(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        title: "a toy meter".to_owned(),
        channels: vec![ChannelDescription {
            channel: 0,
            title: "volts".to_owned(),
            function: None,
        }],
        settings: serde_json::json!({
            "type": "object",
            "required": ["port", "silent_after"],
            "properties": {"port": {"type": "string"}, "silent_after": {"type": "integer", "minimum": 1}},
        }),
    }
}

fn make(settings: serde_json::Value) -> Result<Box<dyn Adapter>, SettingsError> {
    let refused = |error: serde_json::Error| SettingsError {
        field: "settings",
        why: error.to_string(),
    };
    let settings: Settings = serde_json::from_value(settings).map_err(refused)?;
    let adapter = SerialAdapter::new(description(), settings.port, TOY);
    Ok(Box::new(adapter.silent_after(Duration::from_millis(
        settings.silent_after,
    ))))
}

#[tokio::main(flavor = "current_thread")]
async fn main() -> std::io::Result<()> {
    serve(Offer::new(description(), make)).await
}

//! For the tests of codecs: a frame in, a line of words out.

use trisect_kit::{BadFrame, Codec, sample_json};
use trisect_measure::Sample;

/// A payload of characters, with CR LF after it, decoded without framing.
pub(crate) fn decoded(codec: &Codec, payload: &str) -> Result<Sample, BadFrame> {
    (codec.decoding)().decode(format!("{payload}\r\n").as_bytes())
}

/// The same as `function value unit`, or why it is refused.
pub(crate) fn read(codec: &Codec, payload: &str) -> String {
    words(decoded(codec, payload))
}

/// A sample as `function value unit`, or why the frame is refused.
pub(crate) fn words(said: Result<Sample, BadFrame>) -> String {
    match said {
        Ok(sample) => {
            let json = sample_json(&sample);
            format!("{} {} {}", json["function"], json["value"], json["unit"]).replace('"', "")
        }
        Err(error) => error.why.into_owned(),
    }
}

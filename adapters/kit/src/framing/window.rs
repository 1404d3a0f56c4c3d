//! Messages of one length, told by their shape.

use bytes::{Buf as _, BytesMut};

use super::{Framed, Framing};

/// Slides over the bytes until `length` of them have the shape of a message.
///
/// Fit for a protocol whose shape cannot be met by bytes that straddle two
/// messages: then garbage before a message never costs that message.
#[derive(Clone, Copy, Debug)]
pub struct Window {
    length: usize,
    fits: fn(&[u8]) -> bool,
}

impl Window {
    /// Messages of `length` bytes (at least one) for which `fits` holds.
    pub const fn new(length: usize, fits: fn(&[u8]) -> bool) -> Window {
        let length = if length == 0 { 1 } else { length };
        Window { length, fits }
    }
}

impl Framing for Window {
    fn next(&mut self, buffer: &mut BytesMut) -> Option<Framed> {
        let misfits = buffer
            .windows(self.length)
            .position(|window| (self.fits)(window))
            .unwrap_or_else(|| (buffer.len() + 1).saturating_sub(self.length));
        if misfits > 0 {
            buffer.advance(misfits);
            return Some(Framed::Skipped {
                bytes: misfits,
                why: "bytes between messages, or a message damaged",
            });
        }
        (buffer.len() >= self.length).then(|| Framed::Frame(buffer.split_to(self.length).freeze()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(input: &[u8], expected: &[&str]) {
        let mut framing = Window::new(3, |w| w[0] == b'<' && w[2] == b'>');
        let mut buffer = BytesMut::from(input);
        let mut found = Vec::new();
        while let Some(framed) = framing.next(&mut buffer) {
            found.push(match framed {
                Framed::Frame(frame) => String::from_utf8_lossy(&frame).into_owned(),
                Framed::Skipped { bytes, .. } => format!("-{bytes}"),
            });
        }
        if let Some(Framed::Skipped { bytes, .. }) = framing.gap(&mut buffer) {
            found.push(format!("-{bytes} left"));
        }
        assert_eq!(found, expected);
    }

    #[test]
    fn finds_messages_and_counts_the_rest() {
        check(b"", &[]);
        check(b"<1><2>", &["<1>", "<2>"]);
        check(b"xx<1>yy<2>", &["-2", "<1>", "-2", "<2>"]);
        check(b"<1<2>", &["-2", "<2>"]);
        check(b"<1>>", &["<1>", "-1 left"]);
        check(b"xyz", &["-1", "-2 left"]);
    }
}

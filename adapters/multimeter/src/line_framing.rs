//! Framing for the chips whose frames are lines of bytes `0` to `?`, ended by
//! CR LF.
//!
//! Any such bytes look like any other, and there is no checksum, so a line is
//! believed by its length alone:
//! - a line too short is a cut frame and is skipped;
//! - a line one byte too long, begun at a line's end, is a frame with a byte
//!   doubled or slipped in; which one cannot be known, so all of it is skipped;
//! - before a line longer than that stands a cut frame or noise: its last bytes
//!   are the frame.
//!
//! Guarantee: after any bytes at all, a whole frame is found, but for one case:
//! if exactly one byte of `0` to `?` stands alone before it at a line's
//! beginning, that frame is skipped and the one after it is found. On a live
//! port even that does not happen, for the pause between frames ends a line too.

use bytes::{Buf as _, Bytes, BytesMut};
use trisect_kit::{Framed, Framing};

/// Only the low seven bits count: the eighth is parity that came through.
const SEVEN_BITS: u8 = 0x7F;
/// Bytes after which an endless line is cut down: no whole frame is in there.
const LONGEST: usize = 64;

const SKIPPED: &str = "bytes that make no whole line";

/// Lines of `payload` bytes and CR LF. Frames are given with the eighth bit off.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Lines {
    payload: usize,
    /// Payload bytes of the present line that were skipped already.
    before: usize,
    /// Whether the present line began at the end of another, or of a pause.
    clean: bool,
}

/// What stands at the front of the bytes.
enum Front {
    Frame,
    Skip(usize),
    Unfinished,
}

impl Lines {
    pub(crate) const fn new(payload: usize) -> Lines {
        Lines {
            payload,
            before: 0,
            clean: true,
        }
    }

    fn look(&mut self, bytes: &[u8]) -> Front {
        let mut masked = bytes.iter().map(|byte| byte & SEVEN_BITS);
        let Some(run) = masked.clone().position(|byte| !is_payload(byte)) else {
            return self.endless(bytes.len());
        };
        match (masked.nth(run), masked.next()) {
            (Some(b'\r'), None) => Front::Unfinished,
            (Some(b'\r'), Some(b'\n')) => self.line(run),
            (end, _) => {
                self.begin(end == Some(b'\n'));
                Front::Skip(run + 1)
            }
        }
    }

    /// A line has ended with `run` payload bytes still in the buffer.
    fn line(&mut self, run: usize) -> Front {
        let one_too_many = self.clean && self.before + run == self.payload + 1;
        if run > self.payload && !one_too_many {
            let surplus = run - self.payload;
            self.before += surplus;
            return Front::Skip(surplus);
        }
        self.begin(true);
        if run == self.payload && !one_too_many {
            Front::Frame
        } else {
            Front::Skip(run + 2)
        }
    }

    /// All `count` bytes are payload and no end is in sight.
    fn endless(&mut self, count: usize) -> Front {
        if count <= LONGEST {
            return Front::Unfinished;
        }
        let surplus = count - self.payload;
        self.before = self.before.saturating_add(surplus);
        Front::Skip(surplus)
    }

    fn begin(&mut self, clean: bool) {
        self.before = 0;
        self.clean = clean;
    }
}

fn is_payload(byte: u8) -> bool {
    (b'0'..=b'?').contains(&byte)
}

impl Framing for Lines {
    fn next(&mut self, buffer: &mut BytesMut) -> Option<Framed> {
        let mut skipped = 0;
        loop {
            let state = *self;
            match self.look(buffer) {
                Front::Skip(count) => {
                    buffer.advance(count.min(buffer.len()));
                    skipped += count;
                }
                front if skipped > 0 => {
                    if matches!(front, Front::Frame) {
                        *self = state;
                    }
                    return Some(Framed::Skipped {
                        bytes: skipped,
                        why: SKIPPED,
                    });
                }
                Front::Frame => {
                    let frame = buffer.split_to((self.payload + 2).min(buffer.len()));
                    let frame: Bytes = frame.iter().map(|byte| byte & SEVEN_BITS).collect();
                    return Some(Framed::Frame(frame));
                }
                Front::Unfinished => return None,
            }
        }
    }

    fn gap(&mut self, buffer: &mut BytesMut) -> Option<Framed> {
        let bytes = buffer.len();
        buffer.clear();
        self.begin(true);
        (bytes > 0).then_some(Framed::Skipped {
            bytes,
            why: "a line cut short",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(input: &str, expected: &[&str]) {
        let mut framing = Lines::new(4);
        let mut buffer = BytesMut::from(input.as_bytes());
        let mut found = Vec::new();
        while let Some(framed) = framing.next(&mut buffer) {
            found.push(match framed {
                Framed::Frame(frame) => String::from_utf8_lossy(&frame).trim_end().to_owned(),
                Framed::Skipped { bytes, .. } => format!("-{bytes}"),
            });
        }
        assert_eq!(found, expected, "{input:?}");
    }

    #[test]
    fn believes_a_line_by_its_length() {
        check("1234\r\n5678\r\n", &["1234", "5678"]);
        check("34\r\n5678\r\n", &["-4", "5678"]);
        check("1234", &[]);
        check("1234\r", &[]);
    }

    #[test]
    fn a_byte_too_many_spoils_its_line_alone() {
        check("11234\r\n5678\r\n", &["-7", "5678"]);
        check("5678\r\n11234\r\n5678\r\n", &["5678", "-7", "5678"]);
    }

    #[test]
    fn what_is_cut_or_noise_before_a_frame_is_skipped() {
        check("125678\r\n", &["-2", "5678"]);
        check("1234\r5678\r\n", &["-5", "5678"]);
        check("1234\n5678\r\n", &["-5", "5678"]);
        check("noise5678\r\n", &["-5", "5678"]);
        check("12noise15678\r\n", &["-8", "5678"]);
        check(&format!("{}5678\r\n", "9".repeat(200)), &["-200", "5678"]);
    }

    #[test]
    fn a_pause_ends_a_line() {
        let mut framing = Lines::new(4);
        let mut buffer = BytesMut::from(&b"1"[..]);
        assert_eq!(framing.next(&mut buffer), None);
        assert!(framing.gap(&mut buffer).is_some());
        buffer.extend_from_slice(b"5678\r\n");
        assert!(matches!(framing.next(&mut buffer), Some(Framed::Frame(_))));
    }

    #[test]
    fn parity_that_came_through_does_not_matter() {
        let mut framing = Lines::new(4);
        let mut buffer = BytesMut::from(&b"1\xB234\r\x8A"[..]);
        assert_eq!(
            framing.next(&mut buffer),
            Some(Framed::Frame(Bytes::from_static(b"1234\r\n")))
        );
    }
}

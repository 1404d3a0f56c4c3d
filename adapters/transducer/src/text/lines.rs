//! Where a line starts and ends. No I/O.

use bytes::{Buf as _, BytesMut};
use trisect_kit::{Framed, Framing};

const CUT: &str = "a line cut short, or the rest of one that had begun before";
const TOO_LONG: &str = "a line longer than longest_line";

/// Lines ended by CR, LF or both, without their ends. An empty line may be the
/// second half of an end.
#[derive(Clone, Copy, Debug)]
pub struct Lines {
    longest: usize,
    /// Everything up to the next end is skipped, and why.
    dropping: Option<&'static str>,
}

impl Lines {
    /// Lines of at most `longest` bytes, on a port that was joined at any time:
    /// the first line may be the end of one, and is skipped.
    pub fn joined(longest: usize) -> Lines {
        Lines {
            longest,
            dropping: Some(CUT),
        }
    }

    /// Lines of at most `longest` bytes, from their very beginning.
    pub fn from_start(longest: usize) -> Lines {
        Lines {
            longest,
            dropping: None,
        }
    }
}

impl Framing for Lines {
    fn next(&mut self, buffer: &mut BytesMut) -> Option<Framed> {
        let end = buffer.iter().position(|byte| matches!(byte, b'\r' | b'\n'));
        let too_long = end.unwrap_or(buffer.len()) > self.longest;
        if too_long && self.dropping.is_none() {
            self.dropping = Some(TOO_LONG);
        }
        let skipped = |bytes, why| Some(Framed::Skipped { bytes, why });
        match (end, self.dropping) {
            (Some(end), Some(why)) => {
                self.dropping = None;
                buffer.advance(end + 1);
                skipped(end + 1, why)
            }
            (Some(end), None) => {
                let line = buffer.split_to(end).freeze();
                buffer.advance(1);
                Some(Framed::Frame(line))
            }
            (None, Some(why)) if !buffer.is_empty() => {
                let bytes = buffer.len();
                buffer.clear();
                skipped(bytes, why)
            }
            (None, _) => None,
        }
    }

    fn gap(&mut self, buffer: &mut BytesMut) -> Option<Framed> {
        if buffer.is_empty() {
            return None;
        }
        // Should the rest still come, it is no line either.
        self.dropping = Some(CUT);
        self.next(buffer)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn found(mut lines: Lines, input: &[u8], pieces: usize) -> Vec<String> {
        let mut buffer = BytesMut::new();
        let mut found = Vec::new();
        for piece in input.chunks(pieces) {
            buffer.extend_from_slice(piece);
            while let Some(framed) = lines.next(&mut buffer) {
                found.push(match framed {
                    Framed::Frame(line) => String::from_utf8_lossy(&line).into_owned(),
                    Framed::Skipped { bytes, .. } => format!("-{bytes}"),
                });
            }
        }
        found
    }

    #[test]
    fn lines_end_by_either_character() {
        let check = |input: &[u8], expected: &[&str]| {
            assert_eq!(found(Lines::from_start(8), input, 100), expected);
        };
        check(b"ab\ncd\r\nef\rgh", &["ab", "cd", "", "ef"]);
        check(b"123456789\nab\n", &["-10", "ab"]);
        check(b"12345678\n", &["12345678"]);
    }

    #[test]
    fn what_had_begun_before_is_skipped() {
        assert_eq!(found(Lines::joined(8), b"4 psi\nab\n", 100), ["-6", "ab"]);
        assert_eq!(found(Lines::joined(8), b"\nab\n", 100), ["-1", "ab"]);
    }

    #[test]
    fn a_long_line_is_skipped_piece_by_piece_and_holds_nothing() {
        let input = [&b"x".repeat(30)[..], b"\nab\n"].concat();
        let found = found(Lines::from_start(8), &input, 5);
        assert_eq!(found, ["-10", "-5", "-5", "-5", "-5", "-1", "ab"]);
    }

    #[test]
    fn a_line_cut_by_silence_takes_its_rest_with_it() {
        let mut lines = Lines::from_start(20);
        let mut buffer = BytesMut::from("P1=1");
        assert_eq!(lines.next(&mut buffer), None);
        assert_eq!(
            lines.gap(&mut buffer),
            Some(Framed::Skipped { bytes: 4, why: CUT })
        );
        assert_eq!(lines.gap(&mut buffer), None);
        buffer.extend_from_slice(b"2.4\nP1=5\n");
        assert_eq!(
            lines.next(&mut buffer),
            Some(Framed::Skipped { bytes: 4, why: CUT })
        );
        assert_eq!(lines.next(&mut buffer), Some(Framed::Frame("P1=5".into())));
    }

    proptest! {
        #[test]
        fn every_byte_is_in_a_line_or_skipped(input in prop::collection::vec(any::<u8>(), 0..300), pieces in 1usize..50) {
            let mut lines = Lines::joined(20);
            let mut buffer = BytesMut::new();
            let (mut given, mut ends) = (0, 0);
            for piece in input.chunks(pieces) {
                buffer.extend_from_slice(piece);
                while let Some(framed) = lines.next(&mut buffer) {
                    match framed {
                        Framed::Frame(line) => { given += line.len(); ends += 1; }
                        Framed::Skipped { bytes, .. } => { prop_assert!(bytes > 0); given += bytes; }
                    }
                }
                prop_assert!(buffer.len() <= 20);
            }
            prop_assert_eq!(given + ends + buffer.len(), input.len());
        }

        #[test]
        fn after_any_garbage_and_an_end_a_line_is_found(garbage in prop::collection::vec(any::<u8>(), 0..300), pieces in 1usize..50) {
            let input = [&garbage[..], b"\nP1=12.4 psi\n"].concat();
            let found = found(Lines::joined(20), &input, pieces);
            prop_assert_eq!(found.last().map(String::as_str), Some("P1=12.4 psi"));
        }
    }
}

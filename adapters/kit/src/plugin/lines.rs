//! Where a line starts and ends. No I/O.

use bytes::{Buf as _, Bytes, BytesMut};

/// What was found at the front of the bytes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum ReceivedLine {
    /// A line without its line feed.
    Whole(Bytes),
    /// A line past the longest that is taken: so many bytes were let go.
    TooLong(usize),
}

/// Bytes in, lines out; never holds more than the longest line and one read.
#[derive(Debug)]
pub(super) struct Lines {
    buffer: BytesMut,
    /// Bytes at the front that have no line feed.
    searched: usize,
    longest: usize,
    /// Bytes of a line that is too long and not over yet.
    dropped: usize,
}

impl Lines {
    /// Lines of at most `longest` bytes, the line feed included.
    pub(super) fn new(longest: usize) -> Lines {
        Lines {
            buffer: BytesMut::new(),
            searched: 0,
            longest,
            dropped: 0,
        }
    }

    /// Where the next bytes are read to.
    pub(super) fn buffer(&mut self) -> &mut BytesMut {
        // Room for a pipe's content: one read takes what is there.
        self.buffer.reserve(64 * 1024);
        &mut self.buffer
    }

    /// The next line, or `None` when more bytes are needed.
    pub(super) fn next(&mut self) -> Option<ReceivedLine> {
        let fresh = self.buffer.get(self.searched..).unwrap_or_default();
        let Some(place) = fresh.iter().position(|byte| *byte == b'\n') else {
            self.searched = self.buffer.len();
            if self.buffer.len() >= self.longest {
                self.dropped += self.buffer.len();
                self.buffer.clear();
                self.searched = 0;
            }
            return None;
        };
        let end = self.searched + place;
        self.searched = 0;
        let line = self.buffer.split_to(end).freeze();
        self.buffer.advance(1);
        if self.dropped > 0 || end >= self.longest {
            return Some(ReceivedLine::TooLong(
                std::mem::take(&mut self.dropped) + end + 1,
            ));
        }
        Some(ReceivedLine::Whole(line))
    }

    /// What is left when nothing more comes: a line that was cut, in bytes.
    pub(super) fn rest(&mut self) -> usize {
        let rest = std::mem::take(&mut self.dropped) + self.buffer.len();
        self.buffer.clear();
        self.searched = 0;
        rest
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The lines found in bytes that come `step` at a time, and the rest.
    fn check(bytes: &[u8], step: usize, expected: &[&str], rest: usize) {
        let mut lines = Lines::new(8);
        let mut found = Vec::new();
        for chunk in bytes.chunks(step) {
            lines.buffer().extend_from_slice(chunk);
            while let Some(line) = lines.next() {
                found.push(match line {
                    ReceivedLine::Whole(line) => String::from_utf8_lossy(&line).into_owned(),
                    ReceivedLine::TooLong(count) => format!("({count})"),
                });
            }
        }
        assert_eq!(
            (&found[..], lines.rest()),
            (
                &expected.iter().map(|s| (*s).to_owned()).collect::<Vec<_>>()[..],
                rest
            )
        );
    }

    #[test]
    fn lines_are_found_however_they_come() {
        for step in [1, 2, 3, 100] {
            check(b"one\ntwo\n\nfour", step, &["one", "two", ""], 4);
            check(b"1234567\nx\n", step, &["1234567", "x"], 0);
        }
    }

    #[test]
    fn a_line_too_long_is_let_go_and_the_next_one_is_read() {
        for step in [1, 5, 100] {
            check(b"12345678\nx\n", step, &["(9)", "x"], 0);
            check(b"123456789012345678901\nx\n", step, &["(22)", "x"], 0);
            check(b"1234567890", step, &[], 10);
        }
    }
}

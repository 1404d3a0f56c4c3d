//! Hexadecimal text as bytes.

/// Bytes from text that comes in pieces: two digits a byte; white space, and `0x` before a byte, pass.
#[derive(Debug, Default)]
pub struct HexReader {
    high: Option<u8>,
    /// Characters read so far, for messages.
    read: usize,
}

impl HexReader {
    /// Reads a piece of text; a byte may be split between two pieces.
    ///
    /// # Errors
    /// The message for a character that is no hexadecimal digit, with its place from 1.
    pub fn read(&mut self, text: &[u8]) -> Result<Vec<u8>, String> {
        let mut bytes = Vec::with_capacity(text.len() / 2);
        for &character in text {
            self.read += 1;
            let digit = match character {
                b'0'..=b'9' => character - b'0',
                b'a'..=b'f' => character - b'a' + 10,
                b'A'..=b'F' => character - b'A' + 10,
                b'x' | b'X' if self.high == Some(0) => {
                    self.high = None;
                    continue;
                }
                white if white.is_ascii_whitespace() => continue,
                other => return Err(self.refuse(other)),
            };
            match self.high.take() {
                None => self.high = Some(digit),
                Some(high) => bytes.push(high << 4 | digit),
            }
        }
        Ok(bytes)
    }

    /// Says whether the text may end here.
    ///
    /// # Errors
    /// The message for half a byte.
    pub fn end(&self) -> Result<(), String> {
        match self.high {
            None => Ok(()),
            Some(digit) => Err(format!(
                "the text ends with half a byte, `{digit:x}`: bytes are two digits each"
            )),
        }
    }

    fn refuse(&self, character: u8) -> String {
        format!(
            "character {} is `{}`, not a hexadecimal digit: bytes are two digits each, such as 2B 31",
            self.read,
            character.escape_ascii()
        )
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn check(pieces: &[&str], expected: Result<&[u8], &str>) {
        let mut reader = HexReader::default();
        let read = pieces.iter().try_fold(Vec::new(), |mut bytes, piece| {
            bytes.extend(reader.read(piece.as_bytes())?);
            Ok(bytes)
        });
        let read = read.and_then(|bytes| reader.end().map(|()| bytes));
        match expected {
            Ok(bytes) => assert_eq!(read.unwrap(), bytes),
            Err(part) => assert!(read.as_ref().unwrap_err().contains(part), "{read:?}"),
        }
    }

    #[test]
    fn digits_make_bytes() {
        check(&["2B 31\n0d0A"], Ok(b"+1\r\n"));
        check(&["0x2b 0X31"], Ok(b"+1"));
        check(&["0x2b0x31"], Ok(b"+1"));
        check(&["00 0x00 10"], Ok(&[0, 0, 16]));
        check(&["2", "B3", "1"], Ok(b"+1"));
        check(&[""], Ok(b""));
    }

    #[test]
    fn what_is_no_hexadecimal_is_refused() {
        check(&["2B 3"], Err("half a byte"));
        check(&["2B", " zz"], Err("character 4 is `z`"));
        check(&["0x2b, 0x31"], Err("character 5 is `,`"));
        check(&["1x"], Err("character 2 is `x`"));
        check(&["\u{e9}"], Err(r"`\xc3`"));
    }
}

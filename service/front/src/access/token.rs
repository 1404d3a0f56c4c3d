//! A token: 256 random bits that whoever knows them may call with.

use sha2::{Digest, Sha256};

/// What every token begins with, so that one is recognised where it does not belong.
const PREFIX: &str = "trisect-";
/// Random bytes of a token.
const BYTES: usize = 32;

/// The hash of a token, by which it is found. The token itself is as good as
/// random, so one round of SHA-256 keeps it secret, and looking up a hash tells
/// nothing about others by how long it takes.
pub(super) type Hash = [u8; 32];

/// A token's text, as its holder has it.
#[derive(PartialEq, Eq)]
pub(super) struct Token(String);

// A token in a log is a token lost.
impl std::fmt::Debug for Token {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Token(..)")
    }
}

impl Token {
    /// A new one, from the system's random source.
    ///
    /// # Errors
    /// When the system has none.
    pub(super) fn random() -> Result<Token, getrandom::Error> {
        let mut bytes = [0; BYTES];
        getrandom::fill(&mut bytes)?;
        Ok(Token(format!("{PREFIX}{}", hex(&bytes))))
    }

    /// Reads one; `None` where the text is none.
    pub(super) fn parse(text: &str) -> Option<Token> {
        let digits = text.strip_prefix(PREFIX)?;
        let whole = digits.len() == 2 * BYTES && digits.bytes().all(|b| b.is_ascii_hexdigit());
        whole.then(|| Token(text.to_ascii_lowercase()))
    }

    /// What is kept of it.
    pub(super) fn hash(&self) -> Hash {
        Sha256::digest(self.0.as_bytes()).into()
    }

    /// The text, for showing it to its holder once.
    pub(super) fn reveal(&self) -> &str {
        &self.0
    }
}

/// Bytes in hexadecimal.
pub(super) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// A hash as the token file has it: `sha256:` and 64 digits.
pub(super) fn written(hash: &Hash) -> String {
    format!("sha256:{}", hex(hash))
}

/// Reads a hash of the token file.
pub(super) fn read_hash(text: &str) -> Option<Hash> {
    let digits = text.strip_prefix("sha256:")?.as_bytes();
    let mut hash = Hash::default();
    if digits.len() != 2 * hash.len() {
        return None;
    }
    for (byte, pair) in hash.iter_mut().zip(digits.chunks_exact(2)) {
        let pair = std::str::from_utf8(pair).ok()?;
        *byte = u8::from_str_radix(pair, 16).ok()?;
    }
    Some(hash)
}

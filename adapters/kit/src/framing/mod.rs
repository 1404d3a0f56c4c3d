//! Where a message starts and ends, apart from what it says. No I/O.

mod window;

use bytes::{Bytes, BytesMut};

pub use window::Window;

/// What a framing found at the front of a buffer, now removed from it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Framed {
    /// A whole message, as its decoding expects it.
    Frame(Bytes),
    /// Bytes that belong to no whole message.
    Skipped {
        /// How many.
        bytes: usize,
        /// Why, in words, in lower case.
        why: &'static str,
    },
}

/// Finds messages in a stream of bytes.
///
/// - It MUST remove what it returns from the front of the buffer, at least one
///   byte a call, and change nothing when it returns `None`.
/// - It MUST return `None` only when more bytes are needed, and then hold back
///   no more than a few messages' length.
/// - It MUST NOT lose a byte uncounted: every byte is in a frame or skipped.
/// - It MUST NOT panic, whatever the bytes.
pub trait Framing: Send {
    /// The next message or skipped run, or `None` when more bytes are needed.
    fn next(&mut self, buffer: &mut BytesMut) -> Option<Framed>;

    /// Told that the line has been quiet for longer than the bytes of one
    /// message are ever apart, or has ended: what is left is a cut message.
    fn gap(&mut self, buffer: &mut BytesMut) -> Option<Framed> {
        let bytes = buffer.len();
        buffer.clear();
        (bytes > 0).then_some(Framed::Skipped {
            bytes,
            why: "a message cut short",
        })
    }
}

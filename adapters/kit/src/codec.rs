//! A framing and a decoding under one name.

use std::time::Duration;

use bytes::{Bytes, BytesMut};
use trisect_measure::Sample;

use crate::{BadFrame, Decode, Framed, Framing, LineSettings};

/// What makes an instrument speak that does not speak by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Poll {
    /// The bytes that ask for one message.
    pub request: &'static [u8],
    /// The rest between an answer and the next request.
    pub pause: Duration,
    /// How long an answer takes at most; then it is asked for again.
    pub patience: Duration,
}

/// A protocol: its name, its line, and how to read it.
#[derive(Clone, Copy)]
pub struct Codec {
    /// The name used in settings and by `trisect decode`, such as `fs9922`.
    pub name: &'static str,
    /// What it is, for people.
    pub title: &'static str,
    /// How the line is set.
    pub line: LineSettings,
    /// How long the line is quiet at most inside a message.
    pub gap: Duration,
    /// Whether the cable's optical head lives on the modem lines: it then needs
    /// DTR on and RTS off.
    pub optical: bool,
    /// How a message is asked for; `None` where the instrument sends by itself,
    /// and nothing is ever written to its port.
    pub poll: Option<Poll>,
    /// A new framing.
    pub framing: fn() -> Box<dyn Framing>,
    /// A new decoding.
    pub decoding: fn() -> Box<dyn Decode>,
}

impl std::fmt::Debug for Codec {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Codec({}, {})", self.name, self.line)
    }
}

impl Codec {
    /// A decoder that has seen no byte yet.
    pub fn decoder(&self) -> Decoder {
        Decoder {
            buffer: BytesMut::new(),
            framing: (self.framing)(),
            decoding: (self.decoding)(),
        }
    }
}

/// What a decoder found.
#[derive(Clone, Debug, PartialEq)]
pub enum Decoded {
    /// A frame that was understood.
    Sample(Sample),
    /// A frame that was found and cannot be believed.
    Bad {
        /// Its bytes.
        frame: Bytes,
        /// What is wrong with it.
        error: BadFrame,
    },
    /// Bytes that belong to no frame.
    Skipped {
        /// How many.
        bytes: usize,
        /// Why, in words.
        why: &'static str,
    },
}

/// Bytes in, samples out. No I/O and no clock.
pub struct Decoder {
    buffer: BytesMut,
    framing: Box<dyn Framing>,
    decoding: Box<dyn Decode>,
}

impl Decoder {
    /// Adds bytes; [`Decoder::next`] says what is in them.
    pub fn push(&mut self, bytes: &[u8]) {
        self.buffer.extend_from_slice(bytes);
    }

    /// The next thing found, or `None` when more bytes are needed.
    #[allow(
        clippy::should_implement_trait,
        reason = "not an iterator: it goes on after `None`, once more bytes are there"
    )]
    pub fn next(&mut self) -> Option<Decoded> {
        let framed = self.framing.next(&mut self.buffer)?;
        Some(self.read(framed))
    }

    /// Told that the line was quiet or has ended: gives up what is half there.
    pub fn gap(&mut self) -> Option<Decoded> {
        let framed = self.framing.gap(&mut self.buffer)?;
        Some(self.read(framed))
    }

    /// Whether bytes are held back for more to come.
    pub fn is_waiting(&self) -> bool {
        !self.buffer.is_empty()
    }

    fn read(&mut self, framed: Framed) -> Decoded {
        match framed {
            Framed::Skipped { bytes, why } => Decoded::Skipped { bytes, why },
            Framed::Frame(frame) => match self.decoding.decode(&frame) {
                Ok(sample) => Decoded::Sample(sample),
                Err(error) => Decoded::Bad { frame, error },
            },
        }
    }
}

//! The reading side of a WebSocket: what a client may send (RFC 6455), a message at a time.
//!
//! The frames are soketto's to decode; what they may be is held to here, as soketto's own receiver takes frames
//! without a mask and text that is no UTF-8, loses its place after an oversized message in fragments, and gives no
//! way to say why a connection is closed.

use std::io;

use futures_util::stream::{self, BoxStream, StreamExt};
use soketto::Parsing;
use soketto::base::{Codec, Error as CodecError, Header, OpCode};
use tokio::io::{AsyncRead, AsyncReadExt};

/// How many times the limit is read past before the connection is closed instead.
const READ_PAST: usize = 8;

/// Bytes of a payload that are made room for at a time: a length is only a claim.
const PART: usize = 64 * 1024;

/// Bytes of the longest head of a frame.
const HEAD: usize = 14;

/// Status codes of section 7.4.1.
const PROTOCOL_ERROR: u16 = 1002;
const NOT_CONSISTENT: u16 = 1007;
const TOO_BIG: u16 = 1009;

/// What can come.
#[derive(Debug)]
pub(super) enum ClientMessage {
    Text(Vec<u8>),
    Ping(Vec<u8>),
    Pong,
    /// A message over the limit; it was read past and thrown away.
    TooLarge,
    /// The client closes, and is answered with this code.
    Close(Option<u16>),
}

/// What a client did that it may not, and the code the connection is closed with.
#[derive(Debug)]
pub(super) struct Fault {
    pub code: u16,
    pub why: &'static str,
}

/// What comes from the client. It ends with the connection: after a close or a fault what still comes is thrown away.
pub(super) type ClientMessages = BoxStream<'static, Result<ClientMessage, Fault>>;

/// Why there is no message.
enum Ended {
    Gone(io::Error),
    Fault(Fault),
}

impl From<io::Error> for Ended {
    fn from(error: io::Error) -> Self {
        Self::Gone(error)
    }
}

fn fault(code: u16, why: &'static str) -> Ended {
    Ended::Fault(Fault { code, why })
}

/// A message of which not all has come.
struct Begun {
    is_text: bool,
    bytes: Vec<u8>,
    /// Bytes of it that are whole characters.
    checked: usize,
    /// Bytes that came, also where none are kept.
    length: usize,
}

/// Reads what a client sends.
pub(super) struct WebSocketReader<R> {
    stream: R,
    codec: Codec,
    limit: usize,
    begun: Option<Begun>,
    /// Nothing more is understood.
    ended: bool,
}

impl<R: AsyncRead + Send + Unpin + 'static> WebSocketReader<R> {
    /// Reads from a buffered stream; `limit` is that of a message's bytes.
    pub(super) fn new(stream: R, limit: usize) -> Self {
        let mut codec = Codec::new();
        codec.set_max_data_size(limit.saturating_mul(READ_PAST));
        Self {
            stream,
            codec,
            limit,
            begun: None,
            ended: false,
        }
    }

    /// The messages as a stream, whose next item may be waited for, left, and waited for again.
    pub(super) fn messages(self) -> ClientMessages {
        let messages = stream::unfold(self, |mut reader| async move {
            if reader.ended {
                // Closing the socket with something unread in it would reset it, and lose the close frame.
                let _ = tokio::io::copy(&mut reader.stream, &mut tokio::io::sink()).await;
                return None;
            }
            let item = match reader.next().await {
                Ok(message) => Ok(message),
                Err(Ended::Fault(fault)) => Err(fault),
                Err(Ended::Gone(error)) => {
                    tracing::debug!(%error, "the WebSocket broke");
                    return None;
                }
            };
            reader.ended = matches!(item, Err(_) | Ok(ClientMessage::Close(_)));
            Some((item, reader))
        });
        messages.fuse().boxed()
    }

    async fn next(&mut self) -> Result<ClientMessage, Ended> {
        loop {
            let header = self.read_header().await?;
            if header.opcode().is_control() {
                return self.read_control(&header).await;
            }
            if let Some(message) = self.read_data(header).await? {
                return Ok(message);
            }
        }
    }

    async fn read_header(&mut self) -> Result<Header, Ended> {
        let (mut bytes, mut length) = ([0; HEAD], 0);
        loop {
            let (so_far, room) = bytes.split_at_mut(length);
            match self.codec.decode_header(so_far) {
                Ok(Parsing::Done { value, .. }) if value.is_masked() => return Ok(value),
                Ok(Parsing::Done { .. }) => {
                    return Err(fault(PROTOCOL_ERROR, "a frame has no mask"));
                }
                Ok(Parsing::NeedMore(more)) => {
                    // soketto asks for what the head lacks, and none lacks more than there is room for.
                    let more = more.min(room.len());
                    self.stream.read_exact(room.split_at_mut(more).0).await?;
                    length += more;
                }
                Err(CodecError::PayloadTooLarge { .. }) => {
                    return Err(fault(
                        TOO_BIG,
                        "a frame is longer than anything that is read",
                    ));
                }
                Err(_) => return Err(fault(PROTOCOL_ERROR, "a frame's head is not valid")),
            }
        }
    }

    async fn read_control(&mut self, header: &Header) -> Result<ClientMessage, Ended> {
        let mut payload = vec![0; header.payload_len()];
        self.stream.read_exact(&mut payload).await?;
        Codec::apply_mask(header, &mut payload);
        Ok(match header.opcode() {
            OpCode::Ping => ClientMessage::Ping(payload),
            OpCode::Close => ClientMessage::Close(close_code(&payload)?),
            _ => ClientMessage::Pong,
        })
    }

    /// Takes a frame in; the message, if that was its last one.
    async fn read_data(&mut self, header: Header) -> Result<Option<ClientMessage>, Ended> {
        let mut message = match (header.opcode(), self.begun.take()) {
            (OpCode::Continue, Some(begun)) => begun,
            (OpCode::Continue, None) => {
                return Err(fault(PROTOCOL_ERROR, "there is nothing to continue"));
            }
            (_, Some(_)) => {
                return Err(fault(PROTOCOL_ERROR, "a message begins within another"));
            }
            (opcode, None) => Begun {
                is_text: opcode == OpCode::Text,
                bytes: Vec::new(),
                checked: 0,
                length: 0,
            },
        };
        let is_last = header.is_fin();
        self.read_payload(header, &mut message).await?;
        if !is_last {
            self.begun = Some(message);
            return Ok(None);
        }
        if message.length > self.limit {
            return Ok(Some(ClientMessage::TooLarge));
        }
        if message.is_text && message.checked < message.bytes.len() {
            return Err(fault(NOT_CONSISTENT, "a text ends within a character"));
        }
        Ok(Some(ClientMessage::Text(message.bytes)))
    }

    async fn read_payload(&mut self, mut header: Header, message: &mut Begun) -> Result<(), Ended> {
        let mut left = header.payload_len();
        message.length = message.length.saturating_add(left);
        if message.length > self.limit.saturating_mul(READ_PAST) {
            return Err(fault(
                TOO_BIG,
                "a message is longer than anything that is read",
            ));
        }
        while left > 0 {
            let start = message.bytes.len();
            message.bytes.resize(start + left.min(PART), 0);
            let room = message.bytes.split_at_mut(start).1;
            let read = self.stream.read(room).await?;
            if read == 0 {
                return Err(io::Error::from(io::ErrorKind::UnexpectedEof).into());
            }
            Codec::apply_mask(&header, room.split_at_mut(read).0);
            message.bytes.truncate(start + read);
            left -= read;
            // The mask goes on where it was.
            let bytes_on = u32::try_from(read % 4).unwrap_or_default();
            header.set_mask(header.mask().rotate_left(8 * bytes_on));
            if message.length > self.limit {
                // What is refused anyway holds no memory while the rest of it comes in.
                message.bytes = Vec::new();
            } else if message.is_text {
                message.check_utf8()?;
            }
        }
        Ok(())
    }
}

impl Begun {
    /// Looks at what has come since it was last asked.
    fn check_utf8(&mut self) -> Result<(), Ended> {
        let new = self.bytes.split_at(self.checked).1;
        self.checked += match std::str::from_utf8(new) {
            Ok(text) => text.len(),
            // The last character has not come to its end yet.
            Err(error) if error.error_len().is_none() => error.valid_up_to(),
            Err(_) => return Err(fault(NOT_CONSISTENT, "a text is not UTF-8")),
        };
        Ok(())
    }
}

/// The code that a close frame is answered with: its own (section 5.5.1).
fn close_code(payload: &[u8]) -> Result<Option<u16>, Ended> {
    let Some((code, reason)) = payload.split_first_chunk() else {
        return match payload {
            [] => Ok(None),
            _ => Err(fault(PROTOCOL_ERROR, "a close frame has half a code")),
        };
    };
    if std::str::from_utf8(reason).is_err() {
        return Err(fault(NOT_CONSISTENT, "the reason of a close is not UTF-8"));
    }
    // Section 7.4 and the registry it opens: what may stand in a frame.
    match u16::from_be_bytes(*code) {
        code @ (1000..=1003 | 1007..=1014 | 3000..=4999) => Ok(Some(code)),
        _ => Err(fault(
            PROTOCOL_ERROR,
            "a close has a code that no frame may have",
        )),
    }
}

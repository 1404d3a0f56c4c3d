//! Modbus over TCP: the header that says which request a message belongs to
//! (Modbus messaging on TCP/IP, 3.1.3). No I/O.
//!
//! Our own, and not a client library's: the few that there are give a late
//! reply out as an error of the next request, and end the connection for it.
//! With the number in the header a late reply is simply another request's.

use bytes::{Buf as _, BytesMut};

use super::{ReplyError, Request, reply};

/// Transaction, protocol and length, two bytes each.
const HEADER: usize = 6;
/// The longest message after the header: the device and 253 bytes for it.
const LONGEST: usize = 254;

/// A request as it goes over the connection.
pub fn framed(transaction: u16, request: Request) -> [u8; 12] {
    let [t_high, t_low] = transaction.to_be_bytes();
    let [device, function, high, low, count_high, count] = request.body();
    [
        t_high, t_low, 0, 0, 0, 6, device, function, high, low, count_high, count,
    ]
}

/// A message that came over the connection.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// The number of the request it answers.
    pub transaction: u16,
    /// The device that answers.
    pub device: u8,
    /// Function and data.
    pub reply: Vec<u8>,
}

impl Message {
    /// The registers asked for.
    ///
    /// # Errors
    /// It is no reply to the request: see [`ReplyError`].
    pub fn registers(&self, request: Request) -> Result<Vec<u16>, ReplyError> {
        reply::registers(request, self.device, &self.reply)
    }

    /// Its length on the wire.
    pub fn length(&self) -> usize {
        HEADER + 1 + self.reply.len()
    }
}

/// The bytes are no Modbus messages, and nothing tells where the next one
/// begins: the connection has to be made anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "what came over the connection is no Modbus TCP: check the port, and that it is not raw RTU"
)]
pub struct OutOfStep;

/// Finds messages in the bytes of a connection.
#[derive(Debug, Default)]
pub struct Messages(BytesMut);

impl Messages {
    /// Adds bytes that came in.
    pub fn push(&mut self, bytes: &[u8]) {
        self.0.extend_from_slice(bytes);
    }

    /// How many bytes are held back for more to come.
    pub fn waiting(&self) -> usize {
        self.0.len()
    }

    /// The next message, or `None` when more bytes are needed.
    ///
    /// # Errors
    /// The bytes are no messages; nothing more can be read from them.
    pub fn take(&mut self) -> Result<Option<Message>, OutOfStep> {
        let Some(&[t_high, t_low, p_high, p_low, high, low]) = self.0.first_chunk::<HEADER>()
        else {
            return Ok(None);
        };
        let length = usize::from(u16::from_be_bytes([high, low]));
        // There is no mark at which a message starts: with one wrong length every later header is read from the wrong
        // bytes. So nothing is searched for, and whoever reads connects anew.
        if (p_high, p_low) != (0, 0) || !(2..=LONGEST).contains(&length) {
            return Err(OutOfStep);
        }
        let Some([device, reply @ ..]) = self.0.get(HEADER..HEADER + length) else {
            return Ok(None);
        };
        let message = Message {
            transaction: u16::from_be_bytes([t_high, t_low]),
            device: *device,
            reply: reply.to_vec(),
        };
        self.0.advance(HEADER + length);
        Ok(Some(message))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::modbus::{ExceptionCode, Table};
    use proptest::prelude::*;

    const REQUEST: Request = Request {
        device: 17,
        table: Table::Holding,
        register: 0x6B,
        count: 3,
    };

    fn check(bytes: &[u8], expected: Result<&[u16], ReplyError>) {
        let mut messages = Messages::default();
        messages.push(bytes);
        let message = messages.take().unwrap().unwrap();
        assert_eq!(message.transaction, 0x1501);
        assert_eq!(message.length(), bytes.len());
        assert_eq!(message.registers(REQUEST), expected.map(<[u16]>::to_vec));
        assert_eq!(messages.take(), Ok(None));
    }

    /// The header is that of the messaging guide's own example (transaction
    /// 0x1501, from memory), the data that of the application protocol, 6.3.
    #[test]
    fn a_request_and_its_replies() {
        assert_eq!(
            framed(0x1501, REQUEST),
            [0x15, 0x01, 0, 0, 0, 6, 17, 3, 0, 0x6B, 0, 3]
        );
        check(
            &[0x15, 1, 0, 0, 0, 9, 17, 3, 6, 0x02, 0x2B, 0, 0, 0, 0x64],
            Ok(&[555, 0, 100]),
        );
        check(
            &[0x15, 1, 0, 0, 0, 3, 17, 0x83, 2],
            Err(ReplyError::Exception {
                device: 17,
                code: ExceptionCode(2),
            }),
        );
        check(
            &[0x15, 1, 0, 0, 0, 9, 1, 3, 6, 0x02, 0x2B, 0, 0, 0, 0x64],
            Err(ReplyError::Foreign { got: 1, asked: 17 }),
        );
        check(
            &[0x15, 1, 0, 0, 0, 5, 17, 3, 2, 0, 1],
            Err(ReplyError::Count {
                got: 2,
                expected: 6,
            }),
        );
    }

    #[test]
    fn bytes_that_are_no_messages_are_out_of_step() {
        let check = |bytes: &[u8]| {
            let mut messages = Messages::default();
            messages.push(bytes);
            assert_eq!(messages.take(), Err(OutOfStep));
        };
        // A raw RTU reply; a length of one; a length beyond any message.
        check(&[0x01, 0x04, 0x04, 0x43, 0xC9, 0xAA, 0x46, 0xC1, 0x6C]);
        check(&[0, 1, 0, 0, 0, 1, 1]);
        check(&[0, 1, 0, 0, 1, 0, 1]);
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
            let mut messages = Messages::default();
            for piece in bytes.chunks(7) {
                messages.push(piece);
                while let Ok(Some(message)) = messages.take() {
                    let _ = message.registers(REQUEST);
                }
            }
        }

        /// Whatever messages came late before it, the reply is found.
        #[test]
        fn late_replies_cost_nothing(
            late in prop::collection::vec((any::<u16>(), prop::collection::vec(any::<u8>(), 1..253)), 0..8)
        ) {
            let mut messages = Messages::default();
            for (transaction, reply) in &late {
                let length = u16::try_from(reply.len() + 1).unwrap_or(0).to_be_bytes();
                messages.push(&transaction.to_be_bytes());
                messages.push(&[0, 0, length[0], length[1], 17]);
                messages.push(reply);
            }
            messages.push(&[0x15, 1, 0, 0, 0, 9, 17, 3, 6, 0x02, 0x2B, 0, 0, 0, 0x64]);
            for _ in &late {
                prop_assert!(messages.take().unwrap().is_some());
            }
            let reply = messages.take().unwrap().unwrap();
            prop_assert_eq!(reply.registers(REQUEST), Ok(vec![555, 0, 100]));
        }
    }
}

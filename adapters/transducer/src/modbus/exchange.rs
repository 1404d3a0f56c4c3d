//! One request on a serial line and its reply, without I/O and without a clock.

use super::{ReplyError, Request, checksum, reply};

/// More than any reply: beyond it somebody babbles.
const LONGEST: usize = 512;

/// Whether a reply is whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Progress {
    /// More bytes are needed.
    More,
    /// As many bytes are there as the reply has; what still comes is too much.
    Whole,
    /// So many bytes came that nothing further can make it a reply.
    Babble,
}

/// A request that was sent, and what has come back so far.
#[derive(Clone, Debug)]
pub struct Exchange {
    request: Request,
    received: Vec<u8>,
}

impl Exchange {
    /// An exchange of which nothing is sent yet.
    pub fn new(request: Request) -> Exchange {
        Exchange {
            request,
            received: Vec::with_capacity(request.reply_length()),
        }
    }

    /// What to send.
    pub fn request(&self) -> [u8; 8] {
        self.request.bytes()
    }

    /// Takes bytes that came in.
    pub fn receive(&mut self, bytes: &[u8]) -> Progress {
        let room = LONGEST.saturating_sub(self.received.len());
        self.received.extend(bytes.iter().take(room));
        if self.received.len() >= LONGEST {
            Progress::Babble
        } else if self.received.len() >= self.expected() {
            Progress::Whole
        } else {
            Progress::More
        }
    }

    /// Reads the reply, once the line is quiet or the time is out.
    ///
    /// # Errors
    /// Anything but exactly the reply to the request: see [`ReplyError`].
    pub fn finish(self) -> Result<Vec<u16>, ReplyError> {
        let (got, expected) = (self.received.len(), self.expected());
        let device = self.request.device;
        // Told apart, for the causes differ: a silent device has no power or another address.
        let Some((message, crc)) = self.received.split_last_chunk::<2>() else {
            return Err(match got {
                0 => ReplyError::Silence { device },
                _ => ReplyError::Short { got, expected },
            });
        };
        // Before the checksum, for it also holds with a zero after a reply.
        if got > expected {
            return Err(ReplyError::Long { got, expected });
        }
        // A reply cut short nearly always fails its checksum too; that it is short says more of the cause.
        if checksum(message) != *crc {
            return Err(if got < expected {
                ReplyError::Short { got, expected }
            } else {
                ReplyError::Checksum
            });
        }
        match message {
            [from, reply @ ..] => reply::registers(self.request, *from, reply),
            [] => Err(ReplyError::Short { got, expected }),
        }
    }

    /// The length of the reply as far as it is known: an exception has five bytes.
    fn expected(&self) -> usize {
        match self.received.get(1) {
            // Modbus application protocol, 7: an exception sets the function's top bit and has one byte of code.
            Some(function) if function & 0x80 != 0 => 5,
            _ => self.request.reply_length(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::modbus::{ExceptionCode, NumberType, Table, WordOrder};
    use proptest::prelude::*;

    fn request(table: Table, register: u16, count: u8) -> Request {
        Request {
            device: 1,
            table,
            register,
            count,
        }
    }

    /// The reply's bytes, without the checksum, which is put on.
    fn check(request: Request, message: &[u8], expected: Result<&[u16], ReplyError>) {
        let reply = [message, &checksum(message)].concat();
        let mut exchange = Exchange::new(request);
        assert_eq!(exchange.receive(&reply), Progress::Whole);
        assert_eq!(exchange.finish(), expected.map(<[u16]>::to_vec));
    }

    /// The example of the Modbus application protocol specification, 6.3.
    #[test]
    fn reads_the_registers_of_the_specification() {
        check(
            request(Table::Holding, 0x6B, 3),
            &[0x01, 0x03, 0x06, 0x02, 0x2B, 0x00, 0x00, 0x00, 0x64],
            Ok(&[555, 0, 100]),
        );
    }

    /// A float exchange logged from a device: 403.330.
    #[test]
    fn reads_a_logged_float() {
        let mut exchange = Exchange::new(request(Table::Input, 0x0C, 2));
        assert_eq!(
            exchange.request(),
            [0x01, 0x04, 0x00, 0x0C, 0x00, 0x02, 0xB1, 0xC8]
        );
        // In pieces, as a port gives them.
        assert_eq!(exchange.receive(&[0x01, 0x04, 0x04, 0x43]), Progress::More);
        let rest = [0xC9, 0xAA, 0x46, 0xC1, 0x6C];
        assert_eq!(exchange.receive(&rest), Progress::Whole);
        let registers = exchange.finish().unwrap_or_default();
        let float = NumberType::F32.read(WordOrder::Big, &registers);
        assert!(float.is_ok_and(|float| (float - 403.330).abs() < 5e-4));
    }

    /// 123.456 as pymodbus and minimalmodbus exchange it.
    #[test]
    fn reads_123_456_as_reference_libraries_send_it() {
        let mut exchange = Exchange::new(request(Table::Holding, 0, 2));
        assert_eq!(
            exchange.request(),
            [0x01, 0x03, 0x00, 0x00, 0x00, 0x02, 0xC4, 0x0B]
        );
        exchange.receive(&[0x01, 0x03, 0x04, 0x42, 0xF6, 0xE9, 0x79, 0x80, 0x0B]);
        assert_eq!(exchange.finish(), Ok(vec![0x42F6, 0xE979]));
    }

    #[test]
    fn refuses_every_reply_but_the_one_asked_for() {
        let asked = request(Table::Input, 0, 2);
        check(
            asked,
            &[2, 4, 4, 0, 0, 0, 0],
            Err(ReplyError::Foreign { got: 2, asked: 1 }),
        );
        check(
            asked,
            &[1, 3, 4, 0, 0, 0, 0],
            Err(ReplyError::Function { got: 3, asked: 4 }),
        );
        check(
            asked,
            &[1, 4, 2, 0, 0, 0, 0],
            Err(ReplyError::Count {
                got: 2,
                expected: 4,
            }),
        );
        check(
            asked,
            &[1, 4, 4, 0, 0, 0, 0, 0],
            Err(ReplyError::Long {
                got: 10,
                expected: 9,
            }),
        );
        check(
            asked,
            &[1, 0x84, 2],
            Err(ReplyError::Exception {
                device: 1,
                code: ExceptionCode(2),
            }),
        );
    }

    #[test]
    fn tells_cut_long_and_damaged_replies_apart() {
        let check = |bytes: &[u8], expected| {
            let mut exchange = Exchange::new(request(Table::Input, 0, 2));
            exchange.receive(bytes);
            assert_eq!(exchange.finish(), Err(expected));
        };
        let good = [0x01, 0x04, 0x04, 0x43, 0xC9, 0xAA, 0x46, 0xC1, 0x6C];
        let mut damaged = good;
        damaged[4] ^= 1;
        check(&[], ReplyError::Silence { device: 1 });
        check(
            &good[..1],
            ReplyError::Short {
                got: 1,
                expected: 9,
            },
        );
        check(
            &good[..8],
            ReplyError::Short {
                got: 8,
                expected: 9,
            },
        );
        check(&damaged, ReplyError::Checksum);
        check(
            &[&good[..], &[0]].concat(),
            ReplyError::Long {
                got: 10,
                expected: 9,
            },
        );
        check(
            &good.repeat(100),
            ReplyError::Long {
                got: 512,
                expected: 9,
            },
        );
    }

    proptest! {
        #[test]
        fn no_bytes_make_an_exchange_panic(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
            let mut exchange = Exchange::new(request(Table::Holding, 9, 2));
            for piece in bytes.chunks(7) {
                exchange.receive(piece);
            }
            let _ = exchange.finish();
        }

        /// A checksum of 16 bits tells every single flipped bit.
        #[test]
        fn a_flipped_bit_is_always_refused(at in 0usize..9, bit in 0u8..8) {
            let mut reply = [0x01, 0x04, 0x04, 0x43, 0xC9, 0xAA, 0x46, 0xC1, 0x6C];
            reply[at] ^= 1 << bit;
            let mut exchange = Exchange::new(request(Table::Input, 0, 2));
            exchange.receive(&reply);
            prop_assert!(exchange.finish().is_err());
        }
    }
}

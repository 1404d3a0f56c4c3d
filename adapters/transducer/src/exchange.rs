//! One request and its reply, without I/O and without a clock.

use std::fmt;

use crate::{Request, checksum};

/// More than any reply: beyond it somebody babbles.
const LONGEST: usize = 512;

/// Why a device would not answer, in the words of the specification.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ExceptionCode(pub u8);

impl fmt::Display for ExceptionCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let words = match self.0 {
            1 => "illegal function: it has no such table, try the other one",
            2 => "illegal data address: it has no such register, or not so many from there",
            3 => "illegal data value: it will not give that many registers",
            4 => "server device failure: the device is broken",
            5 => "acknowledge: it needs longer",
            6 => "server device busy: ask less often",
            8 => "memory parity error: the device is broken",
            10 => "gateway path unavailable",
            11 => "gateway target device failed to respond",
            _ => "an exception that the specification does not name",
        };
        write!(f, "exception {:02}, {words}", self.0)
    }
}

/// Why a reply is none.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReplyError {
    /// Not a byte came.
    #[error("no reply from device {device}: check its power, wiring, address and line settings")]
    Silence {
        /// The device that was asked.
        device: u8,
    },
    /// The reply ended early.
    #[error("the reply was cut: {got} bytes of {expected}")]
    Short {
        /// Bytes that came.
        got: usize,
        /// Bytes of a whole reply.
        expected: usize,
    },
    /// More came than was asked for.
    #[error(
        "the reply was too long: {got} bytes instead of {expected}; if the adapter echoes what is sent, switch that off"
    )]
    Long {
        /// Bytes that came.
        got: usize,
        /// Bytes of a whole reply.
        expected: usize,
    },
    /// The checksum is wrong.
    #[error("the reply's checksum is wrong: check wiring, termination and line settings")]
    Checksum,
    /// Another device answered.
    #[error("device {got} answered instead of device {asked}")]
    Foreign {
        /// The address in the reply.
        got: u8,
        /// The address that was asked.
        asked: u8,
    },
    /// The reply is to another function.
    #[error("a reply to function {got:02} came instead of {asked:02}")]
    Function {
        /// The function in the reply.
        got: u8,
        /// The function that was asked.
        asked: u8,
    },
    /// The reply's own count contradicts what was asked, or its length.
    #[error("the reply holds {got} bytes of registers instead of {expected}")]
    Count {
        /// Bytes by the reply's own count.
        got: u8,
        /// Bytes asked for.
        expected: u8,
    },
    /// The device refused.
    #[error("device {device} refused: {code}")]
    Exception {
        /// The device that was asked.
        device: u8,
        /// Its reason.
        code: ExceptionCode,
    },
}

impl ReplyError {
    /// Whether the line may still bring (more of) the reply, and has to be held.
    pub fn leaves_line_open(&self) -> bool {
        !matches!(self, ReplyError::Exception { .. })
    }
}

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
        let asked = self.request.table.function();
        let device = self.request.device;
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
        if checksum(message) != *crc {
            return Err(if got < expected {
                ReplyError::Short { got, expected }
            } else {
                ReplyError::Checksum
            });
        }
        match *message {
            [from, ..] if from != device => Err(ReplyError::Foreign {
                got: from,
                asked: device,
            }),
            [_, function, code] if function == asked | 0x80 => Err(ReplyError::Exception {
                device,
                code: ExceptionCode(code),
            }),
            [_, function, ..] if function != asked => Err(ReplyError::Function {
                got: function,
                asked,
            }),
            [_, _, count, ref registers @ ..] => self.registers(count, registers),
            _ => Err(ReplyError::Short { got, expected }),
        }
    }

    fn registers(&self, count: u8, registers: &[u8]) -> Result<Vec<u16>, ReplyError> {
        let expected = self.request.count.saturating_mul(2);
        if count != expected || registers.len() != usize::from(expected) {
            return Err(ReplyError::Count {
                got: count,
                expected,
            });
        }
        Ok(registers
            .as_chunks::<2>()
            .0
            .iter()
            .map(|pair| u16::from_be_bytes(*pair))
            .collect())
    }

    /// The length of the reply as far as it is known: an exception has five bytes.
    fn expected(&self) -> usize {
        match self.received.get(1) {
            Some(function) if function & 0x80 != 0 => 5,
            _ => self.request.reply_length(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Table, WordOrder};
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
        let registers: [u16; 2] = exchange
            .finish()
            .ok()
            .and_then(|r| r.try_into().ok())
            .unwrap_or_default();
        let float = WordOrder::Big.float(registers);
        assert!((f64::from(float) - 403.330).abs() < 5e-4, "{float}");
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

    #[test]
    fn an_exception_says_the_way_out() {
        let error = ReplyError::Exception {
            device: 7,
            code: ExceptionCode(2),
        };
        let words = error.to_string();
        assert!(
            words.starts_with("device 7 refused: exception 02, illegal data address"),
            "{words}"
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

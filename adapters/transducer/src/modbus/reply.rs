//! What a device answers, whatever carries it: a function with its registers,
//! or an exception.

use std::fmt;

use super::Request;

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

/// The registers in a reply of `from`: function, count of bytes, registers.
///
/// # Errors
/// Another device's or function's reply, an exception, or a count that
/// contradicts the request or the reply's length.
pub(super) fn registers(request: Request, from: u8, reply: &[u8]) -> Result<Vec<u16>, ReplyError> {
    let (device, asked) = (request.device, request.table.function());
    if from != device {
        return Err(ReplyError::Foreign {
            got: from,
            asked: device,
        });
    }
    // The exception first: its function differs too, and it would be called a reply to another one.
    match *reply {
        [function, code] if function == asked | 0x80 => Err(ReplyError::Exception {
            device,
            code: ExceptionCode(code),
        }),
        [function, ..] if function != asked => Err(ReplyError::Function {
            got: function,
            asked,
        }),
        [_, count, ref registers @ ..] => counted(request, count, registers),
        _ => Err(ReplyError::Short {
            got: reply.len(),
            expected: 2 + 2 * usize::from(request.count),
        }),
    }
}

fn counted(request: Request, count: u8, registers: &[u8]) -> Result<Vec<u16>, ReplyError> {
    let expected = request.count.saturating_mul(2);
    if count != expected || registers.len() != usize::from(expected) {
        return Err(ReplyError::Count {
            got: count,
            expected,
        });
    }
    let pairs = registers.as_chunks::<2>().0;
    Ok(pairs.iter().map(|pair| u16::from_be_bytes(*pair)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

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
}

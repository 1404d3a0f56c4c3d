//! A Modbus RTU slave with floats in its registers, two to a value.
//!
//! It answers functions 03 and 04 alike and says so with an exception when
//! asked for anything else (Modbus application protocol, exceptions 01 to 03).

use crc::{CRC_16_MODBUS, Crc};

const CRC: Crc<u16> = Crc::<u16>::new(&CRC_16_MODBUS);
/// Most registers that one request may ask for.
const MOST: u16 = 125;

/// In what order the four bytes of a float stand in its two registers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum WordOrder {
    /// 123.456 is `42F6 E979`.
    #[default]
    Big,
    /// 123.456 is `E979 42F6`.
    SwappedWords,
    /// 123.456 is `F642 79E9`.
    SwappedBytes,
    /// 123.456 is `79E9 F642`.
    Little,
}

impl WordOrder {
    /// The four bytes of a value as they go over the line.
    pub(crate) fn bytes(self, value: f32) -> [u8; 4] {
        let [a, b, c, d] = value.to_be_bytes();
        match self {
            WordOrder::Big => [a, b, c, d],
            WordOrder::SwappedWords => [c, d, a, b],
            WordOrder::SwappedBytes => [b, a, d, c],
            WordOrder::Little => [d, c, b, a],
        }
    }
}

fn closed(mut frame: Vec<u8>) -> Vec<u8> {
    let sum = CRC.checksum(&frame);
    frame.extend(sum.to_le_bytes());
    frame
}

fn intact(frame: &[u8]) -> bool {
    let Some(split) = frame.len().checked_sub(2).filter(|&split| split >= 2) else {
        return false;
    };
    let (body, sum) = frame.split_at(split);
    CRC.checksum(body).to_le_bytes() == sum
}

/// Takes the request at the start of `bytes`, if a whole one is there: the
/// common eight-byte read, or everything there is. Gives its length.
pub(crate) fn request(bytes: &[u8]) -> Option<usize> {
    match bytes.get(..8) {
        Some(read) if intact(read) => Some(8),
        _ => intact(bytes).then_some(bytes.len()),
    }
}

/// The slave's reply to a whole request, or `None` when it is for another
/// slave or for all of them. `values` stand from register 0 on, two each.
pub(crate) fn reply(
    address: u8,
    order: WordOrder,
    values: &[f32],
    request: &[u8],
) -> Option<Vec<u8>> {
    let (&to, &function) = (request.first()?, request.get(1)?);
    if to != address {
        return None;
    }
    let exception = |code: u8| Some(closed(vec![address, function | 0x80, code]));
    if !(function == 3 || function == 4) {
        return exception(1);
    }
    let Some(&[start_high, start_low, count_high, count_low]) = request.get(2..6) else {
        return exception(3);
    };
    let start = u16::from_be_bytes([start_high, start_low]);
    let count = u16::from_be_bytes([count_high, count_low]);
    if !(1..=MOST).contains(&count) {
        return exception(3);
    }
    let registers: Vec<u8> = values
        .iter()
        .flat_map(|&value| order.bytes(value))
        .collect();
    let from = usize::from(start) * 2;
    let Some(wanted) = registers.get(from..from + usize::from(count) * 2) else {
        return exception(2);
    };
    let mut frame = vec![address, function, (count * 2) as u8];
    frame.extend(wanted);
    Some(closed(frame))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;
    use crate::instruments::hex;

    fn check_crc(body: &[u8], expected: &str) {
        assert_eq!(hex(&closed(body.to_vec())[body.len()..]), expected);
    }

    #[test]
    fn checksums() {
        // Modbus over serial line; the last three recomputed.
        check_crc(&[0x02, 0x07], "41 12");
        check_crc(&[0x01, 0x03, 0x00, 0x6B, 0x00, 0x03], "74 17");
        check_crc(
            &[0x01, 0x03, 0x06, 0x02, 0x2B, 0x00, 0x00, 0x00, 0x64],
            "05 7A",
        );
        check_crc(&[0x11, 0x03, 0x00, 0x6B, 0x00, 0x03], "76 87");
        check_crc(&[0x01, 0x04, 0x02, 0x00, 0x0A], "39 37");
        check_crc(&[0x01, 0x83, 0x02], "C0 F1");
    }

    fn check_reply(values: &[f32], order: WordOrder, asked: &[u8], expected: &str) {
        let asked = closed(asked.to_vec());
        assert_eq!(request(&asked), Some(asked.len()));
        assert_eq!(hex(&reply(1, order, values, &asked).unwrap()), expected);
    }

    #[test]
    fn a_logged_exchange() {
        // A logged float exchange: `01 04 00 0C 00 02 B1 C8` is answered by 403.330.
        let mut values = [0.0; 7];
        values[6] = f32::from_bits(0x43C9_AA46);
        let expected = "01 04 04 43 C9 AA 46 C1 6C";
        check_reply(&values, WordOrder::Big, &[1, 4, 0, 0x0C, 0, 2], expected);
    }

    #[test]
    fn every_word_order() {
        // `pymodbus` 3.16.1 and `minimalmodbus` 2.1.1.
        let asked = [1, 3, 0, 0, 0, 2];
        check_reply(
            &[123.456],
            WordOrder::Big,
            &asked,
            "01 03 04 42 F6 E9 79 80 0B",
        );
        for (order, words) in [
            (WordOrder::SwappedWords, "E9 79 42 F6"),
            (WordOrder::Little, "79 E9 F6 42"),
            (WordOrder::SwappedBytes, "F6 42 79 E9"),
        ] {
            assert_eq!(hex(&order.bytes(123.456)), words);
        }
    }

    #[test]
    fn what_cannot_be_answered_gets_an_exception_or_silence() {
        let asked = |body: &[u8]| reply(1, WordOrder::Big, &[1.0, 2.0], &closed(body.to_vec()));
        assert_eq!(hex(&asked(&[1, 3, 0, 4, 0, 2]).unwrap()), "01 83 02 C0 F1");
        assert_eq!(asked(&[1, 6, 0, 0, 0, 1]).unwrap()[1..3], [0x86, 1]);
        assert_eq!(asked(&[1, 4, 0, 0, 0, 0]).unwrap()[1..3], [0x84, 3]);
        assert_eq!(asked(&[1, 4]).unwrap()[1..3], [0x84, 3]);
        assert_eq!(asked(&[2, 4, 0, 0, 0, 2]), None);
        assert_eq!(request(&[1, 3, 0, 0, 0, 2, 0, 0]), None);
        assert_eq!(request(&[]), None);
    }
}

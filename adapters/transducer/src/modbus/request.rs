//! What the master sends, and the rules of the line: checksum and pause.

use std::time::Duration;

use crc::{CRC_16_MODBUS, Crc};
use trisect_kit::LineSettings;

/// Which registers to read.
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    serde::Serialize,
    serde::Deserialize,
    schemars::JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Table {
    /// Holding registers, function 03.
    Holding,
    /// Input registers, function 04.
    #[default]
    Input,
}

impl Table {
    /// The function code that reads it.
    pub const fn function(self) -> u8 {
        match self {
            Table::Holding => 0x03,
            Table::Input => 0x04,
        }
    }
}

/// A request to read registers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Request {
    /// The device's address: 1 to 247 on a line, any over TCP.
    pub device: u8,
    /// Which registers.
    pub table: Table,
    /// The first register, as it is on the wire: from 0.
    pub register: u16,
    /// How many, 1 to 125.
    pub count: u8,
}

impl Request {
    /// What every carrier has in common: device, function, first register, count.
    pub fn body(&self) -> [u8; 6] {
        let [high, low] = self.register.to_be_bytes();
        [self.device, self.table.function(), high, low, 0, self.count]
    }

    /// The bytes on a serial line: the body and its checksum.
    pub fn bytes(&self) -> [u8; 8] {
        let body = self.body();
        let [crc_low, crc_high] = checksum(&body);
        let [device, function, high, low, count_high, count] = body;
        [
            device, function, high, low, count_high, count, crc_low, crc_high,
        ]
    }

    /// The length of a reply on a serial line that is no exception.
    pub fn reply_length(&self) -> usize {
        5 + 2 * usize::from(self.count)
    }
}

/// The checksum of a message, in the order of the wire: low byte first.
pub fn checksum(message: &[u8]) -> [u8; 2] {
    const CRC: Crc<u16> = Crc::<u16>::new(&CRC_16_MODBUS);
    CRC.checksum(message).to_le_bytes()
}

/// The pause that ends a message, t3.5: 38.5 bit times up to 19200 baud, 1.75 ms
/// above (Modbus over serial line, 2.5.1.1).
pub fn frame_pause(line: &LineSettings) -> Duration {
    if line.baud > 19_200 {
        return Duration::from_micros(1_750);
    }
    Duration::from_secs_f64(38.5 / f64::from(line.baud.max(1)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use trisect_kit::Parity;

    /// The vectors that the Modbus over serial line specification prints, and
    /// further ones recomputed.
    #[test]
    fn the_checksum_is_that_of_the_specification() {
        let check = |message: &[u8], expected| assert_eq!(checksum(message), expected);
        check(&[0x02, 0x07], [0x41, 0x12]);
        check(&[0x01, 0x03, 0x00, 0x6B, 0x00, 0x03], [0x74, 0x17]);
        check(
            &[0x01, 0x03, 0x06, 0x02, 0x2B, 0x00, 0x00, 0x00, 0x64],
            [0x05, 0x7A],
        );
        check(&[0x11, 0x03, 0x00, 0x6B, 0x00, 0x03], [0x76, 0x87]);
        check(&[0x01, 0x04, 0x00, 0x08, 0x00, 0x01], [0xB0, 0x08]);
        check(&[0x01, 0x04, 0x02, 0x00, 0x0A], [0x39, 0x37]);
        check(&[0x01, 0x83, 0x02], [0xC0, 0xF1]);
    }

    #[test]
    fn a_request_is_eight_bytes() {
        let request = Request {
            device: 1,
            table: Table::Input,
            register: 0x0C,
            count: 2,
        };
        // The request of a logged float exchange.
        assert_eq!(
            request.bytes(),
            [0x01, 0x04, 0x00, 0x0C, 0x00, 0x02, 0xB1, 0xC8]
        );
        assert_eq!(request.reply_length(), 9);
    }

    #[test]
    fn the_pause_follows_the_speed_up_to_19200_baud() {
        let check = |baud, micros| {
            let pause = frame_pause(&LineSettings::new(baud, 8, Parity::Even, 1));
            assert!(pause.as_micros().abs_diff(micros) <= 1, "{baud}: {pause:?}");
        };
        check(9_600, 4_010);
        check(19_200, 2_005);
        check(38_400, 1_750);
        check(115_200, 1_750);
        check(0, 38_500_000);
    }
}

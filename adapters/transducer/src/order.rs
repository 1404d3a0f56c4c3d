//! The order in which devices put the four bytes of a float into two registers.

/// Which byte comes first. Every register is sent high byte first; the names say
/// what became of 123.456, which is `42 F6 E9 79` in order.
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
pub enum WordOrder {
    /// `42F6 E979`.
    #[default]
    Big,
    /// `79E9 F642`.
    Little,
    /// `E979 42F6`.
    SwappedWords,
    /// `F642 79E9`.
    SwappedBytes,
}

impl WordOrder {
    /// The float in two registers, as they came.
    pub fn float(self, registers: [u16; 2]) -> f32 {
        let [[a, b], [c, d]] = registers.map(u16::to_be_bytes);
        f32::from_be_bytes(match self {
            WordOrder::Big => [a, b, c, d],
            WordOrder::Little => [d, c, b, a],
            WordOrder::SwappedWords => [c, d, a, b],
            WordOrder::SwappedBytes => [b, a, d, c],
        })
    }

    /// The registers of a float: the way back, for simulated devices.
    pub fn registers(self, float: f32) -> [u16; 2] {
        let [a, b, c, d] = float.to_be_bytes();
        let bytes = match self {
            WordOrder::Big => [[a, b], [c, d]],
            WordOrder::Little => [[d, c], [b, a]],
            WordOrder::SwappedWords => [[c, d], [a, b]],
            WordOrder::SwappedBytes => [[b, a], [d, c]],
        };
        bytes.map(u16::from_be_bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 123.456 in the four orders, as pymodbus and minimalmodbus have them.
    #[test]
    fn every_order_reads_and_writes_123_456() {
        let check = |order: WordOrder, registers| {
            assert_eq!(order.float(registers), 123.456);
            assert_eq!(order.registers(123.456), registers);
        };
        check(WordOrder::Big, [0x42F6, 0xE979]);
        check(WordOrder::Little, [0x79E9, 0xF642]);
        check(WordOrder::SwappedWords, [0xE979, 0x42F6]);
        check(WordOrder::SwappedBytes, [0xF642, 0x79E9]);
    }
}

//! The order in which devices put the bytes of a number into registers.

/// Which byte comes first. Every register is sent high byte first; the names say
/// what became of 123.456, which is `42 F6 E9 79` in order, and, with eight
/// bytes, of `01 02 03 04 05 06 07 08`.
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
    /// `42F6 E979` · `0102 0304 0506 0708`.
    #[default]
    Big,
    /// `79E9 F642` · `0807 0605 0403 0201`.
    Little,
    /// `E979 42F6` · `0708 0506 0304 0102`.
    SwappedWords,
    /// `F642 79E9` · `0201 0403 0605 0807`.
    SwappedBytes,
}

impl WordOrder {
    /// Every order.
    pub const ALL: [WordOrder; 4] = [
        WordOrder::Big,
        WordOrder::Little,
        WordOrder::SwappedWords,
        WordOrder::SwappedBytes,
    ];

    /// Puts the registers of one number from this order into that of `Big`, and
    /// the other way round: each order undoes itself.
    pub fn arrange<const N: usize>(self, mut registers: [u16; N]) -> [u16; N] {
        if matches!(self, WordOrder::SwappedWords | WordOrder::Little) {
            registers.reverse();
        }
        if matches!(self, WordOrder::SwappedBytes | WordOrder::Little) {
            registers = registers.map(u16::swap_bytes);
        }
        registers
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check<const N: usize>(order: WordOrder, big: [u16; N], expected: [u16; N]) {
        assert_eq!(order.arrange(big), expected);
        assert_eq!(order.arrange(expected), big);
    }

    /// 123.456 in the four orders, as pymodbus and minimalmodbus have them.
    #[test]
    fn every_order_of_four_bytes() {
        let big = [0x42F6, 0xE979];
        check(WordOrder::Big, big, big);
        check(WordOrder::Little, big, [0x79E9, 0xF642]);
        check(WordOrder::SwappedWords, big, [0xE979, 0x42F6]);
        check(WordOrder::SwappedBytes, big, [0xF642, 0x79E9]);
    }

    #[test]
    fn every_order_of_two_and_eight_bytes() {
        let big = [0x0102, 0x0304, 0x0506, 0x0708];
        check(WordOrder::Big, big, big);
        check(WordOrder::Little, big, [0x0807, 0x0605, 0x0403, 0x0201]);
        check(
            WordOrder::SwappedWords,
            big,
            [0x0708, 0x0506, 0x0304, 0x0102],
        );
        check(
            WordOrder::SwappedBytes,
            big,
            [0x0201, 0x0403, 0x0605, 0x0807],
        );
        check(WordOrder::SwappedWords, [0x0102], [0x0102]);
        check(WordOrder::Little, [0x0102], [0x0201]);
    }
}

//! Numbers in registers: how many they take, and what they say.

use trisect_kit::BadFrame;

use super::WordOrder;

/// How a number is written into registers.
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
pub enum NumberType {
    /// 16 bits without sign, one register.
    U16,
    /// 16 bits, two's complement, one register.
    I16,
    /// 32 bits without sign, two registers.
    U32,
    /// 32 bits, two's complement, two registers.
    I32,
    /// An IEEE 754 single, two registers.
    #[default]
    F32,
    /// An IEEE 754 double, four registers.
    F64,
}

impl NumberType {
    /// Every type.
    pub const ALL: [NumberType; 6] = [
        NumberType::U16,
        NumberType::I16,
        NumberType::U32,
        NumberType::I32,
        NumberType::F32,
        NumberType::F64,
    ];

    /// How many registers it takes.
    pub const fn registers(self) -> u8 {
        match self {
            NumberType::U16 | NumberType::I16 => 1,
            NumberType::U32 | NumberType::I32 | NumberType::F32 => 2,
            NumberType::F64 => 4,
        }
    }

    /// Whether its last digit is a step of the converter behind it.
    pub const fn is_integer(self) -> bool {
        !matches!(self, NumberType::F32 | NumberType::F64)
    }

    /// After how many counts a counter of this type is back at 0; `None` where
    /// it does not wrap around exactly.
    pub const fn modulus(self) -> Option<u64> {
        match self {
            NumberType::U16 => Some(1 << 16),
            NumberType::U32 => Some(1 << 32),
            _ => None,
        }
    }

    /// The number at the front of `registers`, as they came.
    ///
    /// # Errors
    /// Too few registers, or a float that is no number.
    pub fn read(self, order: WordOrder, registers: &[u16]) -> Result<f64, BadFrame> {
        match self {
            NumberType::U16 => one(order, registers).map(f64::from),
            // Bit for bit the same: the sign is in the top bit.
            NumberType::I16 => one(order, registers).map(|raw| f64::from(raw.cast_signed())),
            NumberType::U32 => two(order, registers).map(f64::from),
            NumberType::I32 => two(order, registers).map(|raw| f64::from(raw.cast_signed())),
            NumberType::F32 => {
                let float = f32::from_bits(two(order, registers)?);
                finite(f64::from(float))?;
                // By way of its shortest decimal: 5.3 is to read 5.3 and not
                // 5.300000190734863, and either is what the device may have meant.
                Ok(float.to_string().parse().unwrap_or(f64::from(float)))
            }
            NumberType::F64 => finite(f64::from_bits(four(order, registers)?)),
        }
    }
}

fn finite(float: f64) -> Result<f64, BadFrame> {
    if float.is_finite() {
        Ok(float)
    } else {
        Err(BadFrame::new(format!(
            "the float is {float}: the sensor may be broken, or the word order wrong"
        )))
    }
}

fn front<const N: usize>(order: WordOrder, registers: &[u16]) -> Result<[u16; N], BadFrame> {
    registers
        .first_chunk::<N>()
        .map(|chunk| order.arrange(*chunk))
        .ok_or_else(|| BadFrame::new("too few registers for the number"))
}

fn one(order: WordOrder, registers: &[u16]) -> Result<u16, BadFrame> {
    front::<1>(order, registers).map(|[only]| only)
}

fn two(order: WordOrder, registers: &[u16]) -> Result<u32, BadFrame> {
    front::<2>(order, registers).map(|[high, low]| u32::from(high) << 16 | u32::from(low))
}

fn four(order: WordOrder, registers: &[u16]) -> Result<u64, BadFrame> {
    front::<4>(order, registers).map(|words| {
        words
            .iter()
            .fold(0, |bits, word| bits << 16 | u64::from(*word))
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use proptest::prelude::*;

    fn check(kind: NumberType, big: &[u16], expected: f64) {
        assert_eq!(kind.read(WordOrder::Big, big), Ok(expected), "{kind:?}");
        assert_eq!(big.len(), usize::from(kind.registers()));
    }

    #[test]
    fn every_type_reads_its_extremes() {
        check(NumberType::U16, &[0xFFFF], 65_535.0);
        check(NumberType::I16, &[0xFFFF], -1.0);
        check(NumberType::I16, &[0x8000], -32_768.0);
        check(NumberType::U32, &[0xFFFF, 0xFFFF], 4_294_967_295.0);
        check(NumberType::I32, &[0x8000, 0x0000], -2_147_483_648.0);
        check(NumberType::F32, &[0x42F6, 0xE979], 123.456);
        // 123.456 as a double is 405EDD2F1A9FBE77.
        check(NumberType::F64, &[0x405E, 0xDD2F, 0x1A9F, 0xBE77], 123.456);
    }

    #[test]
    fn what_is_no_number_is_refused() {
        let check = |kind: NumberType, registers: &[u16], expected: &str| {
            let error = kind.read(WordOrder::Big, registers).unwrap_err();
            assert!(error.to_string().contains(expected), "{error}");
        };
        check(NumberType::F32, &[0x7FC0, 0], "NaN");
        check(NumberType::F32, &[0xFF80, 0], "-inf");
        check(NumberType::F64, &[0x7FF0, 0, 0, 0], "inf");
        check(NumberType::F64, &[1, 2, 3], "too few registers");
        check(NumberType::U16, &[], "too few registers");
    }

    fn arranged(order: WordOrder, bits: u64, count: usize) -> Vec<u16> {
        let words = [bits >> 48, bits >> 32, bits >> 16, bits].map(|word| (word & 0xFFFF) as u16);
        match count {
            1 => order.arrange([words[3]]).to_vec(),
            2 => order.arrange([words[2], words[3]]).to_vec(),
            _ => order.arrange(words).to_vec(),
        }
    }

    proptest! {
        #[test]
        fn every_type_comes_back_in_every_order(a: u16, b: i16, c: u32, d: i32, e: f32, f: f64) {
            for order in WordOrder::ALL {
                let read = |kind: NumberType, bits: u64| {
                    kind.read(order, &arranged(order, bits, kind.registers().into()))
                };
                prop_assert_eq!(read(NumberType::U16, a.into()), Ok(f64::from(a)));
                prop_assert_eq!(read(NumberType::I16, (b as u16).into()), Ok(f64::from(b)));
                prop_assert_eq!(read(NumberType::U32, c.into()), Ok(f64::from(c)));
                prop_assert_eq!(read(NumberType::I32, (d as u32).into()), Ok(f64::from(d)));
                let single = read(NumberType::F32, e.to_bits().into());
                prop_assert_eq!(single.ok().map(|x| x as f32), e.is_finite().then_some(e));
                prop_assert_eq!(read(NumberType::F64, f.to_bits()).ok(), f.is_finite().then_some(f));
            }
        }
    }
}

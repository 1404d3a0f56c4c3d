//! Chips that send which segments of the display are lit: FS9721, and
//! DTM0660, which is the same with the four bits of a byte turned round.
//!
//! The high four bits of a byte count the bytes from 1. The low four bits, in
//! FS9721's order, of byte 0 on:
//!
//! | byte | 8 | 4 | 2 | 1 |
//! |---|---|---|---|---|
//! | 0 | AC | DC | automatic range | data output |
//! | 1, 2 | minus, and segments of the first digit | | | |
//! | 3, 4 · 5, 6 · 7, 8 | point, and segments of the next | | | |
//! | 9 | µ | n | k | diode |
//! | 10 | m | % | M | sounder |
//! | 11 | F | Ω | relative | hold |
//! | 12 | A | V | Hz | low battery |

use trisect_kit::BadFrame;
use trisect_measure::{Amount, Flags, Function, Sample};

use crate::shown::{self, Scale, Shown};

/// The bytes that both chips have in common.
pub(crate) const COMMON: usize = 13;

// Byte 0.
const AC: u8 = 8;
const DC: u8 = 4;
const AUTO: u8 = 2;
const OUTPUT: u8 = 1;
/// Bytes 1, 3, 5 and 7: minus, and the points after the first three digits.
const MARK: u8 = 8;
// Byte 9.
const MICRO: u8 = 8;
const NANO: u8 = 4;
const KILO: u8 = 2;
const DIODE: u8 = 1;
// Byte 10.
const MILLI: u8 = 8;
const PERCENT: u8 = 4;
const MEGA: u8 = 2;
const SOUNDER: u8 = 1;
// Byte 11.
const FARAD: u8 = 8;
const OHM: u8 = 4;
const RELATIVE: u8 = 2;
const HOLD: u8 = 1;
// Byte 12.
const AMPERE: u8 = 8;
const VOLT: u8 = 4;
const HERTZ: u8 = 2;
const LOW_BATTERY: u8 = 1;

/// The seven segments of each digit; bit 3 of the first half is a mark.
const DIGITS: [u8; 10] = [0x7D, 0x05, 0x5B, 0x1F, 0x27, 0x3E, 0x7E, 0x15, 0x7F, 0x3F];
const BLANK: u8 = 0x00;
const LETTER_L: u8 = 0x68;

/// What is lit, four bits a byte in FS9721's order.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Lcd(pub [u8; COMMON]);

/// Counts at the end of the ranges.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Ends {
    /// Of the chip that the protocol is named after.
    pub usual: u32,
    /// Of the least that send the same frames: an overload lies beyond these.
    pub least: u32,
}

impl Lcd {
    /// The sample. `degrees` is lit beside what [`Lcd`] has; `more` are flags
    /// of the chip's own.
    pub(crate) fn sample(
        &self,
        degrees: Option<Scale>,
        ends: Ends,
        more: Flags,
    ) -> Result<Sample, BadFrame> {
        let lit = &self.0;
        if lit[0] & OUTPUT == 0 {
            return Err(BadFrame::new("the sign of the data output is not lit"));
        }
        let (function, scale) = self.function(degrees)?;
        let shown = Shown {
            function,
            scale,
            exponent: self.prefix(scale)? - self.decimals()?,
            full: ends.usual,
        };
        let negative = lit[1] & MARK != 0;
        let amount = match self.counts()? {
            Some(counts) => Amount::Exactly(shown.si(negative, counts)),
            None => {
                let full = ends.least;
                Shown { full, ..shown }.overload(negative)?
            }
        };
        let flags = shown::flags(
            lit[0] & AUTO != 0,
            &[
                (lit[11] & RELATIVE, Flags::RELATIVE),
                (lit[11] & HOLD, Flags::HOLD),
                (lit[12] & LOW_BATTERY, Flags::LOW_BATTERY),
            ],
        );
        Ok(Sample {
            channel: 0,
            function,
            amount,
            digit: Some(shown.digit()),
            span: Some(shown.end()),
            coupling: shown::coupling(function, lit[0] & DC != 0, lit[0] & AC != 0)?,
            flags: flags | more,
        })
    }

    /// Whether a unit other than degrees is lit.
    pub(crate) fn has_unit(&self) -> bool {
        let lit = &self.0;
        (lit[10] & PERCENT) | (lit[11] & (FARAD | OHM)) | (lit[12] & (AMPERE | VOLT | HERTZ)) != 0
    }

    fn function(&self, degrees: Option<Scale>) -> Result<(Function, Scale), BadFrame> {
        let lit = &self.0;
        let units = (
            lit[10] & PERCENT,
            lit[11] & (FARAD | OHM),
            lit[12] & (AMPERE | VOLT | HERTZ),
        );
        let signs = (lit[9] & DIODE, lit[10] & SOUNDER);
        let function = match (units, degrees) {
            ((0, 0, VOLT), None) => (Function::Voltage, Scale::Si),
            ((0, 0, AMPERE), None) => (Function::Current, Scale::Si),
            ((0, 0, HERTZ), None) => (Function::Frequency, Scale::Si),
            ((0, OHM, 0), None) => (Function::Resistance, Scale::Si),
            ((0, FARAD, 0), None) => (Function::Capacitance, Scale::Si),
            ((PERCENT, 0, 0), None) => (Function::Duty, Scale::Percent),
            ((0, 0, 0), Some(scale)) => (Function::Temperature, scale),
            ((0, 0, 0), None) if signs == (DIODE, 0) => (Function::Voltage, Scale::Si),
            ((0, 0, 0), None) => return Err(BadFrame::new("no unit is lit")),
            _ => return Err(BadFrame::new("two units at once")),
        };
        match (signs, function.0) {
            ((0, 0), _) => Ok(function),
            ((DIODE, 0), Function::Voltage) => Ok((Function::Diode, Scale::Si)),
            ((0, SOUNDER), Function::Resistance) => Ok((Function::Continuity, Scale::Si)),
            ((DIODE, 0), _) => Err(BadFrame::new("a diode test that is not in volts")),
            ((0, _), _) => Err(BadFrame::new("a continuity test that is not in ohms")),
            _ => Err(BadFrame::new("diode test and continuity test at once")),
        }
    }

    /// The power of ten of the prefix that is lit.
    fn prefix(&self, scale: Scale) -> Result<i32, BadFrame> {
        let lit = &self.0;
        let exponent = match (lit[9] & (MICRO | NANO | KILO), lit[10] & (MILLI | MEGA)) {
            (0, 0) => return Ok(0),
            (NANO, 0) => -9,
            (MICRO, 0) => -6,
            (0, MILLI) => -3,
            (KILO, 0) => 3,
            (0, MEGA) => 6,
            _ => return Err(BadFrame::new("two prefixes at once")),
        };
        if scale == Scale::Si {
            Ok(exponent)
        } else {
            Err(BadFrame::new("a prefix before degrees or percent"))
        }
    }

    fn decimals(&self) -> Result<i32, BadFrame> {
        let lit = &self.0;
        match (lit[3] & MARK, lit[5] & MARK, lit[7] & MARK) {
            (0, 0, 0) => Ok(0),
            (MARK, 0, 0) => Ok(3),
            (0, MARK, 0) => Ok(2),
            (0, 0, MARK) => Ok(1),
            _ => Err(BadFrame::new("two points at once")),
        }
    }

    /// The digits, or `None` beyond the range.
    fn counts(&self) -> Result<Option<u32>, BadFrame> {
        let lit = &self.0;
        let segments = [1, 3, 5, 7].map(|at| (lit[at] & 7) << 4 | lit[at + 1]);
        if segments == [BLANK, DIGITS[0], LETTER_L, BLANK] {
            return Ok(None);
        }
        let mut counts = 0;
        for lit in segments {
            // Ten entries: the position fits.
            let digit = DIGITS.iter().zip(0_u32..).find(|(known, _)| **known == lit);
            let Some((_, digit)) = digit else {
                return Err(BadFrame::new("neither four digits nor an overload"));
            };
            counts = counts * 10 + digit;
        }
        Ok(Some(counts))
    }
}

/// Whether the high four bits count the bytes from 1.
pub(crate) fn is_counted(frame: &[u8]) -> bool {
    frame.iter().zip(1_u8..).all(|(byte, at)| byte >> 4 == at)
}

//! What the ES519xx chips whose frames are 11 bytes have in common: a range, four
//! digits, a function, a status and two options, `0` to `?` each, then CR LF.

use trisect_kit::BadFrame;
use trisect_measure::{Amount, Function, Sample};

use crate::shown::{self, Scale, Shown};

/// Bytes before CR LF.
pub(crate) const PAYLOAD: usize = 9;

// Status.
const JUDGE: u8 = 1 << 3;
const MINUS: u8 = 1 << 2;
pub(crate) const LOW_BATTERY: u8 = 1 << 1;
const OVERLOAD: u8 = 1;
// Option 2.
const DC: u8 = 1 << 3;
const AC: u8 = 1 << 2;
const AUTO: u8 = 1 << 1;

/// The counts that chips of these families show for an overload: the end of
/// their ranges.
const ENDS: [u32; 3] = [2000, 4000, 6000];

/// A frame, four bits a byte.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Fields {
    pub range: u8,
    digits: [u8; 4],
    pub function: u8,
    pub status: u8,
    pub option1: u8,
    pub option2: u8,
}

impl Fields {
    pub(crate) fn of(frame: &[u8]) -> Result<Fields, BadFrame> {
        let &[
            range,
            d3,
            d2,
            d1,
            d0,
            function,
            status,
            option1,
            option2,
            b'\r',
            b'\n',
        ] = frame
        else {
            return Err(BadFrame::new("not 11 bytes long with CR LF at the end"));
        };
        let payload = [range, d3, d2, d1, d0, function, status, option1, option2];
        if !payload.iter().all(|byte| (b'0'..=b'?').contains(byte)) {
            return Err(BadFrame::new("a byte that is not `0` to `?`"));
        }
        Ok(Fields {
            range: range & 0x0F,
            digits: [d3, d2, d1, d0].map(|digit| digit & 0x0F),
            function: function & 0x0F,
            status: status & 0x0F,
            option1: option1 & 0x0F,
            option2: option2 & 0x0F,
        })
    }

    pub(crate) fn judge(&self) -> bool {
        self.status & JUDGE != 0
    }

    pub(crate) fn auto(&self) -> bool {
        self.option2 & AUTO != 0
    }

    /// The power of ten of one count, from a function's ranges in order.
    fn exponent(&self, ranges: &[i32]) -> Result<i32, BadFrame> {
        ranges
            .get(usize::from(self.range))
            .copied()
            .ok_or_else(|| BadFrame::new("a range that the function does not have"))
    }

    /// The sample, without its flags, of a function that counts to `full`.
    pub(crate) fn sample(
        &self,
        (function, scale, ranges): (Function, Scale, &[i32]),
        full: u32,
    ) -> Result<Sample, BadFrame> {
        let shown = Shown {
            function,
            scale,
            exponent: self.exponent(ranges)?,
            full,
        };
        let counts =
            shown::counts(&self.digits).ok_or_else(|| BadFrame::new("a digit above nine"))?;
        let negative = self.status & MINUS != 0;
        let amount = if self.status & OVERLOAD != 0 {
            let end = if ENDS.contains(&counts) {
                counts
            } else {
                ENDS[0]
            };
            let full = end.min(shown.full);
            Shown { full, ..shown }.overload(negative)?
        } else {
            let pulses = matches!(
                shown.function,
                Function::Frequency | Function::RotationalSpeed
            );
            if pulses && negative {
                return Err(BadFrame::new("a negative frequency or speed"));
            }
            Amount::Exactly(shown.si(negative, counts))
        };
        Ok(Sample {
            channel: 0,
            function: shown.function,
            amount,
            digit: Some(shown.digit()),
            span: Some(shown.end()),
            coupling: shown::coupling(
                shown.function,
                self.option2 & DC != 0,
                self.option2 & AC != 0,
            )?,
            flags: trisect_measure::Flags::empty(),
        })
    }
}

/// Functions that both families refuse, or that no chip of them has.
pub(crate) fn no_quantity(function: u8) -> BadFrame {
    BadFrame::new(match function {
        0x8 | 0xA | 0xC | 0xE => "an adapter input, whose quantity is not known",
        _ => "no such function",
    })
}

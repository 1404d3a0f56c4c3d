//! What volts and milliamperes of a sensor mean.

mod current_loop;
mod ratiometric;

pub use current_loop::CurrentLoop;
pub use ratiometric::Ratiometric;

use trisect_measure::{Amount, Flags};

/// What a sensor's signal means, in the unit of its range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Meaning {
    /// The value.
    pub amount: Amount,
    /// How much the value changes with one unit of the signal.
    pub slope: f64,
    /// `broken`, or nothing.
    pub flags: Flags,
}

/// Why a sensor's settings cannot be: the field, and what to write.
pub(crate) type Wrong = (&'static str, &'static str);

/// Checks that all are numbers and that the two ends of the range differ.
fn check_range(at_low: f64, at_high: f64) -> Result<(), &'static str> {
    if at_low.is_finite() && at_high.is_finite() && at_low != at_high {
        Ok(())
    } else {
        Err("the two ends of the range must be different numbers")
    }
}

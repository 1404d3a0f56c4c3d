//! What a number means: quantity, unit, uncertainty, calibration and conformity.
//!
//! Everything is kept in SI ([`Quantity::si_unit`]) and shown in the trade's
//! unit; text is parsed once, at the edge.
//!
//! Invariants, each an absence:
//! - this crate reads no clock, file, socket, environment or random source;
//! - no value is ever given a unit by guess: text without a unit is refused
//!   unless the quantity is a plain ratio;
//! - no overload is ever turned into a number: it stays one-sided
//!   ([`Amount::Above`], [`Amount::Below`]).

mod accuracy;
mod amount;
mod budget;
mod calibration;
mod conformity;
mod date;
mod entry;
mod flags;
mod quantity;
mod ratiometric;
mod reference;
mod sample;
pub mod senml;
mod temperature;
mod unit;

pub use accuracy::{Accuracy, AccuracyError, combine, resolution_uncertainty};
pub use amount::Amount;
pub use budget::{Budget, Specification};
pub use calibration::{AsFound, Calibration, CalibrationError, CalibrationKind, Correction};
pub use conformity::{Decision, conformance, decide};
pub use date::{Date, DateError};
pub use entry::{Entered, Entry, EntryError, parse_duration, parse_entry, parse_span, parse_value};
pub use flags::Flags;
pub use quantity::{Quantity, UnknownQuantity};
pub use ratiometric::{Ratiometric, RatiometricError};
pub use reference::Reference;
pub use sample::{Coupling, Function, Sample};
pub use temperature::{TemperatureCoefficient, TemperatureCoefficientError};
pub use unit::{Unit, UnitError, after_number, significant};

/// Nanoseconds in a second: times on a bay's clock are `i64` nanoseconds.
pub const NANOS_PER_SECOND: i64 = 1_000_000_000;

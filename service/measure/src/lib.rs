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
//!
//! The measurement chain, from what a meter shows to whether it conforms: 12.34 V, its data sheet's 0.8 % of reading
//! and one digit, against a limit of at least 12.2 V.
//!
//! ```
//! use trisect_measure::{
//!     Accuracy, Amount, Decision, Quantity, Specification, conformance, decide, parse_entry,
//! };
//!
//! let entry = parse_entry("12.34 V")?;
//! let (amount, digit) = entry.to_si("12.34 V", Quantity::Voltage, None)?;
//! let volts = amount.exact().unwrap();
//!
//! let accuracy = Accuracy::parse("0.8 % rdg + 1 dgt")?;
//! let sheet = Specification { accuracy: Some(&accuracy), ..Specification::default() };
//! let budget = sheet.budget(Quantity::Voltage, volts, digit, None)?;
//! // Accuracy over the square root of 3, half a digit of resolution: GUM 4.3.7 and F.2.2.1.
//! let u = budget.combined();
//! assert!((u - 0.0628).abs() < 1e-4, "{u}");
//!
//! // JCGM 106, 7.3: the probability that the true value is at least 12.2 V.
//! let probability = conformance(Amount::Exactly(volts), u, Some(12.2), None).unwrap();
//! assert_eq!(decide(probability, 0.05), Decision::Passed);
//! // A limit within the uncertainty is not decided.
//! let near = conformance(Amount::Exactly(volts), u, Some(12.3), None).unwrap();
//! assert_eq!(decide(near, 0.05), Decision::Undecided);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

// `unit!` calls other macros of its crate by their bare names.
#[macro_use]
extern crate uom;

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
pub use unit::{Unit, UnitError, after_number, significant, value_in_words};

/// Nanoseconds in a second: times on a bay's clock are `i64` nanoseconds.
pub const NANOS_PER_SECOND: i64 = 1_000_000_000;

//! A rule set put to many simulated machines: how often it is right.
//!
//! [`survey`] draws machines and faults, lets a simulated technician follow the
//! advice of the diagnosis until a side is isolated or there is nothing left to
//! test, and reports. Readings are handed over directly; nothing is slept for.
//!
//! This crate is the only one that knows both the machine model and the
//! reasoning: the model reads no rule set, the reasoning knows no model, and a
//! survey holds one against the other.
//!
//! Invariants, each an absence:
//! - no clock, file or socket: the same rule set, seed and number of machines
//!   give the same report, byte for byte, on any number of threads;
//! - nothing here tells the diagnosis what is wrong with the machine.

mod advice;
mod bins;
mod compare;
mod draw;
mod hands;
mod job;
mod people;
mod picture;
mod report;
mod rig;
mod run;
mod stats;
mod substitution;
mod words;
mod worst;

pub use bins::{BINS, Bin, Bins};
pub use compare::{Number, compare};
pub use picture::picture;
pub use report::{Confused, Minutes, Mistake, Reason, Report, Worst};
pub use run::{Survey, survey};
pub use stats::{Share, quantile};
pub use words::words;
pub use worst::{Case, worst_cases};

/// Why a survey cannot be made.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SurveyError {
    /// The rule set suspects what the machine model cannot have.
    #[error(
        "surveying the rule set: the machine model has no fault for {unknown}; survey a rule set whose suspects it has"
    )]
    UnknownSuspects {
        /// The suspects.
        unknown: String,
    },
    /// Nothing to survey.
    #[error("surveying the rule set: 0 machines show nothing; ask for at least 1")]
    NoMachines,
}

#[cfg(test)]
mod tests;

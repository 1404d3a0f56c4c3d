//! A rule set put to many simulated machines: how often it is right.
//!
//! [`survey`] draws machines and faults, lets a simulated technician follow the
//! advice of the diagnosis, by the steps of `trisect-technician`, until a side is isolated or there is nothing left to
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
mod course;
mod draw;
mod instrument;
mod instruments;
mod job;
mod minutes;
mod people;
mod picture;
mod rank;
mod report;
mod run;
mod stats;
mod substitution;
mod technician;
mod threads;
mod words;
mod worst;

pub use bins::{BINS, Bin, Bins};
pub use compare::{Number, compare, compared};
pub use minutes::Minutes;
pub use picture::picture;
pub use rank::Worst;
pub use report::{Confused, Mistake, Reason, Report};
pub use run::{Survey, survey};
pub use stats::{Share, median_interval, median_ranks, quantile};
pub use technician::steps_of;
pub use threads::MOST_THREADS;
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
    /// No thread to survey on, or too many.
    #[error(
        "surveying the rule set: it cannot be done on {threads} threads; ask for 1 to {MOST_THREADS}, as many as there are cores to use"
    )]
    Threads {
        /// How many were asked for.
        threads: usize,
    },
}

#[cfg(test)]
mod tests;

//! What the readings say: phases, features, checks, belief, proofs, next test.
//!
//! A [`Diagnosis`] is a fold over [`Event`]s. It looks at nothing else, so the
//! same events give the same verdict bytes, live or replayed, at any speed.
//!
//! The reasoning is exact enumeration over sets of suspects (noisy-OR for
//! measured checks, noisy-MAX for asked ones), in log space, without sampling.
//! Faults that mask each other are outside a noisy-OR model: each fault can
//! only make a check fail, never make another's failure pass.
//!
//! Invariants, each an absence:
//! - this crate reads no clock, file, socket, environment or random source;
//! - no verdict names a side whose proof is missing;
//! - no reading that is spoiled (held, stale, implausible, ...) settles a check;
//! - no memory or time a reading grows with the length of the job.

mod assess;
mod battery;
mod belief;
mod bound;
mod circumstances;
mod columns;
mod decay;
mod event;
mod evidence;
mod finding;
mod fold;
mod hypotheses;
mod information;
mod model;
mod next;
mod passive;
mod phase;
mod proof;
mod reason;
mod rhythm;
mod ripple;
mod rise;
mod run;
mod runs;
mod scaled;
mod standing;
mod stays;
pub mod trial;
mod verdict;
mod window;
mod words;

pub use assess::limit_in_words;
pub use event::{Event, What};
pub use finding::{Finding, Origin};
pub use fold::Diagnosis;
pub use model::Model;
pub use run::{NotTaken, Run, Stage};
pub use runs::Counted;
pub use stays::{CrankSummary, KEPT_STAYS, PhaseStay};
pub use trisect_rules::{Drive, Outcome, Phase, Side, Standing};
pub use verdict::{
    BySide, ComplaintEvidence, Evidence, Missing, NextTest, RuleSetName, SpectralLine,
    SuspectBelief, Verdict,
};

#[cfg(test)]
mod tests;

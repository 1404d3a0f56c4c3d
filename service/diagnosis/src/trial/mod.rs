//! Trials: recorded cases run against a rule set.
//!
//! A [`Recording`] is a case held against a rule set, its stream merged in; [`Recording::verdict`] folds
//! it; [`differences`] says where the verdict is not what the case expects. Over many cases,
//! [`coverage`] says what none of them reaches and [`sensitivity`] what could be changed in the rule set
//! without any of them noticing; [`prove`] searches a rule set for a side named without its proof, and
//! [`export`] writes a job down as a case. Files are the caller's to read.

mod compare;
mod coverage;
mod export;
mod prove;
mod recording;
mod sensitivity;
mod stream;

pub use compare::{Difference, differences};
pub use coverage::{Coverage, Reached, coverage};
pub use export::{Exported, Exporting, export};
pub use prove::{Naming, Proving, Shortest, Stated, prove};
pub use recording::Recording;
pub use sensitivity::{Change, Slack, sensitivity};
pub use stream::StreamError;

#[cfg(test)]
mod tests;

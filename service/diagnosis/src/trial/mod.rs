//! Trials: recorded cases run against a rule set.
//!
//! A [`Recording`] is a case held against a rule set, its stream merged in; [`Recording::verdict`] folds
//! it; [`differences`] says where the verdict is not what the case expects. Over many cases,
//! [`coverage`] says what none of them reaches and [`sensitivity`] what could be changed in the rule set
//! without any of them noticing. Files are the caller's to read.

mod compare;
mod coverage;
mod prove;
mod recording;
mod sensitivity;

pub use compare::{Difference, differences};
pub use coverage::{Coverage, Reached, coverage};
pub use prove::{Naming, Proving, Shortest, Stated, prove};
pub use recording::{Recording, StreamError};
pub use sensitivity::{Change, Slack, sensitivity};

#[cfg(test)]
mod tests;

//! What travels: the parameters, results and items of every method, one noun a file.
//!
//! Parameters refuse unknown members; results may gain members, so readers must let unknown ones pass.
//! Numbers are 64-bit floats in the unit named beside them; an uncertainty is a standard uncertainty
//! in that same unit.

mod audit;
mod bay;
mod calibration;
mod common;
mod instrument;
mod job;
mod port;
mod probe;
mod reading;
mod ruleset;
mod service;
mod testability;
pub(crate) mod text;
mod trial;
mod verdict;
mod watch;
mod webhook;

pub use audit::*;
pub use bay::*;
pub use calibration::*;
pub use common::*;
pub use instrument::*;
pub use job::*;
pub use port::*;
pub use probe::*;
pub use reading::*;
pub use ruleset::*;
pub use service::*;
pub use testability::*;
pub use trial::*;
pub use verdict::*;
pub use watch::*;
pub use webhook::*;

/// Declares wire types with the derives they all have.
macro_rules! wire {
    ($($item:item)+) => {
        $(
            #[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
            $item
        )+
    };
}
pub(crate) use wire;

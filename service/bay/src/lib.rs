//! A bay at work: its jobs, instruments, measurement chain, clock and rule sets.
//!
//! A bay is one task that owns one state machine. Nothing of it is shared and locked: whoever wants something
//! sends a piece of work through a [`BayHandle`] and waits for its answer, and the work is finished even if
//! nobody waits any more.
//!
//! | file | subject |
//! |---|---|
//! | `handle` | the task, and the way to it |
//! | `state` | what a bay owns |
//! | `job`, `entry`, `submission`, `probes`, `barometer` | what it can be asked |
//! | `request`, `status`, `error` | how it is asked, and answers |
//! | `arrival`, `outside` | what instruments say becomes readings |
//! | `record` | kept first, then weighed, then told |
//! | `observer` | whom it is told |
//! | `pace` | when streamed readings are taken and judged |
//! | `setup` | instruments attached, plugins exchanged, the open job taken up |
//! | `instruments` | adapters by name, the measurement chain, what speaks on a port |
//! | `catalog`, `replay`, `clock` | rule sets, jobs folded anew, time |
//!
//! Invariants, each an absence:
//! - no reading is acknowledged that is not on disk;
//! - no type of the API and nothing of HTTP is known here: a bay has its own requests, answers and
//!   [`BayError`], and tells what happens through a [`BayObserver`];
//! - no reading is dated by another clock than [`clock::BayClock`].

mod arrival;
mod barometer;
pub mod catalog;
pub mod clock;
mod entry;
mod error;
mod handle;
pub mod instruments;
mod job;
mod observer;
mod outside;
mod pace;
mod probes;
mod record;
pub mod replay;
mod request;
pub mod setup;
mod state;
mod status;
mod submission;

pub use barometer::Barometer;
pub use entry::EnteredReading;
pub use error::{BayError, ErrorKind, Hint};
pub use handle::{BayHandle, Doing};
pub use job::{BayJob, time_of};
pub use observer::{BayObserver, JobVerdict, ReadingsFate, StoredReading};
pub use pace::Pace;
pub use probes::{Attaching, PortUser};
pub use record::{internal, refusal};
pub use request::{
    AnswerRequest, AttachRequest, BarometerRequest, Beyond, CloseJobRequest, EnterRequest,
    OpenJobRequest, PlaceProbeRequest, SubmitRequest, Submitted, SubmittedReading,
};
pub use state::{Bay, BayParts};
pub use status::{BarometerStatus, BayStatus};

//! Why the demo or the practice bay ended early.

use trisect_machine::FaultError;
use trisect_simulated::bay::BayError;
use trisect_simulated::instruments::PlaceError;

use crate::connection::CallError;

/// Why the demo ended before its verdict, or there is no practice bay.
#[derive(Debug, thiserror::Error)]
pub enum PracticeError {
    /// A fault is none.
    #[error(transparent)]
    Fault(#[from] FaultError),
    /// The simulated bay could not be opened.
    #[error(transparent)]
    Bay(#[from] BayError),
    /// No directory for the instruments' lines.
    #[error("cannot make a directory for the simulated instruments' lines")]
    Directory(#[from] std::io::Error),
    /// The service refused a call, or was lost.
    #[error(transparent)]
    Call(#[from] CallError),
    /// The service has no bay to practise in.
    #[error("the service has no bay; put one into its configuration")]
    NoBay,
    /// A lead could not be put where the advice says, or where it is at first.
    #[error("cannot put a lead in the simulated bay")]
    Lead(#[from] PlaceError),
}

impl PracticeError {
    /// Whether what was asked for is at fault.
    pub fn is_request(&self) -> bool {
        match self {
            PracticeError::Fault(_)
            | PracticeError::Bay(BayError::Speed { .. })
            | PracticeError::NoBay => true,
            PracticeError::Call(error) => error.is_request(),
            PracticeError::Bay(_) | PracticeError::Directory(_) | PracticeError::Lead(_) => false,
        }
    }
}

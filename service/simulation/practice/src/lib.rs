//! The demo and the practice bay: a simulated bay with its technician, as clients of a service.
//!
//! Both start a [`trisect_simulated::bay::SimulatedBay`], attach its instruments to a bay of the
//! service over JSON-RPC, and do to the simulated machine what a technician does, by the lists of
//! `trisect-technician`. [`demo`] follows the service's advice to a verdict; [`practice`] turns the
//! key in a round or as is typed, and follows what a front end says.
//!
//! Invariants, each an absence:
//! - nothing of the service is reached but by its methods and subscriptions: what a front end
//!   learns here is true of a real bay;
//! - the service is told nothing about the machine but what instruments and people tell it.

mod connection;
pub mod demo;
mod error;
mod instruments;
mod operator;
pub mod practice;
mod simulation;
mod steps;

pub use connection::CallError;
pub use error::PracticeError;
pub use steps::steps_of;

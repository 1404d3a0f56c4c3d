//! What the fold is fed with.

use trisect_measure::{Amount, Flags};
use trisect_rules::{Drive, Outcome, Phase};

/// One thing that happened, on the bay's clock.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Event {
    /// Nanoseconds since the job opened.
    pub at: i64,
    /// What happened.
    pub what: What,
}

/// What can happen in a job. Points, checks and answers are indexes into the
/// rule set; test points come first, derived points after them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum What {
    /// A reading at a test point.
    Reading {
        /// Which point.
        point: u16,
        /// The amount, in SI.
        amount: Amount,
        /// Its standard uncertainty, in SI.
        u: f64,
        /// What was said about it.
        flags: Flags,
        /// Entered by a person, so that it stands for a whole window.
        entered: bool,
    },
    /// A person says which phase the engine is in. Said again, the windows of
    /// that phase start anew.
    Phase(Phase),
    /// Which drive is on the pump's connector from now on.
    Drive(Drive),
    /// The answer to an asked check.
    Answer {
        /// Which check.
        check: u16,
        /// Which of its answers, healthiest first; the number after the last: cannot be told.
        answer: u16,
    },
    /// A check that was settled elsewhere.
    Outcome {
        /// Which check.
        check: u16,
        /// What came of it.
        outcome: Outcome,
    },
    /// A probe was placed on the point: its windows start anew.
    Window {
        /// Which point.
        point: u16,
    },
    /// The probe on the point was taken off.
    Lift {
        /// Which point.
        point: u16,
    },
    /// A run of a measured check begins. Nothing happens while another one of it is open.
    Start {
        /// Which check.
        check: u16,
    },
    /// The open run of a check is given up.
    Stop {
        /// Which check.
        check: u16,
    },
    /// Whether what the run of a check asks for was kept to, once it has all its readings.
    Kept {
        /// Which check.
        check: u16,
        /// Whether it was.
        kept: bool,
    },
    /// A finding is taken out of the reasoning, and stays in the record.
    Withdraw {
        /// Its number.
        finding: u32,
    },
    /// Something was repaired: a new round begins.
    Repair,
}

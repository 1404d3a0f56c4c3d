//! A case: a recorded job with what should come of it.
//!
//! [`parse`] reads the text on its own and reports every defect; a second step,
//! [`Case::resolve`], holds it against a rule set, which knows what each point
//! measures. The stream a case may name is a file, which is the caller's to read.
//! A case is run by `trisect_diagnosis::trial`, for reasoning is none of this crate's business.

mod expect;
mod parse;
mod resolve;

use trisect_measure::{Accuracy, Amount, Entry, Flags};

use crate::read::Span;
use crate::{Drive, Outcome, Phase, Side, Standing};

pub use parse::parse;

/// A case whose text has no defects of its own.
#[derive(Clone, Debug, PartialEq)]
pub struct Case {
    /// What the job was.
    pub title: String,
    /// Where the case comes from, such as "invented".
    pub source: String,
    /// An id of a rule set, or a path relative to the case's file.
    pub ruleset: String,
    /// The complaint's id.
    pub complaint: Option<String>,
    /// A file of SenML records beside the case; their names are test points.
    pub stream: Option<String>,
    /// When the recording ended, in nanoseconds since the job opened: windows that
    /// are not full by then stay so. `None`: it went on until all were full.
    pub ends: Option<i64>,
    /// What happened, in the order of the text.
    pub events: Vec<CaseEvent>,
    /// What should come of it.
    pub expect: Expect,
    /// The whole text, for the places of what does not resolve.
    text: String,
    complaint_at: Span,
}

/// Something that happened.
#[derive(Clone, Debug, PartialEq)]
pub struct CaseEvent {
    /// Nanoseconds since the job opened.
    pub at: i64,
    /// What happened.
    pub what: CaseWhat,
    /// The line of its `[[event]]`, from 1.
    pub line: usize,
    /// The column of its `[[event]]`, from 1.
    pub column: usize,
    /// Where its subject, its value and its uncertainty stand.
    subject_at: Span,
    value_at: Span,
    doubt_at: Span,
}

/// What can happen in a case.
#[derive(Clone, Debug, PartialEq)]
pub enum CaseWhat {
    /// The phase was said.
    Phase(Phase),
    /// Another drive was connected.
    Drive(Drive),
    /// A probe was placed on a test point: its windows start anew.
    Probe {
        /// The test point's id.
        point: String,
    },
    /// The probe on a test point was taken off.
    Lift {
        /// The test point's id.
        point: String,
    },
    /// A run of a check began.
    Start {
        /// The check's id.
        check: String,
    },
    /// The open run of a check was given up.
    Stop {
        /// The check's id.
        check: String,
    },
    /// Whether what the open run of a check asks for was kept to.
    Kept {
        /// The check's id.
        check: String,
        /// Whether it was.
        kept: bool,
    },
    /// A finding was taken out of the reasoning.
    Withdraw {
        /// Its number, from 1.
        finding: u32,
    },
    /// Something was repaired; a new round begins.
    Repair {
        /// What was done.
        done: String,
    },
    /// A value was read.
    Reading(CaseReading),
    /// A question was answered.
    Answer {
        /// The check's id.
        check: String,
        /// The answer's word.
        is: String,
    },
    /// A check was settled elsewhere.
    Outcome {
        /// The check's id.
        check: String,
        /// What came of it.
        is: Outcome,
    },
}

/// A value as it was written down.
#[derive(Clone, Debug, PartialEq)]
pub struct CaseReading {
    /// The test point's id.
    pub point: String,
    /// The text, such as "3.1 psi" or "OL".
    pub value: String,
    /// The text, read.
    pub entry: Entry,
    /// How uncertain it is.
    pub doubt: Doubt,
    /// What the instrument said about it.
    pub flags: Flags,
}

/// How a case says how uncertain a value is.
#[derive(Clone, Debug, PartialEq)]
pub enum Doubt {
    /// Not said: what the digits written leave open.
    Digits,
    /// A standard uncertainty, such as "0.2 psi".
    Standard(String),
    /// An instrument's accuracy; what the digits leave open comes on top.
    Accuracy(Accuracy),
}

/// What should come of a case; what is `None` or empty is not looked at.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Expect {
    /// The verdict's standing.
    pub standing: Option<Standing>,
    /// The side it names.
    pub side: Option<Side>,
    /// The suspect with the highest probability.
    pub top_suspect: Option<String>,
    /// The suspect it names; `Some(None)` if it may name none.
    pub named: Option<Option<String>>,
    /// The sides said to be not cleared, all of them.
    pub also: Option<Vec<Side>>,
    /// The lowest and highest belief in a side.
    pub belief: Vec<(Side, (f64, f64))>,
    /// What came of checks, by id.
    pub outcomes: Vec<(String, Outcome)>,
    /// The check advised next.
    pub next: Option<String>,
    /// Where the ids of checks and suspects stand.
    checks_at: Vec<(String, Span)>,
    suspects_at: Vec<(String, Span)>,
}

/// An event held against a rule set.
#[derive(Clone, Debug, PartialEq)]
pub struct ResolvedEvent {
    /// Nanoseconds since the job opened.
    pub at: i64,
    /// What happened.
    pub what: ResolvedWhat,
}

/// What happened, in the rule set's indexes and in SI.
#[derive(Clone, Debug, PartialEq)]
pub enum ResolvedWhat {
    /// The phase was said.
    Phase(Phase),
    /// Another drive was connected.
    Drive(Drive),
    /// A probe was placed on a test point.
    Probe {
        /// The test point.
        point: usize,
    },
    /// The probe on a test point was taken off.
    Lift {
        /// The test point.
        point: usize,
    },
    /// A run of a measured check began.
    Start {
        /// The check.
        check: usize,
    },
    /// The open run of a check was given up.
    Stop {
        /// The check.
        check: usize,
    },
    /// Whether what the open run of a check asks for was kept to.
    Kept {
        /// The check.
        check: usize,
        /// Whether it was.
        kept: bool,
    },
    /// A finding was taken out of the reasoning.
    Withdraw {
        /// Its number, from 1.
        finding: u32,
    },
    /// Something was repaired; a new round begins.
    Repair,
    /// A value was read.
    Reading {
        /// The test point.
        point: usize,
        /// The value in SI.
        amount: Amount,
        /// Its standard uncertainty in SI.
        uncertainty: f64,
        /// What was said about it, and whether it can be believed.
        flags: Flags,
    },
    /// A question was answered.
    Answer {
        /// The check.
        check: usize,
        /// The place of the answer in its list; the place after the last: cannot be told.
        answer: usize,
    },
    /// A check was settled elsewhere.
    Outcome {
        /// The check.
        check: usize,
        /// What came of it.
        outcome: Outcome,
    },
}

#[cfg(test)]
mod tests;

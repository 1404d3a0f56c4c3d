//! A case held against a rule set: its events and its stream, on one timeline.

use std::sync::Arc;

use trisect_rules::case::{Case, Expect, ResolvedEvent, ResolvedWhat};
use trisect_rules::{Defect, RuleSet};

use super::StreamError;
use crate::{Diagnosis, Event, Model, Verdict, What};

/// What happened in a case, ready to be folded, and what should come of it.
#[derive(Clone, Debug)]
pub struct Recording {
    pub(super) events: Vec<Event>,
    pub(super) complaint: Option<usize>,
    /// When it ended; `None`: once every window was full.
    ends: Option<i64>,
    /// What should come of it.
    pub expect: Expect,
}

impl Recording {
    /// Holds a case against a rule set. `stream` is the text of the SenML file that the case names.
    /// Its times count from the job's opening if they are below 2^28, else from its first record.
    ///
    /// # Errors
    /// Every defect of the case; the stream is added with [`Recording::with_stream`].
    pub fn of(case: &Case, rules: &RuleSet) -> Result<Recording, Vec<Defect>> {
        let events = case.resolve(rules)?.iter().map(event).collect();
        let complaint = case
            .complaint
            .as_ref()
            .and_then(|id| rules.complaint_index(id));
        Ok(Recording {
            events,
            complaint,
            ends: case.ends,
            expect: case.expect.clone(),
        })
    }

    /// Merges a SenML stream in; what was said at the same moment comes before what was read.
    ///
    /// SenML has no place for an uncertainty, so records named `<test point>/uncertainty` (a number in a
    /// unit of the point), `<test point>/flags` (text: words, separated by spaces) and `<test point>/beyond`
    /// (text: `above`, `below` or empty) say how the point's readings from there on are to be taken.
    ///
    /// # Errors
    /// The first record that breaks RFC 8428 or does not fit the rule set.
    pub fn with_stream(mut self, stream: &str, rules: &RuleSet) -> Result<Recording, StreamError> {
        self.events.extend(super::stream::events(stream, rules)?);
        self.events.sort_by_key(|event| event.at);
        Ok(self)
    }

    /// The verdict on all of it. Unless the case says when it ended, no window waits for more.
    pub fn verdict(&self, model: &Arc<Model>) -> Arc<Verdict> {
        let mut diagnosis = Diagnosis::new(Arc::clone(model), self.complaint);
        for event in &self.events {
            diagnosis.push(event);
        }
        // The clock goes on to the end, or to where every window is full; no point has this number.
        diagnosis.push(&Event {
            at: self.ends.unwrap_or(i64::MAX / 2),
            what: What::Window { point: u16::MAX },
        });
        diagnosis.verdict()
    }
}

fn event(event: &ResolvedEvent) -> Event {
    let what = match event.what {
        ResolvedWhat::Phase(phase) => What::Phase(phase),
        ResolvedWhat::Drive(drive) => What::Drive(drive),
        ResolvedWhat::Probe { point } => What::Window {
            point: index(point),
        },
        ResolvedWhat::Lift { point } => What::Lift {
            point: index(point),
        },
        ResolvedWhat::Start { check } => What::Start {
            check: index(check),
        },
        ResolvedWhat::Stop { check } => What::Stop {
            check: index(check),
        },
        ResolvedWhat::Kept { check, kept } => What::Kept {
            check: index(check),
            kept,
        },
        ResolvedWhat::Withdraw { finding } => What::Withdraw { finding },
        ResolvedWhat::Repair => What::Repair,
        ResolvedWhat::Reading {
            point,
            amount,
            uncertainty,
            flags,
        } => What::Reading {
            point: index(point),
            amount,
            u: uncertainty,
            flags,
            // Written down one by one: each stands for its window, unlike a stream.
            entered: true,
        },
        ResolvedWhat::Answer { check, answer } => What::Answer {
            check: index(check),
            answer: index(answer),
        },
        ResolvedWhat::Outcome { check, outcome } => What::Outcome {
            check: index(check),
            outcome,
        },
    };
    Event { at: event.at, what }
}

/// The fold counts in 16 bits and ignores a number that nothing has.
pub(super) fn index(place: usize) -> u16 {
    u16::try_from(place).unwrap_or(u16::MAX)
}

//! Between the ids in the journal and the indexes of a rule set.

use std::collections::HashMap;
use std::sync::Arc;

use trisect_diagnosis::{Event, What};
use trisect_rules::{How, RuleSet};

use crate::{EventRow, Happened, Probe, Reading, UnknownId};

/// The ids of one rule set, both ways. Made once a job; translating a row then
/// allocates nothing.
#[derive(Debug, Clone)]
pub struct Ids {
    digest: String,
    points: List,
    checks: List,
    /// The answers of each check; empty for a measured one.
    answers: Vec<List>,
}

/// Ids in their order, and their places.
#[derive(Debug, Clone, Default)]
struct List {
    ids: Vec<Arc<str>>,
    places: HashMap<Arc<str>, u16>,
}

impl List {
    fn new<'a>(ids: impl IntoIterator<Item = &'a str>) -> Self {
        let ids: Vec<Arc<str>> = ids.into_iter().map(Arc::from).collect();
        let places = ids.iter().cloned().zip(0..).collect();
        Self { ids, places }
    }

    fn id(&self, place: u16) -> Option<Arc<str>> {
        self.ids.get(usize::from(place)).cloned()
    }
}

impl Ids {
    /// The ids of a rule set.
    pub fn new(rules: &RuleSet) -> Self {
        let answers = rules.checks.iter().map(|check| match &check.how {
            How::Asked(asked) => List::new(asked.answers.iter().map(String::as_str)),
            How::Measured(_) => List::default(),
        });
        Self {
            digest: rules.digest.clone(),
            points: List::new(rules.point_ids()),
            checks: List::new(rules.checks.iter().map(|check| check.id.as_str())),
            answers: answers.collect(),
        }
    }

    /// The event a row stands for; `None` for what the diagnosis does not weigh.
    ///
    /// # Errors
    /// When the row names an id that the rule set does not have.
    pub fn event(&self, row: &EventRow) -> Result<Option<Event>, UnknownId> {
        let what = match &row.what {
            Happened::Reading(reading) => What::Reading {
                point: self.point(&reading.point)?,
                amount: reading.amount,
                u: reading.uncertainty,
                flags: reading.flags,
                entered: reading.entered,
            },
            Happened::Phase(phase) => What::Phase(*phase),
            Happened::Drive(drive) => What::Drive(*drive),
            Happened::Answer { check, answer } => {
                let check = self.check(check)?;
                let answers = self.answers.get(usize::from(check));
                let place = answers.and_then(|answers| answers.places.get(answer));
                let place = place.ok_or_else(|| self.unknown("answer", answer))?;
                What::Answer {
                    check,
                    answer: *place,
                }
            }
            Happened::Outcome { check, outcome } => What::Outcome {
                check: self.check(check)?,
                outcome: *outcome,
            },
            Happened::Window(probe) => What::Window {
                point: self.point(&probe.point)?,
            },
            Happened::Lifted(_) => return Ok(None),
        };
        Ok(Some(Event { at: row.at, what }))
    }

    /// The row for an event; who measured or said it is left open.
    ///
    /// # Errors
    /// When the event has an index that the rule set does not have.
    pub fn row(&self, event: &Event, wall: i64) -> Result<EventRow, UnknownId> {
        let point = |place| self.known("point", self.points.id(place), place);
        let check = |place| self.known("check", self.checks.id(place), place);
        let what = match event.what {
            What::Reading {
                point: place,
                amount,
                u,
                flags,
                entered,
            } => Happened::Reading(Reading {
                point: point(place)?,
                amount,
                uncertainty: u,
                flags,
                entered,
                instrument: None,
                channel: None,
                calibration: None,
                latency: None,
                barometer: None,
            }),
            What::Phase(phase) => Happened::Phase(phase),
            What::Drive(drive) => Happened::Drive(drive),
            What::Answer {
                check: place,
                answer,
            } => {
                let answers = self.answers.get(usize::from(place));
                let said = answers.and_then(|answers| answers.id(answer));
                Happened::Answer {
                    check: check(place)?,
                    answer: self.known("answer", said, answer)?,
                }
            }
            What::Outcome {
                check: place,
                outcome,
            } => Happened::Outcome {
                check: check(place)?,
                outcome,
            },
            What::Window { point: place } => Happened::Window(Probe {
                point: point(place)?,
                instrument: None,
                channel: None,
            }),
            What::Lift { point: place } => Happened::Lifted(Probe {
                point: point(place)?,
                instrument: None,
                channel: None,
            }),
            // No bay works by a rule set that has runs, so no row says anything of one.
            What::Start { check: place }
            | What::Stop { check: place }
            | What::Kept { check: place, .. } => {
                return Err(self.unknown("run", &format!("of check {place}")));
            }
            What::Withdraw { .. } | What::Repair => {
                return Err(self.unknown("run", "of any check"));
            }
        };
        Ok(EventRow {
            at: event.at,
            wall,
            by: None,
            what,
        })
    }

    fn point(&self, id: &str) -> Result<u16, UnknownId> {
        let place = self.points.places.get(id).copied();
        place.ok_or_else(|| self.unknown("point", id))
    }

    fn check(&self, id: &str) -> Result<u16, UnknownId> {
        let place = self.checks.places.get(id).copied();
        place.ok_or_else(|| self.unknown("check", id))
    }

    fn known(
        &self,
        what: &'static str,
        id: Option<Arc<str>>,
        place: u16,
    ) -> Result<Arc<str>, UnknownId> {
        id.ok_or_else(|| self.unknown(what, &format!("number {place}")))
    }

    fn unknown(&self, what: &'static str, id: &str) -> UnknownId {
        UnknownId {
            what,
            id: id.to_owned(),
            rule_set: self.digest.clone(),
        }
    }
}

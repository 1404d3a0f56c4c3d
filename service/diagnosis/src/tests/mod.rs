//! The fold, from events to verdicts, on small rule sets and the shipped one.
#![allow(clippy::unwrap_used)]

mod features;
mod findings;
mod phases;
mod published;
mod run_properties;
mod runs;
mod shipped;
mod wide;
mod windows;

use std::sync::Arc;

use trisect_measure::{Amount, Flags, NANOS_PER_SECOND, parse_value};
use trisect_rules::{Drive, Outcome, Phase, RuleSet, examine, shipped_rule_set};

use crate::{Diagnosis, Event, Evidence, Model, Verdict, What};

/// A job that is told what happens in a line each.
pub(crate) struct Job {
    rules: Arc<RuleSet>,
    pub(crate) diagnosis: Diagnosis,
    at: f64,
    pub(crate) events: Vec<Event>,
}

impl Job {
    pub(crate) fn new(toml: &str, complaint: Option<&str>) -> Job {
        let examined = examine(toml);
        let rules = examined
            .rule_set
            .unwrap_or_else(|| panic!("{:#?}", examined.defects));
        Job::on(Arc::new(rules), complaint)
    }

    pub(crate) fn shipped(complaint: Option<&str>) -> Job {
        Job::on(
            Arc::new(shipped_rule_set("distributor-pump-12v").unwrap()),
            complaint,
        )
    }

    fn on(rules: Arc<RuleSet>, complaint: Option<&str>) -> Job {
        let complaint = complaint.map(|id| rules.complaint_index(id).unwrap());
        let model = Arc::new(Model::new(Arc::clone(&rules)));
        Job {
            rules,
            diagnosis: Diagnosis::new(model, complaint),
            at: 0.0,
            events: Vec::new(),
        }
    }

    fn push(&mut self, what: What) -> &mut Job {
        let event = Event {
            at: (self.at * NANOS_PER_SECOND as f64) as i64,
            what,
        };
        self.events.push(event);
        self.diagnosis.push(&event);
        self
    }

    pub(crate) fn at(&mut self, seconds: f64) -> &mut Job {
        self.at = seconds;
        self
    }

    pub(crate) fn phase(&mut self, phase: Phase) -> &mut Job {
        self.push(What::Phase(phase))
    }

    pub(crate) fn drive(&mut self, drive: Drive) -> &mut Job {
        self.push(What::Drive(drive))
    }

    fn reading(&mut self, point: &str, value: &str, flags: Flags, entered: bool) -> &mut Job {
        let point = self.rules.point_index(point).unwrap();
        let unit = self.rules.point_unit(point);
        let value = parse_value(value, unit.quantity()).unwrap();
        let u = unit.span_to_si(0.01);
        let amount = Amount::Exactly(value);
        self.push(What::Reading {
            point: point as u16,
            amount,
            u,
            flags,
            entered,
        })
    }

    /// A reading of an instrument, with a standard uncertainty of 0.01 of the point's unit.
    pub(crate) fn reads(&mut self, point: &str, value: &str) -> &mut Job {
        self.reading(point, value, Flags::empty(), false)
    }

    /// The same, entered by a person.
    pub(crate) fn enters(&mut self, point: &str, value: &str) -> &mut Job {
        self.reading(point, value, Flags::empty(), true)
    }

    pub(crate) fn flagged(&mut self, point: &str, value: &str, flags: Flags) -> &mut Job {
        self.reading(point, value, flags, false)
    }

    pub(crate) fn start(&mut self, check: &str) -> &mut Job {
        let check = self.check(check);
        self.push(What::Start { check })
    }

    pub(crate) fn stop(&mut self, check: &str) -> &mut Job {
        let check = self.check(check);
        self.push(What::Stop { check })
    }

    pub(crate) fn kept(&mut self, check: &str, kept: bool) -> &mut Job {
        let check = self.check(check);
        self.push(What::Kept { check, kept })
    }

    pub(crate) fn withdraw(&mut self, finding: u32) -> &mut Job {
        self.push(What::Withdraw { finding })
    }

    pub(crate) fn repair(&mut self) -> &mut Job {
        self.push(What::Repair)
    }

    pub(crate) fn cannot_tell(&mut self, check: &str) -> &mut Job {
        let check = self.check(check);
        self.push(What::Answer {
            check,
            answer: u16::MAX,
        })
    }

    fn check(&self, id: &str) -> u16 {
        self.rules.check_index(id).unwrap() as u16
    }

    pub(crate) fn lift(&mut self, point: &str) -> &mut Job {
        let point = self.rules.point_index(point).unwrap() as u16;
        self.push(What::Lift { point })
    }

    pub(crate) fn place(&mut self, point: &str) -> &mut Job {
        let point = self.rules.point_index(point).unwrap() as u16;
        self.push(What::Window { point })
    }

    pub(crate) fn answer(&mut self, check: &str, answer: &str) -> &mut Job {
        let index = self.rules.check_index(check).unwrap();
        let answers = &self.rules.checks[index].asked().unwrap().answers;
        let answer = answers.iter().position(|a| a == answer).unwrap() as u16;
        self.push(What::Answer {
            check: index as u16,
            answer,
        })
    }

    pub(crate) fn state(&mut self, checks: &[&str], outcome: Outcome) -> &mut Job {
        for check in checks {
            let check = self.rules.check_index(check).unwrap() as u16;
            self.push(What::Outcome { check, outcome });
        }
        self
    }

    pub(crate) fn passed(&mut self, checks: &[&str]) -> &mut Job {
        self.state(checks, Outcome::Passed)
    }

    pub(crate) fn failed(&mut self, checks: &[&str]) -> &mut Job {
        self.state(checks, Outcome::Failed)
    }

    pub(crate) fn verdict(&mut self) -> Arc<Verdict> {
        self.diagnosis.verdict()
    }

    pub(crate) fn evidence(&mut self, check: &str) -> Evidence {
        let verdict = self.verdict();
        let mut evidence = verdict.evidence.iter();
        evidence.find(|e| e.check == check).unwrap().clone()
    }

    pub(crate) fn outcome(&mut self, check: &str) -> Outcome {
        self.verdict().outcome(check)
    }

    pub(crate) fn suspect(&mut self, id: &str) -> f64 {
        self.verdict()
            .suspects
            .iter()
            .find(|s| s.id == id)
            .unwrap()
            .probability
    }
}

//! What could be changed in a rule set without a case noticing: limits that no case holds in place,
//! proofs and parts of proofs that no case needs.

use std::sync::Arc;

use serde::Serialize;
use trisect_rules::{Bound, How, RuleSet};

use super::coverage::proof_names;
use super::{Difference, Recording, differences};
use crate::Model;

/// How far limits are moved, in parts of themselves, from little to much.
const STEPS: [f64; 3] = [0.1, 0.25, 0.5];

/// One thing that no case notices.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Slack {
    /// `limit` with its check and end, or `proof` with its name.
    #[serde(flatten)]
    pub of: Change,
    /// What can be done to it, in words: `lowered by 25 %`, `dropped`, `fuel-seen left out of passed`.
    pub change: String,
}

/// What was changed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Change {
    /// An end of a check's limit was moved.
    Limit {
        /// The check.
        check: String,
        /// `at_least` or `at_most`.
        end: &'static str,
    },
    /// A proof, or a part of one, was left out.
    Proof {
        /// Its name, as in the coverage.
        proof: String,
    },
}

/// Changes to a rule set that leave all differences of all these cases as they are.
///
/// Each limit is lowered and raised by 10, 25 and 50 % (the most that goes unnoticed is told); each
/// proof, and each check in its lists, is left out. Nothing else is changed at the same time.
pub fn sensitivity(rules: &RuleSet, recordings: &[&Recording]) -> Vec<Slack> {
    let trial = Trial::new(rules, recordings);
    let mut slack = Vec::new();
    for check in 0..rules.checks.len() {
        for end in [End::AtLeast, End::AtMost] {
            slack.extend(trial.lowered(rules, check, end));
            slack.extend(trial.raised(rules, check, end));
        }
    }
    for (proof, name) in proof_names(rules).iter().enumerate() {
        slack.extend(trial.proof(rules, proof, name));
    }
    slack
}

#[derive(Clone, Copy)]
enum End {
    AtLeast,
    AtMost,
}

impl End {
    fn word(self) -> &'static str {
        match self {
            End::AtLeast => "at_least",
            End::AtMost => "at_most",
        }
    }

    fn of(self, rules: &mut RuleSet, check: usize) -> Option<&mut Bound> {
        match (&mut rules.checks.get_mut(check)?.how, self) {
            (How::Measured(measured), End::AtLeast) => measured.at_least.as_mut(),
            (How::Measured(measured), End::AtMost) => measured.at_most.as_mut(),
            (How::Asked(_), _) => None,
        }
    }
}

/// The cases and what came of them before any change.
struct Trial<'a> {
    before: Vec<(&'a Recording, Vec<Difference>)>,
}

impl<'a> Trial<'a> {
    fn new(rules: &RuleSet, recordings: &[&'a Recording]) -> Trial<'a> {
        let model = Arc::new(Model::new(Arc::new(rules.clone())));
        let before = recordings
            .iter()
            .map(|recording| (*recording, outcome(recording, &model)));
        Trial {
            before: before.collect(),
        }
    }

    /// Whether every case comes out under these rules as it did before.
    fn unnoticed(&self, rules: RuleSet) -> bool {
        let model = Arc::new(Model::new(Arc::new(rules)));
        self.before
            .iter()
            .all(|(recording, before)| outcome(recording, &model) == *before)
    }

    fn lowered(&self, rules: &RuleSet, check: usize, end: End) -> Option<Slack> {
        self.moved(rules, check, end, -1.0, "lowered")
    }

    fn raised(&self, rules: &RuleSet, check: usize, end: End) -> Option<Slack> {
        self.moved(rules, check, end, 1.0, "raised")
    }

    /// The furthest step one way that no case notices.
    fn moved(
        &self,
        rules: &RuleSet,
        check: usize,
        end: End,
        way: f64,
        word: &str,
    ) -> Option<Slack> {
        let mut furthest = None;
        for step in STEPS {
            let mut changed = rules.clone();
            let moved = shift(end.of(&mut changed, check)?, way * step);
            if !moved || !self.unnoticed(changed) {
                break;
            }
            furthest = Some(step);
        }
        let of = Change::Limit {
            check: rules.checks.get(check)?.id.clone(),
            end: end.word(),
        };
        furthest.map(|step| Slack {
            of,
            change: format!("{word} by {:.0} %", step * 100.0),
        })
    }

    /// A proof as a whole; if it is needed, each check in its lists.
    fn proof(&self, rules: &RuleSet, proof: usize, name: &str) -> Vec<Slack> {
        let slack = |change| Slack {
            of: Change::Proof {
                proof: name.to_owned(),
            },
            change,
        };
        let mut without = rules.clone();
        without.proofs.remove(proof);
        if self.unnoticed(without) {
            return vec![slack("dropped".to_owned())];
        }
        let mut found = Vec::new();
        for list in LISTS {
            let checks = rules
                .proofs
                .get(proof)
                .map_or(0, |proof| (list.of)(proof).len());
            for place in 0..checks {
                let mut without = rules.clone();
                let Some(changed) = without.proofs.get_mut(proof) else {
                    continue;
                };
                let check = (list.of_mut)(changed).remove(place);
                if self.unnoticed(without) {
                    let check = rules.checks.get(check).map_or("", |check| &check.id);
                    found.push(slack(format!("{check} left out of {}", list.word)));
                }
            }
        }
        found
    }
}

/// A list of checks in a proof.
struct List {
    word: &'static str,
    of: fn(&trisect_rules::Proof) -> &Vec<usize>,
    of_mut: fn(&mut trisect_rules::Proof) -> &mut Vec<usize>,
}

const LISTS: [List; 5] = [
    List {
        word: "passed",
        of: |p| &p.passed,
        of_mut: |p| &mut p.passed,
    },
    List {
        word: "any_passed",
        of: |p| &p.any_passed,
        of_mut: |p| &mut p.any_passed,
    },
    List {
        word: "failed",
        of: |p| &p.failed,
        of_mut: |p| &mut p.failed,
    },
    List {
        word: "any_failed",
        of: |p| &p.any_failed,
        of_mut: |p| &mut p.any_failed,
    },
    List {
        word: "measured_failed",
        of: |p| &p.measured_failed,
        of_mut: |p| &mut p.measured_failed,
    },
];

fn outcome(recording: &Recording, model: &Arc<Model>) -> Vec<Difference> {
    let mut differences = differences(&recording.expect, &recording.verdict(model));
    // A belief out of bounds may be out of them by another amount: the case notices neither.
    for difference in &mut differences {
        if difference.what.starts_with("belief.") {
            difference.found.clear();
        }
    }
    differences
}

/// Moves a limit by a part of itself; says whether that moved it, which it does not do with zero.
fn shift(bound: &mut Bound, part: f64) -> bool {
    let by = |limit: &mut f64| {
        let step = part * limit.abs();
        *limit += step;
        step != 0.0
    };
    match bound {
        Bound::Fixed(limit) => by(limit),
        Bound::Table { rows, .. } => rows
            .iter_mut()
            .fold(false, |moved, (_, limit)| by(limit) || moved),
    }
}

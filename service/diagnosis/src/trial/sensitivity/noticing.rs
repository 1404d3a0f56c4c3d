//! Whether a case notices a change.

use std::cell::OnceCell;
use std::collections::BTreeSet;
use std::sync::Arc;

use trisect_rules::RuleSet;

use super::super::prove::unadvised;
use super::super::{Difference, Recording, differences};
use crate::Model;

/// What a change can be noticed by.
#[derive(Clone, Copy)]
pub(super) enum Touches {
    /// The evidence of a check.
    Check(usize),
    /// A complaint that was made.
    Complaint(usize),
    /// Anything.
    Everything,
}

/// The cases and what came of them before any change.
pub(super) struct Trial<'a> {
    before: Vec<Before<'a>>,
}

struct Before<'a> {
    recording: &'a Recording,
    /// Checks that have something to say in it.
    checks: BTreeSet<usize>,
    differences: Vec<Difference>,
}

impl<'a> Trial<'a> {
    pub(super) fn new(rules: &RuleSet, recordings: &[&'a Recording]) -> Trial<'a> {
        let models = Models::of(rules.clone());
        let before = recordings.iter().map(|recording| {
            let verdict = recording.verdict(models.for_case(recording));
            let evidence = verdict.evidence.iter();
            Before {
                recording,
                checks: evidence
                    .filter_map(|e| rules.check_index(&e.check))
                    .collect(),
                differences: outcome(recording, &models),
            }
        });
        Trial {
            before: before.collect(),
        }
    }

    /// Whether every case comes out under these rules as it did before.
    pub(super) fn unnoticed(&self, rules: RuleSet, touches: Touches) -> bool {
        let models = Models::of(rules);
        let touched = |before: &&Before<'_>| {
            let advised = before.recording.expect.next.is_some();
            advised
                || match touches {
                    Touches::Check(check) => before.checks.contains(&check),
                    Touches::Complaint(complaint) => before.recording.complaint == Some(complaint),
                    Touches::Everything => true,
                }
        };
        let mut cases = self.before.iter().filter(touched);
        cases.all(|before| outcome(before.recording, &models) == before.differences)
    }
}

/// A rule set with its advice, for cases that look at it, and without, which is quicker.
struct Models {
    rules: RuleSet,
    advised: OnceCell<Arc<Model>>,
    unadvised: OnceCell<Arc<Model>>,
}

impl Models {
    fn of(rules: RuleSet) -> Models {
        Models {
            rules,
            advised: OnceCell::new(),
            unadvised: OnceCell::new(),
        }
    }

    fn for_case(&self, recording: &Recording) -> &Arc<Model> {
        let model = |rules| Arc::new(Model::new(Arc::new(rules)));
        match recording.expect.next {
            Some(_) => self.advised.get_or_init(|| model(self.rules.clone())),
            None => self.unadvised.get_or_init(|| model(unadvised(&self.rules))),
        }
    }
}

fn outcome(recording: &Recording, models: &Models) -> Vec<Difference> {
    let verdict = recording.verdict(models.for_case(recording));
    let mut differences = differences(&recording.expect, &verdict);
    // A belief out of bounds may be out of them by another amount: the case notices neither.
    for difference in &mut differences {
        if difference.what.starts_with("belief.") {
            difference.found.clear();
        }
    }
    differences
}

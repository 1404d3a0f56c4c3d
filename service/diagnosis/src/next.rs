//! What to measure next: expected information per minute, and what a proof lacks.
//!
//! One step ahead for all tests, two steps for the best few: there the choice
//! goes by what a test and the one after it tell a minute, together. The second
//! is chosen after each result, so that the two tell most a minute.

use trisect_rules::{Outcome, RuleSet, Side};

use crate::belief::{Belief, Piece};
use crate::information::{self, Groups};
use crate::model::Model;
use crate::proof::{Lack, Outcomes};
use crate::verdict::NextTest;

/// What the choice of the next test goes by.
pub(crate) struct Choice<'a> {
    pub(crate) model: &'a Model,
    pub(crate) belief: &'a Belief,
    pub(crate) pieces: &'a [Piece],
    pub(crate) outcomes: &'a Outcomes<'a>,
    pub(crate) complaint: Option<usize>,
    /// The side isolated, if one is: what is asked then is which of its
    /// suspects it is.
    pub(crate) isolated: Option<Side>,
    /// What the proofs of the leading side (or of the suspect to be named)
    /// lack; those that can no longer be met left out.
    pub(crate) lacks: &'a [Lack],
    /// Belief in the leading side is high enough for a proof to come first.
    pub(crate) proof_first: bool,
}

/// So many of the best tests are looked at one step further.
const LOOKED_AT: usize = 3;
/// So many tests are tried as the step after.
const TRIED: usize = 8;
/// Looking ahead has to promise more than this part more a minute to change the
/// choice: two steps of a longer way are no proof of it, so small promises lose
/// as often as they win (`tests/outside/reasoning_published.py` tells the regret).
const WORTH_IT: f64 = 0.05;

/// All tests worth doing, the best first.
pub(crate) fn rank(question: &Choice<'_>) -> Vec<NextTest> {
    let checks: Vec<usize> = (0..question.model.rules.checks.len())
        .filter(|check| question.can_be_done(*check))
        .collect();
    let groups = Groups::new(question.model, question.belief, question.isolated);
    let (model, belief) = (question.model, question.belief);
    let gains = information::gains(model, belief, &groups, &checks, question.pieces);
    let tests = checks.iter().zip(&gains);
    let mut tests: Vec<(usize, NextTest)> = tests
        .map(|(check, bits)| (*check, question.test(*check, *bits)))
        .collect();
    // Stable, so that equals keep the order of the rule set.
    tests.sort_by(|(_, a), (_, b)| {
        let urgent = question.urgency(b).cmp(&question.urgency(a));
        urgent.then(b.bits_per_minute.total_cmp(&a.bits_per_minute))
    });
    question.look_ahead(&groups, &mut tests);
    tests.into_iter().map(|(_, test)| test).collect()
}

impl Choice<'_> {
    /// What the proof asks for comes first once belief is reached.
    fn urgency(&self, test: &NextTest) -> (bool, bool) {
        if self.proof_first {
            (test.completes_proof, test.advances_proof)
        } else {
            (false, false)
        }
    }

    /// Puts another of the best tests first if it promises more a minute together
    /// with the test that would be chosen after its result. Only among equally
    /// urgent ones that have given no evidence yet.
    fn look_ahead(&self, groups: &Groups, tests: &mut [(usize, NextTest)]) {
        let Some((_, top)) = tests.first() else {
            return;
        };
        let urgency = self.urgency(top);
        let fresh = |check: usize| self.pieces.iter().all(|p| p.check != Some(check as u16));
        let places: Vec<usize> = (0..tests.len())
            .filter(|place| self.urgency(&tests[*place].1) == urgency && fresh(tests[*place].0))
            .take(LOOKED_AT)
            .collect();
        // The first must be among them, or there is nothing to compare with.
        if places.first() != Some(&0) || places.len() < 2 {
            return;
        }
        let of = |place: &usize| {
            (
                tests[*place].0,
                tests[*place].1.bits,
                tests[*place].1.minutes,
            )
        };
        let first: Vec<(usize, f64, f64)> = places.iter().map(of).collect();
        let mut second: Vec<(usize, f64, f64)> = (0..tests.len())
            .filter(|place| fresh(tests[*place].0))
            .map(|place| {
                (
                    tests[place].0,
                    tests[place].1.minutes,
                    tests[place].1.bits_per_minute,
                )
            })
            .collect();
        second.sort_by(|a, b| b.2.total_cmp(&a.2));
        // The step after is worked out for every result of every first test, so only a few are tried.
        second.truncate(TRIED);
        let second: Vec<(usize, f64)> = second.iter().map(|(c, m, _)| (*c, *m)).collect();
        let ahead = information::ahead(self.model, self.belief, groups, &first, &second);
        let rates: Vec<f64> = ahead.iter().map(|a| a.bits / a.minutes).collect();
        let mut best = 0;
        for (candidate, rate) in rates.iter().enumerate() {
            if *rate > rates[best] * (1.0 + WORTH_IT) {
                best = candidate;
            }
        }
        if best == 0 {
            return;
        }
        let instead = tests[0].1.check.clone();
        // Looking ahead chose the first alone: the others keep their order by one step.
        tests[..=places[best]].rotate_right(1);
        let why = format!(
            "; with the test after it {:.4} bits a minute, against {:.4} for `{instead}` first",
            rates[best], rates[0]
        );
        tests[0].1.why.push_str(&why);
    }

    fn can_be_done(&self, check: usize) -> bool {
        let rules = &self.model.rules;
        let left_out = self
            .complaint
            .is_some_and(|c| rules.complaints[c].leaves_out.contains(&check));
        let after = &rules.checks[check].advise_after;
        let passed = |c: &usize| self.outcomes.is(*c, Outcome::Passed);
        let presumed = rules.checks[check].presumes.iter();
        let mut presumed = presumed.filter(|p| p.applies(self.complaint));
        // Whoever could not tell will not be able to when asked again.
        let untold =
            self.outcomes.is(check, Outcome::Void) && rules.checks[check].asked().is_some();
        !left_out
            && !untold
            && presumed.all(|p| self.outcomes.is(p.check, p.is))
            && !self.outcomes.settled(check)
            && after.iter().all(passed)
            && self.open_needs(check).is_some()
    }

    /// The checks that still have to pass before this one, or `None` when one
    /// of them has failed.
    fn open_needs(&self, check: usize) -> Option<Vec<usize>> {
        let mut open = Vec::new();
        let mut ahead = self.model.rules.checks[check].needs.clone();
        while let Some(need) = ahead.pop() {
            if self.outcomes.is(need, Outcome::Failed) {
                return None;
            }
            // Needs may share needs of their own: each is done, and paid for, once.
            if !self.outcomes.settled(need) && !open.contains(&need) {
                open.push(need);
                ahead.extend(&self.model.rules.checks[need].needs);
            }
        }
        open.sort_unstable();
        Some(open)
    }

    fn test(&self, check: usize, bits: f64) -> NextTest {
        let rules = &self.model.rules;
        let needs = self.open_needs(check).unwrap_or_default();
        // Without the minutes of its needs, a quick check behind a slow one would come out best.
        let minutes = rules.checks[check].minutes
            + needs
                .iter()
                .map(|need| rules.checks[*need].minutes)
                .sum::<f64>();
        let completes_proof = self.lacks.iter().any(|lack| lack.completed_by(check));
        let advances_proof = self
            .lacks
            .iter()
            .any(|l| l.open(self.outcomes).any(|c| c == check));
        NextTest {
            check: rules.checks[check].id.clone(),
            title: rules.checks[check].title.clone(),
            bits,
            minutes,
            bits_per_minute: bits / minutes,
            completes_proof,
            advances_proof,
            first: needs
                .iter()
                .map(|need| rules.checks[*need].id.clone())
                .collect(),
            cautions: cautions(rules, check),
            why: self.why(bits, minutes, completes_proof, advances_proof),
        }
    }

    fn why(&self, bits: f64, minutes: f64, completes: bool, advances: bool) -> String {
        let about = match self.isolated {
            Some(side) => format!("which {side}-side fault it is"),
            None => "which side it is".to_owned(),
        };
        let gain = format!("{bits:.3} bits on {about} in {minutes} min");
        match (completes, advances) {
            (true, _) => format!("{gain}; alone it can complete the proof"),
            (_, true) => format!("{gain}; the proof asks for it"),
            _ => gain,
        }
    }
}

fn cautions(rules: &RuleSet, check: usize) -> Vec<String> {
    rules.checks[check]
        .cautions
        .iter()
        .map(|c| rules.cautions[*c].id.clone())
        .collect()
}

//! Proofs gate the verdict: what a side's proof asks for, and what it lacks.

use trisect_rules::{Outcome, Proof, ProofTarget, Side};

use crate::model::Model;
use crate::verdict::Missing;

/// The outcomes by check that proofs look at.
pub(crate) struct Outcomes<'a>(pub(crate) &'a [Option<crate::assess::Assessment>]);

impl Outcomes<'_> {
    pub(crate) fn is(&self, check: usize, outcome: Outcome) -> bool {
        self.0[check].as_ref().is_some_and(|a| a.outcome == outcome)
    }

    pub(crate) fn settled(&self, check: usize) -> bool {
        self.is(check, Outcome::Passed) || self.is(check, Outcome::Failed)
    }
}

/// What one proof lacks: checks, by what has to come of them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Lack {
    pub(crate) passed: Vec<usize>,
    pub(crate) any_passed: Vec<usize>,
    pub(crate) failed: Vec<usize>,
    pub(crate) any_failed: Vec<usize>,
    pub(crate) measured_failed: Vec<usize>,
    /// The rule set has no proof for this side at all.
    pub(crate) no_proof: bool,
}

impl Lack {
    pub(crate) fn of(proof: &Proof, outcomes: &Outcomes<'_>) -> Lack {
        let all = |checks: &[usize], outcome| -> Vec<usize> {
            checks
                .iter()
                .copied()
                .filter(|c| !outcomes.is(*c, outcome))
                .collect()
        };
        let any = |checks: &[usize], outcome| -> Vec<usize> {
            let met = checks.iter().any(|c| outcomes.is(*c, outcome));
            if met { Vec::new() } else { checks.to_vec() }
        };
        Lack {
            passed: all(&proof.passed, Outcome::Passed),
            any_passed: any(&proof.any_passed, Outcome::Passed),
            failed: all(&proof.failed, Outcome::Failed),
            any_failed: any(&proof.any_failed, Outcome::Failed),
            measured_failed: any(&proof.measured_failed, Outcome::Failed),
            no_proof: false,
        }
    }

    pub(crate) fn is_empty(&self) -> bool {
        *self == Lack::default()
    }

    /// Every check that an open part of the proof speaks of, and whose outcome
    /// is still to be found.
    pub(crate) fn open<'a>(
        &'a self,
        outcomes: &'a Outcomes<'_>,
    ) -> impl Iterator<Item = usize> + 'a {
        let all = [
            &self.passed,
            &self.any_passed,
            &self.failed,
            &self.any_failed,
            &self.measured_failed,
        ];
        all.into_iter()
            .flatten()
            .copied()
            .filter(|check| !outcomes.settled(*check))
    }

    /// A part of the proof that can no longer be met, since what it asks for
    /// came out the other way.
    pub(crate) fn refuted(&self, outcomes: &Outcomes<'_>) -> bool {
        // Only what is lacking is listed, so one that is settled came out the other way. Of alternatives,
        // every one has to.
        let settled = |checks: &[usize]| checks.iter().any(|c| outcomes.settled(*c));
        let all_settled =
            |checks: &[usize]| !checks.is_empty() && checks.iter().all(|c| outcomes.settled(*c));
        settled(&self.passed)
            || settled(&self.failed)
            || all_settled(&self.any_passed)
            || all_settled(&self.any_failed)
            || all_settled(&self.measured_failed)
    }

    /// Whether this check alone, coming out as asked, would complete the proof.
    pub(crate) fn completed_by(&self, check: usize) -> bool {
        let all = |checks: &[usize]| checks.iter().all(|c| *c == check);
        let any = |checks: &[usize]| checks.is_empty() || checks.contains(&check);
        let passes = all(&self.passed) && any(&self.any_passed);
        let fails = all(&self.failed) && any(&self.any_failed) && any(&self.measured_failed);
        let asks_pass = !(self.passed.is_empty() && self.any_passed.is_empty());
        let asks_fail = !(self.failed.is_empty()
            && self.any_failed.is_empty()
            && self.measured_failed.is_empty());
        // One check cannot both pass and fail.
        !self.no_proof && passes && fails && asks_pass != asks_fail
    }

    pub(crate) fn missing(
        &self,
        model: &Model,
        side: Side,
        suspect: Option<usize>,
        because: Option<String>,
    ) -> Missing {
        let ids = |checks: &[usize]| {
            checks
                .iter()
                .map(|c| model.rules.checks[*c].id.clone())
                .collect()
        };
        Missing {
            side,
            suspect: suspect.map(|s| model.rules.suspects[s].id.clone()),
            passed: ids(&self.passed),
            any_passed: ids(&self.any_passed),
            failed: ids(&self.failed),
            any_failed: ids(&self.any_failed),
            measured_failed: ids(&self.measured_failed),
            because,
        }
    }
}

/// What a side's proofs lack, with why they ask for it: empty when one of them
/// is complete. A side without any proof lacks one for good.
pub(crate) fn side_lacks(
    model: &Model,
    side: Side,
    outcomes: &Outcomes<'_>,
) -> Vec<(Lack, Option<String>)> {
    let of_side = model
        .rules
        .proofs
        .iter()
        .filter(|p| p.target == ProofTarget::Side(side));
    let lacks: Vec<_> = of_side
        .map(|p| (Lack::of(p, outcomes), p.because.clone()))
        .collect();
    if lacks.is_empty() {
        let because = Some(format!("the rule set has no proof for the {side} side"));
        return vec![(
            Lack {
                no_proof: true,
                ..Lack::default()
            },
            because,
        )];
    }
    if lacks.iter().any(|(lack, _)| lack.is_empty()) {
        return Vec::new();
    }
    lacks
}

/// The same for a suspect; one without a proof of its own lacks nothing.
pub(crate) fn suspect_lacks(
    model: &Model,
    suspect: usize,
    outcomes: &Outcomes<'_>,
) -> Vec<(Lack, Option<String>)> {
    let own = model.rules.proofs.iter().filter(
        |p| matches!(&p.target, ProofTarget::Suspects(suspects) if suspects.contains(&suspect)),
    );
    let lacks: Vec<_> = own
        .map(|p| (Lack::of(p, outcomes), p.because.clone()))
        .collect();
    if lacks.iter().any(|(lack, _)| lack.is_empty()) {
        return Vec::new();
    }
    lacks
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lack(passed: &[usize], any_failed: &[usize]) -> Lack {
        Lack {
            passed: passed.to_vec(),
            any_failed: any_failed.to_vec(),
            ..Lack::default()
        }
    }

    #[test]
    fn one_check_completes_a_proof_only_if_nothing_else_is_open() {
        assert!(lack(&[3], &[]).completed_by(3));
        assert!(lack(&[], &[1, 2]).completed_by(2));
        assert!(!lack(&[3, 4], &[]).completed_by(3));
        assert!(!lack(&[3], &[3]).completed_by(3));
        assert!(!lack(&[3], &[]).completed_by(4));
    }
}

//! What to measure next: expected information per minute, and what a proof lacks.

use trisect_rules::{Outcome, RuleSet, Side};

use crate::belief::{Belief, Piece};
use crate::model::Model;
use crate::proof::{Lack, Outcomes};
use crate::verdict::NextTest;
use crate::window::can_take;

/// What the choice of the next test goes by.
pub(crate) struct Question<'a> {
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

/// All tests worth doing, the best first.
pub(crate) fn rank(question: &Question<'_>) -> Vec<NextTest> {
    let mut tests: Vec<NextTest> = (0..question.model.rules.checks.len())
        .filter(|check| question.can_be_done(*check))
        .map(|check| question.test(check))
        .collect();
    // Stable, so that equals keep the order of the rule set.
    tests.sort_by(|a, b| {
        let urgency = |t: &NextTest| {
            if question.proof_first {
                (t.completes_proof, t.advances_proof)
            } else {
                (false, false)
            }
        };
        urgency(b)
            .cmp(&urgency(a))
            .then(b.bits_per_minute.total_cmp(&a.bits_per_minute))
    });
    tests
}

impl Question<'_> {
    fn can_be_done(&self, check: usize) -> bool {
        let rules = &self.model.rules;
        let left_out = self
            .complaint
            .is_some_and(|c| rules.complaints[c].leaves_out.contains(&check));
        let takes = self.model.measured(check).is_none_or(|m| can_take(m.take));
        let after = &rules.checks[check].advise_after;
        let passed = |c: &usize| self.outcomes.is(*c, Outcome::Passed);
        !left_out
            && takes
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
            if !self.outcomes.settled(need) && !open.contains(&need) {
                open.push(need);
                ahead.extend(&self.model.rules.checks[need].needs);
            }
        }
        open.sort_unstable();
        Some(open)
    }

    fn test(&self, check: usize) -> NextTest {
        let rules = &self.model.rules;
        let needs = self.open_needs(check).unwrap_or_default();
        let minutes = rules.checks[check].minutes
            + needs
                .iter()
                .map(|need| rules.checks[*need].minutes)
                .sum::<f64>();
        let bits = self.gain(check);
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

    /// The expected fall of the entropy over the groups of hypotheses, in bits.
    /// A piece of evidence that this check has already given, undecided, would
    /// be replaced, so it is taken out first.
    fn gain(&self, check: usize) -> f64 {
        let own = self.pieces.iter().find(|p| p.check == Some(check as u16));
        let weights = match own {
            Some(piece) => without(&self.belief.posterior, piece),
            None => self.belief.posterior.clone(),
        };
        let (groups, count) = self.groups();
        let before = entropy(&masses(&weights, None, &groups, count));
        let after: f64 = self.model.results[check]
            .iter()
            .map(|result| {
                let masses = masses(&weights, Some(result), &groups, count);
                masses.iter().sum::<f64>() * entropy(&masses)
            })
            .sum();
        let total: f64 = weights.iter().sum();
        (before - after / total).max(0.0)
    }

    fn groups(&self) -> (Vec<u32>, usize) {
        match self.isolated {
            Some(side) => self.model.side_groups[side.index()].clone(),
            None => (
                self.model
                    .hypotheses
                    .iter()
                    .map(|h| u32::from(h.sides))
                    .collect(),
                16,
            ),
        }
    }
}

fn without(posterior: &[f64], piece: &Piece) -> Vec<f64> {
    let divided = posterior.iter().zip(&piece.log_likelihood);
    divided
        .map(|(p, l)| {
            if l.is_finite() {
                p / libm::exp(*l)
            } else {
                0.0
            }
        })
        .collect()
}

fn masses(weights: &[f64], result: Option<&Vec<f64>>, groups: &[u32], count: usize) -> Vec<f64> {
    let mut masses = vec![0.0; count];
    match result {
        Some(result) => {
            for ((weight, p), group) in weights.iter().zip(result).zip(groups) {
                masses[*group as usize] += weight * p;
            }
        }
        None => {
            for (weight, group) in weights.iter().zip(groups) {
                masses[*group as usize] += weight;
            }
        }
    }
    masses
}

/// In bits, of masses that need not add up to one.
fn entropy(masses: &[f64]) -> f64 {
    let total: f64 = masses.iter().sum();
    if total <= 0.0 {
        return 0.0;
    }
    let part = |mass: &f64| {
        let p = mass / total;
        if p > 0.0 { -p * libm::log2(p) } else { 0.0 }
    };
    masses.iter().map(part).sum()
}

fn cautions(rules: &RuleSet, check: usize) -> Vec<String> {
    rules.checks[check]
        .cautions
        .iter()
        .map(|c| rules.cautions[*c].id.clone())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::entropy;

    #[test]
    fn entropy_in_bits() {
        assert_eq!(entropy(&[0.5, 0.5]), 1.0);
        assert_eq!(entropy(&[3.0, 0.0]), 0.0);
        assert!((entropy(&[1.0, 1.0, 1.0, 1.0]) - 2.0).abs() < 1e-15);
        assert_eq!(entropy(&[]), 0.0);
    }
}

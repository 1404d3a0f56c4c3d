//! What of a rule set its cases reach, and what none of them does.

use std::collections::BTreeSet;

use serde::Serialize;
use trisect_rules::{Bound, Outcome, Proof, ProofTarget, RuleSet};

use super::Recording;
use crate::assess::shown;
use crate::{Evidence, Verdict, What};

/// What a set of cases reaches of a rule set.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Coverage {
    /// Ends of limits that a reading was decided by: `battery-rest at_least`. A failed check reaches
    /// the end it failed at, a passed one both.
    pub limits: Reached,
    /// Answers that were given: `fuel-seen not-seen`.
    pub answers: Reached,
    /// Proofs that were complete: `pump`, `pump 2` for the second one of a side.
    pub proofs: Reached,
    /// Outcomes that checks had: `battery-rest failed`.
    pub outcomes: Reached,
    /// Suspects that were the most probable one.
    pub suspects: Reached,
    /// Complaints that were made.
    pub complaints: Reached,
}

/// How many of one kind were reached, and which were not.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Reached {
    /// How many there are.
    pub all: usize,
    /// How many some case reaches.
    pub reached: usize,
    /// Those no case reaches.
    pub unreached: Vec<String>,
}

/// What these cases, all run against this rule set, reach of it.
pub fn coverage(rules: &RuleSet, runs: &[(&Recording, &Verdict)]) -> Coverage {
    let mut limits = BTreeSet::new();
    let mut answers = BTreeSet::new();
    let mut outcomes = BTreeSet::new();
    let mut proofs = BTreeSet::new();
    let mut suspects = BTreeSet::new();
    let mut complaints = BTreeSet::new();
    for (recording, verdict) in runs {
        for piece in &verdict.evidence {
            limits.extend(limits_of(rules, piece));
            outcomes.insert(format!("{} {}", piece.check, piece.outcome));
        }
        answers.extend(answers_of(rules, recording));
        let complete = rules.proofs.iter().zip(proof_names(rules));
        let complete = complete.filter(|(proof, _)| is_complete(rules, proof, verdict));
        proofs.extend(complete.map(|(_, name)| name));
        suspects.extend(verdict.suspects.first().map(|suspect| suspect.id.clone()));
        let complaint = recording.complaint.and_then(|c| rules.complaints.get(c));
        complaints.extend(complaint.map(|complaint| complaint.id.clone()));
    }
    Coverage {
        limits: reached(all_limits(rules), &limits),
        answers: reached(all_answers(rules), &answers),
        proofs: reached(proof_names(rules), &proofs),
        outcomes: reached(all_outcomes(rules), &outcomes),
        suspects: reached(
            rules.suspects.iter().map(|s| s.id.clone()).collect(),
            &suspects,
        ),
        complaints: reached(
            rules.complaints.iter().map(|c| c.id.clone()).collect(),
            &complaints,
        ),
    }
}

fn reached(all: Vec<String>, seen: &BTreeSet<String>) -> Reached {
    let count = all.len();
    let unreached: Vec<String> = all
        .into_iter()
        .filter(|name| !seen.contains(name))
        .collect();
    Reached {
        all: count,
        reached: count - unreached.len(),
        unreached,
    }
}

fn all_limits(rules: &RuleSet) -> Vec<String> {
    let measured = rules
        .checks
        .iter()
        .filter_map(|check| Some((check, check.measured()?)));
    measured
        .flat_map(|(check, measured)| {
            let low = measured
                .at_least
                .is_some()
                .then(|| format!("{} at_least", check.id));
            let high = measured
                .at_most
                .is_some()
                .then(|| format!("{} at_most", check.id));
            low.into_iter().chain(high)
        })
        .collect()
}

/// The ends of limits that decided a piece of evidence.
fn limits_of(rules: &RuleSet, piece: &Evidence) -> Vec<String> {
    let check = rules.check_index(&piece.check);
    let measured = check.and_then(|check| rules.checks.get(check)?.measured());
    let (Some(measured), Some(value)) = (measured, piece.value) else {
        return Vec::new();
    };
    let mut ends = Vec::new();
    let (low, high) = (middle(&measured.at_least), middle(&measured.at_most));
    let failed = match piece.outcome {
        Outcome::Passed => false,
        Outcome::Failed => true,
        Outcome::Undecided | Outcome::Void => return ends,
    };
    // Of two ends, a failed value lies beyond the nearer one.
    let between = low
        .zip(high)
        .map(|(low, high)| shown(rules, measured, (low + high) / 2.0));
    if low.is_some() && !(failed && between.is_some_and(|middle| value >= middle)) {
        ends.push(format!("{} at_least", piece.check));
    }
    if high.is_some() && !(failed && between.is_some_and(|middle| value < middle)) {
        ends.push(format!("{} at_most", piece.check));
    }
    ends
}

/// One number for an end of a limit, in SI: the middle row of a table.
fn middle(bound: &Option<Bound>) -> Option<f64> {
    match bound.as_ref()? {
        Bound::Fixed(limit) => Some(*limit),
        Bound::Table { rows, .. } => rows.get(rows.len() / 2).map(|(_, limit)| *limit),
    }
}

fn all_answers(rules: &RuleSet) -> Vec<String> {
    let asked = rules
        .checks
        .iter()
        .filter_map(|check| Some((check, check.asked()?)));
    asked
        .flat_map(|(check, asked)| asked.answers.iter().map(|a| format!("{} {a}", check.id)))
        .collect()
}

fn answers_of(rules: &RuleSet, recording: &Recording) -> Vec<String> {
    let given = recording
        .events
        .iter()
        .filter_map(|event| match event.what {
            What::Answer { check, answer } => Some((usize::from(check), usize::from(answer))),
            _ => None,
        });
    given
        .filter_map(|(check, answer)| {
            let check = rules.checks.get(check)?;
            Some(format!(
                "{} {}",
                check.id,
                check.asked()?.answers.get(answer)?
            ))
        })
        .collect()
}

fn all_outcomes(rules: &RuleSet) -> Vec<String> {
    let ids = rules.checks.iter().map(|check| &check.id);
    ids.flat_map(|id| [Outcome::Passed, Outcome::Failed].map(|o| format!("{id} {o}")))
        .collect()
}

/// A name for each proof: what it allows to be named, numbered from the second one on.
pub(super) fn proof_names(rules: &RuleSet) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    let targets: Vec<String> = rules
        .proofs
        .iter()
        .map(|proof| target(rules, proof))
        .collect();
    for (place, target) in targets.iter().enumerate() {
        let earlier = targets.iter().take(place).filter(|t| *t == target).count();
        names.push(if earlier == 0 {
            target.clone()
        } else {
            format!("{target} {}", earlier + 1)
        });
    }
    names
}

fn target(rules: &RuleSet, proof: &Proof) -> String {
    match &proof.target {
        ProofTarget::Side(side) => side.to_string(),
        ProofTarget::Suspects(suspects) => {
            let ids = suspects
                .iter()
                .filter_map(|s| Some(rules.suspects.get(*s)?.id.as_str()));
            ids.collect::<Vec<_>>().join("+")
        }
    }
}

fn is_complete(rules: &RuleSet, proof: &Proof, verdict: &Verdict) -> bool {
    proof.is_complete(|check| match rules.checks.get(check) {
        Some(check) => verdict.outcome(&check.id),
        None => Outcome::Void,
    })
}

//! Every combination of outcomes, put to the function that decides in a verdict
//! what may be named.

use std::sync::Arc;

use trisect_rules::{Outcome, Proof, RuleSet};

use super::{GoOn, Target};
use crate::Model;
use crate::assess::Assessment;
use crate::proof::{Outcomes, side_lacks, suspect_lacks};

/// Most checks whose combinations are searched: three to this power are 14 million.
const MOST_CHECKS: usize = 15;

/// Of each kind of finding so many are kept.
const KEPT: usize = 3;

/// A combination, outcomes that are neither left out.
type Found = Vec<(usize, Outcome)>;

/// What the search came to.
#[derive(Default)]
pub(super) struct Searched {
    pub(super) checks: usize,
    pub(super) combinations: u64,
    pub(super) open: u64,
    pub(super) unproven: Vec<Found>,
    pub(super) withheld: Vec<Found>,
}

/// Combinations between two questions whether to go on.
const STRETCH: u64 = 4096;

pub(super) fn search(rules: &RuleSet, target: Target, go_on: GoOn<'_>) -> Searched {
    let checks = target.checks(rules);
    let mut searched = Searched {
        checks: checks.len(),
        ..Searched::default()
    };
    if checks.len() > MOST_CHECKS {
        return searched;
    }
    // One fault at a time: the gate looks at no hypothesis, so they need not be many.
    let mut few = rules.clone();
    few.faults_at_once = 1;
    let model = Model::new(Arc::new(few));
    let mut outcomes: Vec<Option<Assessment>> = vec![None; rules.checks.len()];
    let of_side: Vec<&Proof> = target.side_proofs(rules).collect();
    let own: Vec<&Proof> = target.own_proofs(rules).collect();
    let mut digits = vec![Outcome::Void; checks.len()];
    loop {
        let says = opens(&model, target, &Outcomes(&outcomes));
        let is = |check: usize| {
            outcomes[check]
                .as_ref()
                .map_or(Outcome::Void, |a| a.outcome)
        };
        let complete = |proof: &&Proof| proof.is_complete(is);
        let proven = of_side.iter().any(&complete)
            && (target.suspect.is_none() || own.iter().any(&complete));
        searched.combinations += 1;
        searched.open += u64::from(says);
        let list = match (says, proven) {
            (true, false) => Some(&mut searched.unproven),
            (false, true) => Some(&mut searched.withheld),
            _ => None,
        };
        if let Some(list) = list.filter(|list| list.len() < KEPT) {
            let all = checks.iter().copied().zip(digits.iter().copied());
            list.push(
                all.filter(|(_, outcome)| *outcome != Outcome::Void)
                    .collect(),
            );
        }
        let told_to_stop = searched.combinations.is_multiple_of(STRETCH) && !go_on();
        if told_to_stop || !count_on(&checks, &mut digits, &mut outcomes) {
            return searched;
        }
    }
}

/// What `stand` and the naming of a suspect go by.
fn opens(model: &Model, target: Target, outcomes: &Outcomes<'_>) -> bool {
    side_lacks(model, target.side, outcomes).is_empty()
        && target
            .suspect
            .is_none_or(|suspect| suspect_lacks(model, suspect, outcomes).is_empty())
}

/// Counts on in base three; false after the last.
fn count_on(checks: &[usize], digits: &mut [Outcome], outcomes: &mut [Option<Assessment>]) -> bool {
    for (check, digit) in checks.iter().zip(digits) {
        *digit = match *digit {
            Outcome::Void => Outcome::Passed,
            Outcome::Passed => Outcome::Failed,
            _ => Outcome::Void,
        };
        let carry = *digit == Outcome::Void;
        outcomes[*check] = (!carry).then(|| Assessment::stated(*digit));
        if !carry {
            return true;
        }
    }
    false
}
